"""Order of work: evenings, waits and what decides the end."""

from __future__ import annotations

from condyle.book.matter import Table
from condyle.finish.schedule import Schedule


def schedule_table(plan: Schedule) -> Table:
    """One row a task, by its start."""
    rows = []
    critical = set(plan.bound.path)
    for s in plan.tasks:
        last = s.stretches[-1][1]
        span = f"{s.start:%a %d %b, %H:%M}" + (f" to {last:%H:%M}" if last > s.start else "")
        if len(s.stretches) > 1:
            span += f" ({len(s.stretches)} evenings)"
        wait = f"{s.done:%a %d %b, %H:%M}" if s.task.wait_h else ""
        mark = "decides the end. " if s.task.name in critical else ""
        scuff = f"Scuff first: {', '.join(s.missed)} is beyond its window. " if s.missed else ""
        rows.append((s.task.name, span, wait, mark + scuff + s.task.goes_wrong))
    end = f"Done {plan.end:%A %d %B, %H:%M}. " if plan.end else ""
    return Table(
        "",
        ("work", "hands on it", "by itself until", "mind"),
        tuple(rows),
        f"{end}No plan can be shorter than {plan.bound.length_h:.0f} hours: that is how long its longest chain takes.",
    )
