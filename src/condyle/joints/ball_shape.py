"""The shape of a ball joint before any solid is made: its lip, what bends, how strongly it grips, and how thick its neck is.

Three sockets:
*slit* (fingers with a free ring around them, hidden inside), *split* (the whole end of the limb parted into two jaws by a
narrow slit), *plain* (a ring that only stretches; holds next to nothing in a stiff plastic, and says so). The fingers of a
slit socket end beside the ball, or are drawn out behind it, about a bore narrower than the ball: they bend more gently,
so that small balls let go before their necks break, and want more depth of flesh.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal

import numpy as np

from condyle.joints.fingers import Spring, ring_fingers
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

DEPTHS: Final = (0.7, 0.8, 0.9, 1.0)
"""How far the fingers of a slit socket may be drawn out behind the ball's middle, in ball diameters."""

NECK_RATIO: Final = 0.56
MOST_NECK_RATIO: Final = 0.66
"""Neck over ball diameter: as thin as bears what levers the ball out, for the sake of tilt, and thicker than this only
where the ball would else be levered out at more than ``MOST_POP`` of what breaks the neck."""

WIDEST_NECK_RATIO: Final = 0.76
"""The thickest neck of all: at a lip of 10° it leaves a tilt of 31°, one of 0.66 leaves 39°."""

POP_SHARE: Final = 0.4
"""A ball is to be levered out at this share of what breaks its neck across its layers: from here on a size is told sound."""

SURE_POP: Final = 0.35
"""What the neck of a sound ball is drawn to where there is flesh for its root, for a short neck bears less than a beam: on
the diver a proof by an elastic solve finds up to 1.42 times the share that the plan saw (docs/decisions/0022)."""

MOST_POP: Final = 0.5
"""A joint lets go at this share of what breaks it, at most: else its neck is thickened, its grip made gentler, or its stud
an insert."""

LEAST_PULL_N: Final = 8.0
"""A joint that comes out at less falls apart in play (common practice, no source)."""

LIP_MM: Final = 0.1
"""A lower lip is within what a desktop printer makes of it (common practice, no source)."""

DOME_MM = 0.12  # the bottom of the socket stays clear, so that grip comes from the lip's band alone
BAND_TOP_DEG = 32.0
LIP_LAND_MM = 0.12
LIP_CHAMFER_MM = 0.25
_LARGEST_LIP_DEG = 24.0
_SMALLEST_LIP_DEG = 4.0
_FINGERS, _LONG_FINGERS = 6, 4
_ROOT = 0.86  # height of the fingers' root over the centre, in seat radii
_BORE = math.cos(math.radians(BAND_TOP_DEG))  # of long fingers, in seat radii: it begins where the band ends


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
    def bore(self) -> float:
        """Radius of the bore between fingers that are drawn out behind the ball; 0 where they end beside it."""
        return _BORE * self.seat if self.socket == "slit" and self.root_z > self.seat else 0.0

    @property
    def fingers(self) -> int:
        """How many fingers or jaws stand around the ball."""
        return {"slit": _LONG_FINGERS if self.bore else _FINGERS, "split": 2, "plain": 0}[self.socket]

    @property
    def top_z(self) -> float:
        """Height at which the socket's hollow ends; the cone over a bore is no roof to be bridged."""
        return self.root_z + self.bore if self.bore else self.seat + DOME_MM

    @property
    def opening(self) -> float:
        return self.seat * math.cos(math.radians(self.lip_deg))

    @property
    def lip_z(self) -> float:
        return -self.seat * math.sin(math.radians(self.lip_deg))

    @property
    def well_z(self) -> float:
        """Height below which the way out widens."""
        return self.lip_z - LIP_LAND_MM - LIP_CHAMFER_MM


def shape(
    size_mm: float,
    socket: Socket,
    clearance_mm: float,
    limb_mm: float,
    stock: Stock,
    jaw: float = 1.4,
    depth: float = 0.0,
    *,
    protect: bool = True,
) -> BallShape | None:
    """The shape of a ball joint whose lip strains no more than the material takes when it is snapped in.

    ``limb_mm`` is the inscribed radius of the limb around the socket (jaws of a split socket are that thick), ``jaw`` the
    height of the jaws' root over the centre, in ball diameters, ``depth`` the same of a slit socket's fingers, 0 where they
    end beside the ball. None when no lip of at least 4° can be passed at that strain: such a ball would simply fall out.

    The lip is the highest that the strain allows. Where the ball would then be levered out at more than half of what breaks
    its neck, and ``protect``, the neck goes up to ``WIDEST_NECK_RATIO``; where that is not enough the lip is lowered, as
    long as it is ``LIP_MM`` high and holds 8 N. Where neither does, both stay as they were.
    """
    end = depth * size_mm if depth else _ROOT * (size_mm / 2.0 + clearance_mm)
    root_z = {"slit": end, "split": jaw * size_mm, "plain": size_mm / 2.0}[socket]
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

    def grip(lip: float, give: float, fingers: Spring | None) -> tuple[float, float]:
        stiff = fingers.count * fingers.n_per_mm if fingers else _ring_stiffness(ball, give, limb_mm, stock)
        passing = stiff * _passing_mm(size_mm, lip, stock.friction, clearance_mm)
        return passing, pry_moment_nmm(passing, 2.0 * (ball - give))

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
    passing, pry = grip(lip, undercut, spring)
    neck, share = _neck(size_mm, pry, stock.across_mpa, stock, MOST_NECK_RATIO)
    if protect and share > MOST_POP and socket != "plain":
        for gentler in lips[low::-1]:
            give, bent, fingers = at(float(gentler))
            force, moment = grip(float(gentler), give, fingers)
            if gentler < lip and (give < LIP_MM or force < LEAST_PULL_N):
                break
            thick, told = _neck(size_mm, moment, stock.across_mpa, stock, WIDEST_NECK_RATIO, MOST_POP)
            if told <= MOST_POP:
                lip, undercut, strain, spring = float(gentler), give, bent, fingers
                passing, neck, share = force, thick, told
                break
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


