"""Tasks and what they wait for, and the path that decides the end if hands were never short (critical path method).

Kelley and Walker, Critical-Path Planning and Scheduling, Proc. Eastern Joint Computer Conference (1959) 160-173.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter
from typing import Literal

Place = Literal["bench", "booth", "printer"]

TINY_H = 1e-9


@dataclass(frozen=True)
class Task:
    """One piece of work.

    hands_h    hours of the maker's own time; wait_h hours that then pass by themselves (drying, curing, printing)
    after      tasks that must be done, waits included, before this one begins
    within_h   by task of ``after``: how many hours after its end this one must begin at the latest (a coat's window)
    divisible  whether the work may be spread over several evenings
    at         what it occupies while hands are on it; a printer is occupied for the wait too
    goes_wrong what can go wrong, in words
    """

    name: str
    hands_h: float
    wait_h: float = 0.0
    after: tuple[str, ...] = ()
    within_h: Mapping[str, float] = field(default_factory=dict)
    divisible: bool = False
    at: Place = "bench"
    goes_wrong: str = ""

    @property
    def whole_h(self) -> float:
        return self.hands_h + self.wait_h


@dataclass(frozen=True)
class CriticalPath:
    """Earliest starts and latest starts in hours, the float of each task, and the path without any."""

    length_h: float
    earliest_h: dict[str, float]
    latest_h: dict[str, float]
    path: tuple[str, ...]

    def float_h(self, name: str) -> float:
        """How long a task may slip before the end does."""
        return self.latest_h[name] - self.earliest_h[name]


def in_order(tasks: Sequence[Task]) -> list[Task]:
    """The tasks so that each comes after what it waits for, else in the order given.

    ValueError for repeated names, for a task that waits for an unknown one, and for tasks that wait for each other in
    a ring (the ring is named).
    """
    by_name = {t.name: t for t in tasks}
    if len(by_name) != len(tasks):
        raise ValueError("two tasks have one name")
    for task in tasks:
        for name in (*task.after, *task.within_h):
            if name not in by_name:
                raise ValueError(f"{task.name} waits for {name}, which is no task")
        if min(task.hands_h, task.wait_h) < 0.0:
            raise ValueError(f"{task.name} takes less than no time")
    rank = {t.name: n for n, t in enumerate(tasks)}
    sorter = TopologicalSorter({t.name: t.after for t in tasks})
    try:
        sorter.prepare()
    except CycleError as error:
        raise ValueError(f"these tasks wait for each other: {' after '.join(error.args[1])}") from error
    out: list[Task] = []
    ready: list[str] = []
    while sorter.is_active():
        ready = sorted({*ready, *sorter.get_ready()}, key=rank.__getitem__)
        name = ready.pop(0)
        out.append(by_name[name])
        sorter.done(name)
    return out


def critical_path(tasks: Sequence[Task]) -> CriticalPath:
    """The longest chain of tasks, hands unlimited. ValueError as ``in_order``; no tasks take no time."""
    order = in_order(tasks)
    earliest: dict[str, float] = {}
    for task in order:
        ends = [earliest[n] + next(t for t in order if t.name == n).whole_h for n in task.after]
        earliest[task.name] = max(ends, default=0.0)
    length = max((earliest[t.name] + t.whole_h for t in order), default=0.0)
    latest: dict[str, float] = {t.name: length - t.whole_h for t in order}
    for task in reversed(order):
        for name in task.after:
            before = next(t for t in order if t.name == name)
            latest[name] = min(latest[name], latest[task.name] - before.whole_h)
    path: list[str] = []
    end = 0.0
    for task in order:
        tight = latest[task.name] - earliest[task.name] <= TINY_H * max(1.0, length)
        if tight and abs(earliest[task.name] - end) <= TINY_H * max(1.0, length):
            path.append(task.name)
            end = earliest[task.name] + task.whole_h
    return CriticalPath(length, earliest, latest, tuple(path))
