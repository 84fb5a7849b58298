"""Hinge: a flat tongue on the cup's side turns on a hidden pin between two ears of the knuckle.

The double hinge is two of these back to back, sharing the middle link as their knuckle (see double_hinge.py).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region, disc, rectangle, region_from_rings
from condyle.geometry.primitives import cylinder
from condyle.geometry.solid import Solid, extrude, subtract, union
from condyle.joints import detent as detents
from condyle.joints.design import Cut, JointDesign, Need, SideTools
from condyle.joints.mechanics import friction as friction_laws
from condyle.joints.mechanics import snap
from condyle.joints.stock import Stock

Pin = Literal["printed", "filament", "metal"]

SIZES_MM: Final = (3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Diameters of the tongue's eye. The two smallest turn on 1.0 mm wire, and an eye of 3 mm leaves just 0.9 mm around it."""

_RADIAL_MM = 0.2  # around the eye; the pin centres it, so this gap only has to stay free
_SIDE_MM = 0.15  # beside the tongue's neck, which only has to pass
_PIN_RUN_MM = 0.1
_PIN_TIGHT_MM = 0.0  # drawn at size: a printed hole comes out small, and a pin is pressed or reamed in
_FILM_MM2 = 0.06
_BULGE_MM = 1.2  # how far the skin may lie beyond the profile in the middle plane
_COVER_MM = 0.8  # flesh left over the pin's blind end, and depth of the plug over its mouth


@dataclass(frozen=True)
class HingeShape:
    """Radii and widths of one hinge (mm)."""

    size: float
    eye: float
    tongue: float
    neck_half: float
    pin: float
    ear: float

    @property
    def slot_reach(self) -> float:
        return self.eye + _RADIAL_MM


def shape(size_mm: float, pin: Pin, stock: Stock) -> HingeShape:
    """The hinge of a size: tongue 0.42 of the eye wide, pin as thick as filament where the eye leaves a wall around it.

    Metal pins are 1.0 mm wire up to a 5 mm eye and 1.5 mm above; filament pins are 1.75 mm, printed ones 0.36 of the eye
    and never under 1.8 mm. An eye under 5 mm takes metal only.
    """
    small = size_mm < 4.0
    if pin == "filament" and size_mm >= 5.0:
        pin_mm = 1.75
    elif pin == "printed" and size_mm >= 5.0:
        pin_mm = max(1.8, 0.36 * size_mm)
    else:
        pin_mm = 1.0 if size_mm <= 5.0 else 1.5
    return HingeShape(
        size=size_mm,
        eye=size_mm / 2.0,
        tongue=max(1.3 if small else 1.6, 0.42 * size_mm),
        neck_half=size_mm / 2.0,  # as wide as the eye, which has to pass the same slot on its way in
        pin=pin_mm,
        ear=max(1.0, 1.2 * stock.wall_mm) if small else max(1.2, 1.5 * stock.wall_mm),
    )


def smallest_cut_mm(s: HingeShape, stock: Stock) -> float:
    """The smallest radius of the skin cut that still covers the eye's slot with a wall."""
    return s.slot_reach + 0.75 * stock.wall_mm


def needs(s: HingeShape, cut: Cut, stock: Stock) -> tuple[Need, ...]:
    """Flesh that must be there: ears around the pin, cover over the eye, flesh around the tongue's root in the cup."""
    around_pin = s.pin / 2 + _PIN_RUN_MM + 0.8 * stock.wall_mm
    foot = cut.cup_mm + root_mm(s)
    return (
        Need(-around_pin, around_pin, s.tongue / 2 + s.ear, around_pin, rounded=False),
        Need(-0.5 * s.eye, 0.5 * s.eye, s.tongue / 2 + 0.4, s.slot_reach + 0.1, rounded=False),
        Need(-foot, -cut.cup_mm - 0.2, s.tongue / 2 + 0.6 * stock.wall_mm, s.neck_half + 0.3, rounded=False),
    )


def gentle_mm(s: HingeShape, clearance_mm: float, skin_mm: tuple[float, float], stock: Stock) -> float:
    """The clearance, opened where the ears are too thick and short to take its squeeze within the material's strain."""
    per_mm = snap.strain(1.0, 2.0 * s.slot_reach, _ear_mm(s, skin_mm))
    return max(clearance_mm, -math.floor(1000.0 * stock.strain / per_mm) / 1000.0)


def _ear_mm(s: HingeShape, skin_mm: tuple[float, float]) -> float:
    return max(s.ear, min(skin_mm) - s.tongue / 2)


def root_mm(s: HingeShape) -> float:
    """How deep the tongue goes into the cup's flesh."""
    return max(1.2, 0.6 * s.eye)


