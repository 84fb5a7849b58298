"""Turned-wood forms: spindles with a bead at the near end, eggs, flattened paddles, barrels for trunks.

Each form is a profile turned about an axis, as on a lathe; some are flattened afterwards. The bone that a joint carries
has the bead about the joint's centre; the bone before it ends a little slimmer inside that bead, so that no two turned
faces lie in one another. Profiles are (radius, height) in mm, heights along the bone from its near joint.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.geometry.frame import frame_from_zx, unit
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import sphere, turned
from condyle.geometry.solid import Solid, union

SLIMMER = 0.92
"""A bone's far end over the radius of the bead that it ends in."""

_BOSS = 0.74
_CHORD_MM = 0.02
_STEP_MM = 0.7
_TENT_SLOPE = 0.5
_SWELL = 0.07
_TENON_MM = 1.0
_INSET_MM = 0.25


@dataclass(frozen=True)
class End:
    """One joint as a form sees it.

    base_mm   radius of the flesh by proportion
    radius_mm radius that the joint's hardware needs; never below base_mm
    flat      a swivel or a peg: the two bones meet on a plane instead of a bead
    cove      how slim the limb leaves the bead, over the bead's radius
    """

    base_mm: float
    radius_mm: float
    flat: bool
    cove: float = 0.74


def least_length_mm(near: End) -> float:
    """How far apart two joints of a limb must be, so that its halves begin where the near joint's bead ends."""
    # The middle is a point of the form itself, and must lie past the bead.
    return 1.0 if near.flat else 2.0 * (math.sqrt(1.0 - near.cove**2) * near.radius_mm + 0.11)


def spindle(length_mm: float, near: End, far: End, half: int = 0) -> Solid:
    """A limb along z from its near joint at z = 0 to its far joint at ``length_mm``.

    half  0 for all of it; -1 for the near half by itself, +1 for the far half
    """
    middle = 0.5 * length_mm
    z = np.linspace(0.0, length_mm, max(12, 2 * math.ceil(0.5 * length_mm / _STEP_MM)) + 1)
    r = _taper(z, length_mm, near, far)
    start = _flat_start(near) if near.flat else _bead(near)
    if near.flat:
        body = np.stack([r, z], axis=1)
    else:
        foot = math.sqrt(1.0 - near.cove**2) * near.radius_mm
        keep = z > foot + 0.1
        # A deep cove opens slowly, a shallow one at once.
        open_ = np.sqrt(np.clip((z - foot) / (1.7 * (1.0 - near.cove) * near.radius_mm), 0.0, 1.0))
        slim = np.minimum(r, near.cove * near.radius_mm) + (r - np.minimum(r, near.cove * near.radius_mm)) * open_
        body = np.stack([slim[keep], z[keep]], axis=1)
    stop = _tenon(length_mm, far) if far.flat else [[SLIMMER * far.radius_mm, length_mm], [0.0, length_mm]]
    if far.flat:
        body = body[body[:, 1] < length_mm - 0.2]
    if half < 0:
        body = body[body[:, 1] <= middle + 1e-9]
        stop = [[0.0, float(body[-1, 1])]]
    if half > 0:
        body = body[body[:, 1] >= middle - 1e-9]
        start = np.array([[0.0, float(body[0, 1])]])
    return turned(np.concatenate([start, body, np.array(stop)]), "inside", _CHORD_MM)


def _taper(z: FloatArray, length: float, near: End, far: End) -> FloatArray:
    """Radius along a limb: an even taper with a slight swelling, wider only where a joint's hardware needs it."""
    s = z / length
    ends = [near.base_mm * (1.0 if near.flat else SLIMMER), far.base_mm * (1.0 if far.flat else SLIMMER)]
    base = ends[0] + (ends[1] - ends[0]) * s
    base = base * (1.0 + _SWELL * np.sin(math.pi * np.clip(s, 0.0, 1.0)) ** 2)
    for end, away in ((near, z), (far, length - z)):
        if end.radius_mm > end.base_mm:
            wide = end.radius_mm * (1.0 if end.flat else SLIMMER)
            base = np.maximum(base, wide - _TENT_SLOPE * np.maximum(0.0, away - 1.3 * end.radius_mm))
    return np.asarray(base)


