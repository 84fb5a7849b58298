"""All pairs of parts that a joint moves, asked about whole cells of placements: which of them may meet there?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condyle.geometry.cover import Cell, Shells, first_near, shells_about
from condyle.geometry.gap import Surface
from condyle.geometry.mesh import FloatArray
from condyle.proof.move_case import Facing


class Cells:
    """Pairs as shells about one point; what was in the way once is looked at first the next time.

    turning  whether every cell turns about the point alone: pairs whose distances from it never overlap are then left out
    """

    def __init__(self, pairs: Sequence[Facing], centre: FloatArray, *, turning: bool) -> None:
        known: dict[int, Shells] = {}

        def shells(surface: Surface) -> Shells:
            if id(surface) not in known:
                known[id(surface)] = shells_about(surface, centre)
            return known[id(surface)]

        self.sides: list[tuple[Facing, Shells, Shells]] = []
        for pair in pairs:
            moved, still = shells(pair.moved), shells(pair.still)
            (a, b), (c, d) = moved.span, still.span
            if not turning or max(a - d, c - b) <= pair.keep_mm:
                self.sides.append((pair, moved, still))
        boxes = [(m.surface.bvh.boxes[0], s.surface.bvh.boxes[0]) for _, m, s in self.sides]
        self._moved = np.array([b.mean(axis=0) for b, _ in boxes]).reshape(-1, 3)
        self._radius = np.array([0.5 * float(np.linalg.norm(b[1] - b[0])) for b, _ in boxes])
        self._still = np.array([b for _, b in boxes]).reshape(-1, 2, 3)
        self._keep = np.array([p.keep_mm for p, _, _ in self.sides])
        # Of the pieces' distance from the point; before a spin about a line elsewhere the place now is what counts.
        self._far = np.array([m.span[1] for _, m, _ in self.sides])
        self._order = list(range(len(self.sides)))

    def blocked(self, cell: Cell) -> tuple[Facing, int] | None:
        """None where all pairs are proved clear in the whole cell; else one that may meet, and a triangle of what stays."""
        if not self.sides:
            return None
        at = self._moved @ cell.matrix[:3, :3].T + cell.matrix[:3, 3]
        apart = np.maximum(np.maximum(self._still[:, 0] - at, at - self._still[:, 1]), 0.0)
        centre = self.sides[0][1].centre
        far = np.maximum(self._far, np.linalg.norm(at - centre, axis=1) + self._radius)
        need = self._keep + self._radius + far * cell.wide
        if cell.spin > 0.0:
            arm = np.linalg.norm(at - (centre if cell.point is None else cell.point), axis=1) + self._radius
            need += arm * cell.spin * (1.0 + cell.wide)
        near = np.einsum("ij,ij->i", apart, apart) < need**2
        for place, k in enumerate(self._order):
            if not near[k]:
                continue
            pair, moved, still = self.sides[k]
            found = first_near(moved, still, cell, pair.keep_mm, pair.rule)
            if found is not None:
                self._order.insert(0, self._order.pop(place))
                return pair, found
        return None
