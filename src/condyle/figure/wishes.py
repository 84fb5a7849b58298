"""What a maker may ask of one joint, over what the skeleton and the room in the limb would give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from condyle.figure.relief.wish import ReliefWish
from condyle.figure.skeleton import Kind, Motion, Range
from condyle.finding import Point
from condyle.workshop.fits import Fits

Socket = Literal["plain", "slit", "split"]
Pin = Literal["printed", "filament", "metal"]
Insert = Literal["stud", "cup", "double_ball", "none"]


@dataclass(frozen=True)
class JointWish:
    """Overrides for one joint; None leaves the choice to the skeleton, the workshop's fits, or the room there is.

    kind          another family than the skeleton's
    size_mm       a size of the family's series
    axis          direction of the axis of flexion, figure coordinates
    convex        which side's end is round at the cut
    yields        which side gives way where relief is needed
    seam_mm       how far the cut may travel along the limb to meet a costume seam
    flare_mm      how much flesh may be added where the limb is too thin for the hardware
    socket        how the socket of a ball gives way when the ball goes in
    pin           what a hinge turns on
    wanted        degrees by motion, from the human zero
    kerf_mm       the gap between the two skins at the cut
    clearance_mm  the bearing clearance per side; negative is interference
    relief        the budget of relief at this joint
    insert        which side's hardware is a part of its own: the ball's stud, the socket, or a link with two balls; ``none``
                  keeps both built in, come what may; None leaves a ball that would break first to become a stud
    protect       whether thicker necks, gentler grips and studs are chosen where a ball would break before it lets go
    fits          the fits of this joint, where its two sides are not printed alike
    """

    kind: Kind | None = None
    size_mm: float | None = None
    axis: Point | None = None
    convex: Literal["parent", "child"] | None = None
    yields: Literal["parent", "child", "both"] | None = None
    seam_mm: float | None = None
    flare_mm: float | None = None
    socket: Socket | None = None
    pin: Pin | None = None
    wanted: dict[Motion, Range] | None = None
    kerf_mm: float | None = None
    clearance_mm: float | None = None
    relief: ReliefWish | None = None
    insert: Insert | None = None
    protect: bool = True
    fits: Fits | None = None
