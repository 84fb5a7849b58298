"""What the diver wears over the suit: weight belt, boots with heavy soles, gloves with cuffs."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numba import njit

from condyle.demo.clay import bell, box, drum, ellipsoid, noise, ramp, rivet, round_cone, soft_max, soft_min
from condyle.demo.diver_metal import BRASS, LEAD, LEATHER, RUBBER
from condyle.demo.diver_suit import trunk
from condyle.demo.rig import DIVER
from condyle.geometry.frame import unit

_A = tuple(DIVER.left["ankle"])
_W = tuple(DIVER.left["wrist"])

BELT_Z = 81.5


def _block_places() -> np.ndarray:
    """Middles and outward directions (x, y) of the belt's lead blocks on the left side: (n, 4)."""
    rows = []
    for turn in (36.0, 68.0, 99.0, 130.0, 161.0):
        a = np.radians(turn)
        x, y = 13.6 * np.cos(a) - 0.4, 17.4 * np.sin(a)
        n = unit(np.array([np.cos(a) / 13.6, np.sin(a) / 17.4]))
        rows.append((x, y, n[0], n[1]))
    return np.array(rows)


_BLOCKS = _block_places()


@njit(cache=True)
def belt(x, y, z):
    """Distance and what it is made of."""
    h = z - BELT_Z
    if abs(h) > 9.0:
        return abs(h) - 4.5, LEATHER
    under = trunk(x, y, z)
    if under > 9.0:
        return under - 4.0, LEATHER
    ay = abs(y)
    d = soft_max(under - 1.25, abs(h) - 2.0, 0.5)
    stitch = bell(abs(h) - 1.45, 0.25) * ramp(math.cos(2.0 * math.pi * math.atan2(y, x) * 15.0 / 1.5), -0.2, 0.6)
    d -= 0.12 * stitch
    made_of = LEATHER
    for b in _BLOCKS:
        u = (x - b[0]) * b[2] + (ay - b[1]) * b[3]
        v = (ay - b[1]) * b[2] - (x - b[0]) * b[3]
        # Cast slabs: thicker below, two rivets each, no two quite alike.
        block = box(u - 0.9, v, h + 0.4, 1.75 - 0.08 * h, 3.35, 3.7, 0.75)
        block -= 0.10 * noise(x * 0.5, y * 0.5, z * 0.5 + 2.0)
        block -= rivet(math.sqrt((abs(h + 0.4) - 2.1) ** 2 + v * v), 0.95, 0.6) if u > 0.0 else 0.0
        if block < d:
            made_of = LEAD
        d = soft_min(d, block, 0.35)
    if x > 0.0:
        plate = box(x - 14.2, y, h, 1.1, 4.4, 3.1, 0.6)
        plate = max(plate, -box(x - 15.6, abs(y) - 1.9, h, 1.0, 1.1, 1.7, 0.3))
        if plate < d:
            made_of = BRASS
        d = soft_min(d, plate, 0.3)
    return d, made_of


