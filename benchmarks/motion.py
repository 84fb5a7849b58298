"""What is told of the diver's motion beyond each axis alone: seconds for maps of balls, coupled ranges and printed ends.

``python -m benchmarks motion``. Parting (with relief, as a kit is made) and the plain ranges come first and are not counted.
Seconds by the clock on two threads, and of both processors' work (on a busy machine the one that counts). Each runs once
before it is timed, so that kernels are warm.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from condyle.demo.diver import diver
from condyle.figure.parting import part
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.bvh import Bvh
from condyle.geometry.solid import solid_from_mesh
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import ranges
from condyle.proof.move_coupled import coupled_ranges
from condyle.proof.move_map import reach_maps
from condyle.proof.move_printed import printed_ranges
from condyle.workshop.bench import load_workshop

COUNTS = (60_000, 300_000)


def run(counts: tuple[int, ...] = COUNTS) -> list[dict[str, Any]]:
    """One row for each number of triangles and each of the three."""
    workshop = load_workshop()
    kerf = workshop.kerf_mm
    rows: list[dict[str, Any]] = []
    for count in counts:
        sculpt = solid_from_mesh(diver(count))
        skeleton = load_template("upright")
        kit = part(sculpt, skeleton, seat(sculpt, skeleton).joints, workshop, relief=True)
        bodies = make_bodies(kit)
        meetings, skin = make_meetings(kit, bodies), Bvh(sculpt.mesh)
        found = ranges(kit, bodies, meetings, skin, kerf)
        ends = {n: {m: (r.low, r.high) for m, r in by.items()} for n, by in found.items()}
        reached = {n: {m: r.reached for m, r in by.items()} for n, by in found.items()}
        asked: dict[str, Callable[[], Any]] = {
            "printed ends": lambda: printed_ranges(kit, bodies, meetings, skin, workshop, ends),  # noqa: B023
            "coupled ranges": lambda: coupled_ranges(kit, bodies, meetings, skin, kerf, reached),  # noqa: B023
            "maps": lambda: reach_maps(kit, bodies, meetings, skin, kerf),  # noqa: B023
        }
        for what, work in asked.items():
            work()
            clock, cpu = time.perf_counter(), time.process_time()
            work()
            row = {"what": what, "triangles": sculpt.triangle_count, "joints": sum(j.built for j in kit.joints)}
            rows.append({**row, "ours_s": time.perf_counter() - clock, "ours_cpu_s": time.process_time() - cpu})
    return rows
