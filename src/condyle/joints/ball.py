"""Ball joint: a ball on a neck in one side, a socket with a lip in the other, both about one centre.

The socket lies in the knuckle (the rounded end), open towards the cup; the ball stands on the cup's side. Three sockets:
*slit* (fingers with a free ring around them, hidden inside), *split* (the whole end of the limb parted into two jaws by a
narrow slit), *plain* (a ring that only stretches; holds next to nothing in a stiff plastic, and says so).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np

from condyle.geometry.primitives import CHORD_MM, arc, box, cylinder, frustum, sphere, turned
from condyle.geometry.solid import Solid, subtract, union
from condyle.joints.design import Cut, JointDesign, Need, SideTools
from condyle.joints.fingers import Spring, ring_fingers
from condyle.joints.mechanics import friction as friction_laws
from condyle.joints.mechanics import snap
from condyle.joints.mechanics.release import pry_moment_nmm
from condyle.joints.mechanics.section import bending_nmm, felt_notch, round_bar, shoulder_notch
from condyle.joints.stock import Stock

Socket = Literal["slit", "split", "plain"]

SIZES_MM: Final = (2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0)
"""Ball diameters of the series."""

JAWS: Final = (2.2, 1.8, 1.4, 1.05, 0.8)
"""How far the slit of a split socket runs in, in ball diameters over the centre: deep first, for the gentlest bend.

Small balls want the deepest: at 3 mm in polylactide only jaws of 1.8 diameters and more take a lip of 0.1 mm.
"""

NECK_RATIO: Final = 0.56
MOST_NECK_RATIO: Final = 0.66
"""Neck over ball diameter: as thin as bears what levers the ball out, for the sake of tilt, and never thicker than this."""

POP_SHARE: Final = 0.4
"""A ball is to be levered out at this share of what breaks its neck across its layers: a fifth less than half, for a short
neck bears less than a beam."""

_DOME_MM = 0.12  # the bottom of the socket stays clear, so that grip comes from the lip's band alone
BAND_TOP_DEG = 32.0
_LIP_LAND_MM = 0.12
_LIP_CHAMFER_MM = 0.25
_LARGEST_LIP_DEG = 24.0
_SMALLEST_LIP_DEG = 4.0
_FINGERS = 6
_ROOT = 0.86  # height of the fingers' root over the centre, in seat radii


@dataclass(frozen=True)
class BallShape:
    """The radii and heights of one ball joint, before any solid is made (mm, knuckle frame, mouth towards -z).

    ``passing_n`` is the force past the lip, the same in and out: a lip without thickness is symmetric. ``pop_share`` is the
    moment that levers the ball out over what breaks the neck when its layers lie across it.
    """

    size: float
    socket: Socket
    ball: float
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
    spring: Spring | None
    pop_share: float

    @property
    def opening(self) -> float:
        return self.seat * math.cos(math.radians(self.lip_deg))

    @property
    def lip_z(self) -> float:
        return -self.seat * math.sin(math.radians(self.lip_deg))

    @property
    def well_z(self) -> float:
        """Height below which the way out widens."""
        return self.lip_z - _LIP_LAND_MM - _LIP_CHAMFER_MM


def shape(
    size_mm: float, socket: Socket, clearance_mm: float, limb_mm: float, stock: Stock, jaw: float = 1.4
) -> BallShape | None:
    """The shape of a ball joint whose lip strains no more than the material takes when it is snapped in.

    ``limb_mm`` is the inscribed radius of the limb around the socket (jaws of a split socket are that thick), ``jaw`` the
    height of the jaws' root over the centre, in ball diameters. None when no lip of at least 4° can be passed at that
    strain: such a ball would simply fall out.
    """
    root_z = {"slit": _ROOT * (size_mm / 2.0 + clearance_mm), "split": jaw * size_mm, "plain": size_mm / 2.0}[socket]
    ball = size_mm / 2.0
    seat = ball + clearance_mm
    wall = max(stock.wall_mm, 0.14 * size_mm)
    slit = max(stock.gap_mm, 0.3)
    finger_outer = seat + wall
    lips = np.arange(_SMALLEST_LIP_DEG, _LARGEST_LIP_DEG + 1e-9, 0.5)

    def at(lip: float) -> tuple[float, float, Spring | None]:
        give = snap.lip_deflection_mm(size_mm, lip, clearance_mm)
        fingers = None if socket == "plain" else _spring(root_z, socket, seat, finger_outer, lip, limb_mm, slit, stock)
        return give, give / (ball - give) if fingers is None else fingers.strain_per_mm * give, fingers

    # Strain grows with the lip, so the largest lip that is still within it is found by halving.
    low, high = -1, len(lips)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if at(float(lips[middle]))[1] <= stock.strain else (low, middle)
    if low < 0:
        return None
    lip = float(lips[low])
    undercut, strain, spring = at(lip)
    if undercut <= 0.0:
        return None
    stiffness = spring.count * spring.n_per_mm if spring else _ring_stiffness(ball, undercut, limb_mm, stock)
    passing = stiffness * _passing_mm(size_mm, lip, stock.friction, clearance_mm)
    neck, share = _neck(size_mm, pry_moment_nmm(passing, 2.0 * (ball - undercut)), stock)
    ring = finger_outer + max(stock.gap_mm, undercut + max(0.0, -clearance_mm) + 0.15)
    return BallShape(
        size=size_mm,
        socket=socket,
        ball=ball,
        seat=seat,
        neck=0.5 * neck,
        finger_outer=finger_outer,
        ring_outer=ring if socket == "slit" else finger_outer,
        root_z=root_z,
        lip_deg=lip,
        slit=slit,
        undercut=undercut,
        strain=strain,
        passing_n=passing,
        spring=spring,
        pop_share=share,
    )


def _neck(size_mm: float, pry_nmm: float, stock: Stock) -> tuple[float, float]:
    """The thinnest neck (DIAMETER) within the two ratios that outlives its ball's being levered out, and the share that
    this takes of what breaks it: a round bar bent across its layers, with the corner at the ball."""
    share = math.inf
    for ratio in np.arange(NECK_RATIO, MOST_NECK_RATIO + 1e-9, 0.02):
        neck = float(ratio) * size_mm
        notch = felt_notch(shoulder_notch(size_mm, neck, stock.fillet_mm), stock.notch)
        share = pry_nmm / bending_nmm(round_bar(neck), stock.across_mpa, notch)
        if share <= POP_SHARE:
            break
    return neck, share


@lru_cache(maxsize=4096)
def _passing_mm(size_mm: float, lip_deg: float, friction: float, clearance_mm: float) -> float:
    """Force past the lip over the lip's stiffness: the same for all limbs, and the force grows with the stiffness."""
    return snap.ball_passing_force_n(1.0, size_mm, lip_deg, friction, clearance_mm)


