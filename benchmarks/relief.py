"""Relief of all joints of the diver against its plain parting: CPU seconds and their ratio.

``python -m benchmarks relief``. The floor is the same parting without relief, in the same process; each path runs once
before it is timed, so that kernels are warm.
"""

from __future__ import annotations

import time
from typing import Any

from condyle.demo.diver import diver
from condyle.figure.parting import part
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.solid import solid_from_mesh
from condyle.workshop.bench import load_workshop

COUNTS = (60_000, 300_000, 1_000_000)


def run(counts: tuple[int, ...] = COUNTS) -> list[dict[str, Any]]:
    """One row for each number of triangles: seconds of plain parting, of relief on top, ratio, and what it took."""
    workshop, skeleton = load_workshop(), load_template("upright")
    rows: list[dict[str, Any]] = []
    for count in counts:
        sculpt = solid_from_mesh(diver(count))
        joints = seat(sculpt, skeleton).joints
        if not rows:
            part(sculpt, skeleton, joints, workshop, relief=True)
        start = time.process_time()
        part(sculpt, skeleton, joints, workshop)
        plain = time.process_time() - start
        start = time.process_time()
        kit = part(sculpt, skeleton, joints, workshop, relief=True)
        relief = time.process_time() - start - plain
        rows.append(
            {
                "what": "relief of all joints",
                "triangles": sculpt.triangle_count,
                "joints": len(kit.reliefs),
                "plain_cpu_s": plain,
                "relief_cpu_s": relief,
                "ratio": relief / plain,
                "gained_deg": sum(r.gained_deg for r in kit.reliefs),
                "taken_mm3": sum(r.taken_mm3 for r in kit.reliefs),
                "skin_mm2": sum(r.skin_mm2 for r in kit.reliefs),
            }
        )
    return rows
