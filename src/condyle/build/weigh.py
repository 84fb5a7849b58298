"""What one build direction would cost, by columns: one pass over a part's triangles, a few milliseconds.

An upright column is walked from the plate upwards. Where it enters the solid through a face flatter than the process
prints without support, everything down to what lies below is support, and what lies below is its foot. A cell that something
sound holds within a ledge, or on both sides within a bridge, needs none. The grid's pitch limits it: a patch narrower than
a column may be missed, so the chosen orientations are proved again by layers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from condyle.build.faces import BEARING, SHOW, Kinds, PrintPart
from condyle.build.process import Rules
from condyle.geometry.columns import cross, grid_over, room_for
from condyle.geometry.mass import mass_properties
from condyle.geometry.mesh import FloatArray, IntArray, Mesh

MEASURES = (
    "support_mm3", "footprint_mm2", "show_mm2", "bearing_mm2", "feet_show_mm2", "feet_bearing_mm2",
    "first_bearing_mm2", "islands", "height_mm", "contact_mm2", "tip_deg", "neck_share", "rough_um", "peel_mm2",
    "over_plate_mm", "steep_mm2",
)  # fmt: skip
"""What is measured of a direction, in this order.

support_mm3        volume of support, plate or part below
footprint_mm2      plate area that supports stand on
show_mm2           supported area on faces of the sculpt's skin; ``bearing_mm2`` on bearing faces
feet_show_mm2      area of show faces that supports stand on; ``feet_bearing_mm2`` of bearing faces
first_bearing_mm2  bearing face in the first layer
islands            places above the first layer that start in the air (lowest points of the surface)
contact_mm2        area of the part itself in the first layer
tip_deg            how far the finished part could lean on its first layer and supports before it tips
neck_share         tension across the layers over their strength, at the worst neck
rough_um           mean roughness Ra of the show faces, from layer steps
peel_mm2           largest section
over_plate_mm      how much it is too large for the build plate
steep_mm2          plan area of supports taller than wide that stand on faces of the part too steep for a foot
"""

COLUMN = {name: k for k, name in enumerate(MEASURES)}
ROUGH_CELLS, CELLS, FINE_CELLS = 700.0, 1800.0, 16_000.0
_BINS = 96

LongArray = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Scales:
    """A part as the kernel takes it, weighed once; arrays of the light copy. The vertices beside vertex k are those of
    ``beside`` from ``begins[k]`` to ``begins[k + 1]``."""

    vertices: FloatArray
    faces: IntArray
    kinds: Kinds
    normals: FloatArray
    areas: FloatArray
    begins: LongArray
    beside: IntArray
    vertex_normals: FloatArray
    centre: FloatArray
    neck_axes: FloatArray
    neck_stress: FloatArray
    show_mm2: float
    bearing_mm2: float


def scales_of(part: PrintPart, across_share: float, yield_mpa: float, copy: tuple[Mesh, Kinds] | None = None) -> Scales:
    """``across_share`` is the strength across layers over that along them. Necks without a known load are taken as
    strained to half of what their layers bear when they stand upright. ``copy`` is weighed in the place of the light one."""
    mesh, kinds = (part.light, part.light_kinds) if copy is None else copy
    # Around a closed surface every edge is walked once each way: its first end finds the second beside it.
    edges = np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]])
    beside = edges[np.argsort(edges[:, 0], kind="stable"), 1]
    begins = np.concatenate([[0], np.cumsum(np.bincount(edges[:, 0], minlength=len(mesh.vertices)))])
    stress = [0.5 if n.stress_mpa is None else n.stress_mpa / (across_share * yield_mpa) for n in part.necks]
    show = float(mesh.areas[kinds == SHOW].sum())
    return Scales(
        mesh.vertices,
        mesh.faces,
        kinds,
        mesh.normals,
        mesh.areas,
        begins,
        np.ascontiguousarray(beside),
        _vertex_normals(mesh),
        mass_properties(mesh).centre_mm,
        np.array([n.axis for n in part.necks], dtype=np.float64).reshape(-1, 3),
        np.array(stress, dtype=np.float64),
        show,
        float(mesh.areas[kinds == BEARING].sum()),
    )


def weigh(scales: Scales, directions: FloatArray, rules: Rules, workers: int = 2, cells: float = CELLS) -> FloatArray:
    """Measures (n, len(MEASURES)) of build directions (n, 3), unit vectors that point up on the plate.

    ``cells`` is about how many columns stand over the part's bounds; they are never closer than 0.25 mm.
    """
    rotations = uprights(np.asarray(directions, dtype=np.float64).reshape(-1, 3))
    limit = math.cos(math.radians(rules.overhang_deg))

    def some(run: slice) -> FloatArray:
        return _weigh(
            scales.vertices, scales.faces, scales.kinds, scales.normals, scales.areas, scales.begins,
            scales.beside, scales.vertex_normals, scales.centre, scales.neck_axes, scales.neck_stress, max(scales.show_mm2, 1e-9),
            np.ascontiguousarray(rotations[run]), limit, rules.layer_mm, rules.ledge_mm, rules.bridge_mm,
            np.asarray(rules.plate_mm, dtype=np.float64), math.cos(math.radians(rules.foot_deg)), rules.column_mm, cells,
        )  # fmt: skip

    size = max(1, math.ceil(len(rotations) / (4 * workers)))
    runs = [slice(k, k + size) for k in range(0, len(rotations), size)]
    if workers == 1 or len(runs) <= 1:
        parts: Sequence[FloatArray] = [some(r) for r in runs]
    else:
        with ThreadPoolExecutor(workers) as pool:
            parts = list(pool.map(some, runs))
    return np.concatenate(parts) if parts else np.zeros((0, len(MEASURES)))


def upright(direction: FloatArray) -> FloatArray:
    """A rotation (3, 3) that turns a unit vector to +z, the same every time: rows are the build axes."""
    return np.asarray(uprights(np.asarray(direction, dtype=np.float64)[None])[0])


def uprights(directions: FloatArray) -> FloatArray:
    """The rotations (n, 3, 3) of ``upright`` for unit vectors (n, 3)."""
    z = directions
    helper = np.argmin(np.abs(z), axis=1)
    x = np.eye(3)[helper] - z * np.take_along_axis(z, helper[:, None], axis=1)
    x /= np.linalg.norm(x, axis=1, keepdims=True)
    return np.stack([x, np.cross(z, x), z], axis=1)


def _vertex_normals(mesh: Mesh) -> FloatArray:
    total = np.zeros((len(mesh.vertices), 3))
    for axis in range(3):
        for corner in range(3):
            total[:, axis] += np.bincount(
                mesh.faces[:, corner], weights=mesh.area_vectors[:, axis], minlength=len(total)
            )
    return total


@njit(cache=True, nogil=True)
def _anchor(
    i: int, j: int, di: int, dj: int, at: float, most: int, nx: int, ny: int, start: LongArray, z: FloatArray,
    entry: Flags, over: Flags,
) -> int:  # pragma: no cover  # fmt: skip
    """How many cells away along one way a column is solid at a height and not itself hanging; -1 for none."""
    for step in range(1, most + 1):
        a, b = i + step * di, j + step * dj
        if a < 0 or b < 0 or a >= nx or b >= ny:
            return -1
        c = a * ny + b
        depth, hangs = 0, False
        for p in range(start[c], start[c + 1]):
            if z[p] > at:
                break
            if entry[p]:
                if depth == 0:
                    hangs = over[p]
                depth += 1
            else:
                depth -= 1
        if depth > 0 and not hangs:
            return step
    return -1


@njit(cache=True, nogil=True)
def _held(
    i: int, j: int, at: float, nx: int, ny: int, start: LongArray, z: FloatArray, entry: Flags, over: Flags,
    ledge: int, bridge: int,
) -> bool:  # pragma: no cover  # fmt: skip
    """Whether something sound is within a ledge of a hanging cell, or on both sides of it within a bridge."""
    if ledge < 1 and bridge < 1:
        return False
    for way in range(2):
        di, dj = 1 - way, way
        one = _anchor(i, j, di, dj, at, max(ledge, bridge), nx, ny, start, z, entry, over)
        if 0 < one <= ledge:
            return True
        # On the other side, no further than would still hold.
        most = max(ledge, bridge + 1 - one) if one > 0 else ledge
        two = _anchor(i, j, -di, -dj, at, most, nx, ny, start, z, entry, over)
        if 0 < two <= most:
            return True
    return False


@njit(cache=True, nogil=True)
def _weigh(
    vertices: FloatArray, faces: IntArray, kinds: Kinds, normals: FloatArray, areas: FloatArray, begins: LongArray,
    beside: IntArray, vertex_normals: FloatArray, centre: FloatArray, neck_axes: FloatArray, neck_stress: FloatArray, show: float,
    rotations: FloatArray, limit: float, layer: float, ledge: float, bridge: float, plate: FloatArray,
    foot_cos: float, column: float, cells: float,
) -> FloatArray:  # pragma: no cover  # fmt: skip
    out = np.zeros((len(rotations), 16))
    v = np.empty_like(vertices)
    steep = np.empty(len(faces))
    low, high = np.empty(2), np.empty(2)
    room = room_for(int(6.0 * cells) + 64)
    for r in range(len(rotations)):
        m = rotations[r]
        for t in range(len(faces)):
            steep[t] = m[2, 0] * normals[t, 0] + m[2, 1] * normals[t, 1] + m[2, 2] * normals[t, 2]
        for i in range(len(vertices)):
            for k in range(3):
                v[i, k] = m[k, 0] * vertices[i, 0] + m[k, 1] * vertices[i, 1] + m[k, 2] * vertices[i, 2]
        for k in range(2):
            low[k], high[k] = v[:, k].min(), v[:, k].max()
        bottom, top = v[:, 2].min(), v[:, 2].max()
        pitch = max(0.25, math.sqrt(max(high[0] - low[0], 0.1) * max(high[1] - low[1], 0.1) / cells))
        origin, nx, ny = grid_over(low, high, pitch)
        start, z, triangle, entry = cross(v, faces, origin[0], origin[1], pitch, nx, ny, room)
        cell = pitch * pitch
        o = out[r]
        sx = sy = sxx = syy = sxy = count = 0.0
        bins = np.zeros(_BINS + 1)
        scale = _BINS / max(top - bottom, 1e-9)
        over = np.zeros(len(z), dtype=np.bool_)
        for c in range(nx * ny):
            below, depth = bottom, 0
            for p in range(start[c], start[c + 1]):
                t = triangle[p]
                if not entry[p]:
                    depth -= 1
                    below = z[p]
                    continue
                depth += 1
                if depth == 1:
                    over[p] = -steep[t] > limit and z[p] - below > layer
        ledge_cells, bridge_cells = int(ledge / pitch), int(bridge / pitch)
        for i in range(nx):
            for j in range(ny):
                c = i * ny + j
                below, foot, depth, based = bottom, -1, 0, False
                for p in range(start[c], start[c + 1]):
                    t = triangle[p]
                    b = min(int((z[p] - bottom) * scale), _BINS)
                    if not entry[p]:
                        depth -= 1
                        bins[b] -= cell
                        if depth == 0:
                            below, foot = z[p], t
                        continue
                    depth += 1
                    bins[b] += cell
                    if depth != 1:
                        continue
                    if foot < 0 and z[p] - bottom <= layer:
                        o[9] += cell
                        based = True
                        if kinds[t] == BEARING:
                            o[6] += cell
                    elif over[p] and not _held(
                        i, j, z[p] - layer, nx, ny, start, z, entry, over, ledge_cells, bridge_cells
                    ):
                        o[0] += cell * (z[p] - below)
                        face = cell / max(-steep[t], 0.05)
                        if kinds[t] == SHOW:
                            o[2] += face
                        elif kinds[t] == BEARING:
                            o[3] += face
                        if foot < 0:
                            o[1] += cell
                            based = True
                        else:
                            if kinds[foot] == SHOW:
                                o[4] += cell
                            elif kinds[foot] == BEARING:
                                o[5] += cell
                            if steep[foot] < foot_cos and z[p] - below > column:
                                o[15] += cell
                if based:
                    x, y = origin[0] + i * pitch, origin[1] + j * pitch
                    sx, sy, count = sx + x, sy + y, count + 1.0
                    sxx, syy, sxy = sxx + x * x, syy + y * y, sxy + x * y
        inside, widest = 0.0, 0.0
        for b in range(_BINS + 1):
            inside += bins[b]
            widest = max(widest, inside)
        o[13] = widest
        for i in range(len(v)):
            up = m[2, 0] * vertex_normals[i, 0] + m[2, 1] * vertex_normals[i, 1] + m[2, 2] * vertex_normals[i, 2]
            if up < 0.0 and v[i, 2] > bottom + layer:
                lowest = True
                for p in range(begins[i], begins[i + 1]):
                    k = beside[p]
                    if v[i, 2] > v[k, 2] or (v[i, 2] == v[k, 2] and i > k):
                        lowest = False
                        break
                if lowest:
                    o[7] += 1.0
        o[8] = top - bottom
        o[10] = 0.0
        if count > 0.0:
            mx, my = sx / count, sy / count
            vxx, vyy, vxy = sxx / count - mx * mx, syy / count - my * my, sxy / count - mx * my
            # The narrow way across the base: of a rectangle, twelve times the variance is its width squared.
            half = 0.5 * (vxx + vyy)
            least = max(half - math.sqrt((0.5 * (vxx - vyy)) ** 2 + vxy * vxy), 0.0)
            angle = 0.5 * math.atan2(2.0 * vxy, vxx - vyy) + 0.5 * math.pi
            cx = m[0, 0] * centre[0] + m[0, 1] * centre[1] + m[0, 2] * centre[2]
            cy = m[1, 0] * centre[0] + m[1, 1] * centre[1] + m[1, 2] * centre[2]
            cz = m[2, 0] * centre[0] + m[2, 1] * centre[1] + m[2, 2] * centre[2] - bottom
            off = abs((cx - mx) * math.cos(angle) + (cy - my) * math.sin(angle))
            reach = 0.5 * math.sqrt(12.0 * least + cell) - off
            o[10] = math.degrees(math.atan2(max(reach, 0.0), max(cz, 1e-6)))
        for n in range(len(neck_axes)):
            c = m[2, 0] * neck_axes[n, 0] + m[2, 1] * neck_axes[n, 1] + m[2, 2] * neck_axes[n, 2]
            o[11] = max(o[11], neck_stress[n] * c * c)
        steps = 0.0
        for t in range(len(faces)):
            if kinds[t] == SHOW:
                nz = abs(steep[t])
                # A level face has no steps.
                if nz < 0.9999:
                    steps += areas[t] * nz
        o[12] = 250.0 * layer * steps / show
        o[14] = max(high[0] - low[0] - plate[0], 0.0) + max(high[1] - low[1] - plate[1], 0.0)
        o[14] += max(top - bottom - plate[2], 0.0)
    return out
