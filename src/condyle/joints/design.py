"""What every joint family returns, and the frame in which it is built.

A joint is cut concentric with its motion: one side ends round (the *knuckle*), the other is hollow around it (the *cup*).
Families build in the knuckle frame: origin at the joint's centre, z towards the knuckle along the cut axis, x along the
axis of flexion. Parting places the result, whichever of parent and child is the knuckle.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from condyle.geometry.solid import Solid
from condyle.joints.detent import Detent

Shape = Literal["sphere", "cylinder", "plane"]


@dataclass(frozen=True)
class Cut:
    """The skin cut: knuckle face at ``radius_mm`` (about the centre, or about x), cup face one kerf further out.

    A plane cut (radius 0) has the knuckle's face at z = 0 and the cup's at z = -kerf.
    """

    shape: Shape
    radius_mm: float
    kerf_mm: float

    @property
    def cup_mm(self) -> float:
        """Distance from the centre to the cup's face, along -z."""
        return self.radius_mm + self.kerf_mm


@dataclass(frozen=True)
class Need:
    """Flesh that must be there between two heights: a circle or rectangle about the axis, walls included (mm).

    ``rounded`` True takes ``half_x`` as a radius.
    """

    z0: float
    z1: float
    half_x: float
    half_y: float
    rounded: bool = True


@dataclass(frozen=True, eq=False)
class SideTools:
    """What happens to one side's flesh, in this order: ``take`` is cut away, ``add`` is joined, ``bore`` is cut away."""

    take: Solid | None = None
    add: Solid | None = None
    bore: Solid | None = None


@dataclass(frozen=True, eq=False)
class JointDesign:
    """A joint's hardware in the knuckle frame, with what was computed about it.

    bearing       encloses the faces where touching is by design
    travel_mm     from first contact to home, the cup's hardware moving along +z into the knuckle
    undercut_mm   how far the lip overlaps, radially; 0 for pinned joints and pegs
    stiffness_n_mm radial force over radial deflection of all that flexes together
    tilt_deg      what the hardware itself allows, either way, from the rest pose (balls); 180 for swivels
    pin_mm        diameter and length of a loose pin, where there is one
    mouth         where the pin goes in, on the skin, in the knuckle frame
    pin_ends      the two ends of the pin's axis in the knuckle frame, the blind one first
    detent        a hinge's bumps and hollows; None where it has none
    """

    size_mm: float
    clearance_mm: float
    cut: Cut
    cup: SideTools
    knuckle: SideTools
    bearing: Solid
    bearing_mm2: float
    travel_mm: float
    undercut_mm: float = 0.0
    stiffness_n_mm: float = 0.0
    snap_strain: float | None = None
    insertion_n: float | None = None
    retention_n: float | None = None
    hold_nmm: float | None = None
    tilt_deg: float = 0.0
    pin_mm: tuple[float, float] | None = None
    mouth: tuple[float, float, float] | None = None
    socket: str = ""
    notes: tuple[str, ...] = field(default=())
    pin_ends: tuple[tuple[float, float, float], tuple[float, float, float]] | None = None
    detent: Detent | None = None
