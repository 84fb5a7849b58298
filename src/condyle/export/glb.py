"""figure.glb: the parts of a figure under the joints that move them, as binary glTF 2.0 (ISO/IEC 12113).

Nodes:
    figure              scale 0.001 and the turn from figure coordinates (x forward, y left, z up; mm) to glTF's (metres,
                        y up, z forward)
    joint:NAME          one below the other as the limbs hang together; moved to the joint's centre, not turned
    joint:NAME_link     only for a double hinge: turns the middle link about the axis next to the parent; joint:NAME hangs
                        below it and turns the child about the second axis
    part:NAME           below the joint that moves it; its vertices are figure coordinates, as in the part's STL

A pose is made by setting rotations of joint nodes; with none set, the figure is at rest. Poses come as animations, each from
rest to the pose: rotations of joint nodes, and the move of the root that keeps the lowest point on the ground.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from condyle.errors import UsageError
from condyle.finding import Point
from condyle.geometry.mesh import FloatArray, Mesh

_TURN = (-0.5, -0.5, -0.5, 0.5)
"""Quaternion (x, y, z, w): a third of a turn that takes x to z, y to x and z to y."""
_FLOAT, _UINT, _VERTICES, _INDICES = 5126, 5125, 34962, 34963


@dataclass(frozen=True)
class JointNode:
    """One axis or ball of a figure: ``moves`` turns against ``stays`` (part names) about ``centre`` (mm)."""

    name: str
    centre: Point
    stays: str
    moves: str


@dataclass(frozen=True, eq=False)
class Animation:
    """A pose as the file plays it.

    times_s    (k,) rising from 0
    rotations  by joint node (its name without ``joint:``): quaternions (k, 4) as x, y, z, w, in figure coordinates
    rise_mm    (k,) how far the whole figure is lifted
    """

    name: str
    times_s: FloatArray
    rotations: Mapping[str, FloatArray]
    rise_mm: FloatArray


def figure_glb(
    parts: Sequence[tuple[str, Mesh]], joints: Sequence[JointNode], animations: Sequence[Animation] = ()
) -> bytes:
    """The GLB of a figure. Parts that no joint moves hang below the root. Same input, same bytes.

    UsageError where a joint names a part that is not given, two joints move one part, or joints run in a circle.
    """
    names = {name for name, _ in parts}
    mover = {joint.moves: joint for joint in joints}
    if len(mover) != len(joints) or len(names) != len(parts) or not parts:
        raise UsageError("glb.joints", "a part is given twice, or moved by two joints, or there is none")
    for joint in joints:
        missing = {joint.moves, joint.stays} - names
        if missing:
            raise UsageError(
                "glb.parts", f"the joint {joint.name!r} names the part {min(missing)!r}, which is not given"
            )
    builder = _Builder()
    root = builder.node({"name": "figure", "scale": [0.001] * 3, "rotation": list(_TURN)}, None)
    at: dict[str, int] = {}

    def node_of(part: str, trail: tuple[str, ...] = ()) -> int:
        """The node that carries a part, made when first asked for."""
        joint = mover.get(part)
        if joint is None:
            return root
        if part in trail:
            raise UsageError("glb.circle", f"the joints run in a circle at {part!r}")
        if part not in at:
            outer = node_of(joint.stays, (*trail, part))
            origin = mover[joint.stays].centre if joint.stays in mover else (0.0, 0.0, 0.0)
            step = [float(c - o) for c, o in zip(joint.centre, origin, strict=True)]
            at[part] = builder.node({"name": f"joint:{joint.name}", "translation": step}, outer)
        return at[part]

    for name, mesh in parts:
        back = [-float(v) for v in mover[name].centre] if name in mover else [0.0, 0.0, 0.0]
        builder.node({"name": f"part:{name}", "translation": back, "mesh": builder.mesh(name, mesh)}, node_of(name))
    for animation in animations:
        builder.animation(animation, root)
    return builder.glb()


def named_glb(root: str, objects: Sequence[tuple[str, Mesh]], points: Sequence[tuple[str, Point]] = ()) -> bytes:
    """Objects by name (mm, figure coordinates) as the GLB has them: below one root node, with empty nodes at points."""
    builder = _Builder()
    top = builder.node({"name": root, "scale": [0.001] * 3, "rotation": list(_TURN)}, None)
    for name, mesh in objects:
        builder.node({"name": name, "mesh": builder.mesh(name, mesh)}, top)
    for name, point in points:
        builder.node({"name": name, "translation": [float(v) for v in point]}, top)
    return builder.glb()


class _Builder:
    """Collects nodes and binary data, and packs them."""

    def __init__(self) -> None:
        self._nodes: list[dict[str, Any]] = []
        self._meshes: list[dict[str, Any]] = []
        self._views: list[dict[str, Any]] = []
        self._accessors: list[dict[str, Any]] = []
        self._animations: list[dict[str, Any]] = []
        self._data = bytearray()

    def node(self, node: dict[str, Any], parent: int | None) -> int:
        self._nodes.append(node)
        number = len(self._nodes) - 1
        if parent is not None:
            self._nodes[parent].setdefault("children", []).append(number)
        return number

    def mesh(self, name: str, mesh: Mesh) -> int:
        vertices = mesh.vertices.astype("<f4")
        positions = self._accessor(vertices, _FLOAT, "VEC3", _VERTICES)
        self._accessors[positions] |= {
            "min": [float(v) for v in vertices.min(axis=0)], "max": [float(v) for v in vertices.max(axis=0)],
        }  # fmt: skip
        indices = self._accessor(mesh.faces.astype("<u4").ravel(), _UINT, "SCALAR", _INDICES)
        primitive = {"attributes": {"POSITION": positions}, "indices": indices, "material": 0}
        self._meshes.append({"name": name, "primitives": [primitive]})
        return len(self._meshes) - 1

    def animation(self, animation: Animation, root: int) -> None:
        """Straight between keys, which for rotations is the shortest turn about one axis (glTF 2.0, 3.11 and C.4)."""
        times = animation.times_s.astype("<f4")
        clock = self._accessor(times, _FLOAT, "SCALAR")
        self._accessors[clock] |= {"min": [float(times[0])], "max": [float(times[-1])]}
        numbers = {node["name"]: k for k, node in enumerate(self._nodes)}
        samplers: list[dict[str, Any]] = []
        channels: list[dict[str, Any]] = []

        def channel(node: int, path: str, values: np.ndarray, kind: str) -> None:
            samplers.append({"input": clock, "output": self._accessor(values.astype("<f4"), _FLOAT, kind)})
            channels.append({"sampler": len(samplers) - 1, "target": {"node": node, "path": path}})

        for joint, turns in animation.rotations.items():
            channel(numbers[f"joint:{joint}"], "rotation", turns, "VEC4")
        # The root stands in the file's own axes: metres, y up.
        lifts = np.zeros((len(times), 3))
        lifts[:, 1] = 0.001 * animation.rise_mm
        channel(root, "translation", lifts, "VEC3")
        self._animations.append({"name": animation.name, "channels": channels, "samplers": samplers})

    def _accessor(self, values: np.ndarray, component: int, kind: str, target: int | None = None) -> int:
        raw = values.tobytes()
        view = {"buffer": 0, "byteOffset": len(self._data), "byteLength": len(raw)}
        self._views.append(view if target is None else {**view, "target": target})
        self._data += raw  # float32 and uint32 only, so every view stays on a boundary of four bytes
        self._accessors.append(
            {"bufferView": len(self._views) - 1, "componentType": component, "count": len(values), "type": kind}
        )
        return len(self._accessors) - 1

    def glb(self) -> bytes:
        document = {
            "asset": {"version": "2.0", "generator": "Condyle"},
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": self._nodes,
            "meshes": self._meshes,
            "materials": [
                {"name": "print", "pbrMetallicRoughness": {
                    "baseColorFactor": [0.72, 0.70, 0.66, 1.0], "metallicFactor": 0.0, "roughnessFactor": 0.8}}
            ],
            **({"animations": self._animations} if self._animations else {}),
            "accessors": self._accessors,
            "bufferViews": self._views,
            "buffers": [{"byteLength": len(self._data)}],
        }  # fmt: skip
        text = json.dumps(document, separators=(",", ":"), allow_nan=False).encode("ascii")
        text += b" " * (-len(text) % 4)
        data = bytes(self._data)
        length = 12 + 8 + len(text) + 8 + len(data)
        return b"".join([
            b"glTF", struct.pack("<II", 2, length),
            struct.pack("<I4s", len(text), b"JSON"), text,
            struct.pack("<I4s", len(data), b"BIN\0"), data,
        ])  # fmt: skip
