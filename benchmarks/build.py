"""How the diver's parts lie and print: seconds for all parts, against one whole-sculpt boolean, and growth with triangles.

``python -m benchmarks build``. *lie* is the search of every direction and the proof by layers (orientation, islands, supports) of
all parts on two threads, by the clock and in processor seconds; *median* and *slowest* are of the same for one part on its
own thread, in processor seconds, and *over 1 s* how many take longer than that; *print* adds the printed shape and the joints
in it. Each path runs on one part before it is timed, so that kernels are warm. Peak
memory is the process's own, sculpt and parting included.
"""

from __future__ import annotations

import resource
import statistics
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from condyle.build.faces import print_part
from condyle.build.plan import plan_part
from condyle.build.process import rules_of
from condyle.demo.diver import diver
from condyle.figure.parting import part
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import sphere
from condyle.geometry.solid import Solid, solid_from_mesh, subtract
from condyle.proof.print import prints
from condyle.workshop.bench import load_workshop

COUNTS = (250_000, 1_000_000)


def run(counts: tuple[int, ...] = COUNTS) -> list[dict[str, Any]]:
    """One row for each number of triangles."""
    workshop = load_workshop()
    rules = rules_of(workshop.printer)
    rows: list[dict[str, Any]] = []
    for count in counts:
        sculpt = solid_from_mesh(diver(count))
        skeleton = load_template("upright")
        kit = part(sculpt, skeleton, seat(sculpt, skeleton).joints, workshop)
        floor = statistics.median(_boolean(sculpt) for _ in range(3))
        cpu: list[float] = []

        def one(name: str, skin: Bvh, kit: Any = kit, cpu: list[float] = cpu) -> None:
            start = time.thread_time()
            plan_part(print_part(kit.part(name), kit.joints, skin), rules, workshop.material)
            cpu.append(time.thread_time() - start)

        names = [p.name for p in kit.parts]
        one(names[-1], Bvh(sculpt.mesh))
        cpu.clear()
        start, used = time.perf_counter(), time.process_time()
        skin = Bvh(sculpt.mesh)
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(lambda n, skin=skin, one=one: one(n, skin), names))
        lie, lie_cpu = time.perf_counter() - start, time.process_time() - used
        start = time.perf_counter()
        prints(kit, sculpt, workshop)
        rows.append(
            {
                "what": "all parts of the diver",
                "triangles": sculpt.triangle_count,
                "parts": len(kit.parts),
                "floor_s": floor,
                "lie_s": lie,
                "lie_cpu_s": lie_cpu,
                "median_part_cpu_s": statistics.median(cpu),
                "slowest_part_cpu_s": max(cpu),
                "parts_over_1_s": sum(seconds > 1.0 for seconds in cpu),
                "print_s": time.perf_counter() - start,
                "ratio": lie / floor,
                "growth": lie / rows[0]["lie_s"] if rows else 1.0,
                "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
            }
        )
    return rows


def _boolean(sculpt: Solid) -> float:
    ball = sphere(5.0).translated(tuple(sculpt.mesh.vertices[0]))
    start = time.perf_counter()
    assert subtract(sculpt, [ball]).mesh.triangle_count > 0
    return time.perf_counter() - start


if __name__ == "__main__":
    for row in run():
        print({k: round(v, 3) if isinstance(v, float) else v for k, v in row.items()})