def _spring(
    root_z: float,
    socket: Socket,
    seat: float,
    finger_outer: float,
    lip_deg: float,
    limb_mm: float,
    slit: float,
    stock: Stock,
) -> Spring:
    """Fingers or jaws as beams, rooted at ``root_z`` and free at the lip.

    Fingers are slices of a shell: a level cut through them is thicker than they are, so strain and force are told on the
    high side near the root.
    """
    z = np.linspace(root_z, -seat * math.sin(math.radians(lip_deg)), 24)
    # Above the band the socket stands clear of the ball, which thins the fingers at their root.
    hollow = np.where(z > seat * math.sin(math.radians(BAND_TOP_DEG)), seat + _DOME_MM, seat)
    inner = np.sqrt(np.maximum(hollow**2 - z**2, (0.5 * slit) ** 2))
    if socket == "slit":
        outer = np.sqrt(finger_outer**2 - np.maximum(z, 0.0) ** 2)
    else:
        outer = np.full(24, max(limb_mm, seat + stock.wall_mm))
    return ring_fingers(
        inner,
        outer,
        float(z[0] - z[-1]),
        slit,
        _FINGERS if socket == "slit" else 2,
        stock.modulus_mpa,
    )


def _ring_stiffness(ball: float, undercut: float, limb: float, stock: Stock) -> float:
    """Radial force over radial give of a lip that stretches as a whole: annular snap, elastic tube, rigid ball."""
    opening = ball - undercut
    factor = snap.tube_factor(2 * opening, 2 * max(limb, 1.2 * opening), stock.poisson)
    return snap.annular_force_n(2 * undercut, 2 * opening, stock.modulus_mpa, factor) / undercut


def smallest_cut_mm(s: BallShape, stock: Stock) -> float:
    """The smallest radius of the skin cut that leaves a wall around the socket's mouth, below it and beside it."""
    across = s.ring_outer if s.socket == "slit" else s.finger_outer
    return max(math.hypot(across, -s.well_z + stock.wall_mm), math.hypot(across + stock.wall_mm, -s.well_z))


