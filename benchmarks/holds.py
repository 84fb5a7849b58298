"""Whether the diver holds, stands and lasts in twelve poses: CPU seconds after parting, against one whole-sculpt boolean.

``python -m benchmarks holds``. The floor is a 5 mm sphere taken from the whole sculpt, its mesh read back. Ours is masses as
printed, every pose put down and shaken, loads and grips, the search for each joint's worst load, sections along every limb,
and the elastic solves. Each path runs once before it is timed, so that kernels are warm; seconds are of the
processor, but for ``clock_s``: by the clock, which on two quiet cores is less, since poses and solves run side by side.
"""

from __future__ import annotations

import resource
import time
from typing import Any

from condyle.demo.diver import diver
from condyle.figure.parting import part
from condyle.figure.pose.sheet import pose_sheet, suited
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import sphere
from condyle.geometry.solid import solid_from_mesh, subtract
from condyle.proof.carry import carry
from condyle.proof.move import wanted_from_pose
from condyle.workshop.bench import load_workshop

COUNTS = (60_000, 300_000)


def run(counts: tuple[int, ...] = COUNTS) -> list[dict[str, Any]]:
    """One row for each number of triangles: poses, seconds of the floor and of ours, clock, ratio, peak memory."""
    workshop, skeleton = load_workshop(), load_template("upright")
    rows: list[dict[str, Any]] = []
    for count in counts:
        sculpt = solid_from_mesh(diver(count))
        kit = part(sculpt, skeleton, seat(sculpt, skeleton).joints, workshop)
        seated = [j.seated for j in kit.joints]
        poses = [suited(p, seated) for p in pose_sheet("upright")][:12]
        reach = {j.name: wanted_from_pose(j) for j in seated}
        skin = Bvh(sculpt.mesh)
        carry(kit, workshop, poses[:1], reach, None, skin)
        start = time.process_time()
        ball = sphere(5.0).translated(tuple(sculpt.mesh.vertices[0]))
        assert subtract(sculpt, [ball]).mesh.triangle_count
        floor = time.process_time() - start
        start, clock = time.process_time(), time.perf_counter()
        carried = carry(kit, workshop, poses, reach, None, skin)
        ours, clock = time.process_time() - start, time.perf_counter() - clock
        rows.append(
            {
                "what": "hold, stand, last",
                "triangles": sculpt.triangle_count,
                "poses": len(carried.poses),
                "joints": len(carried.holds),
                "floor_s": floor,
                "ours_s": ours,
                "clock_s": clock,
                "ratio": ours / floor,
                "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
            }
        )
    return rows
