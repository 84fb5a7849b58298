"""From the masses that an arm held and sank under to the coefficient of friction, and to what is kept of the grip."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr

from condyle.geometry.mesh import FloatArray
from condyle.workshop.calibration.records import FrictionRecord, When
from condyle.workshop.values import Measured

TORQUE_NOISE = 0.15
"""Relative sd of a holding torque from one trial to the next. Ours, no source."""

ODD = 0.03
"""Below this chance a torque is told back as odd."""

CREEP_EXPONENT = 0.2
"""Loss of grip grows with time to this power: creep of glassy plastics follows a power law with 0.1 to 0.3 (Findley's law,
from memory). Used only where 24 hours were measured and 30 days were not."""


def friction_of(
    records: Sequence[FrictionRecord], card: Measured, eaten_mm: tuple[float, float], date: str
) -> tuple[Measured, float, tuple[str, ...]]:
    """Coefficient of friction from new joints, how much interference the printer adds (mm per side), and marks that do not
    go with the rest.

    T = µ·K·(e − c) for a drawn clearance c, e what the printer eats of it (mean and sd in ``eaten_mm``, from hole and shaft
    errors) and K from the coupon's own beams. With two or more clearances the slope gives µ whatever e is. Bayes on a grid
    of log µ and e; a torque is known to lie between what was held and what sank. K comes from beam formulas, so this µ
    is the one to use with those formulas.
    """
    spread = math.sqrt(math.log(1.0 + (card.sd / card.value) ** 2))
    log_mu = np.linspace(math.log(card.value) - 5 * spread, math.log(card.value) + 5 * spread, 161)[:, None]
    e = np.linspace(eaten_mm[0] - 4 * eaten_mm[1], eaten_mm[0] + 4 * eaten_mm[1], 121)[None, :]
    logp = -0.5 * ((log_mu - math.log(card.value)) / spread) ** 2 - 0.5 * ((e - eaten_mm[0]) / eaten_mm[1]) ** 2
    chances: list[FloatArray] = []
    for r in records:
        grip = np.maximum(e - r.drawn_mm, 1e-4)
        log_t = log_mu + math.log(r.nmm_per_mm) + np.log(grip)
        upper = np.inf if r.sank_nmm is None else math.log(max(r.sank_nmm, 1e-6))
        lower = -np.inf if not r.held_nmm else math.log(r.held_nmm)
        chance = ndtr((upper - log_t) / TORQUE_NOISE) - ndtr((lower - log_t) / TORQUE_NOISE)
        chances.append(np.maximum(chance, 0.0))
        logp = logp + np.log(0.98 * chances[-1] + 0.001)
    weight = np.exp(logp - logp.max())
    weight /= weight.sum()
    mu = np.exp(log_mu)
    value = float((weight * mu).sum())
    sd = math.sqrt(float((weight * (mu - value) ** 2).sum()))
    eaten = float((weight * e).sum())
    odd = tuple(r.mark for r, c in zip(records, chances, strict=True) if float((weight * c).sum()) < ODD)
    source = f"measured on {date}: {len(records)} joints of a friction beam"
    return Measured(round(value, 3), round(sd, 3), source), eaten, odd


def kept_share(records: Sequence[FrictionRecord], when: When, prior: Measured, date: str) -> Measured | None:
    """Share of the new torque that a joint still holds at ``when``; None where no joint was measured both times.

    Joints are told apart by plate, size and mark, each compared with itself; the prior weighs like one more joint.
    """
    ratios = []
    for after in records:
        if after.when != when:
            continue
        fresh = [r for r in records if r.when == "new" and _joint(r) == _joint(after)]
        if fresh and _middle(after) > 0 and _middle(fresh[-1]) > 0:
            ratios.append(math.log(_middle(after) / _middle(fresh[-1])))
    if not ratios:
        return None
    noise = TORQUE_NOISE * math.sqrt(2.0)
    prior_sd = max(prior.sd / prior.value, 0.05)
    a, b = 1.0 / prior_sd**2, len(ratios) / noise**2
    middle = (a * math.log(prior.value) + b * float(np.mean(ratios))) / (a + b)
    value = min(math.exp(middle), 1.2)
    return Measured(
        round(value, 3), round(value / math.sqrt(a + b), 3), f"measured on {date}: {len(ratios)} joints {when}"
    )


def thirty_days_from_one(day: Measured) -> Measured:
    """What 30 days leave, foretold from 24 hours by the power law of creep, with its doubt."""
    lost = max(0.0, 1.0 - day.value) * 30.0**CREEP_EXPONENT
    low = max(0.0, 1.0 - day.value) * 30.0**0.3
    value = max(0.05, 1.0 - lost)
    sd = math.hypot(day.sd * 30.0**CREEP_EXPONENT, low - lost)
    return Measured(round(value, 3), round(sd, 3), f"foretold from 24 hours by a power law of creep; {day.source}")


def _joint(r: FrictionRecord) -> tuple[str, int, float, str]:
    """What tells one printed joint from another."""
    return r.coupon, r.print_, r.size_mm, r.mark


def _middle(r: FrictionRecord) -> float:
    """The torque in the middle of what was held and what sank; the bound itself where there is one only."""
    if r.held_nmm is None or r.sank_nmm is None:
        return float(r.sank_nmm if r.held_nmm is None else r.held_nmm)  # type: ignore[arg-type]
    return math.sqrt(max(r.held_nmm, 0.2 * r.sank_nmm) * r.sank_nmm)
