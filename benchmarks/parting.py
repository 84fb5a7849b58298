"""Parting the diver with twenty joints and their hardware against one whole-sculpt boolean, and growth with triangles.

``python -m benchmarks parting``. The floor is a 5 mm sphere taken from the whole sculpt, its mesh read back, in the same
run. Ours is ``part``: the eighteen joints as seated and a swivel set by hand in each forearm; the meshes of all parts are
read back. Each size runs in a process of its own, which parts once before it is timed, so that kernels are warm, except
the largest, which is timed once. ``over_line`` is the time over what the smallest size would take at so many triangles.
Processor seconds (all threads) stand beside, for the whole and, of the last run, for each stage: on a busy machine they
tell more than the clock.
"""

from __future__ import annotations

import multiprocessing
import statistics
import time
from collections.abc import Callable
from itertools import pairwise
from typing import Any

COUNTS = (250_000, 1_000_000, 4_000_000)
_ALONE = 2_000_000
"""From so many triangles on, parting is timed once."""


def run(counts: tuple[int, ...] = COUNTS, repeats: int = 3) -> list[dict[str, Any]]:
    """One row for each number of triangles: joints built, seconds (medians), ratio to the floor, growth, peak memory."""
    rows: list[dict[str, Any]] = []
    for count in counts:
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            row = pool.apply(_measured, (count, repeats))
        first = rows[0] if rows else row
        line = first["ours_s"] * row["triangles"] / first["triangles"]
        rows.append({**row, "over_line": row["ours_s"] / line})
    return rows


def _measured(count: int, repeats: int) -> dict[str, Any]:
    from benchmarks.__main__ import peak_mib
    from condyle.demo.diver import diver
    from condyle.figure.parting import part
    from condyle.figure.seating import seat
    from condyle.figure.skeleton_file import load_template
    from condyle.geometry.primitives import sphere
    from condyle.geometry.solid import Solid, solid_from_mesh, subtract
    from condyle.workshop.bench import load_workshop

    sculpt: Solid = solid_from_mesh(diver(count))
    workshop = load_workshop()
    template = load_template("upright")
    skeleton, seated = _with_forearms(template, seat(sculpt, template).joints)
    ball = sphere(5.0).translated(tuple(sculpt.mesh.vertices[0]))
    before = peak_mib() or float("nan")

    def floor() -> int:
        return subtract(sculpt, [ball]).mesh.triangle_count

    kits: list[Any] = []
    stages: list[tuple[str, float]] = []

    def ours() -> int:
        stages.clear()
        kits.clear()  # a maker parts once: the last kit is no part of this one's memory
        kits[:] = [part(sculpt, skeleton, seated, workshop, progress=lambda s: stages.append((s, time.process_time())))]
        triangles = int(sum(p.mesh.triangle_count for p in kits[0].parts))
        stages.append(("", time.process_time()))
        return triangles

    floor()
    floor_s, floor_cpu_s = _medians([_seconds(floor) for _ in range(repeats)])
    if count < _ALONE:
        ours()
    ours_s, ours_cpu_s = _medians([_seconds(ours) for _ in range(repeats if count < _ALONE else 1)])
    kit = kits[-1]
    return {
        "triangles": sculpt.triangle_count,
        "joints": len(kit.joints),
        "built": sum(j.built for j in kit.joints),
        "floor_s": floor_s,
        "ours_s": ours_s,
        "ratio": ours_s / floor_s,
        "floor_cpu_s": floor_cpu_s,
        "ours_cpu_s": ours_cpu_s,
        "cpu_ratio": ours_cpu_s / floor_cpu_s,
        "stages_cpu_s": ", ".join(f"{a[0]} {b[1] - a[1]:.2f}" for a, b in pairwise(stages)),
        "residual_mm3": kit.balance.residual_mm3,
        "before_mib": before,
        "peak_mib": peak_mib() or float("nan"),
    }


def _with_forearms(skeleton: Any, seated: Any) -> tuple[Any, tuple[Any, ...]]:
    """Two joints more: a swivel half way down each forearm, set by hand, with a cuff of its own below it."""
    from dataclasses import replace

    from condyle.figure.skeleton import Bone, JointSpec, SeatedJoint, Skeleton
    from condyle.geometry.frame import frame_from_zx

    bones, specs, joints = list(skeleton.bones), list(skeleton.joints), list(seated)
    by_name = {j.name: j for j in seated}
    for side in ("left", "right"):
        forearm, cuff, hand = f"forearm_{side}", f"cuff_{side}", f"hand_{side}"
        elbow, wrist = by_name[f"elbow_{side}"], by_name[f"wrist_{side}"]
        a, b = elbow.frame.origin, wrist.frame.origin
        frame = frame_from_zx(a + 0.55 * (b - a), b - a, elbow.frame.x)
        spec = JointSpec(f"turn_{side}", "swivel", forearm, cuff, (0.0, 0.0, 0.5), wanted={"twist": (-60.0, 60.0)})
        z = frame.z
        joints.append(SeatedJoint(spec, frame, (float(z[0]), float(z[1]), float(z[2])), source="hand"))
        moved = replace(wrist.spec, parent=cuff)
        joints = [replace(j, spec=moved) if j.name == wrist.name else j for j in joints]
        specs = [moved if s.name == wrist.name else s for s in specs] + [spec]
        at = next(i for i, bone in enumerate(bones) if bone.name == hand)
        bones[at : at + 1] = [Bone(cuff, forearm), Bone(hand, cuff)]
    return Skeleton(skeleton.name, tuple(bones), tuple(specs), skeleton.height_mm), tuple(joints)


def _seconds(work: Callable[[], Any]) -> tuple[float, float]:
    """By the clock, and of all processors together."""
    start, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - start, time.process_time() - cpu


def _medians(pairs: list[tuple[float, float]]) -> tuple[float, float]:
    return statistics.median(p[0] for p in pairs), statistics.median(p[1] for p in pairs)


if __name__ == "__main__":
    print(*run(), sep="\n")
