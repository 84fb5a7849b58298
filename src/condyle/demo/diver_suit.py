"""The diver's canvas suit: limbs and trunk placed by the rig, folds where cloth is pushed together, seams and weave."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

import numpy as np
from numba import njit

from condyle.demo.clay import bell, ellipsoid, noise, ramp, round_cone, soft_min
from condyle.demo.rig import DIVER

_S, _E, _W = (tuple(DIVER.left[n]) for n in ("shoulder", "elbow", "wrist"))
_H, _K, _A = (tuple(DIVER.left[n]) for n in ("hip", "knee", "ankle"))
_UPPER = tuple((np.subtract(_E, _S) / np.linalg.norm(np.subtract(_E, _S))).tolist())
_FORE = tuple((np.subtract(_W, _E) / np.linalg.norm(np.subtract(_W, _E))).tolist())
_ELBOW_S = float(np.linalg.norm(np.subtract(_E, _S)))


def _on_forearm(distance: float, sag: float) -> tuple[float, ...]:
    """A point below the elbow, hanging a little inwards and down."""
    return tuple((np.add(_E, np.multiply(_FORE, distance)) - [0.0, sag, sag]).tolist())


_SLEEVE = (*_S, 7.4, *_E, 6.7)
_FOREARM = (*_E, 6.7, *_on_forearm(16.0, 0.0), 5.6)
# Slack canvas hangs over the cuff.
_BLOUSE = (*_on_forearm(9.0, 0.6), 6.2, *_on_forearm(14.0, 0.4), 6.3)


@njit(cache=True)
def arm_along(x, ay, z):
    """Millimetres down the arm from the shoulder's centre: along the upper arm, then along the forearm."""
    s = (x - _S[0]) * _UPPER[0] + (ay - _S[1]) * _UPPER[1] + (z - _S[2]) * _UPPER[2]
    f = (x - _E[0]) * _FORE[0] + (ay - _E[1]) * _FORE[1] + (z - _E[2]) * _FORE[2]
    return min(s, _ELBOW_S) + max(f, 0.0)


@njit(cache=True)
def trunk(x, y, z):
    """Breast, waist and hips under the metal; also what the belt lies on."""
    d = ellipsoid(x, y, z - 102.0, 13.6, 19.0, 15.0)
    d = soft_min(d, ellipsoid(x, y, z - 91.0, 12.2, 15.0, 13.0), 4.0)
    return soft_min(d, ellipsoid(x + 0.4, y, z - 79.5, 12.8, 16.6, 11.5), 4.0)


@njit(cache=True)
def _ridges(phase):
    """A run of folds: broad round backs, narrow valleys; mean about zero."""
    return abs(math.sin(math.pi * phase)) - 0.64


@njit(cache=True)
def suit(x, y, z):
    """Distance to the canvas."""
    ay = abs(y)
    d = trunk(x, y, z)
    if z < 90.0:
        leg = round_cone(x, ay, z, _H[0], _H[1], _H[2], 9.1, _K[0], _K[1], _K[2], 7.8)
        shin = round_cone(x, ay, z, _K[0], _K[1], _K[2], 7.8, _A[0], _A[1], _A[2] + 10.0, 6.5)
        # Slack canvas hangs over the boot top.
        slack = round_cone(x, ay, z, _K[0] - 1.2, _K[1] + 1.3, _K[2] - 10.0, 7.3, _A[0], _A[1] + 0.1, 33.0, 8.0)
        leg = soft_min(soft_min(leg, shin, 3.0), slack, 3.0)
        d = soft_min(d, leg, 4.0)
    s = -99.0
    if ay > 12.0:
        s = arm_along(x, ay, z)
        arm = round_cone(x, ay, z, *_SLEEVE)
        fore = round_cone(x, ay, z, *_FOREARM)
        blouse = round_cone(x, ay, z, *_BLOUSE)
        arm = soft_min(soft_min(arm, fore, 2.5), blouse, 2.5)
        d = soft_min(d, arm, 3.0)
    if abs(d) > 3.0:
        return d
    return d - _cloth(x, y, ay, z, s)