@njit(cache=True)
def boots(x, y, z):
    """Distance and what it is made of. The feet turn out by eight degrees about the ankles."""
    ay = abs(y)
    qx, qy = x - _A[0], ay - _A[1]
    fx, fy = 0.990 * qx + 0.139 * qy, 0.990 * qy - 0.139 * qx
    if z > 38.0:
        return z - 32.0, LEATHER
    # Sole: a slab with the outline of a foot, broad at the ball, cut in at the instep.
    half = 6.4 + 0.75 * bell(fx - 9.5, 6.0) - 0.7 * bell(fx - 0.5, 4.0)
    end = 13.3 if fx > 4.0 else -5.0
    reach = max(fx - end, 0.0) if fx > 4.0 else max(end - fx, 0.0)
    outline = math.sqrt(reach * reach + fy * fy) - half
    far = soft_max(outline - 6.0, z - 34.0, 1.0)
    if far > 8.0:
        return far, LEATHER
    sole = soft_max(outline - 0.8, z - 4.2, 0.5)
    groove = bell(z - 2.5, 0.35)
    sole += 0.25 * groove
    made_of = LEAD
    upper = ellipsoid(fx - 10.2, fy, z - 4.6, 9.0, 6.7, 7.2)
    toe = upper
    upper = soft_min(upper, round_cone(fx, fy, z, 11.0, 0.0, 5.0, 5.6, 0.5, 0.0, 10.0, 7.0), 3.0)
    upper = soft_min(upper, ellipsoid(fx + 3.6, fy, z - 7.0, 7.6, 6.4, 8.6), 2.5)
    shaft = round_cone(fx, fy, z, -0.3, 0.0, 13.0, 6.9, -0.3, 0.0, 32.5, 7.3)
    shaft = soft_max(shaft, z - 27.2, 1.0)
    upper = soft_min(upper, shaft, 2.5)
    collar = drum(math.sqrt((fx + 0.3) ** 2 + fy * fy), z - 26.4, 8.8, 1.5, 1.2)
    upper = soft_min(upper, collar, 0.6)
    crease = 0.5 * bell(fx - 5.0, 4.0) * (abs(math.sin(fx * 1.25 + 0.9 * noise(fx * 0.2, y * 0.2, z * 0.2))) - 0.6)
    round_ankle = z * 0.95 + 0.12 * fx + 1.2 * noise(x * 0.2, y * 0.2, 3.0)
    crease += 0.35 * bell(z - 15.0, 5.0) * (abs(math.sin(round_ankle)) - 0.6)
    upper -= crease + 0.10 * noise(x * 0.45, y * 0.45, z * 0.45) + 0.04 * noise(x * 1.7, y * 1.7, z * 1.7)
    # Two straps with buckles on the outer side, and lacing up the front between them.
    strap_a = bell(0.81 * fx - 0.58 * z + 0.4, 1.5) * (1.0 - ramp(z, 13.0, 14.0))
    strap_b = bell(z - 20.6, 1.5)
    upper -= 0.75 * ramp(strap_a, 0.25, 0.5) + 0.75 * ramp(strap_b, 0.25, 0.5)
    lace = bell(abs(fy) - 1.5, 0.42) + bell(math.sin((z + fx * -0.2 + fy * 0.9) * 1.45), 0.4)
    lace += bell(math.sin((z + fx * -0.2 - fy * 0.9) * 1.45), 0.4)
    front = ramp(fx, 3.5, 4.5) * (1.0 - ramp(abs(fy), 1.8, 2.1)) * ramp(z, 14.2, 14.8) * (1.0 - ramp(z, 24.0, 24.5))
    upper -= 0.5 * min(lace, 1.0) * front * (1.0 - ramp(strap_b, 0.2, 0.5))
    buckle = box(fx - 1.0, fy - 7.9, z - 20.6, 1.9, 0.95, 2.0, 0.4)
    buckle = max(buckle, -box(fx - 1.0, fy - 8.9, z - 20.6, 1.0, 0.6, 1.1, 0.2))
    cap = toe - 0.75
    cap = soft_max(cap, 11.0 - fx - 0.10 * fy * fy * 0.4, 0.4)
    cap -= rivet(math.sqrt((fx - 12.4) ** 2 + (abs(fy) - 2.6) ** 2), 0.85, 0.45)
    boot = soft_min(upper, cap, 0.3)
    boot = soft_min(boot, buckle, 0.3)
    if boot < sole:
        made_of = LEATHER
        if cap < upper or buckle < upper:
            made_of = BRASS
    d = soft_min(boot, sole, 0.5)
    return max(d, -z), made_of


