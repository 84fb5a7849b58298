"""Would a part print better in two? Planes are tried, each half flat side down, and what is saved is measured.

A half stands on its cut face, which needs no support, shows no steps and cannot tip. The cut keeps off bearings, leaves two
bodies and no more, and has room for a round key with walls around it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from condyle.build.faces import PrintPart, kinds
from condyle.build.process import Rules
from condyle.build.supports import supports
from condyle.build.weigh import COLUMN, scales_of, upright, weigh
from condyle.errors import SolidError
from condyle.finding import Point
from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray
from condyle.geometry.sections import section
from condyle.geometry.solid import Solid, solid_from_mesh

WORTH_SHARE, WORTH_MM3 = 0.6, 150.0
"""A split is proposed where it saves this share of the support, and this much at least: our choice."""

_SHARES = (0.25, 0.4, 0.5, 0.6, 0.75)
_KEY_MM = 3.0
_TRIES = 2


@dataclass(frozen=True)
class Split:
    """A cut that was tried.

    normal, place      of the plane, figure coordinates; the half on the normal's side prints with the normal up
    before_mm3         support of the whole part as it lies; ``after_mm3`` of both halves together, by layers
    section_mm2        area of the cut face; ``key_mm`` diameter of the round key that fits at ``key_at``
    seam_mm            length of the outline that has to be glued and filled
    """

    normal: Point
    place: Point
    before_mm3: float
    after_mm3: float
    section_mm2: float
    key_mm: float
    key_at: Point
    seam_mm: float


def split_for_printing(part: PrintPart, before_mm3: float, up: FloatArray, rules: Rules) -> Split | None:
    """The best cut among planes square to the figure's axes, to the part's own, and to the direction in which it lies.

    None where no cut saves ``WORTH_SHARE`` of the support and ``WORTH_MM3`` at least.
    """
    if before_mm3 < WORTH_MM3:
        return None
    light = solid_from_mesh(part.light, part.name)
    rough: list[tuple[float, FloatArray, float]] = []
    for normal in _normals(part, up):
        heights = part.light.vertices @ normal
        low, high = float(heights.min()), float(heights.max())
        for share in _SHARES:
            at = low + share * (high - low)
            if not _through_bearing(part, normal, at):
                after = _rough(light, part, normal, at, rules)
                if after is not None:
                    rough.append((after, normal, at))
    rough.sort(key=lambda r: r[0])
    for after, normal, at in rough[:_TRIES]:
        if before_mm3 - after < max(WORTH_SHARE * before_mm3, WORTH_MM3):
            break
        found = _tried(part, normal, at, before_mm3, rules)
        if found is not None:
            return found
    return None


def _normals(part: PrintPart, up: FloatArray) -> list[FloatArray]:
    centred = part.light.corners.mean(axis=1) - part.light.vertices.mean(axis=0)
    own = np.linalg.svd(centred * np.sqrt(part.light.areas)[:, None], full_matrices=False)[2]
    out: list[FloatArray] = []
    for normal in (up, *np.eye(3), *own):
        if all(abs(float(normal @ n)) < 0.966 for n in out):
            out.append(normal)
    return out


def _through_bearing(part: PrintPart, normal: FloatArray, at: float) -> bool:
    for solid in part.bearings:
        heights = solid.mesh.vertices @ normal
        if heights.min() - 0.8 < at < heights.max() + 0.8:
            return True
    return False


def _halves(solid: Solid, normal: FloatArray, at: float) -> tuple[Solid, Solid] | None:
    try:
        upper, lower = solid.trimmed(tuple(normal), at), solid.trimmed(tuple(-normal), -at)
    except SolidError:
        return None
    if len(upper.shells()) != 1 or len(lower.shells()) != 1:
        return None
    return upper, lower


def _rough(light: Solid, part: PrintPart, normal: FloatArray, at: float, rules: Rules) -> float | None:
    """Support of both halves by columns on the light copy."""
    halves = _halves(light, normal, at)
    if halves is None:
        return None
    total = 0.0
    for half, way in zip(halves, (normal, -normal), strict=True):
        kind = np.zeros(half.mesh.triangle_count, dtype=np.uint8)
        bare = replace(part, solid=half, light=half.mesh, light_kinds=kind, necks=())
        total += float(weigh(scales_of(bare, 1.0, 1.0), way[None], rules, 1)[0, COLUMN["support_mm3"]])
    return total


def _tried(part: PrintPart, normal: FloatArray, at: float, before_mm3: float, rules: Rules) -> Split | None:
    """The cut on the true solid, supports by layers; None where it falls into more than two or a key has no room."""
    halves = _halves(part.solid, normal, at)
    if halves is None:
        return None
    rows = upright(normal)
    frame = Frame(normal * at, rows.T)
    face = section(part.mesh, frame)
    if face.empty:
        return None
    middle, radius = face.inscribed_circle()
    key = min(_KEY_MM, 2.0 * (radius - 2.0 * rules.line_mm))
    if key < max(1.5, rules.min_feature_mm):
        return None
    after = 0.0
    for half, way in zip(halves, (normal, -normal), strict=True):
        mesh = half.mesh
        piece = replace(
            part, solid=half, plain=half, light=mesh, light_kinds=kinds(mesh.vertices[:0], (), None), necks=()
        )
        rotation = upright(way)
        transform = np.eye(4)
        transform[:3, :3] = rotation
        transform[2, 3] = -float((mesh.vertices @ rotation[2]).min())
        after += supports(piece, transform, rules).volume_mm3
    if before_mm3 - after < max(WORTH_SHARE * before_mm3, WORTH_MM3):
        return None
    seam = sum(float(np.linalg.norm(r - np.roll(r, 1, axis=0), axis=1).sum()) for r in face.rings())
    key_at = frame.to_outer(np.array([middle[0], middle[1], 0.0]))
    place = normal * at
    return Split(
        normal=(float(normal[0]), float(normal[1]), float(normal[2])),
        place=(float(place[0]), float(place[1]), float(place[2])),
        before_mm3=before_mm3,
        after_mm3=after,
        section_mm2=face.area_mm2,
        key_mm=key,
        key_at=(float(key_at[0]), float(key_at[1]), float(key_at[2])),
        seam_mm=seam,
    )