def surer(s: BallShape, stock: Stock) -> tuple[BallShape, ...]:
    """The same ball on thicker necks, thickest first: up to one that takes ``SURE_POP`` only, so that a proof finds it sound
    where it is too short for a beam. Nothing for one that is so already, or that breaks first anyhow."""
    if s.socket == "plain" or not SURE_POP < s.pop_share <= MOST_POP:
        return ()
    pry = pry_moment_nmm(s.passing_n, 2.0 * (s.ball - s.undercut))
    most, _ = _neck(s.size, pry, stock.across_mpa, stock, WIDEST_NECK_RATIO, SURE_POP)
    necks = np.arange(most, 2.0 * s.neck + 1e-9, -0.02 * s.size)
    return tuple(
        replace(s, neck=0.5 * float(n), pop_share=neck_share(pry, s.size, float(n), stock.across_mpa, stock))
        for n in necks
    )


def fingered(size_mm: float, clearance_mm: float, stock: Stock) -> BallShape | None:
    """The ball of a size in fingers that lets go before its neck breaks: beside it, else drawn out behind it.

    Of long fingers those with the highest lip that hold 8 N; where every neck breaks first, the same of these. None where
    neither short nor long ones are to be had.
    """
    short = shape(size_mm, "slit", clearance_mm, 0.0, stock)
    if short is not None and short.pop_share <= MOST_POP:
        return short
    long = [shape(size_mm, "slit", clearance_mm, 0.0, stock, depth=d) for d in DEPTHS]
    held = [s for s in long if s is not None and s.passing_n >= LEAST_PULL_N]
    return max(held, key=lambda s: (s.pop_share <= MOST_POP, s.undercut), default=short)


def neck_share(pry_nmm: float, size_mm: float, neck_mm: float, strength_mpa: float, stock: Stock) -> float:
    """The moment that levers a ball out over what breaks its neck (DIAMETERS): a round bar with the corner at the ball."""
    notch = felt_notch(shoulder_notch(size_mm, neck_mm, stock.fillet_mm), stock.notch)
    return pry_nmm / bending_nmm(round_bar(neck_mm), strength_mpa, notch)


def _neck(
    size_mm: float, pry_nmm: float, strength_mpa: float, stock: Stock, widest: float, aim: float = POP_SHARE
) -> tuple[float, float]:
    """The thinnest neck (DIAMETER) from ``NECK_RATIO`` to ``widest`` that outlives its ball's being levered out, and the
    share that this takes of what breaks it."""
    share, neck = math.inf, 0.0
    for ratio in np.arange(NECK_RATIO, widest + 1e-9, 0.02):
        neck = float(ratio) * size_mm
        share = neck_share(pry_nmm, size_mm, neck, strength_mpa, stock)
        if share <= aim:
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
    above, long = z > seat * math.sin(math.radians(BAND_TOP_DEG)), socket == "slit" and root_z > seat
    hollow = np.where(above, seat + DOME_MM, seat)
    inner = np.sqrt(np.maximum(hollow**2 - z**2, (0.5 * slit) ** 2))
    if long:
        inner = np.where(above, _BORE * seat, inner)
        outer = np.full(24, finger_outer)
    elif socket == "slit":
        outer = np.sqrt(finger_outer**2 - np.maximum(z, 0.0) ** 2)
    else:
        outer = np.full(24, max(limb_mm, seat + stock.wall_mm))
    return ring_fingers(
        inner,
        outer,
        float(z[0] - z[-1]),
        slit,
        2 if socket == "split" else (_LONG_FINGERS if long else _FINGERS),
        stock.modulus_mpa,
    )


def _ring_stiffness(ball: float, undercut: float, limb: float, stock: Stock) -> float:
    """Radial force over radial give of a lip that stretches as a whole: annular snap, elastic tube, rigid ball."""
    opening = ball - undercut
    factor = snap.tube_factor(2 * opening, 2 * max(limb, 1.2 * opening), stock.poisson)
    return snap.annular_force_n(2 * undercut, 2 * opening, stock.modulus_mpa, factor) / undercut


def as_insert(s: BallShape, stock: Stock) -> BallShape:
    """The same ball on a stud that is a part of its own and printed lying, so that its lines run along the neck.

    The neck is the thinnest that the ball does not break when it is levered out; where none is, the thinnest of all: what
    breaks first is then the stud, and nothing that was sculpted. ``pop_share`` is that of such a neck.
    """
    pry = pry_moment_nmm(s.passing_n, 2.0 * (s.ball - s.undercut))
    neck, share = _neck(s.size, pry, stock.yield_mpa, stock, MOST_NECK_RATIO)
    if share > MOST_POP:
        neck = NECK_RATIO * s.size
        share = neck_share(pry, s.size, neck, stock.yield_mpa, stock)
    return replace(s, neck=0.5 * neck, pop_share=share)
