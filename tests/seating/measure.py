"""How far seated joints lie from the true ones, in per cent of the body's height. ``python -m tests.seating.measure``
prints the table for the whole family.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from condyle.figure.facing import find_facing, find_up
from condyle.figure.seating import Seating, seat
from condyle.figure.skeleton import Skeleton
from condyle.figure.skeleton_file import load_template
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import solid_from_mesh
from tests.seating.bodies import Body

JUDGED = ("neck", "shoulder", "elbow", "wrist", "hip", "knee", "ankle")
# What is demanded of every body, and the stricter limits that the family is held to.
MEDIAN_PERCENT, WORST_PERCENT = 2.5, 6.0
FAMILY_MEDIAN_PERCENT, FAMILY_WORST_PERCENT = 1.8, 4.5


@dataclass(frozen=True)
class Errors:
    """Distances between found and true centres by joint name, per cent of the height."""

    body: str
    percent: Mapping[str, float]

    @property
    def median(self) -> float:
        return float(np.median(list(self.percent.values())))

    @property
    def worst(self) -> tuple[str, float]:
        return max(self.percent.items(), key=lambda item: item[1])


def judged(name: str) -> bool:
    return name.removesuffix("_left").removesuffix("_right") in JUDGED


def errors_of(body: Body, seating: Seating, *, of: Iterable[str] | None = None) -> Errors:
    """Found against true centres, for the judged joints (or those named)."""
    height = float(np.ptp(body.mesh.bounds[:, 2]))
    found = {j.name: j.frame.origin for j in seating.joints}
    names = [n for n in body.joints if judged(n)] if of is None else list(of)
    return Errors(body.name, {n: 100.0 * float(np.linalg.norm(found[n] - body.joints[n])) / height for n in names})


def seated(body: Body, skeleton: Skeleton | None = None) -> tuple[Seating, Errors]:
    """Seat a body that stands in figure coordinates, and measure."""
    seating = seat(solid_from_mesh(body.mesh), skeleton or load_template("upright"))
    return seating, errors_of(body, seating)


def righted(body: Body) -> Body:
    """A body that lies anyhow, turned upright and to the front by what its shape tells, joints along."""
    up, _ = find_up(body.mesh)
    body = _turned(body, _turn(up, np.array([0.0, 0.0, 1.0])))
    facing, _ = find_facing(body.mesh)
    body = _turned(body, _turn(facing, np.array([1.0, 0.0, 0.0])))
    return body


def laid(body: Body, matrix: FloatArray) -> Body:
    """A body turned by a rotation (3, 3), joints along."""
    return _turned(body, matrix)


def _turned(body: Body, rotation: FloatArray) -> Body:
    m = np.eye(4)
    m[:3, :3] = rotation
    return Body(body.name, body.mesh.transformed(m), {k: rotation @ p for k, p in body.joints.items()})


def _turn(start: FloatArray, end: FloatArray) -> FloatArray:
    """A rotation that takes one unit vector to another."""
    cross, dot = np.cross(start, end), float(start @ end)
    if dot < -1.0 + 1e-9:
        return np.diag([-1.0, -1.0, 1.0]) if abs(start[2]) < 0.5 else np.diag([1.0, -1.0, -1.0])
    k = np.array([[0.0, -cross[2], cross[1]], [cross[2], 0.0, -cross[0]], [-cross[1], cross[0], 0.0]])
    return np.eye(3) + k + k @ k / (1.0 + dot)


def table(all_errors: Iterable[Errors]) -> str:
    """A line for each joint over all bodies, and one for each body."""
    rows = list(all_errors)
    lines = [f"{'joint':<10}{'median':>8}{'95 %':>8}{'worst':>8}   % of height"]
    for joint in JUDGED:
        values = [v for e in rows for n, v in e.percent.items() if n.startswith(joint)]
        lines.append(f"{joint:<10}{np.median(values):8.2f}{np.percentile(values, 95):8.2f}{max(values):8.2f}")
    every = [v for e in rows for v in e.percent.values()]
    lines.append(f"{'all':<10}{np.median(every):8.2f}{np.percentile(every, 95):8.2f}{max(every):8.2f}")
    lines.append("")
    lines += [f"{e.body:<32} median {e.median:5.2f}  worst {e.worst[1]:5.2f} {e.worst[0]}" for e in rows]
    return "\n".join(lines)


if __name__ == "__main__":
    from tests.seating.family import family

    print(table(seated(make())[1] for make in family().values()))
