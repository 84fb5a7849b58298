"""Workers on this machine: one process a figure at a time."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context

from condyle.project.many.job import Job, Made, lost, make_one
from condyle.project.many.runner import TRIES
from condyle.project.memory import free_mib, needed_mib

MEMORY_MIB = needed_mib(300_000)
"""What one worker may need: the room for a sculpt of 300 k triangles (``project.memory``)."""


def workers_for(jobs: int, *, cores: int | None = None, memory_mib: float | None = None) -> int:
    """How many workers suit this machine: no more than cores, jobs, or ``MEMORY_MIB`` portions of the free memory."""
    cores = cores or os.cpu_count() or 1
    free = free_mib() if memory_mib is None else memory_mib
    room = cores if free is None else int(free // MEMORY_MIB)
    return max(1, min(jobs, cores, room))


class LocalRunner:
    """Processes of this machine, started afresh so that nothing of one figure's memory is left for the next run."""

    def __init__(self, workers: int, work: Callable[[Job], Made] = make_one) -> None:
        """``work`` is what each process is asked to do with a job; it must be importable by name."""
        if workers < 1:
            raise ValueError("at least one worker")
        self._workers = workers
        self._work = work

    def run(self, jobs: Sequence[Job]) -> Iterator[Made]:
        """See ``Runner``. Closing the iterator early ends the workers after what they are at."""
        begun = time.perf_counter()
        left = dict.fromkeys(range(len(jobs)), 0)
        suspects: list[int] = []
        while left:
            # After a loss nobody knows whose fault it was: those that were under way are tried one at a time.
            alone = bool(suspects)
            batch = [suspects.pop(0)] if alone else list(left)
            for number, made in self._batch(jobs, batch, 1 if alone else self._workers):
                if made is not None:
                    del left[number]
                    yield made
                    continue
                left[number] += 1
                if left[number] >= TRIES:
                    del left[number]
                    yield lost(jobs[number], time.perf_counter() - begun)
                else:
                    suspects.append(number)

    def _batch(self, jobs: Sequence[Job], numbers: Sequence[int], workers: int) -> Iterator[tuple[int, Made | None]]:
        """Answers as they come; None for those that were under way when a worker was lost, nothing for those not begun."""
        waiting = list(reversed(numbers))
        running: dict[Future[Made], int] = {}
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            while waiting or running:
                try:
                    while waiting and len(running) < workers:
                        future = pool.submit(self._work, jobs[waiting[-1]])
                        running[future] = waiting.pop()
                except BrokenProcessPool:
                    waiting.clear()  # begun again in the next batch
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    number = running.pop(future)
                    if isinstance(future.exception(), BrokenProcessPool):
                        waiting.clear()
                        yield number, None
                    else:
                        yield number, future.result()
