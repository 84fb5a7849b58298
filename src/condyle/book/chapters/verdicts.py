"""At a glance: findings counted by question, and those that ask for attention."""

from __future__ import annotations

from collections.abc import Sequence

from condyle.book.matter import Trouble, Verdicts
from condyle.finding import Finding, Verdict

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
SHOWN = 24


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
    """Fails, then cautions, as many as a page or two hold; and how many are left out."""
    loud = [f for v in ("fail", "caution") for f in findings if f.verdict == v]
    shown = tuple(
        Trouble(f.verdict, f.subject, f.check, amount(f.measured, f.unit), amount(f.target, f.unit), f.advice)
        for f in loud[:SHOWN]
    )
    return shown, max(0, len(loud) - SHOWN)


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
