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


def point_of(values: Iterable[float]) -> Point:
    """Three numbers of any kind as a place. Raises ValueError for more or fewer."""
    x, y, z = (float(v) for v in values)
    return x, y, z


def worst(findings: Iterable[Finding]) -> Verdict:
    """The worst verdict, in the order pass, unknown, caution, fail; ``pass`` for no findings."""
    return max((f.verdict for f in findings), key=_SEVERITY.__getitem__, default="pass")


def each_once(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """In order, without repeats."""
    return tuple(dict.fromkeys(findings))


def at_or_above(findings: Iterable[Finding], threshold: Verdict) -> list[Finding]:
    """The findings whose verdict is at least as bad as ``threshold``."""
    return [f for f in findings if _SEVERITY[f.verdict] >= _SEVERITY[threshold]]


@dataclass(frozen=True)
class Alike:
    """Findings of one verdict and one check, those furthest from their target first."""

    findings: tuple[Finding, ...]

    @property
    def first(self) -> Finding:
        return self.findings[0]

    @property
    def subjects(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(f.subject for f in self.findings))

    @property
    def measured(self) -> tuple[float, float] | None:
        """The least and the greatest value found."""
        return _range([f.measured for f in self.findings])

    @property
    def target(self) -> tuple[float, float] | None:
        """The least and the greatest value wanted."""
        return _range([f.target for f in self.findings])

    @property
    def advice(self) -> str:
        """What they all advise; where they differ, that of the first with its subject."""
        same = len({f.advice for f in self.findings}) == 1
        return self.first.advice if same else f"{self.first.subject}: {self.first.advice}"


def alike(findings: Iterable[Finding]) -> list[Alike]:
    """Findings gathered by verdict and check, in the order in which each came first."""
    groups: dict[tuple[str, str, str], list[Finding]] = {}
    for f in findings:
        groups.setdefault((f.verdict, f.check, f.unit), []).append(f)
    return [Alike(tuple(sorted(g, key=_off, reverse=True))) for g in groups.values()]


def _range(values: Iterable[float | None]) -> tuple[float, float] | None:
    known = [v for v in values if v is not None]
    return (min(known), max(known)) if known else None


def _off(finding: Finding) -> float:
    """How far from its target, as a share of it."""
    if finding.measured is None or finding.target is None:
        return 0.0
    return abs(finding.measured - finding.target) / (abs(finding.target) or 1.0)