def _hand_axes() -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Left hand: along it, out of the palm (towards the body), towards the thumb (forward)."""
    f = unit(np.subtract(_W, DIVER.left["elbow"]))
    palm = unit(np.array([0.0, -1.0, 0.0]) - f * float(-f[1]))
    thumb = np.cross(f, palm)
    thumb = thumb if thumb[0] > 0 else -thumb
    return tuple(f.tolist()), tuple(palm.tolist()), tuple(thumb.tolist())


_F, _P, _T = _hand_axes()


def _finger_bones() -> np.ndarray:
    """Three phalanges a finger as round cones in hand axes (along, palm, thumb): (n, 8)."""
    rows = []
    # thumb-side place, length, spread in degrees
    for side, length, spread in ((3.75, 8.2, 1.5), (1.3, 9.2, 0.5), (-1.15, 8.7, -0.5), (-3.55, 7.1, -1.5)):
        p = np.array([9.6, 0.1, side])
        r = 1.78 if side > -3.0 else 1.6
        for share, bend, shrink in ((0.42, 14.0, 0.94), (0.33, 38.0, 0.93), (0.25, 58.0, 0.94)):
            b, s = np.radians(bend), np.radians(spread)
            q = p + length * share * np.array([np.cos(b) * np.cos(s), np.sin(b), np.cos(b) * np.sin(s)])
            rows.append((*p, r, *q, r * shrink))
            p, r = q, r * shrink
    thumb = [(3.2, 0.6, 3.6, 2.3), (6.6, 1.5, 6.6, 2.0), (9.2, 2.2, 8.9, 1.8), (11.6, 2.7, 9.6, 1.6)]
    for a, b in pairwise(thumb):
        rows.append((*a, *b))
    return np.array(rows)


_FINGERS = _finger_bones()
# Rubber gloves are made a size or two too large.
_LARGE = 1.1


@njit(cache=True)
def gloves(x, y, z):
    """Distance and what it is made of."""
    ay = abs(y)
    px, py, pz = x - _W[0], ay - _W[1], z - _W[2]
    a = px * _F[0] + py * _F[1] + pz * _F[2]
    p = px * _P[0] + py * _P[1] + pz * _P[2]
    t = px * _T[0] + py * _T[1] + pz * _T[2]
    far = math.sqrt((a - 9.0) ** 2 + p * p + t * t) - 17.0
    if far > 6.0:
        return far, RUBBER
    # Palm: a cushion, fuller at the ball of the thumb and the edge of the hand.
    a, p, t = a / _LARGE, p / _LARGE, t / _LARGE
    d = box(a - 6.3, p - 0.1, t, 4.6, 2.7, 5.4, 2.4)
    d = soft_min(d, ellipsoid(a - 4.6, p - 1.2, t - 2.9, 4.2, 2.5, 2.6), 1.2)
    d = soft_min(d, ellipsoid(a - 5.0, p - 0.9, t + 3.0, 4.6, 2.3, 2.2), 1.2)
    d = soft_min(d, round_cone(a, p, t, -3.0, 0.0, 0.0, 5.3, 2.0, 0.0, 0.0, 4.6), 2.2)
    for i in range(len(_FINGERS)):
        b = _FINGERS[i]
        bone = round_cone(a, p, t, b[0], b[1], b[2], b[3], b[4], b[5], b[6], b[7])
        # A first phalanx grows out of the palm; the others only meet their neighbours in a groove.
        d = soft_min(d, bone, 1.0 if i % 3 == 0 or i >= 12 else 0.35)
    # Knuckles and the creases behind them, on the back of the hand.
    back = ramp(-p, 0.0, 1.5)
    d -= 0.35 * back * bell(a - 9.8, 1.2) * (0.5 + 0.5 * math.cos((t - 0.1) * 2.0 * math.pi / 2.45))
    d += 0.22 * back * (bell(a - 13.4, 0.35) + bell(a - 14.2, 0.35))
    d -= 0.18 * (1.0 - back) * (abs(math.sin(a * 0.9 + 0.5 * t + noise(x * 0.3, y * 0.3, z * 0.3))) - 0.6)
    d, a, p, t = d * _LARGE, a * _LARGE, p * _LARGE, t * _LARGE
    # Cuff: a flared sleeve of rubber with a rolled rim and two turns of cord.
    off = math.sqrt(p * p + t * t)
    flare = 5.55 + 0.95 * ramp(-a, -1.0, 5.0)
    cuff = soft_max(off - flare, abs(a + 1.9) - 4.1, 0.7)
    cuff -= 0.22 * (abs(math.sin(a * 1.3 + noise(x * 0.25, y * 0.25, z * 0.25 + 8.0))) - 0.6) * ramp(-a, -2.0, 1.0)
    rim = math.sqrt((off - 6.35) ** 2 + (a + 5.6) ** 2) - 0.75
    cord = math.sqrt((off - 5.5) ** 2 + (abs(a - 0.7) - 0.55) ** 2) - 0.55
    d = soft_min(d, cuff, 0.7)
    d = soft_min(d, min(rim, cord), 0.3)
    return d - 0.05 * noise(x * 0.8, y * 0.8, z * 0.8), RUBBER
