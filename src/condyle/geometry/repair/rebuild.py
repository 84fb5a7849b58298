"""Crossings resolved by taking boxes out of the solid and rebuilding them: the way of last resort.

Around each cluster of crossings a box is cut out of the solid. The boolean library carries winding numbers through, so a
region covered twice comes out as two overlapping shells; inside a small box the limbs that cross are shells of their
own, and their union is what was meant. A box in which one shell still crosses itself is cut in pieces; where these have
become small, the content is rebuilt from the winding number (inside: above one half) by marching cubes, with steps of
a few hundredths of a millimetre; there the new skin lies within about a step of the old one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.errors import UsageError
from condyle.geometry.bvh import Bvh
from condyle.geometry.fields import surface_from_field
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import box
from condyle.geometry.repair.crossing import crossings_of
from condyle.geometry.solid import Solid, gather, overlap, remainder, solid_from_mesh, union

REBUILD_MM = 2.5
_STEPS = 32
_FINEST_MM = 0.03


@dataclass(frozen=True, eq=False)
class Rebuilt:
    """The solid; the boxes (k, 2, 3) whose content was rebuilt; the step of each in mm (k,)."""

    solid: Solid
    boxes: FloatArray
    steps_mm: FloatArray


def rebuilt(solid: Solid, bvh: Bvh, boxes: FloatArray, *, all_of_it: bool = False) -> Rebuilt:
    """``solid`` without the crossings inside boxes (k, 2, 3) that lie apart and hold them all.

    ``bvh``: the hierarchy of ``solid.mesh``. With ``all_of_it`` every box is rebuilt from the winding number.
    """
    pieces: list[Solid] = []
    done: list[FloatArray] = []
    steps: list[float] = []
    tools = [box(tuple(low), tuple(high)) for low, high in boxes]
    rest = remainder(solid, tools)
    if rest is not None:
        pieces += _positive(rest)
    inner = overlap(solid, gather(tools)) if tools else None
    if inner is not None:
        crowd = _positive(inner)
        for low, high in boxes:
            mine = [p for p in crowd if np.all(p.bounds[0] >= low - 1e-6) and np.all(p.bounds[1] <= high + 1e-6)]
            for cell, content in _cells(mine, np.stack([low, high]), all_of_it):
                if content is not None:
                    pieces += content
                    continue
                step = max(_FINEST_MM, float((cell[1] - cell[0]).max()) / _STEPS)
                made = _rebuilt(bvh, cell, step)
                done.append(cell)
                steps.append(step)
                if made is not None:
                    pieces.append(made)
    return Rebuilt(union(pieces, "sculpt without crossings"), np.array(done).reshape(-1, 2, 3), np.array(steps))


def _positive(solid: Solid) -> list[Solid]:
    """The shells that enclose something; pockets turned inside out (winding number below nothing) are left away."""
    out = []
    for shell in solid.shells():
        if shell.volume_mm3 > 1e-9:
            out.append(solid_from_mesh(shell, "shell"))
    return out


def _cells(content: list[Solid], cell: FloatArray, rebuild: bool) -> list[tuple[FloatArray, list[Solid] | None]]:
    """A box as cells with shells that do not cross themselves; None for the content of cells to be rebuilt."""
    if rebuild:
        return [(cell, None)]
    clean: list[Solid] = []
    tangled: list[Solid] = []
    places: list[FloatArray] = []
    for piece in content:
        crossings = crossings_of(Bvh(piece.mesh))
        (tangled if len(crossings) else clean).append(piece)
        places.append(crossings.points)
    if not tangled:
        return [(cell, clean)]
    points = np.concatenate(places)
    size = cell[1] - cell[0]
    if float(size.max()) <= REBUILD_MM:
        return [(cell, None)]
    # Cut at the middle of each long side; short sides stay whole.
    out: list[tuple[FloatArray, list[Solid] | None]] = []
    sides = [
        [cell[0, k], 0.5 * (cell[0, k] + cell[1, k]), cell[1, k]] if size[k] > 0.5 * size.max() else list(cell[:, k])
        for k in range(3)
    ]
    for x0, x1 in zip(sides[0], sides[0][1:], strict=False):
        for y0, y1 in zip(sides[1], sides[1][1:], strict=False):
            for z0, z1 in zip(sides[2], sides[2][1:], strict=False):
                sub = np.array([[x0, y0, z0], [x1, y1, z1]])
                tool = box((x0, y0, z0), (x1, y1, z1))
                parts: list[Solid] = []
                for piece in content:
                    shared = overlap(piece, tool)
                    if shared is not None:
                        parts += _positive(shared)
                within = np.all((points > sub[0] - 1e-6) & (points < sub[1] + 1e-6), axis=1).any()
                if not within:
                    out.append((sub, parts))
                else:
                    out += _cells(parts, sub, False)
    return out


def _rebuilt(bvh: Bvh, cell: FloatArray, step: float) -> Solid | None:
    """What the winding number says is inside, in a cell and a little beyond, so that it overlaps its surroundings."""
    low, high = cell[0] - 3.0 * step, cell[1] + 3.0 * step
    middle, half = 0.5 * (low + high), 0.5 * (high - low)

    def field(points: FloatArray) -> FloatArray:
        return np.maximum(bvh.signed_distance(points), (np.abs(points - middle) - half).max(axis=1))

    try:
        return solid_from_mesh(surface_from_field(field, np.stack([low - 2 * step, high + 2 * step]), step), "rebuilt")
    except UsageError:  # nothing inside
        return None
