"""Intake of a clean sculpt against the least that any reader must do: its binary STL read and welded by numpy.

``python -m benchmarks intake``. The floor reads the file with numpy.fromfile and welds the corners with
numpy.unique(axis=0); Condyle reads the same file with its own reader and takes it in: welded, every shell and every
crossing looked for, front found, simplified within 0.02 mm and measured both ways. Peak memory is that of a process
that does nothing else. Each path runs once before it is timed, so that compiled kernels are warm; ``cold`` is the first.
"""

from __future__ import annotations

import multiprocessing
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

TRIANGLES = 1_000_000
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def run(triangles: int = TRIANGLES, repeats: int = 3) -> list[dict[str, Any]]:
    """One row: seconds of the floor and of the intake (medians), their ratio, and the intake's peak memory."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sculpt.stl"
        _child(_write, path, triangles)
        cold = _child(_memory, path)
        _floor(path)
        floor = _median(lambda: _floor(path), repeats)
        _ours(path)
        ours = _median(lambda: _ours(path), repeats)
        report = _ours(path)
    return [
        {
            "triangles": report.triangles_in,
            "kept": report.triangles_out,
            "floor_s": floor,
            "intake_s": ours,
            "ratio": ours / floor,
            "cold_s": cold[0],
            "peak_mib": cold[1],
            "max_deviation_mm": report.max_deviation_mm,
        }
    ]


def _median(work: Callable[[], Any], repeats: int) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def _floor(path: Path) -> int:
    corners = np.fromfile(path, dtype=_RECORD, offset=84)["corners"].reshape(-1, 3)
    vertices, faces = np.unique(corners, axis=0, return_inverse=True)
    return len(vertices) + len(faces)


def _ours(path: Path) -> Any:
    from condyle.figure.intake import IntakeWanted, take_in
    from condyle.geometry.formats import read_scene

    return take_in(read_scene(path), IntakeWanted(150.0, up="z")).report


def _write(path: Path, triangles: int) -> None:
    from condyle.demo.diver import diver
    from condyle.geometry.formats import stl_bytes

    path.write_bytes(stl_bytes(diver(triangles)))


def _memory(path: Path) -> tuple[float, float]:
    from benchmarks.__main__ import peak_mib

    start = time.perf_counter()
    _ours(path)
    return time.perf_counter() - start, peak_mib() or float("nan")


def _child(work: Callable[..., Any], *arguments: Any) -> Any:
    """The work in a process of its own, so that its memory is its own."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(work, arguments)


if __name__ == "__main__":
    print(*run(), sep="\n")
