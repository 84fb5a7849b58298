"""Ranges of motion of all joints of the diver: seconds, against one whole-sculpt boolean, and growth with triangles.

``python -m benchmarks ranges``. The floor is a 5 mm sphere taken from the whole sculpt, its mesh read back. Ours is what
the proof of motion does after parting: the parts made ready (rounded, split at bearings, hierarchies) and every joint
followed in each of its motions, on two threads. Each path runs once before it is timed, so that kernels are warm. Peak memory
is the process's own, sculpt and parting included.
"""

from __future__ import annotations

import resource
import statistics
import time
from collections.abc import Callable
from typing import Any

from condyle.demo.diver import diver
from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import sphere
from condyle.geometry.solid import Solid, solid_from_mesh, subtract
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import ranges
from condyle.workshop.bench import load_workshop

COUNTS = (250_000, 1_000_000)


def run(counts: tuple[int, ...] = COUNTS, repeats: int = 3) -> list[dict[str, Any]]:
    """One row for each number of triangles: joints, seconds of the floor and of ours (medians), ratio, peak memory."""
    workshop = load_workshop()
    rows: list[dict[str, Any]] = []
    for count in counts:
        sculpt = solid_from_mesh(diver(count))
        skeleton = load_template("upright")
        kit = part(sculpt, skeleton, seat(sculpt, skeleton).joints, workshop)
        floor = _median(lambda s=sculpt: _boolean(s), repeats)  # type: ignore[misc]
        _ours(kit, sculpt, workshop.kerf_mm)
        made_ready, moved, work = zip(*(_ours(kit, sculpt, workshop.kerf_mm) for _ in range(repeats)), strict=True)
        ours = statistics.median(moved)
        rows.append(
            {
                "what": "ranges of all joints",
                "triangles": sculpt.triangle_count,
                "joints": sum(j.built for j in kit.joints),
                "floor_s": floor,
                "ready_s": statistics.median(made_ready),
                "ours_s": ours,
                "ours_cpu_s": statistics.median(work),
                "ratio": ours / floor,
                "growth": ours / rows[0]["ours_s"] if rows else 1.0,
                "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
            }
        )
    return rows


def _ours(kit: Kit, sculpt: Solid, kerf_mm: float) -> tuple[float, float, float]:
    """Seconds to make the parts ready, to follow every joint, and of both processors' work for that (on a busy machine the
    one that counts)."""
    start = time.perf_counter()
    bodies = make_bodies(kit)
    meetings = make_meetings(kit, bodies)
    skin = Bvh(sculpt.mesh)
    for body in bodies.values():
        assert body.bare.placed is not None
    ready, work = time.perf_counter(), time.process_time()
    ranges(kit, bodies, meetings, skin, kerf_mm)
    return ready - start, time.perf_counter() - ready, time.process_time() - work


def _boolean(sculpt: Solid) -> int:
    ball = sphere(5.0).translated(tuple(sculpt.mesh.vertices[0]))
    return subtract(sculpt, [ball]).mesh.triangle_count


def _median(work: Callable[[], Any], repeats: int) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)