@njit(cache=True)
def _cloth(x, y, ay, z, s):
    """Height of folds, seams and weave over the plain suit: sleeve, trunk and trouser blended where they meet."""
    drift = noise(x * 0.10 + 3.0, y * 0.10, z * 0.10)
    drift2 = noise(x * 0.21, y * 0.21 + 7.0, z * 0.21)
    patchy = ramp(noise(x * 0.17 + 20.0, y * 0.17, z * 0.17 + 4.0), -0.55, 0.25)
    on_arm = ramp(s, 3.0, 9.0) * ramp(ay, 16.5, 21.0)
    on_leg = ramp(-z, -79.0, -73.0)
    height = 0.35 * drift + _weave(x, y, z)
    if on_arm > 0.0:
        height += on_arm * _sleeve(x, ay, z, s, drift, drift2, patchy)
    if on_arm < 1.0 and on_leg < 1.0:
        height += (1.0 - on_arm) * (1.0 - on_leg) * _waist(x, y, z, drift, drift2, patchy)
    if on_arm < 1.0 and on_leg > 0.0:
        height += (1.0 - on_arm) * on_leg * _trouser(x, ay, z, drift, drift2, patchy)
    return height


@njit(cache=True)
def _folds(first, second, patchy):
    """Two runs of folds that cross, each strong where the other is weak."""
    return _ridges(first) * (0.3 + 0.7 * patchy) + 0.7 * _ridges(second) * (1.0 - 0.6 * patchy)


@njit(cache=True)
def _sleeve(x, ay, z, s, drift, drift2, patchy):
    front = (x - _S[0]) - 0.15 * max(s - _ELBOW_S, 0.0)
    inside = 1.0 - ramp((ay - _S[1]) * 0.71 + (z - _S[2]) * 0.70, -5.0, 4.0)
    amount = 1.05 * bell(s - _ELBOW_S, 7.5) * (0.5 + 0.5 * inside)
    amount += 0.80 * bell(s - 40.5, 4.5) + 0.65 * bell(s - 10.0, 5.0) + 0.10
    fold = amount * _folds(
        s / 4.7 + 0.7 * drift + 0.12 * drift2 + 0.07 * front, s / 6.3 - 0.6 * drift2 - 0.13 * front + 0.4, patchy
    )
    # The sleeve's seam runs along its under side.
    return fold - 0.28 * bell(front + 0.4, 0.45) * inside


@njit(cache=True)
def _trouser(x, ay, z, drift, drift2, patchy):
    back = ramp(-x, -3.0, 4.0)
    amount = 1.15 * bell(z - 46.5, 8.0) * (0.5 + 0.5 * back)
    amount += 1.0 * bell(z - 32.5, 5.0) + 0.85 * bell(z - 68.0, 7.0) + 0.12
    # Folds fall slantwise from the crotch outwards, and lie level at the knee and over the boot.
    slant = 0.22 * (ay - 8.0) * bell(z - 68.0, 9.0) * (1.6 * ramp(x, -5.0, 5.0) - 0.6)
    fold = amount * _folds(
        z / 5.2 + 0.8 * drift + 0.14 * drift2 + slant + 0.05 * x, z / 6.9 - 0.65 * drift2 - 0.09 * x + 0.12 * ay, patchy
    )
    patch = _knee_patch(x, ay, z)
    seam = bell(x + 0.5, 0.5) * ramp(ay, 15.5, 18.0)
    return fold * (1.0 - 0.45 * patch) + 0.42 * patch - 0.32 * seam


@njit(cache=True)
def _waist(x, y, z, drift, drift2, patchy):
    amount = 0.95 * bell(z - 89.5, 5.0) + 0.12 + 0.3 * bell(z - 76.0, 4.0)
    first = z / 5.0 + 0.8 * drift + 0.14 * drift2 + 0.05 * y
    return amount * _folds(first, z / 6.6 - 0.65 * drift2 - 0.08 * y + 0.1 * x, patchy)


@njit(cache=True)
def _knee_patch(x, ay, z):
    """1 on the patches sewn over the knees, 0 elsewhere, with a stitched edge between."""
    if x < 0.0:
        return 0.0
    u, v = abs(ay - _K[1]) - 3.6, abs(z - _K[2] - 0.5) - 4.6
    off = math.sqrt(max(u, 0.0) ** 2 + max(v, 0.0) ** 2) + min(max(u, v), 0.0) - 1.2
    stitch = bell(off + 0.9, 0.3) * (0.5 + 0.5 * math.cos(2.0 * math.pi * (ay + z) / 1.6))
    return (1.0 - ramp(off, -0.35, 0.25)) - 0.45 * stitch


@njit(cache=True)
def _weave(x, y, z):
    """What a tool leaves on canvas: tooth, and threads that only a fine step shows."""
    tooth = 0.07 * noise(x * 0.9, y * 0.9, z * 0.9) + 0.045 * noise(x * 2.1 + 5.0, y * 2.1, z * 2.1)
    thread = 0.028 * noise((x + z) * 3.2, (y + z) * 3.2, (y - z + x) * 3.2)
    return tooth + thread
