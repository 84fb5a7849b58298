"""At a glance: findings counted by question, and those that ask for attention."""

from __future__ import annotations

import re
from collections.abc import Sequence

from condyle.book.matter import Trouble, Verdicts
from condyle.finding import Finding, Verdict, alike

QUESTIONS = {
    "intake": "Is the sculpt fit to be cut?",
    "seat": "Do the joints lie where they should?",
    "part": "Does the cut go through?",
    "joint": "Are the joints sound?",
    "fit": "Do the parts fit?",
    "wall": "Are the walls thick enough?",
    "relief": "What does motion take from the sculpt?",
    "move": "Does it move, and what stops it?",
    "pose": "Can it take its poses?",
    "hold": "Does it hold a pose?",
    "stand": "Does it stand?",
    "last": "Does it last?",
    "print": "Does it print the first time?",
    "coat": "Do the joints still run under paint?",
    "assemble": "Does it go together?",
    "safe": "What could hurt someone?",
}
_ORDER: tuple[Verdict, ...] = ("fail", "caution", "unknown", "pass")
SHOWN = 44


def at_a_glance(findings: Sequence[Finding]) -> tuple[Verdicts, ...]:
    """One row for each question that was asked, in the order of the work."""
    counts: dict[str, dict[str, int]] = {}
    for finding in findings:
        question = finding.check.split(".")[0]
        counts.setdefault(question, dict.fromkeys(_ORDER, 0))[finding.verdict] += 1
    rank = {q: n for n, q in enumerate(QUESTIONS)}
    order = sorted(counts, key=lambda q: (rank.get(q, len(rank)), q))
    return tuple(
        Verdicts(q, QUESTIONS.get(q, q), c["fail"], c["caution"], c["unknown"], c["pass"])
        for q, c in ((q, counts[q]) for q in order)
    )


def to_look_at(findings: Sequence[Finding]) -> tuple[tuple[Trouble, ...], int]:
    """Fails, then cautions, those of one check together, as many as two pages hold; and how many findings are left out."""
    groups = [g for v in ("fail", "caution") for g in alike(f for f in findings if f.verdict == v)]
    shown = tuple(
        Trouble(
            g.first.verdict,
            ", ".join(s.replace("_", " ") for s in g.subjects),
            g.first.check,
            between(g.measured, g.first.unit),
            between(g.target, g.first.unit),
            spoken(g.advice),
        )
        for g in groups[:SHOWN]
    )
    return shown, sum(len(g.findings) for g in groups[SHOWN:])


_NAME = re.compile(r"(?<![\w.=])[a-z]+(?:_[a-z]+)*_(?:left|right|link|arm)(?:_link)?(?:_left|_right)?(?![\w=])")


def spoken(words: str) -> str:
    """Names of parts and joints without their underscores; keys of the figure file stay as they are written there."""
    return _NAME.sub(lambda m: m[0].replace("_", " "), words)


def between(values: tuple[float, float] | None, unit: str) -> str:
    """One amount, or from the least to the greatest."""
    if values is None:
        return ""
    low, high = amount(values[0], unit), amount(values[1], unit)
    return low if low == high else f"{low.removesuffix(unit).rstrip() or low} to {high}"


def amount(value: float | None, unit: str) -> str:
    """A number of three digits at most with its unit; nothing for nothing. Hundredths of a mm are the finest that is told."""
    if value is None:
        return ""
    if unit.startswith("mm") and 0.0 < abs(value) < 0.0095 and unit[:3] not in ("mm²", "mm³"):
        return f"{'under ' if value > 0 else 'over -'}0.01 {unit}"
    if 0.0 < abs(value) < 0.0005:
        digits = "0"
    elif abs(value) >= 100:
        digits = f"{value:,.0f}"
    else:
        digits = f"{value:.2g}" if abs(value) < 1.0 else f"{value:.3g}"
    return f"{digits} {unit}".rstrip()