def design(
    s: HingeShape,
    cut: Cut,
    clearance_mm: float,
    swing_deg: tuple[float, float],
    skin_mm: tuple[float, float],
    mouth_side: int,
    stock: Stock,
    flesh: Region | None = None,
    detent_deg: float = 0.0,
) -> JointDesign:
    """The hardware of a hinge.

    clearance_mm  per side between tongue and ear; negative squeezes the tongue, and that is the grip
    swing_deg     from the rest pose, the tongue's turn relative to the knuckle, right-handed about x
    skin_mm       distances from the centre to the skin along -x and +x
    mouth_side    +1 or -1: on which side, in x, the pin goes in
    flesh         the knuckle's flesh in the middle plane, (y, z); where the slot would leave a film of less than a wall of
                  it, it is opened to the skin, since a film would only break
    detent_deg    from rest to rest of a detented hinge; 0 for none. It is left out where there is no room for it
    """
    ear = _ear_mm(s, skin_mm)
    detent = _detent(s, detent_deg, clearance_mm, skin_mm, stock) if detent_deg else None
    behind = 0.0
    if detent is not None:
        ear, behind = min(ear, detent.leaf_mm), detent.behind_mm
    grip = max(0.0, -clearance_mm)
    # Each ear as a plate clamped where the slot ends and pressed at the eye, with the give of its shear.
    length, width = 2.0 * s.slot_reach, 2.0 * s.eye
    strain = snap.strain(grip, length, ear) if grip else 0.0
    force = snap.deflection_force_n(strain, width, ear, length, stock.modulus_mpa) if grip else 0.0
    force /= 1.0 + snap.shear_share(length, min(ear, length), stock.poisson)
    hold = 2.0 * friction_laws.collar_torque_nmm(force, 2 * s.eye, s.pin, stock.friction) if grip else 0.0
    far = skin_mm[0] if mouth_side > 0 else skin_mm[1]
    near = skin_mm[1] if mouth_side > 0 else skin_mm[0]
    blind = behind + min(_blind_mm(s), far - s.tongue / 2 - behind - _COVER_MM)
    pin_length = blind + s.tongue / 2 + near - _COVER_MM
    shear = 2.0 * math.pi * s.pin**2 / 4.0 * stock.yield_mpa / math.sqrt(3.0)
    return JointDesign(
        size_mm=s.size,
        clearance_mm=clearance_mm,
        cut=cut,
        cup=SideTools(
            add=_tongue(s, cut),
            bore=_tongue_bore(s, detent, swing_deg),
        ),
        knuckle=SideTools(
            take=_with_slits(
                _slot(s, cut, clearance_mm, swing_deg, flesh, stock.wall_mm), s, cut, clearance_mm, detent
            ),
            add=None if detent is None else detents.bumps(detent, s.tongue / 2 + clearance_mm),
            bore=_pin_bore(s, mouth_side, near, s.tongue / 2 + blind, behind),
        ),
        bearing=_along_x(
            cylinder(s.slot_reach + 0.05, -s.tongue / 2 - 0.3, s.tongue / 2 + 0.3, "outside"),
        ),
        bearing_mm2=2.0 * math.pi * (s.eye**2 - (s.pin / 2 + _PIN_RUN_MM) ** 2),
        travel_mm=s.eye + cut.cup_mm,
        stiffness_n_mm=2.0 * force / grip if grip else 0.0,
        snap_strain=strain,
        insertion_n=2.0 * stock.friction * force,
        retention_n=shear,
        hold_nmm=hold if detent is None else max(hold, detents.torque_nmm(detent, stock)),
        detent=detent,
        pin_mm=(s.pin, pin_length),
        mouth=(mouth_side * near, 0.0, 0.0),
        pin_ends=((-mouth_side * (s.tongue / 2 + blind), 0.0, 0.0), (mouth_side * (near - _COVER_MM), 0.0, 0.0)),
    )


def _detent(
    s: HingeShape, step_deg: float, clearance_mm: float, skin_mm: tuple[float, float], stock: Stock
) -> detents.Detent | None:
    ears = (skin_mm[0] - s.tongue / 2, skin_mm[1] - s.tongue / 2)
    bore, blind = s.pin / 2 + _PIN_RUN_MM, _blind_mm(s) + _COVER_MM
    return detents.detent(step_deg, s.eye, s.slot_reach, bore, ears, clearance_mm, blind, stock)


def _blind_mm(s: HingeShape) -> float:
    """How far a pin should go into the ear that holds it."""
    return max(1.2, 1.2 * s.pin)


def _tongue_bore(s: HingeShape, detent: detents.Detent | None, swing_deg: tuple[float, float]) -> Solid:
    bore = _along_x(cylinder(s.pin / 2 + _PIN_RUN_MM, -0.55 * s.tongue, 0.55 * s.tongue, "outside"))
    return (
        bore if detent is None else union([bore, detents.hollows(detent, s.tongue / 2, swing_deg)], "bore and hollows")
    )


