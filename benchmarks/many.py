"""What a figure costs by stage, afresh and as a variant of one that is done, and from it a simulated run of 10,000.

The figure is the harbour diver at 20 k triangles with its whole skeleton: coarse, so the stages that look at joints, poses
and plates weigh more than they do at 300 k. Seconds are processor seconds of one process.
"""

from __future__ import annotations

import heapq
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from condyle.demo.diver import diver
from condyle.geometry.formats import stl_bytes
from condyle.project.many import Job, make_one
from condyle.project.start import Begin, start
from condyle.project.watch import Watch

TRIANGLES = 20_000
FIGURES = 10_000
WORKERS = (2, 16, 128)
LOST_EVERY_S = 6 * 3600.0
"""In the simulation a worker is lost this often, in seconds of its own work, and its figure begins again."""


def run() -> list[dict[str, object]]:
    """A row for each variant, then one for each number of workers."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        figure = _begun(place)
        text = figure.read_text()
        costs: dict[str, float] = {}
        rows: list[dict[str, object]] = []
        for name, change in VARIANTS.items():
            variant = figure.with_name(f"{name.replace(' ', '-')}.toml")
            variant.write_text(change(text))
            begin = time.process_time()
            made = make_one(Job(variant, place / "kits" / name))
            costs[name] = time.process_time() - begin
            assert made.error is None, made.error
            rows.append({"figure": name, "processor s": round(costs[name], 1)})
    usual = 0.1 * costs["afresh"] + 0.9 * costs["another finish"]
    for workers in WORKERS:
        hours = simulated_hours(workers, costs["afresh"]), simulated_hours(workers, usual)
        rows.append({"figure": f"{FIGURES:,} afresh, {workers} workers", "hours": round(hours[0], 1)})
        rows.append(
            {"figure": f"{FIGURES:,}, nine of ten another finish, {workers} workers", "hours": round(hours[1], 1)}
        )
    return rows


def _begun(place: Path) -> Path:
    (place / "diver.stl").write_bytes(stl_bytes(diver(TRIANGLES)))
    begin = Begin(place / "diver.stl", place / "diver", 150.0, unit="millimeter", name="harbour diver")
    return start(begin, Watch()).path


def _with(table: str, line: str) -> Callable[[str], str]:
    """Put a line into a table of the figure file, or the table at its end."""

    def change(text: str) -> str:
        head = f"[{table}]\n"
        return text.replace(head, f"{head}{line}\n", 1) if head in text else f"{text}\n{head}{line}\n"

    return change


VARIANTS: dict[str, Callable[[str], str]] = {
    "afresh": lambda text: text,
    "the same again": lambda text: text,
    "another paper": _with("book", 'paper = "us-letter"'),
    "another finish": _with("finish", 'start = "2027-01-04"'),
    "another knee": _with("joints.knee_left", "size = 5.0"),
}


def simulated_hours(workers: int, seconds: float) -> float:
    """Hours until ``FIGURES`` figures of so many seconds are done, each by the first worker that is free.

    A worker that is lost gives its figure back, begins anew, and the figure is done again whole: the worst case, as steps
    that were kept are not counted.
    """
    free = [(0.0, LOST_EVERY_S * (n + 1) / workers) for n in range(workers)]
    heapq.heapify(free)
    left, last = FIGURES, 0.0
    while left:
        now, loss = heapq.heappop(free)
        if now + seconds > loss:
            heapq.heappush(free, (loss, loss + LOST_EVERY_S))
            continue
        left -= 1
        last = max(last, now + seconds)
        heapq.heappush(free, (now + seconds, loss))
    return last / 3600.0
