"""How a run tells of its steps while it goes, and how long each took."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Protocol


@dataclass(frozen=True)
class StepTime:
    """One step that is done. ``stored`` means that its result was at hand from an earlier run."""

    step: str
    seconds: float
    stored: bool


class Watcher(Protocol):
    """Who looks on: told of each step when it begins, what it is at, and when it is done."""

    def begins(self, step: str) -> None: ...

    def details(self, words: str) -> None: ...

    def done(self, time: StepTime) -> None: ...


class Nobody:
    """The watcher of a run that nobody looks at."""

    def begins(self, step: str) -> None:
        """Say nothing."""

    def details(self, words: str) -> None:
        """Say nothing."""

    def done(self, time: StepTime) -> None:
        """Say nothing."""


@dataclass
class Watch:
    """Times steps and tells the watcher."""

    watcher: Watcher = field(default_factory=Nobody)
    times: list[StepTime] = field(default_factory=list)

    @contextmanager
    def step(self, name: str) -> Iterator[Stored]:
        """Time a step; a step that fails is not told as done."""
        self.watcher.begins(name)
        stored = Stored()
        start = time.perf_counter()
        yield stored
        done = StepTime(name, time.perf_counter() - start, stored.value)
        self.times.append(done)
        self.watcher.done(done)


@dataclass
class Stored:
    """Set by a step that found its result at hand."""

    value: bool = False
