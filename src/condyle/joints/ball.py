"""Ball joint: a ball on a neck in one side, a socket with a lip in the other, both about one centre.

The socket lies in the knuckle (the rounded end), open towards the cup; the ball stands on the cup's side. What sockets there
are and how strong each is, stands in ball_shape.py; here they become solids.
"""

from __future__ import annotations

import math

import numpy as np

from condyle.geometry.primitives import CHORD_MM, arc, box, cylinder, frustum, sphere, turned
from condyle.geometry.solid import Solid, subtract, union
from condyle.joints.ball_shape import (
    BAND_TOP_DEG,
    DEPTHS,
    DOME_MM,
    JAWS,
    LEAST_PULL_N,
    LIP_CHAMFER_MM,
    LIP_LAND_MM,
    LIP_MM,
    MOST_NECK_RATIO,
    MOST_POP,
    NECK_RATIO,
    POP_SHARE,
    SIZES_MM,
    SURE_POP,
    WIDEST_NECK_RATIO,
    BallShape,
    Socket,
    as_insert,
    fingered,
    neck_share,
    shape,
    surer,
)
from condyle.joints.design import Cut, JointDesign, Need, SideTools
from condyle.joints.mechanics import friction as friction_laws
from condyle.joints.stock import Stock

__all__ = [
    "BAND_TOP_DEG",
    "DEPTHS",
    "JAWS",
    "LEAST_PULL_N",
    "LIP_MM",
    "MOST_NECK_RATIO",
    "MOST_POP",
    "NECK_RATIO",
    "POP_SHARE",
    "SIZES_MM",
    "SURE_POP",
    "WIDEST_NECK_RATIO",
    "BallShape",
    "Socket",
    "as_insert",
    "design",
    "fingered",
    "hold_nmm",
    "neck_share",
    "needs",
    "root_mm",
    "shape",
    "smallest_cut_mm",
    "surer",
    "tilt_deg",
]


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
    dome = s.seat + DOME_MM
    top = dome + 1.2 * wall if s.socket != "split" else s.root_z + wall
    beside = _beside(dome, shoulder) + 0.6 * wall
    if s.bore:
        top, beside = s.top_z + 0.8 * wall, 0.7 * s.bore + wall
    foot = cut.cup_mm + root_mm(s)
    mouth = s.ring_outer if s.socket == "slit" else s.opening + LIP_CHAMFER_MM
    return (
        # Down to where the way out has left the lip behind, the skin must not come closer than a wall.
        Need(max(s.well_z - 2.0, -0.8 * cut.radius_mm), s.lip_z, mouth + 0.8 * wall, mouth + 0.8 * wall),
        Need(s.lip_z, shoulder, across, across),
        Need(shoulder, top, beside, beside),
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
        at_edge = (LIP_LAND_MM - s.lip_z) * math.tan(t) + s.neck / math.cos(t)
        at_lip = -s.well_z * math.tan(t) + s.neck / math.cos(t)
        half = t + math.asin(min(1.0, (s.neck + 0.1) / cut.radius_mm))
        at_face = cut.radius_mm * math.sin(min(half, math.pi / 2))
        if at_edge > s.opening or at_lip > s.opening + LIP_CHAMFER_MM or at_face > mouth_mm or half > 1.4:
            break
        best = float(tilt)
    return best


def design(s: BallShape, cut: Cut, clearance_mm: float, mouth_mm: float, limb_mm: float, stock: Stock) -> JointDesign:
    """The hardware of a ball joint.

    ``mouth_mm`` is the widest mouth that leaves a wall around it at the knuckle's face; ``limb_mm`` how far the jaws'
    slit has to reach to part the whole limb.
    """
    tilt = tilt_deg(s, cut, mouth_mm)
    slits = s.slit * s.fingers
    band_height = s.ball * (math.sin(math.radians(BAND_TOP_DEG)) + math.sin(math.radians(s.lip_deg)))
    return JointDesign(
        size_mm=s.size,
        clearance_mm=clearance_mm,
        cut=cut,
        cup=SideTools(add=_stud(s, cut)),
        knuckle=SideTools(take=_socket(s, cut, tilt, limb_mm, 0.75 * stock.wall_mm)),
        bearing=sphere(s.ball + DOME_MM + max(0.0, clearance_mm) + 0.05),
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
    dome = s.seat + DOME_MM
    end_z = -cut.radius_mm - 0.6

    def way(z: float) -> float:
        return -z * math.tan(t) + (s.neck + 0.1) / math.cos(t)

    # Below the lip the fingers must be free on their outside too, so the well is as wide as the ring.
    well = max(s.opening + LIP_CHAMFER_MM, way(s.well_z), s.ring_outer if s.socket == "slit" else 0.0)
    # Where the way out meets the knuckle's round face the flesh would run out to a feather: it ends in a flat instead.
    flat_z = next(
        (z for z in np.linspace(-cut.radius_mm, s.well_z, 80) if _face(cut, z) - max(well, way(z)) >= wall_mm), s.well_z
    )
    outer = [[0.0, end_z], [cut.cup_mm, end_z], [cut.cup_mm, flat_z]]
    if flat_z < s.well_z:
        outer.append([max(well, way(flat_z)), flat_z])
    outer.append([well, s.well_z])
    if well > s.opening + LIP_CHAMFER_MM + 1e-6:
        outer.append([s.opening + LIP_CHAMFER_MM, s.well_z])
    outer.append([s.opening, s.lip_z - LIP_LAND_MM])
    band = arc(s.seat, -s.lip_deg, BAND_TOP_DEG, "outside", 0.5 * CHORD_MM)
    if s.bore:
        top = np.array([[s.bore, s.root_z], [0.0, s.top_z]])
    else:
        top = arc(dome, BAND_TOP_DEG, 90.0, "outside", 0.5 * CHORD_MM)
        top[-1, 0] = 0.0
    tools = [turned(np.concatenate([np.array(outer), band, top]), "outside", 0.5 * CHORD_MM)]
    if s.socket == "slit":
        outside = [sphere(s.finger_outer), cylinder(s.finger_outer * 0.999, s.well_z - 1.0, 0.0)]
        if s.bore:
            outside = [cylinder(s.finger_outer, s.well_z - 1.0, s.root_z + 1.0)]
        ring = subtract(
            cylinder(s.ring_outer, s.well_z - 0.05, s.root_z, "outside"), outside, "ring around the fingers"
        )
        tools.append(ring)
        for i in range(s.fingers // 2):
            turn = 180.0 * (2 * i + 1) / s.fingers
            tools.append(_blade(s.ring_outer - 0.02, s.slit, s.well_z - 0.05, s.root_z, turn))
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
