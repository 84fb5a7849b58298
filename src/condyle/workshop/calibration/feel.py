"""From the ladders of one family and size to its fit under given conditions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.errors import InputError
from condyle.workshop.calibration.order import order_of
from condyle.workshop.calibration.ordinal import Outcomes, class_probability, outcomes
from condyle.workshop.calibration.posterior import CLASSES, TIGHT, WILL_NOT_GO, FeelPrior, Posterior, posterior
from condyle.workshop.calibration.propose import Proposal, propose
from condyle.workshop.calibration.records import Conditions, LadderRecord
from condyle.workshop.card import Process
from condyle.workshop.fits import OTHER_CONDITIONS_MM, Z90, Fit, FitKind

CLASS_OF: dict[str, tuple[int, int]] = {
    "falls out": (0, 0), "loose": (1, 1), "good": (2, 2), "tight": (3, 3), "will not go": (4, 4),
    "broke": (TIGHT, WILL_NOT_GO),
}  # fmt: skip
"""A joint that broke was tight at least; how tight is not known."""

# Wide priors of ours, no source: half of what feels good, the widths of loose and tight beyond it, and how much two prints
# of one drawing differ (median mm, sd of the logarithm).
_WIDTHS: dict[Process, dict[str, tuple[float, float]]] = {
    "filament": {"half": (0.045, 0.4), "loose": (0.09, 0.6), "tight": (0.06, 0.6), "scatter": (0.025, 0.45)},
    "resin": {"half": (0.035, 0.4), "loose": (0.07, 0.6), "tight": (0.05, 0.6), "scatter": (0.012, 0.45)},
}

ODD = 0.03
"""Below this chance an answer is told back as odd."""


@dataclass(frozen=True, eq=False)
class FitResult:
    """A family and size under conditions: the fit, what is behind it, what to print next, and what is odd."""

    family: FitKind
    size_mm: float
    conditions: Conditions
    fit: Fit
    posterior: Posterior
    proposal: Proposal
    notes: tuple[str, ...]


def calibrate_fit(ladders: Sequence[LadderRecord], conditions: Conditions, prior: Fit, process: Process) -> FitResult:
    """The clearance for "good" under ``conditions``, from ladders of one family and size, oldest first.

    Ladders under other conditions only shape the prior. InputError ``calibration.reversed`` when, under one set of conditions,
    what was drawn looser felt tighter, ``calibration.mixed`` when the answers follow no order at all (see ``order``).
    """
    family, size = ladders[0].family, ladders[0].size_mm
    groups: dict[str, list[LadderRecord]] = {}
    for record in ladders:
        groups.setdefault(record.conditions.model_dump_json(), []).append(record)
    notes: list[str] = []
    belief = feel_prior(prior, process)
    for record in ladders:
        check_order([record], belief)
    for records in groups.values():
        if len(records) > 1:
            check_order(records, feel_prior(prior, process))
        there = records[0].conditions
        if there != conditions:
            belief, word = _with_hearsay(belief, feel_prior(prior, process), records, conditions)
            notes.append(word)
    own = [r for r in ladders if r.conditions == conditions]
    data = felt(own)
    after = posterior(data, belief)
    notes += odd_answers(own, after) + _one_sided(data)
    low, high = after.interval_mm()
    value = round(after.middle_mm, 3)
    source = _source(own, conditions) if own else f"prior: {notes[0]}" if notes else prior.source
    fit = Fit(
        value, round(min(low, value), 3), round(max(high, value), 3), len(data), source, round(after.middle_sd_mm, 4),
        conditions.material, conditions.build, conditions.supports, conditions.cure,
    )  # fmt: skip
    return FitResult(family, size, conditions, fit, after, propose(after), tuple(notes))


def feel_prior(prior: Fit, process: Process) -> FeelPrior:
    """What is believed of a family and size before its coupons: the starter fit, and our wide guesses of the widths."""
    widths = _WIDTHS[process]
    sd = max(prior.sd_mm, (prior.high_mm - prior.low_mm) / (2.0 * Z90), 0.01)
    return FeelPrior(prior.clearance_mm, sd, widths["half"], widths["loose"], widths["tight"], widths["scatter"])


def felt(records: Sequence[LadderRecord]) -> Outcomes:
    """All answers of some ladders as outcomes."""
    answers = [(x, *CLASS_OF[f]) for r in records for x, f in zip(r.drawn_mm, r.felt, strict=True)]
    drawn, low, high = ([a[i] for a in answers] for i in range(3))
    return outcomes(drawn, low, CLASSES, high=high)  # type: ignore[arg-type]


def check_order(records: Sequence[LadderRecord], prior: FeelPrior) -> None:
    """InputError when the answers follow what was drawn with less than even chance: ``calibration.reversed`` or ``.mixed``."""
    order = order_of(felt(records), prior)
    if order.right >= 0.5:
        return
    r = records[-1]
    name = f"{r.family.replace('_', ' ')} {r.size_mm:g} mm"
    plate = " and ".join(dict.fromkeys(f"{o.coupon or 'a ladder'} of {o.date}" for o in records))
    if order.reversed >= order.mixed:
        raise InputError(
            "calibration.reversed",
            f"{name}: what was drawn looser felt tighter ({plate}; {100.0 * order.reversed:.0f} % likely)",
            hint="was the ladder read from its other end? Mark 1 is drawn the tightest",
        )
    raise InputError(
        "calibration.mixed",
        f"{name}: the answers contradict each other; they follow no order from tight to loose ({plate}), and are "
        f"{100.0 * order.mixed:.0f} % likely to stand beside the wrong joints",
        hint="feel the ladder again from joint 1, the tightest, and write each answer beside its own number",
    )


def odd_answers(records: Sequence[LadderRecord], after: Posterior) -> list[str]:
    """Answers that the others do not bear out, in words."""
    m, half, loose, tight, scatter = after.mean[0], *np.exp(after.mean[1:])
    cuts = np.array([m + half + loose, m + half, m - half, m - half - tight])
    spread = math.hypot(float(scatter), after.middle_sd_mm)
    notes = []
    for record in records:
        for mark, (x, feel) in enumerate(zip(record.drawn_mm, record.felt, strict=True), 1):
            low, high = CLASS_OF[feel]
            chance = class_probability(np.array([x]), np.array([low]), np.array([high]), cuts, spread)[0]
            if chance < ODD:
                notes.append(
                    f"joint {mark}, drawn {x:+.3f} mm, felt {feel!r}, which the others do not bear out: "
                    "look for a blob or a slip of the pen, and try it again"
                )
    return notes


def _one_sided(data: Outcomes) -> list[str]:
    if not len(data):
        return []
    if bool((data.high < 2).all()):
        return ["every joint was loose: the next ladder looks at tighter ones"]
    if bool((data.low > 2).all()):
        return ["every joint was tight or worse: the next ladder looks at looser ones"]
    return []


def _with_hearsay(
    belief: FeelPrior, start: FeelPrior, records: Sequence[LadderRecord], conditions: Conditions
) -> tuple[FeelPrior, str]:
    """A belief to which ladders under other conditions have been added, as one reading of m with a doubt on top.

    What those ladders alone say is their posterior with the starting prior divided out again (normals).
    """
    after = posterior(felt(records), start)
    there = records[0].conditions
    changed = [name for name in OTHER_CONDITIONS_MM if getattr(there, name) != getattr(conditions, name)]
    weight = max(1.0 / after.middle_sd_mm**2 - 1.0 / start.middle_sd_mm**2, 1e-6)
    said = (after.middle_mm / after.middle_sd_mm**2 - start.middle_mm / start.middle_sd_mm**2) / weight
    doubt = 1.0 / weight + sum(OTHER_CONDITIONS_MM[name] ** 2 for name in changed)
    a, b = 1.0 / belief.middle_sd_mm**2, 1.0 / doubt
    words = (
        f"measured with other {' and '.join(changed)} ({there.material}, {there.build}, supports: {there.supports}"
        + (f", {there.cure}" if there.cure else "")
        + "): taken as a first guess only"
    )
    return (
        FeelPrior(
            (a * belief.middle_mm + b * said) / (a + b), 1.0 / math.sqrt(a + b), belief.half_good_mm, belief.loose_mm,
            belief.tight_mm, belief.scatter_mm,
        ),
        words,
    )  # fmt: skip


def _source(own: Sequence[LadderRecord], conditions: Conditions) -> str:
    count = sum(len(r.felt) for r in own)
    return f"measured on {max(r.date for r in own)}: {count} joints felt, {conditions.material}, {conditions.build}"