def needs(s: BallShape, cut: Cut, stock: Stock) -> tuple[Need, ...]:
    """Flesh that must be there, walls included: around the socket in the knuckle, around the neck's root in the cup."""
    wall = stock.wall_mm
    across = (s.ring_outer if s.socket == "slit" else s.seat) + wall
    # A slit socket's ring is as wide at its root as at its lip; the others' hollow narrows as the ball does.
    shoulder = s.root_z if s.socket == "slit" else 0.55 * s.seat
    dome = s.seat + _DOME_MM
    top = dome + 1.2 * wall if s.socket != "split" else s.root_z + wall
    foot = cut.cup_mm + root_mm(s)
    mouth = s.ring_outer if s.socket == "slit" else s.opening + _LIP_CHAMFER_MM
    return (
        # Down to where the way out has left the lip behind, the skin must not come closer than a wall.
        Need(max(s.well_z - 2.0, -0.8 * cut.radius_mm), s.lip_z, mouth + 0.8 * wall, mouth + 0.8 * wall),
        Need(s.lip_z, shoulder, across, across),
        Need(shoulder, top, _beside(dome, shoulder) + 0.6 * wall, _beside(dome, shoulder) + 0.6 * wall),
        Need(-foot, -cut.cup_mm - 0.3, s.neck + 0.6 * wall, s.neck + 0.6 * wall),
    )


def _beside(radius: float, z: float) -> float:
    """Half width of a ball at a height over its middle."""
    return math.sqrt(max(radius**2 - z**2, 0.0))


def root_mm(s: BallShape) -> float:
    """How deep the neck goes into the cup's flesh: one and a half neck radii."""
    return 1.5 * s.neck


def tilt_deg(s: BallShape, cut: Cut, mouth_mm: float) -> float:
    """How far the neck tilts before it meets the lip, or the mouth's rim (radius ``mouth_mm`` at the knuckle's face).

    For a lip without thickness this is 90° - θ - asin(r_n / R): the neck's edge then touches the lip's circle.
    """
    best = 0.0
    for tilt in np.arange(1.0, 75.0, 0.5):
        t = math.radians(float(tilt))
        # The lip's own edge stops a neck before its chamfer does, up to 45 degrees.
        at_edge = (_LIP_LAND_MM - s.lip_z) * math.tan(t) + s.neck / math.cos(t)
        at_lip = -s.well_z * math.tan(t) + s.neck / math.cos(t)
        half = t + math.asin(min(1.0, (s.neck + 0.1) / cut.radius_mm))
        at_face = cut.radius_mm * math.sin(min(half, math.pi / 2))
        if at_edge > s.opening or at_lip > s.opening + _LIP_CHAMFER_MM or at_face > mouth_mm or half > 1.4:
            break
        best = float(tilt)
    return best


def design(s: BallShape, cut: Cut, clearance_mm: float, mouth_mm: float, limb_mm: float, stock: Stock) -> JointDesign:
    """The hardware of a ball joint.

    ``mouth_mm`` is the widest mouth that leaves a wall around it at the knuckle's face; ``limb_mm`` how far the jaws'
    slit has to reach to part the whole limb.
    """
    tilt = tilt_deg(s, cut, mouth_mm)
    slits = 0.0 if s.socket == "plain" else s.slit * (_FINGERS if s.socket == "slit" else 2)
    band_height = s.ball * (math.sin(math.radians(BAND_TOP_DEG)) + math.sin(math.radians(s.lip_deg)))
    return JointDesign(
        size_mm=s.size,
        clearance_mm=clearance_mm,
        cut=cut,
        cup=SideTools(add=_stud(s, cut)),
        knuckle=SideTools(take=_socket(s, cut, tilt, limb_mm, 0.75 * stock.wall_mm)),
        bearing=sphere(s.ball + _DOME_MM + max(0.0, clearance_mm) + 0.05),
        bearing_mm2=band_height * (2.0 * math.pi * s.ball - slits),
        travel_mm=s.ball - s.lip_z + 0.5,
        undercut_mm=s.undercut,
        stiffness_n_mm=0.0 if s.spring is None else s.spring.count * s.spring.n_per_mm,
        snap_strain=s.strain,
        insertion_n=s.passing_n,
        retention_n=s.passing_n,
        hold_nmm=hold_nmm(s, clearance_mm, stock),
        tilt_deg=tilt,
        socket=s.socket,
    )


