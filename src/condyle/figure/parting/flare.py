"""Flesh added where the limb is too thin for its hardware, when the maker allows it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condyle.figure.parting.plan import Plan
from condyle.finding import Finding
from condyle.geometry.primitives import turned
from condyle.geometry.solid import Solid, union
from condyle.joints.design import Need
from condyle.joints.stock import Stock


def flared(sculpt: Solid, plans: Sequence[Plan], stock: Stock) -> tuple[Solid, tuple[Finding, ...]]:
    """The sculpt with a turned swelling around each joint whose needs go beyond the limb, and what it added.

    Swellings run out over twice their height, so that they read as flesh and not as a collar.
    """
    swellings: list[Solid] = []
    findings: list[Finding] = []
    for plan in plans:
        if plan.flare_mm <= 0.0:
            continue
        for half in plan.halves:
            swellings.append(_swelling(half.needs, plan.flare_mm).transformed(half.frame.matrix))
        x, y, z = (float(v) for v in plan.joint.frame.origin)
        findings.append(
            Finding(
                "part.flare",
                plan.joint.name,
                "caution",
                measured=plan.flare_mm,
                target=0.0,
                unit="mm",
                place=(x, y, z),
                advice="flesh was added because the limb is thinner than its hardware; a smaller size would need less",
            )
        )
    if not swellings:
        return sculpt, ()
    return union([sculpt, *swellings], "sculpt with flares"), tuple(findings)


def _swelling(needs: tuple[Need, ...], flare_mm: float) -> Solid:
    low, high = min(n.z0 for n in needs), max(n.z1 for n in needs)
    z = np.linspace(low - 4 * flare_mm, high + 4 * flare_mm, 25)
    r = np.zeros(len(z))
    for need in needs:
        half = need.half_x if need.rounded else float(np.hypot(need.half_x, need.half_y))
        beyond = np.maximum(np.maximum(need.z0 - z, z - need.z1), 0.0)
        r = np.maximum(r, half - 0.5 * beyond)
    keep = r > 0.05
    profile = np.column_stack([r[keep], z[keep]])
    return turned(np.concatenate([[[0.0, profile[0, 1]]], profile, [[0.0, profile[-1, 1]]]]), "outside")
