"""A small ball in a flat face: for a piece that another part carries, such as a shoulder plate on its shoulder.

The ball stands on its neck under the piece (the cup's side). Its socket is sunk into the carrier (the knuckle's side, +z)
and opens at the carrier's face, z = 0. It is the slit socket of ball.py with its fingers drawn out behind the ball, where
a body has depth and a limb has not: four fingers about a bore narrower than the ball, free in a round groove.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from condyle.geometry.primitives import CHORD_MM, arc, box, cylinder, frustum, sphere, turned
from condyle.geometry.solid import Solid, subtract, union
from condyle.joints.ball_shape import SURE_POP, WIDEST_NECK_RATIO, neck_share
from condyle.joints.design import Cut, JointDesign, Need, SideTools
from condyle.joints.fingers import Spring, ring_fingers
from condyle.joints.mechanics import friction as friction_laws
from condyle.joints.mechanics import snap
from condyle.joints.mechanics.release import pry_moment_nmm
from condyle.joints.stock import Stock

SIZES_MM: Final = (2.5, 3.0, 3.5, 4.0, 5.0, 6.0)
"""Ball diameters."""

DEPTHS: Final = (2.0, 1.6, 1.3, 1.0)
"""How far the fingers run in behind the ball's middle, in ball diameters: deep first, for the gentlest bend."""

NECK_RATIO: Final = 0.56
"""Neck over ball diameter; up to ``ball.WIDEST_NECK_RATIO`` where it would break before the ball is levered out, as far as
the tilt that is asked for allows."""

_FINGERS = 4
_BORE = 0.82  # of the seat's radius: the ball cannot go further in than its seat
_LIP_LAND_MM = 0.12
_LIP_CHAMFER_MM = 0.2
_LARGEST_LIP_DEG, _SMALLEST_LIP_DEG = 22.0, 6.0
_STEPS = 24


@dataclass(frozen=True)
class SunkBall:
    """Radii and heights of one sunk ball about the ball's middle (mm), the mouth towards -z.

    undercut   how far each finger bends as the ball passes its lip; ``passing_n`` is the force that this takes
    """

    size: float
    seat: float
    neck: float
    finger_outer: float
    ring_outer: float
    root_z: float
    lip_deg: float
    slit: float
    undercut: float
    strain: float
    passing_n: float
    spring: Spring

    @property
    def ball(self) -> float:
        return self.size / 2.0

    @property
    def opening(self) -> float:
        return self.seat * math.cos(math.radians(self.lip_deg))

    @property
    def lip_z(self) -> float:
        return -self.seat * math.sin(math.radians(self.lip_deg))

    @property
    def tip_z(self) -> float:
        """Height of the fingers' tips."""
        return self.lip_z - _LIP_LAND_MM - _LIP_CHAMFER_MM


def shape(size_mm: float, clearance_mm: float, tilt_deg: float, depth: float, stock: Stock) -> SunkBall | None:
    """The ball of a size whose lip strains its fingers no more than the material takes; None where none of 6° can be passed,
    or where the neck does not tilt by ``tilt_deg`` before it meets the lip.

    ``depth`` is the height of the fingers' root over the ball's middle, in diameters.
    """
    seat = size_mm / 2.0 + clearance_mm
    outer = seat + stock.wall_mm + 0.03  # facets eat a hundredth or two on either side
    slit = max(stock.gap_mm, 0.3)
    for lip in np.arange(_LARGEST_LIP_DEG, _SMALLEST_LIP_DEG - 1e-9, -0.5):
        give = snap.lip_deflection_mm(size_mm, float(lip), clearance_mm)
        spring = _spring(depth * size_mm, seat, outer, float(lip), slit, stock)
        if give <= 0.0 or spring.strain_per_mm * give > stock.strain:
            continue
        stiffness = spring.count * spring.n_per_mm
        found = SunkBall(
            size=size_mm,
            seat=seat,
            neck=0.5 * NECK_RATIO * size_mm,
            finger_outer=outer,
            ring_outer=outer + max(stock.gap_mm, give + max(0.0, -clearance_mm) + 0.15),
            root_z=depth * size_mm,
            lip_deg=float(lip),
            slit=slit,
            undercut=give,
            strain=spring.strain_per_mm * give,
            passing_n=snap.ball_passing_force_n(stiffness, size_mm, float(lip), stock.friction, clearance_mm),
            spring=spring,
        )
        if _tilts(found, tilt_deg):
            return _outliving(found, tilt_deg, stock)
    return None


def _outliving(s: SunkBall, tilt_deg: float, stock: Stock) -> SunkBall:
    """With the thinnest neck that the ball does not break when it is levered out, or the thickest that still tilts."""
    pry = pry_moment_nmm(s.passing_n, 2.0 * (s.ball - s.undercut))
    for ratio in np.arange(NECK_RATIO, WIDEST_NECK_RATIO + 1e-9, 0.02):
        thicker = replace(s, neck=0.5 * float(ratio) * s.size)
        if not _tilts(thicker, tilt_deg):
            break
        s = thicker
        if neck_share(pry, s.size, 2.0 * s.neck, stock.across_mpa, stock) <= SURE_POP:
            break
    return s


def _tilts(s: SunkBall, tilt_deg: float) -> bool:
    """Whether the neck passes the lip's land and its chamfer at a tilt (the same geometry as at any ball)."""
    t = math.radians(tilt_deg)
    half = s.neck / math.cos(t)
    land = (_LIP_LAND_MM - s.lip_z) * math.tan(t) + half <= s.opening
    return land and -s.tip_z * math.tan(t) + half <= s.opening + _LIP_CHAMFER_MM


