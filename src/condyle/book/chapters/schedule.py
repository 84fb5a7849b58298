"""Order of work: evenings, waits and what decides the end."""

from __future__ import annotations

from datetime import datetime

from condyle.book.matter import Table
from condyle.finish.schedule import Schedule


def schedule_table(plan: Schedule, *, dated: bool) -> Table:
    """One row a task, by its start; days of the calendar when ``dated``, else days of the work."""
    first = plan.tasks[0].start if plan.tasks else None
    rows = []
    critical = set(plan.bound.path)
    chain = all(s.task.name in critical for s in plan.tasks)

    def day(at: datetime) -> str:
        if dated or first is None:
            return f"{at:%a} {at.day} {at:%b}, {at:%H:%M}"
        return f"day {(at.date() - first.date()).days + 1}, {at:%H:%M}"

    for s in plan.tasks:
        last = s.stretches[-1][1]
        span = day(s.start) + (f" to {last:%H:%M}" if last > s.start and len(s.stretches) == 1 else "")
        if len(s.stretches) > 1:
            span += f" to {day(last)}, {len(s.stretches)} evenings"
        wait = day(s.done) if s.task.wait_h else ""
        mark = "Decides the end. " if s.task.name in critical and not chain else ""
        scuff = f"Scuff first: {', '.join(s.missed)} is beyond its window. " if s.missed else ""
        wrong = s.task.goes_wrong[:1].upper() + s.task.goes_wrong[1:]
        rows.append((s.task.name, span, wait, mark + scuff + (f"{wrong}." if wrong else "")))
    end = f"Done {day(plan.end)}. " if plan.end else ""
    waits = "Each step waits for the one before: what any of them loses, the end loses. " if chain else ""
    return Table(
        "",
        ("work", "hands on it", "by itself until", "mind"),
        tuple(rows),
        f"{end}{waits}No plan can be shorter than {plan.bound.length_h:.0f} hours: that is how long its longest chain takes.",
    )
