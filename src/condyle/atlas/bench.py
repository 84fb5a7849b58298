"""Route cards on the page: what is printed, sanded, primed, and how attempts went."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from condyle.atlas.views import CardView
from condyle.build.triage.causes import SYMPTOMS
from condyle.errors import UsageError
from condyle.project.bench_sheet import read_sheet
from condyle.project.record.cards import STEPS
from condyle.project.record.desk import Entry, enter, tick_parts
from condyle.project.record.desk import cards as route_cards
from condyle.project.record.place import record_path


def cards(figure: Path) -> list[CardView]:
    """Route cards of the last kit."""
    found, _ = route_cards(record_path(figure), read_sheet(figure))
    return [
        CardView(part=c.part, state=c.state, tries=c.tries, failures=c.failures, done=list(c.ticked)) for c in found
    ]


def tick(figure: Path, part: str, step: str, *, done: bool) -> None:
    """Tick a step of a part's route card, or clear it. UsageError for a part or a step that is none."""
    if step not in STEPS:
        raise UsageError("atlas.step", f"no step of a route card: {step!r}", hint=f"one of {', '.join(STEPS)}")
    tick_parts(record_path(figure), read_sheet(figure), [part], step, datetime.now(UTC), done=done, now=True)


def attempt(figure: Path, parts: list[str], how: str | None, note: str) -> None:
    """Record an attempt at some parts: ``how`` it failed, or None. UsageError for what the kit does not have."""
    if how is not None and how not in SYMPTOMS:
        raise UsageError("atlas.how", f"no way to fail that is known: {how!r}", hint=f"one of {', '.join(SYMPTOMS)}")
    enter(record_path(figure), read_sheet(figure), Entry(tuple(parts), None, how, datetime.now(UTC), note), now=True)
