"""A plan in real hours: one pair of hands, one booth, one or more printers, some hours on some evenings.

A serial method: tasks are taken by how much work still hangs on them and set as early as everything allows. It is not
proved to be the shortest plan there is; the critical path, which knows no shortage, is given as the bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from condyle.finish.schedule.tasks import TINY_H, CriticalPath, Task, critical_path, in_order

MOST_DAYS = 3650


@dataclass(frozen=True)
class Evening:
    """When the maker works: from ``from_h`` o'clock for ``hours``, on these days of the week (Monday is 0)."""

    from_h: float = 19.0
    hours: float = 3.0
    days: tuple[int, ...] = (0, 1, 2, 3, 4, 5, 6)

    def __post_init__(self) -> None:
        if not (0.0 <= self.from_h < 24.0 and 0.0 < self.hours <= 24.0 - self.from_h and self.days):
            raise ValueError("an evening lies within one day, has some hours, and comes on some day")


@dataclass(frozen=True)
class Scheduled:
    """A task in the plan: the stretches in which hands are on it, when its wait ends, and whether a window was missed."""

    task: Task
    stretches: tuple[tuple[datetime, datetime], ...]
    done: datetime
    missed: tuple[str, ...] = ()

    @property
    def start(self) -> datetime:
        return self.stretches[0][0]


@dataclass(frozen=True)
class Schedule:
    """The plan, by start; and the critical path of the same tasks."""

    tasks: tuple[Scheduled, ...]
    bound: CriticalPath

    @property
    def end(self) -> datetime | None:
        return max((t.done for t in self.tasks), default=None)


def schedule(tasks: Sequence[Task], start: datetime, evening: Evening = Evening(), printers: int = 1) -> Schedule:
    """Plan ``tasks`` from ``start`` on. ValueError as ``in_order``, and where a whole task is longer than an evening.

    A task of no hands and only a wait begins when it can, by itself, at any hour. A missed window (``within_h``) is told
    with the task: the coat must be scuffed first.
    """
    bound = critical_path(tasks)
    for task in tasks:
        if not task.divisible and task.hands_h > evening.hours + TINY_H:
            raise ValueError(
                f"{task.name} takes {task.hands_h:g} h of hands at one go, and an evening has {evening.hours:g} h"
            )
    by_name = {t.name: t for t in in_order(tasks)}
    left = dict(by_name)
    plan: dict[str, Scheduled] = {}
    hands: list[tuple[float, float]] = []
    free = [0.0] * printers
    while left:
        ready = [t for t in left.values() if all(n in plan for n in t.after)]
        # What must catch a window goes first, then what most depends on.
        task = min(ready, key=lambda t: (not t.within_h, bound.latest_h[t.name], list(by_name).index(t.name)))
        earliest = max((_hours(plan[n].done - start) for n in task.after), default=0.0)
        if task.at == "printer":
            earliest = max(earliest, min(free))
        stretches = _stretches(task, earliest, hands, start, evening)
        hands += [s for s in stretches if s[1] > s[0]]
        done = stretches[-1][1] + task.wait_h
        if task.at == "printer":
            free[free.index(min(free))] = done
        missed = tuple(
            n for n, most in task.within_h.items() if stretches[0][0] - _hours(plan[n].done - start) > most + TINY_H
        )
        at = tuple((start + timedelta(hours=a), start + timedelta(hours=b)) for a, b in stretches)
        plan[task.name] = Scheduled(task, at, start + timedelta(hours=done), missed)
        del left[task.name]
    rank = {name: n for n, name in enumerate(by_name)}
    return Schedule(tuple(sorted(plan.values(), key=lambda s: (s.start, rank[s.task.name]))), bound)


def _stretches(
    task: Task, earliest: float, taken: Sequence[tuple[float, float]], start: datetime, evening: Evening
) -> list[tuple[float, float]]:
    """Free stretches of evenings for the hands of a task, the first that serve."""
    need = task.hands_h
    if need <= TINY_H:
        return [(earliest, earliest)]
    found: list[tuple[float, float]] = []
    for low, high in _free(earliest, taken, start, evening):
        if task.divisible:
            used = min(need, high - low)
            if used >= min(need, 0.25):  # no scraps of less than a quarter of an hour
                found.append((low, low + used))
                need -= used
            if need <= TINY_H:
                return found
        elif high - low >= need - TINY_H:
            return [(low, low + need)]
    raise ValueError(f"{task.name} finds no time within ten years")


def _free(
    earliest: float, taken: Sequence[tuple[float, float]], start: datetime, evening: Evening
) -> list[tuple[float, float]]:
    """Free stretches after ``earliest``, in hours from the start: the next sixty evenings, at least those of ten weeks."""
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    first = int((earliest + _hours(start - midnight)) // 24.0)
    out: list[tuple[float, float]] = []
    day = max(0, first)
    while len(out) < 400 and day < first + MOST_DAYS:
        if (midnight + timedelta(days=day)).weekday() in evening.days:
            low = max(earliest, 0.0, 24.0 * day + evening.from_h - _hours(start - midnight))
            high = 24.0 * day + evening.from_h + evening.hours - _hours(start - midnight)
            out += _without(low, high, taken)
        day += 1
    return out


def _without(low: float, high: float, taken: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """What is left of a stretch when others are taken out of it."""
    out = []
    for a, b in sorted(taken):
        if b <= low or a >= high:
            continue
        if a > low + TINY_H:
            out.append((low, a))
        low = max(low, b)
    if high > low + TINY_H:
        out.append((low, high))
    return out


def _hours(length: timedelta) -> float:
    return length.total_seconds() / 3600.0