def _bead(end: End) -> FloatArray:
    """The lower part of a ball about the near joint, up to where the limb leaves it in a cove."""
    top = math.degrees(math.acos(end.cove)) - 1.0
    angles = np.radians(np.linspace(-90.0, top, 24))
    ball = end.radius_mm * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    ball[0, 0] = 0.0
    # A cove, as a gouge leaves it, before the limb goes on: the bead turns freely in what holds it.
    return np.concatenate([ball, [[end.cove * end.radius_mm, math.sqrt(1.0 - end.cove**2) * end.radius_mm]]])


def _flat_start(end: End) -> FloatArray:
    return np.array([[0.0, -0.1], [end.radius_mm, -0.1]])


def _tenon(length: float, end: End) -> list[list[float]]:
    r = end.radius_mm - _INSET_MM
    return [[end.radius_mm, length - 0.2], [r, length - 0.2], [r, length + _TENON_MM], [0.0, length + _TENON_MM]]


def egg(length_mm: float, near: End, widest_mm: float, flat: float = 1.0, full: float = 0.16) -> Solid:
    """A head or a hand along z: a bead about the near joint, then an egg.

    flat  the depth along x over the width, 1 for a round egg; the bead stays round
    full  how much thicker the egg is towards its tip; below 0 it is pointed there
    """
    start = 0.35 * near.radius_mm
    t = np.linspace(0.0, math.pi, 40)
    # An egg's outline: an ellipse whose widest place is moved towards one end.
    z = start + (length_mm - start) * 0.5 * (1.0 - np.cos(t))
    r = widest_mm * np.sin(t) * (1.0 - full * np.cos(t))
    r[0] = r[-1] = 0.0
    body = turned(np.stack([r, z], axis=1), "inside", _CHORD_MM)
    if flat != 1.0:
        body = body.transformed(np.diag([flat, 1.0, 1.0, 1.0]))
    return union([sphere(near.radius_mm), body], "egg")


def stub(length_mm: float, near: End, slim: float = 0.55) -> Solid:
    """A bone that simply ends: a taper to a round tip (``slim`` over the bead), a tail or a tentacle's last piece."""
    tip = slim * near.base_mm
    angles = np.radians(np.linspace(15.0, 90.0, 14))
    ball = np.stack([tip * np.cos(angles), length_mm - tip + tip * np.sin(angles)], axis=1)
    ball[-1, 0] = 0.0
    start = _flat_start(near) if near.flat else _bead(near)
    rows = [start]
    if near.flat:
        rows.append(np.array([[near.radius_mm, 0.3 * (length_mm - tip)]]))
    return turned(np.concatenate([*rows, ball]), "inside", _CHORD_MM)


def barrel(length_mm: float, near: End | None, far: End, belly_mm: float, belly_at: float, flat: float) -> Solid:
    """A trunk along z, from its near joint (None for the root, whose end is rounded) to its far one.

    belly_mm  the greatest radius, at the share ``belly_at`` of the length
    flat      depth along y over the width along x
    """
    z0 = 0.0 if near is not None else -0.75 * belly_mm
    z = np.linspace(z0, length_mm, 48)
    first = SLIMMER * near.base_mm if near is not None else 0.0
    last = SLIMMER * far.base_mm
    middle = z0 + belly_at * (length_mm - z0)
    low = np.clip((z - z0) / max(middle - z0, 1e-6), 0.0, 1.0)
    high = np.clip((z - middle) / max(length_mm - middle, 1e-6), 0.0, 1.0)
    # Quarter-ellipses to the belly: full shoulders, and a rounded bottom where no joint is. An even wave to a wider end.
    rise = np.sqrt(np.clip(1.0 - (1.0 - low) ** 2, 0.0, 1.0)) if belly_mm >= first else _wave(low)
    fall = np.sqrt(np.clip(1.0 - high**2, 0.0, 1.0)) ** 1.2 if belly_mm >= last else 1.0 - _wave(high)
    r = np.where(z <= middle, first + (belly_mm - first) * rise, last + (belly_mm - last) * fall)
    profile = np.stack([r, z], axis=1)
    profile = (
        np.concatenate([[[0.0, z0]], profile, [[0.0, length_mm]]])
        if near is not None
        else np.concatenate([[[0.0, z0]], profile[1:], [[0.0, length_mm]]])
    )
    body = turned(profile, "inside", _CHORD_MM).transformed(np.diag([1.0, flat, 1.0, 1.0]))
    return union([body, neck(far, length_mm)], "trunk")


