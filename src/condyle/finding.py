"""One result of a proof: a question, a subject, a verdict, and what was measured against what."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

Verdict = Literal["pass", "caution", "fail", "unknown"]
Point = tuple[float, float, float]

_SEVERITY: dict[Verdict, int] = {"pass": 0, "unknown": 1, "caution": 2, "fail": 3}


@dataclass(frozen=True)
class Finding:
    """A finding, as it stands in proof.json.

    check    ``question.name``, such as ``fit.rest_gap``
    subject  the joint, part or pair (``chest/head``) it is about
    measured the value found, None where it could not be computed (then the verdict is ``unknown``)
    target   the value wanted; ``unit`` goes with both
    place    figure coordinates in mm, None for the whole subject
    advice   what to change; empty when the verdict is ``pass``
    """

    check: str
    subject: str
    verdict: Verdict
    measured: float | None = None
    target: float | None = None
    unit: str = ""
    place: Point | None = None
    advice: str = ""

    def __post_init__(self) -> None:
        if "." not in self.check:
            raise ValueError(f"a check reads question.name, not {self.check!r}")
        if self.verdict not in get_args(Verdict):
            raise ValueError(f"no such verdict: {self.verdict!r}")
        for value in (self.measured, self.target, *(self.place or ())):
            if value is not None and not math.isfinite(value):
                raise ValueError(f"{self.check} of {self.subject}: a number that is not finite")


def worst(findings: Iterable[Finding]) -> Verdict:
    """The worst verdict, in the order pass, unknown, caution, fail; ``pass`` for no findings."""
    return max((f.verdict for f in findings), key=_SEVERITY.__getitem__, default="pass")


def at_or_above(findings: Iterable[Finding], threshold: Verdict) -> list[Finding]:
    """The findings whose verdict is at least as bad as ``threshold``."""
    return [f for f in findings if _SEVERITY[f.verdict] >= _SEVERITY[threshold]]
