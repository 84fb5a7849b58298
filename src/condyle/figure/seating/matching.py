"""Where along a limb its joints are: a typical limb's run of sections, stretched piece by piece until it fits.

Each limb has three pieces (hand, forearm, upper arm; foot, shin, thigh) between four marks, of which the tip and the
root are given. Both inner marks are moved over a grid; for each pair the typical run (norms.py) is laid on the limb
piece by piece and compared with what was measured: the logarithm of the radius (the limb's own scale taken out), the
flatness of the section, the way's direction against the limb's, and how it leans to the front (calves lie behind,
kneecaps before). The mismatch is judged by a heavy-tailed law, so one odd
feature (a cuff, a bracelet) does not decide; proportions come in as a weak prior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from condyle.figure.seating.norms import TypicalLimb
from condyle.figure.seating.sections import Profile
from condyle.geometry.mesh import FloatArray

_STEP = 0.0085  # of the limb's length, between tried marks
_TEMPER = 5.0  # neighbouring stations and the three measures say nearly the same: the sum counts for so much less
_TAIL = 3.0
_SLACK = np.array([0.08, 0.12, 0.09, 0.08])  # other bodies differ more than those the norms are from


@dataclass(frozen=True)
class Marks:
    """Lengths along the limb, mm, of its two inner joints, with their standard deviations."""

    first: float
    second: float
    first_sd: float
    second_sd: float
    mismatch: float


def measures(line: Profile, height: float) -> FloatArray:
    """What is compared, (n, 4): log radius over height, log flatness, cosine of the way's turn from the limb's root
    half, and the way's lean to the front (sine) against the limb's chord.
    """
    pitch = float(line.s[-1]) / max(len(line.s) - 1, 1)
    sigma = 0.008 * height / pitch
    radius = ndimage.gaussian_filter1d(np.log(np.maximum(line.radius, 1e-4 * height) / height), sigma, mode="nearest")
    flat = np.log(np.maximum(line.wide, 1e-9) / np.maximum(line.narrow, 1e-9))
    flat = ndimage.gaussian_filter1d(flat, sigma, mode="nearest")
    chord = line.points[-1] - line.points[len(line.s) // 2]
    chord = chord / max(float(np.linalg.norm(chord)), 1e-9)
    steps = np.gradient(ndimage.gaussian_filter1d(line.points, 1.5 * sigma, axis=0, mode="nearest"), axis=0)
    steps /= np.maximum(np.linalg.norm(steps, axis=1, keepdims=True), 1e-9)
    whole = line.points[-1] - line.points[len(line.s) // 4]
    whole = whole / max(float(np.linalg.norm(whole)), 1e-9)
    front = np.array([1.0, 0.0, 0.0]) - whole * whole[0]
    front /= max(float(np.linalg.norm(front)), 1e-9)
    return np.stack([radius, flat, steps @ chord, steps @ front], axis=1)


def match(line: Profile, root_s: float, height: float, typical: TypicalLimb) -> Marks:
    """The inner marks of a limb whose root lies at ``root_s`` along it (may lie past its last station)."""
    values = measures(line, height)
    shares = np.arange(0.08, 0.60, _STEP)
    splits = np.arange(0.25, 0.78, _STEP)
    first, split = (g.ravel() for g in np.meshgrid(shares, splits, indexing="ij"))
    second = first + split * (1.0 - first)
    tau = typical.tau
    knots = np.stack([np.zeros_like(first), first, second, np.ones_like(first)], axis=1)
    piece = np.minimum(tau.astype(int), 2)
    at = (knots[:, piece] + (tau - piece) * (knots[:, piece + 1] - knots[:, piece])) * root_s  # (pairs, stations)
    seen = at <= float(line.s[-1])
    cost = np.zeros(len(first))
    for k in range(values.shape[1]):
        gap = np.interp(at, line.s, values[:, k]) - typical.mean[:, k]
        if k == 0:
            # The limb's own stoutness: the median gap.
            gap = gap - np.nanmedian(np.where(seen, gap, np.nan), axis=1, keepdims=True)
        u2 = (gap / np.hypot(typical.spread[:, k], _SLACK[k])) ** 2
        lost = _TAIL * np.log1p(u2 / _TAIL)
        cost += (lost * seen).sum(axis=1) / seen.sum(axis=1) * len(tau)
    cost = cost / _TEMPER
    cost += ((first - typical.first_share) / typical.first_sd) ** 2
    cost += ((split - typical.split_share) / typical.split_sd) ** 2
    weight = np.exp(-0.5 * (cost - cost.min()))
    weight /= weight.sum()
    best = int(np.argmin(cost))
    # The mean over the neighbourhood of the best pair: smooth, and not drawn to a second, lesser valley.
    near = weight * np.exp(-0.5 * (((first - first[best]) / 0.03) ** 2 + ((second - second[best]) / 0.04) ** 2))
    near /= near.sum()
    m1, m2 = float(near @ first), float(near @ second)
    sd1 = float(np.sqrt(weight @ (first - m1) ** 2))
    sd2 = float(np.sqrt(weight @ (second - m2) ** 2))
    return Marks(m1 * root_s, m2 * root_s, sd1 * root_s, sd2 * root_s, float(cost[best]))
