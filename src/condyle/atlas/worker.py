"""The long work of the page, in a process of its own: it can be watched, cancelled, and may crash without harm.

The process stays between jobs, so that compiled kernels and what the cache holds are warm; a cancelled or crashed one is
replaced by a fresh one with the next job.
"""

from __future__ import annotations

import multiprocessing as mp
import threading
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Literal

from condyle.errors import CondyleError
from condyle.project.watch import StepTime

JobKind = Literal["start", "seat", "make", "look", "pose", "ready", "sizes", "follow"]


@dataclass(frozen=True)
class Order:
    """One job: what, of which figure file, with what else it needs."""

    kind: JobKind
    figure: Path
    kit: Path
    more: dict[str, Any]


@dataclass(frozen=True)
class Trouble:
    """An error as the page shows it."""

    code: str
    message: str
    hint: str = ""
    place: str = ""


Message = tuple[str, Any]


class _Telling:
    """A watcher that sends what it is told through a pipe."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe

    def begins(self, step: str) -> None:
        self._pipe.send(("step", step))

    def details(self, words: str) -> None:
        self._pipe.send(("words", words))

    def done(self, time: StepTime) -> None:
        self._pipe.send(("time", (time.step, time.seconds, time.stored)))


def _serve(pipe: Connection) -> None:
    """The loop of the process: one order after the other, until the pipe closes."""
    from condyle.atlas.jobs import perform
    from condyle.project.watch import Watch

    while True:
        try:
            order = pipe.recv()
        except EOFError:
            return
        try:
            pipe.send(("done", perform(order, Watch(_Telling(pipe)), lambda kind, value: pipe.send((kind, value)))))
        except CondyleError as error:
            pipe.send(("trouble", Trouble(error.code, error.message, error.hint, str(error.place))))
        except MemoryError:
            pipe.send(("trouble", Trouble("memory", "there is not enough memory", "close programs and try again")))
        except Exception as error:
            pipe.send(("trouble", Trouble("internal.unexpected", f"{type(error).__name__}: {error}"[:400])))


class Worker:
    """One process and at most one job in it. ``tell`` is called from a thread with every message."""

    def __init__(self, tell: Callable[[Message], None]) -> None:
        self._tell = tell
        self._lock = threading.Lock()
        self._process: Any = None
        self._pipe: Connection | None = None
        self.busy = False

    def begin(self, order: Order) -> bool:
        """Begin a job; False while another one runs."""
        with self._lock:
            if self.busy:
                return False
            if self._process is None or not self._process.is_alive():
                self._fresh()
            assert self._pipe is not None
            self.busy = True
            self._pipe.send(order)
            threading.Thread(target=self._listen, args=(self._pipe, self._process), daemon=True).start()
            return True

    def cancel(self) -> None:
        """End the job that runs, at once; nothing half-made stays, since results are moved into place whole."""
        with self._lock:
            if self.busy and self._process is not None:
                self._process.terminate()

    def close(self) -> None:
        """End the process."""
        with self._lock:
            if self._process is not None:
                self._process.terminate()
                self._process.join(5.0)
                self._process = None

    def _fresh(self) -> None:
        context = mp.get_context("spawn")
        ours, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()
        self._pipe = ours

    def _listen(self, pipe: Connection, process: Any) -> None:
        last: Message = ("trouble", Trouble("worker.lost", "the work was stopped", "begin it again"))
        try:
            while True:
                message: Message = pipe.recv()
                if message[0] in ("done", "trouble"):
                    last = message
                    break
                self._tell(message)
        except (EOFError, OSError):
            process.join(5.0)
            if process.exitcode not in (0, -15):
                crash = "the worker ended by itself; what was there before is untouched"
                last = ("trouble", Trouble("worker.crashed", crash, "begin it again"))
        with self._lock:
            self.busy = False
        self._tell(last)