def _spring(root: float, seat: float, outer: float, lip_deg: float, slit: float, stock: Stock) -> Spring:
    """The fingers as beams from their root to the lip: a tube's sectors, thinner where the ball's seat is hollowed out."""
    tip = -seat * math.sin(math.radians(lip_deg))
    z = np.linspace(root, tip, _STEPS)
    inner = np.maximum(np.sqrt(np.maximum(seat**2 - z**2, 0.0)), _BORE * seat)
    return ring_fingers(inner, np.full(_STEPS, outer), root - tip, slit, _FINGERS, stock.modulus_mpa)


def sunk_mm(s: SunkBall, tilt_deg: float) -> float:
    """How deep the ball's middle lies under the face: the fingers' tips must stay clear of the piece as it tilts."""
    return -s.tip_z + s.ring_outer * math.tan(math.radians(tilt_deg)) + 0.2


def root_mm(s: SunkBall) -> float:
    """How deep the neck goes into the piece: one and a half neck radii, as at any ball."""
    return 1.5 * s.neck


def needs(s: SunkBall, cut: Cut, tilt_deg: float, stock: Stock) -> tuple[Need, ...]:
    """Flesh around the socket in the carrier, from the fingers' tips on, and around the neck's root in the piece, walls included."""
    across = s.ring_outer + stock.wall_mm
    root = sunk_mm(s, tilt_deg) + s.root_z
    bore = _BORE * s.seat
    return (
        Need(sunk_mm(s, tilt_deg) + s.tip_z, root + 0.5 * stock.wall_mm, across, across),
        Need(root, root + bore + stock.wall_mm, 0.5 * bore + stock.wall_mm, 0.5 * bore + stock.wall_mm),
        Need(-cut.kerf_mm - root_mm(s), -cut.kerf_mm - 0.2, 1.3 * s.neck + 0.5 * stock.wall_mm, 1.3 * s.neck),
    )


def design(s: SunkBall, cut: Cut, clearance_mm: float, tilt_deg: float, stock: Stock) -> JointDesign:
    """The hardware of a sunk ball in a plane cut; the ball's middle lies at z = ``sunk_mm``."""
    sunk = sunk_mm(s, tilt_deg)
    place = np.eye(4)
    place[2, 3] = sunk
    stiffness = s.spring.count * s.spring.n_per_mm
    lip = math.sin(math.radians(s.lip_deg))
    grip = max(0.0, -clearance_mm)
    pressure = stiffness * grip / (4.0 * math.pi * s.ball**2 * lip)
    top = math.sqrt(max(s.seat**2 - (_BORE * s.seat) ** 2, 0.0))
    return JointDesign(
        size_mm=s.size,
        clearance_mm=clearance_mm,
        cut=cut,
        cup=SideTools(add=_stud(s, sunk, cut).transformed(place)),
        knuckle=SideTools(take=_socket(s, sunk).transformed(place)),
        bearing=sphere(s.ball + max(0.0, clearance_mm) + 0.1).transformed(place),
        bearing_mm2=(top + s.seat * lip) * (2.0 * math.pi * s.ball - _FINGERS * s.slit),
        travel_mm=s.ball - s.lip_z + 0.5,
        undercut_mm=s.undercut,
        stiffness_n_mm=stiffness,
        snap_strain=s.strain,
        insertion_n=s.passing_n,
        retention_n=s.passing_n,
        hold_nmm=friction_laws.band_swing_torque_nmm(pressure, s.ball, s.lip_deg, stock.friction) if grip else 0.0,
        tilt_deg=tilt_deg,
        socket="slit",
    )


def _stud(s: SunkBall, sunk: float, cut: Cut) -> Solid:
    """Ball and neck about the ball's middle; the neck flares where it takes root in the piece."""
    face = -sunk - cut.kerf_mm
    foot = face - root_mm(s)
    return union([sphere(s.ball), cylinder(s.neck, foot, 0.0), frustum(1.3 * s.neck, foot, s.neck, face)], "ball stud")


def _socket(s: SunkBall, sunk: float) -> Solid:
    """All that the carrier loses: seat and bore, the groove and slits that free the fingers, and the way to the face."""
    bore = _BORE * s.seat
    top_deg = math.degrees(math.acos(_BORE))
    seat = arc(s.seat, -s.lip_deg, top_deg, "outside", 0.5 * CHORD_MM)
    wide = s.opening + _LIP_CHAMFER_MM
    mouth = np.array(
        [[0.0, s.tip_z - 0.05], [wide, s.tip_z - 0.05], [wide, s.tip_z], [s.opening, s.lip_z - _LIP_LAND_MM]]
    )
    # The bore ends in a cone, so that no floor has to be bridged.
    end = np.array([[bore, s.root_z], [0.0, s.root_z + bore]])
    hollow = turned(np.concatenate([mouth, seat, end]), "outside", 0.5 * CHORD_MM)
    groove = subtract(
        cylinder(s.ring_outer, s.tip_z - 0.05, s.root_z, "outside"),
        [cylinder(s.finger_outer, s.tip_z - 1.0, s.root_z + 1.0)],
        "groove around the fingers",
    )
    way = cylinder(s.ring_outer, -sunk - 0.6, s.tip_z, "outside")
    blades = [_blade(s.ring_outer - 0.02, s.slit, s.tip_z - 0.05, s.root_z, turn) for turn in (45.0, 135.0)]
    return union([hollow, groove, way, *blades], "sunk socket")


def _blade(half_x: float, thickness: float, z0: float, z1: float, turn_deg: float) -> Solid:
    c, n = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    turn = np.array([[c, -n, 0, 0], [n, c, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], dtype=np.float64)
    return box((-half_x, -thickness / 2, z0), (half_x, thickness / 2, z1)).transformed(turn)