def hold_nmm(s: BallShape, clearance_mm: float, stock: Stock) -> float:
    """The moment at which the ball slips in its socket, swung: twisting it about the stud would take about half as much again."""
    grip = max(0.0, -clearance_mm)
    if s.spring is None or grip == 0.0:
        return 0.0
    squeeze = s.spring.count * s.spring.n_per_mm * grip
    pressure = squeeze / (4.0 * math.pi * s.ball**2 * math.sin(math.radians(s.lip_deg)))
    return friction_laws.band_swing_torque_nmm(pressure, s.ball, s.lip_deg, stock.friction)


def _stud(s: BallShape, cut: Cut) -> Solid:
    foot = -cut.cup_mm - root_mm(s)
    neck = cylinder(s.neck, foot, 0.0)
    flare = frustum(1.45 * s.neck, foot, s.neck, -cut.radius_mm + 0.1)
    return union([sphere(s.ball), neck, flare], "ball stud")


def _socket(s: BallShape, cut: Cut, tilt: float, limb_mm: float, wall_mm: float) -> Solid:
    """Cavity, way out for the neck, and the slits and ring that let the lip give way."""
    t = math.radians(tilt)
    dome = s.seat + _DOME_MM
    end_z = -cut.radius_mm - 0.6

    def way(z: float) -> float:
        return -z * math.tan(t) + (s.neck + 0.1) / math.cos(t)

    # Below the lip the fingers must be free on their outside too, so the well is as wide as the ring.
    well = max(s.opening + _LIP_CHAMFER_MM, way(s.well_z), s.ring_outer if s.socket == "slit" else 0.0)
    # Where the way out meets the knuckle's round face the flesh would run out to a feather: it ends in a flat instead.
    flat_z = next(
        (z for z in np.linspace(-cut.radius_mm, s.well_z, 80) if _face(cut, z) - max(well, way(z)) >= wall_mm), s.well_z
    )
    outer = [[0.0, end_z], [cut.cup_mm, end_z], [cut.cup_mm, flat_z]]
    if flat_z < s.well_z:
        outer.append([max(well, way(flat_z)), flat_z])
    outer.append([well, s.well_z])
    if well > s.opening + _LIP_CHAMFER_MM + 1e-6:
        outer.append([s.opening + _LIP_CHAMFER_MM, s.well_z])
    outer.append([s.opening, s.lip_z - _LIP_LAND_MM])
    band = arc(s.seat, -s.lip_deg, BAND_TOP_DEG, "outside", 0.5 * CHORD_MM)
    top = arc(dome, BAND_TOP_DEG, 90.0, "outside", 0.5 * CHORD_MM)
    top[-1, 0] = 0.0
    tools = [turned(np.concatenate([np.array(outer), band, top]), "outside", 0.5 * CHORD_MM)]
    if s.socket == "slit":
        ring = subtract(
            cylinder(s.ring_outer, s.well_z - 0.05, s.root_z, "outside"),
            [sphere(s.finger_outer), cylinder(s.finger_outer * 0.999, s.well_z - 1.0, 0.0)],
            "ring around the fingers",
        )
        tools.append(ring)
        for i in range(_FINGERS // 2):
            tools.append(_blade(s.ring_outer - 0.02, s.slit, s.well_z - 0.05, s.root_z, 180.0 * (2 * i + 1) / _FINGERS))
    elif s.socket == "split":
        tools.append(_blade(limb_mm, s.slit, end_z, s.root_z, 0.0))
        # A round end keeps the slit from tearing on.
        eye = cylinder(s.slit, -limb_mm, limb_mm, "outside").transformed(_lying_along_x(s.root_z))
        tools.append(eye)
    return union(tools, "socket")


def _face(cut: Cut, z: float) -> float:
    """Radius of the knuckle's face at a height."""
    return math.sqrt(max(cut.radius_mm**2 - z * z, 0.0))


def _blade(half_x: float, thickness: float, z0: float, z1: float, turn_deg: float) -> Solid:
    c, n = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    turn = np.array([[c, -n, 0, 0], [n, c, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], dtype=np.float64)
    return box((-half_x, -thickness / 2, z0), (half_x, thickness / 2, z1)).transformed(turn)


def _lying_along_x(z: float) -> np.ndarray:
    return np.array([[0, 0, 1, 0], [0, 1, 0, 0], [-1, 0, 0, z], [0, 0, 0, 1]], dtype=np.float64)