def _with_slits(slot: Solid, s: HingeShape, cut: Cut, clearance_mm: float, detent: detents.Detent | None) -> Solid:
    if detent is None:
        return slot
    face, room = s.tongue / 2 + clearance_mm, s.tongue / 2 + _SIDE_MM + max(0.0, clearance_mm)
    free = detents.slits(detent, face, room, cut.radius_mm, s.slot_reach - 0.03)
    return slot if free is None else union([slot, free], "slot and slits")


def _tongue(s: HingeShape, cut: Cut) -> Solid:
    eye = _along_x(cylinder(s.eye, -s.tongue / 2, s.tongue / 2))
    neck = _prism(_neck(s, cut.cup_mm + root_mm(s)), s.tongue)
    return union([eye, neck], "tongue")


def _slot(
    s: HingeShape, cut: Cut, clearance_mm: float, swing_deg: tuple[float, float], flesh: Region | None, wall_mm: float
) -> Solid:
    """Room for the eye at the bearing clearance, and for the neck wherever it swings, open where it would be a film."""
    low, high = swing_deg
    steps = max(2, math.ceil((high - low) / 4.0) + 1)
    swept: Region | None = None
    for angle in np.linspace(low, high, steps):
        turned = region_from_rings([_turn(_neck(s, cut.radius_mm + 1.0), float(angle))])
        swept = turned if swept is None else swept | turned
    assert swept is not None
    swept = swept.offset(_SIDE_MM)
    for film in _films(s, swept, flesh, wall_mm):
        swept = swept | film
    room = _prism_region(swept, s.tongue + 2 * _SIDE_MM + 2 * max(0.0, clearance_mm))
    eye = _along_x(
        cylinder(s.slot_reach, -s.tongue / 2 - clearance_mm, s.tongue / 2 + clearance_mm, "outside"),
    )
    keep = _along_x(cylinder(s.slot_reach - 0.03, -s.size, s.size))
    return union([eye, subtract(room, [keep], "room beside the eye")], "slot")


def _films(s: HingeShape, swept: Region, flesh: Region | None, wall_mm: float) -> list[Region]:
    """What the slot leaves of the flesh in the middle plane that no circle of a wall's width reaches."""
    if flesh is None:
        return []
    slot = swept | disc((0.0, 0.0), s.slot_reach)
    left = flesh - slot
    sound = left.offset(-0.5 * wall_mm).offset(0.5 * wall_mm)
    thin = left - sound.offset(0.03)
    films = [f for f in thin.components() if f.area_mm2 > _FILM_MM2 and f.distance(slot) < 0.05]
    kept = _to_the_skin(sound).offset(0.02)
    opened = ((f.offset(_BULGE_MM) - kept).offset(-0.05).offset(0.05) for f in films)
    return [r.simplified(0.01) for r in opened if not r.empty]


def _to_the_skin(sound: Region) -> Region:
    """Flesh and what lies over it away from the axis along y: the skin bulges beside the middle plane."""
    far = 100.0
    out = sound
    for sign in (-1.0, 1.0):
        low, high = sorted((0.0, sign * far))
        half = sound & rectangle((low, -far), (high, far))
        if not half.empty:
            out = out | half.swept((sign * _BULGE_MM, 0.0))
    return out


def _pin_bore(s: HingeShape, side: int, near_mm: float, blind_mm: float, behind_mm: float) -> Solid:
    """Running hole through the near ear to the skin, and through the far ear's leaf; tight blind hole in what is behind."""
    low = -0.45 * s.tongue if not behind_mm else -0.5 * s.tongue - behind_mm
    running = cylinder(s.pin / 2 + _PIN_RUN_MM, low, near_mm + 0.7, "outside")
    tight = cylinder(s.pin / 2 + _PIN_TIGHT_MM, -blind_mm, 0.0, "outside")
    bore = _along_x(union([running, tight], "pin bore"))
    return bore if side > 0 else bore.transformed(np.diag([-1.0, -1.0, 1.0, 1.0]))


def _neck(s: HingeShape, reach: float) -> FloatArray:
    h = s.neck_half
    return np.array([[-h, -reach], [h, -reach], [h, 0.0], [-h, 0.0]])


def _turn(ring: FloatArray, angle_deg: float) -> FloatArray:
    """Turn (y, z) points right-handed about x."""
    c, n = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.asarray(ring @ np.array([[c, n], [-n, c]]))


_YZ_TO_X = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)


def _prism(ring: FloatArray, width: float) -> Solid:
    """A (y, z) outline drawn out along x, centred."""
    return extrude([ring], width).translated((0, 0, -width / 2)).transformed(_YZ_TO_X)


def _prism_region(region: Region, width: float) -> Solid:
    return extrude(region.rings(), width).translated((0, 0, -width / 2)).transformed(_YZ_TO_X)


def _along_x(turned: Solid) -> Solid:
    """Lay a form turned about z along x."""
    return turned.transformed(_YZ_TO_X)
