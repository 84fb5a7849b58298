"""The book of the harbour diver: CPU and wall seconds of its pictures and pages, beside one picture of the whole figure."""

from __future__ import annotations

import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from condyle.book.bind import bind
from condyle.book.drawings import cover
from condyle.cli.demo import run_demo
from condyle.project.pipeline import matter_of

COUNTS = (60_000, 300_000)


def run(counts: tuple[int, ...] = COUNTS) -> list[dict[str, Any]]:
    """One row a count of triangles. Wanted: the book in 20 s."""
    rows = []
    for count in counts:
        with TemporaryDirectory() as folder:
            result, _ = run_demo(Path(folder) / "demo", count)
        cover(result.meshes)  # compiled before the clock runs
        cpu, wall = time.process_time(), time.perf_counter()
        cover(result.meshes)
        floor = time.process_time() - cpu
        cpu, wall = time.process_time(), time.perf_counter()
        pages = bind(matter_of(result))
        rows.append(
            {
                "triangles": count,
                "one picture, CPU s": floor,
                "book, CPU s": time.process_time() - cpu,
                "book, wall s": time.perf_counter() - wall,
                "MB": len(pages) / 1e6,
            }
        )
    return rows
