"""The friction beam: a ball in its socket carries an arm, and nuts or coins of known mass are hung on it until it sinks.

The sockets stand on one foot with their mouths up, at three drawn clearances, so that the slope of torque over clearance tells
the friction whatever the printer adds to each. The arm is turned over and its ball pushed in; it lies level then, and its holes
are at known distances from the ball.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from condyle.geometry.mass import mass_properties
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import subtract, union
from condyle.joints.coupons.halves import halves
from condyle.joints.stock import stock_of
from condyle.units import GRAVITY_M_S2
from condyle.workshop.bench import Workshop
from condyle.workshop.coupons.lettering import hand_for, raised, width_mm
from condyle.workshop.coupons.plate import Piece, laid_out

HOLES_MM = (15.0, 30.0, 45.0, 60.0)
"""Distances of the arm's holes from the ball's centre."""

MARKS = "ABC"
_FOOT_MM = 2.4
_ARM_THICK_MM = 4.0
_HOLE_MM = 3.2
_BESIDE_MM = 1.0


@dataclass(frozen=True, eq=False)
class FrictionBeam:
    """What stands on the plate, and what the torque needs.

    own_nmm          torque of the arm's own weight about the ball, printed solid
    nmm_per_mm       computed holding torque over interference, for a coefficient of friction of 1 (N·mm per mm)
    """

    size_mm: float
    drawn_mm: tuple[float, ...]
    pieces: tuple[Piece, ...]
    holes_mm: tuple[float, ...]
    own_nmm: float
    nmm_per_mm: float
    socket: str
    build: str = "upright"


def friction_beam(size_mm: float, drawn_mm: Sequence[float], workshop: Workshop) -> FrictionBeam:
    """Three sockets of one ball size and an arm. UsageError as the ladder."""
    stock, hand = stock_of(workshop), hand_for(workshop.printer)
    made = halves("ball", size_mm, drawn_mm, stock, workshop.printer.overhang_deg.value, workshop.kerf_mm)
    radius = max(float(m.post.bounds[1, 0]) for m in made)
    pitch = 2.0 * radius + 14.0  # an arm must swing clear of the next socket
    front, back = -radius - hand.capital_mm - 2.0, radius + 6.0
    solids = [box((-0.5 * pitch, front, 0.0), ((len(made) - 0.5) * pitch, back, _FOOT_MM))]
    for k, m in enumerate(made):
        solids.append(m.post.translated((k * pitch, 0.0, _FOOT_MM - 0.2)))
        solids.append(raised(MARKS[k], hand, (k * pitch, front + 0.8 + 0.5 * hand.capital_mm, _FOOT_MM)))
    stand = union(solids, "sockets of the friction beam")
    half = max(4.0, made[0].design.size_mm * 0.45, 0.5 * hand.capital_mm + 0.4)
    # Each number stands just beyond its hole, away from the ball, on the side that looks down in use: the thread does not rub.
    beyond = {h: h + 0.5 * _HOLE_MM + _BESIDE_MM + 0.5 * width_mm(f"{h:g}", hand) for h in HOLES_MM}
    end = beyond[HOLES_MM[-1]] + 0.5 * width_mm(f"{HOLES_MM[-1]:g}", hand) + _BESIDE_MM
    bar = subtract(
        box((-half, -half, 0.0), (end, half, _ARM_THICK_MM)),
        [cylinder(0.5 * _HOLE_MM, -1.0, _ARM_THICK_MM + 1.0, "outside").translated((h, 0.0, 0.0)) for h in HOLES_MM],
    )
    labels = [raised(f"{h:g}", hand, (x, 0.0, _ARM_THICK_MM)) for h, x in beyond.items()]
    stud = subtract(made[0].studs[0], [box((-60.0, -60.0, -60.0), (60.0, 60.0, -_ARM_THICK_MM + 0.2))])
    arm = union([bar, *labels, stud.translated((0.0, 0.0, _ARM_THICK_MM))], "arm")
    mass = mass_properties(arm.mesh, stock.density_g_cm3)
    tight = min(made, key=lambda m: m.clearance_mm)
    grip = max(1e-9, -tight.clearance_mm)
    per_mm = (tight.design.hold_nmm or 0.0) / grip / stock.friction
    return FrictionBeam(
        size_mm=size_mm,
        drawn_mm=tuple(drawn_mm),
        pieces=laid_out([Piece("sockets", stand), Piece("arm", arm)]),
        holes_mm=HOLES_MM,
        own_nmm=mass.mass_g * 1e-3 * GRAVITY_M_S2 * float(mass.centre_mm[0]),
        nmm_per_mm=per_mm,
        socket=tight.design.socket,
    )
