"""Weigh the causes of a failed print: the geometry's measures first, then what the record says of part and printer.

Bayes' rule over the causes of a process, which are taken to exclude each other. The likelihoods are judgement (common practice, no
source), so the shares rank the suspects and are no measured frequencies; where none stands out the answer is that it
cannot be told.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

from condyle.build.triage.causes import CAUSES, Cause, GeometryCause, Lies, Symptom, causes_of
from condyle.finding import Point
from condyle.workshop.card import Process

ANSWER_SHARE, ANSWER_LEAD = 0.5, 2.0
"""An answer needs half of the weight, and twice that of the next suspect."""

_PULL, _MOST_PULL = 2.2, 3.2
_PRINTER_FAULT_RATE, _GEOMETRY_FAULT_RATE = 0.55, 0.75
_BASE_TRIES, _BASE_FAILURES = 20.0, 2.5


@dataclass(frozen=True)
class Measure:
    """One measure of the geometry against its limit.

    ``badness`` is above 1 where the limit is broken: measured over limit, or limit over measured for those whose
    ``more_is_better`` (contact area, say).
    """

    measured: float
    limit: float
    unit: str
    more_is_better: bool = False
    place: Point | None = None

    @property
    def badness(self) -> float:
        worse, better = (self.limit, self.measured) if self.more_is_better else (self.measured, self.limit)
        return worse / better if better > 0.0 else math.inf

    def words(self, cause: Cause) -> str:
        where = f" at ({', '.join(f'{v:.1f}' for v in self.place)})" if self.place else ""
        side = "beyond" if self.badness > 1.0 else "within"
        least = "least" if self.more_is_better else "most"
        return (
            f"{CAUSES[cause].words}: {self.measured:.3g} {self.unit}, {side} the limit of at {least} "
            f"{self.limit:.3g} {self.unit}{where}"
        )


@dataclass(frozen=True)
class Company:
    """Other parts tried on the same printer in the same job or within days of it: how many, and how many failed."""

    tried: int = 0
    failed: int = 0


@dataclass(frozen=True)
class History:
    """The same part on other days.

    alike    as it lay this time: tries and failures
    turned   lying another way: tries and failures
    printer  all tries on this printer on other days, other parts included: what it does when nothing is wrong
    """

    alike: tuple[int, int] = (0, 0)
    turned: tuple[int, int] = (0, 0)
    printer: tuple[int, int] = (0, 0)


@dataclass(frozen=True)
class Suspect:
    """A cause with its share of the weight, and what speaks for or against it."""

    cause: Cause
    words: str
    lies: Lies
    share: float
    evidence: tuple[str, ...]
    inspect: str


@dataclass(frozen=True)
class Triage:
    """Suspects, the heaviest first; ``answer`` is the first of them, or None when it cannot be told."""

    suspects: tuple[Suspect, ...]
    answer: Cause | None
    not_measured: tuple[GeometryCause, ...]


def triage(
    symptom: Symptom,
    geometry: Mapping[GeometryCause, Measure],
    company: Company = Company(),
    history: History = History(),
    process: Process = "filament",
) -> Triage:
    """Rank the causes of one failed attempt. What ``geometry`` leaves out was not measured and weighs nothing."""
    cards = causes_of(process)
    geometry = {flaw: measure for flaw, measure in geometry.items() if flaw in cards}
    said: dict[Cause, list[str]] = {c: [] for c in cards}
    weight = {c: math.log(card.prior * card.share(symptom, process)) for c, card in cards.items()}
    for flaw, measure in geometry.items():
        weight[flaw] += _pull(measure.badness)
        said[flaw].append(measure.words(flaw))
    usual = (history.printer[1] + _BASE_FAILURES) / (history.printer[0] + _BASE_TRIES)
    for cause, card in cards.items():
        if card.lies == "printer":
            weight[cause] += _log_ratio(company.tried, company.failed, _PRINTER_FAULT_RATE, usual)
            if company.tried:
                told = f"{company.failed} of" if company.failed else "none of"
                said[cause].append(f"{told} {company.tried} other parts printed around it failed")
        elif card.lies == "part":
            turns = cause not in ("thin", "gap")  # those stay whichever way the part lies
            tries = [history.alike] if turns else [history.alike, history.turned]
            tried, failed = sum(t for t, _ in tries), sum(f for _, f in tries)
            weight[cause] += _log_ratio(tried, failed, _GEOMETRY_FAULT_RATE, usual)
            if tried:
                lying = "lying like this" if turns else "whichever way it lay"
                said[cause].append(f"on other days it failed {failed} of {tried} times {lying}")
    return _ranked(weight, said, geometry)


def _pull(badness: float) -> float:
    """Log-likelihood ratio of a measure: nothing at its limit, for the cause beyond it, against it well within."""
    if badness <= 0.0:
        return -_MOST_PULL
    return max(-_MOST_PULL, min(_MOST_PULL, _PULL * math.log(badness)))


def _log_ratio(tried: int, failed: int, under_cause: float, usual: float) -> float:
    """Log-likelihood ratio of so many failures under a cause against the usual rate; six tries tell all they can."""
    if tried == 0:
        return 0.0
    usual = min(usual, 0.9 * under_cause)
    told = min(1.0, 6.0 / tried)
    return told * (
        failed * math.log(under_cause / usual) + (tried - failed) * math.log((1.0 - under_cause) / (1.0 - usual))
    )


def _ranked(
    weight: Mapping[Cause, float], said: Mapping[Cause, list[str]], geometry: Mapping[GeometryCause, Measure]
) -> Triage:
    top = max(weight.values())
    total = sum(math.exp(w - top) for w in weight.values())
    order = sorted(weight, key=lambda c: (-weight[c], c))
    suspects = tuple(
        Suspect(
            c, CAUSES[c].words, CAUSES[c].lies, math.exp(weight[c] - top) / total, tuple(said[c]), CAUSES[c].inspect
        )
        for c in order
    )
    first, second = suspects[0], suspects[1]
    told = first.share >= ANSWER_SHARE and first.share >= ANSWER_LEAD * second.share
    missing = tuple(c for c in get_args(GeometryCause) if c in weight and c not in geometry)
    return Triage(suspects, first.cause if told else None, missing)