def _wave(s: FloatArray) -> FloatArray:
    """0 to 1 without a kink at either end."""
    return np.asarray(0.5 * (1.0 - np.cos(math.pi * s)))


def neck(far: End, length_mm: float) -> Solid:
    """A round end for the next bone's bead: the trunk may be flat, the joint's flesh is not."""
    r = SLIMMER * far.radius_mm
    return turned(
        np.array(
            [
                [0.0, length_mm - 1.6 * r],
                [0.7 * r, length_mm - 1.6 * r],
                [r, length_mm - 0.9 * r],
                [r, length_mm],
                [0.0, length_mm],
            ]
        ),
        "inside",
        _CHORD_MM,
    )


def boss(length_mm: float, far: End) -> Solid:
    """A short turned cone from within a trunk to a joint beside it, along z."""
    r = _BOSS * far.radius_mm
    return turned(
        np.array([[0.0, 0.0], [1.1 * r, 0.0], [r, 0.6 * length_mm], [r, length_mm], [0.0, length_mm]]),
        "inside",
        _CHORD_MM,
    )


def foot(ahead_mm: float, back_mm: float, rise_mm: float, near: End) -> Solid:
    """A foot in a frame whose z is up and x ahead, the joint at the origin: half an egg on a flat sole, and the bead.

    ``rise_mm`` is the joint's height over the sole.
    """
    total = ahead_mm + back_mm
    widest = min(0.235 * total, 0.9 * rise_mm / 1.25) if rise_mm > 0.0 else 0.2 * total
    t = np.linspace(0.0, math.pi, 40)
    along = 0.5 * total * (1.0 - np.cos(t))
    r = widest * np.sin(t) ** 0.8 * (1.0 - 0.10 * np.cos(t))
    r[0] = r[-1] = 0.0
    body = turned(np.stack([r, along], axis=1), "inside", _CHORD_MM)
    # z of the turned form becomes x ahead.
    lay = np.array(
        [[0, 0, 1, -back_mm], [0, 1, 0, 0], [-1, 0, 0, -rise_mm + 0.25 * widest], [0, 0, 0, 1]], dtype=np.float64
    )
    whole = union([body.transformed(lay), sphere(near.radius_mm)], "foot")
    return whole.trimmed((0.0, 0.0, 1.0), -rise_mm)


def paw(ahead_mm: float, rise_mm: float, near: End) -> Solid:
    """A paw below a joint that stands high, in the foot's frame: a tapering shank down to half an egg on its sole.

    ``ahead_mm`` is how far its toes reach before the joint.
    """
    long = 2.7 * near.base_mm
    widest = 0.30 * long
    t = np.linspace(0.0, math.pi, 40)
    r = widest * np.sin(t) ** 0.8 * (1.0 - 0.10 * np.cos(t))
    r[0] = r[-1] = 0.0
    body = turned(np.stack([r, 0.5 * long * (1.0 - np.cos(t))], axis=1), "inside", _CHORD_MM)
    lay = np.array(
        [[0, 0, 1, ahead_mm - long], [0, 1, 0, 0], [-1, 0, 0, 0.5 * widest - rise_mm], [0, 0, 0, 1]], dtype=np.float64
    )
    foot_at = np.array([ahead_mm - 0.55 * long, 0.0, 0.5 * widest - rise_mm])
    length = float(np.linalg.norm(foot_at))
    shank = placed(stub(length, near, 0.8), np.zeros(3), foot_at, np.array([0.0, 1.0, 0.0]))
    return union([body.transformed(lay), shank], "paw").trimmed((0.0, 0.0, 1.0), -rise_mm)


def placed(solid: Solid, origin: FloatArray, z: FloatArray, x_hint: FloatArray) -> Solid:
    """A form put at a place, its z along a direction and its x as near to another as that allows."""
    zu = unit(z)
    if abs(float(unit(x_hint) @ zu)) > 0.98:
        x_hint = np.array([0.0, 1.0, 0.0]) if abs(float(zu[1])) < 0.9 else np.array([1.0, 0.0, 0.0])
    return solid.transformed(frame_from_zx(origin, zu, x_hint).matrix)


def joined(solids: Sequence[Solid], what: str) -> Solid:
    """Several forms as one body."""
    return union(list(solids), what)
