"""Colours as drawn: on the sculpt's own faces, and by rules of the maker's; asked of the faces of any part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.finding import Point
from condyle.finish.colours import Colour, lab
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray, IntArray, Mesh


@dataclass(frozen=True)
class Rule:
    """Where one colour goes: whole parts, objects of the sculpt by number, boxes (low, high), spheres (centre, radius)."""

    colour: int
    parts: tuple[str, ...] = ()
    objects: tuple[int, ...] = ()
    boxes: tuple[tuple[Point, Point], ...] = ()
    spheres: tuple[tuple[Point, float], ...] = ()


@dataclass(frozen=True, eq=False)
class Drawn:
    """The colours of a figure, figure coordinates.

    source    the sculpt as it was read, where its colours or objects count; of_face and object_of (n,) are the colour
              and the object of each of its triangles, -1 for none
    rules     in order, later ones over earlier ones and over the sculpt's own
    rest      the colour of all that nothing else names
    """

    colours: tuple[Colour, ...]
    source: Mesh | None = None
    of_face: IntArray | None = None
    object_of: IntArray | None = None
    rules: tuple[Rule, ...] = ()
    rest: int = 0


class Brush:
    """Drawn colours made ready to be asked for."""

    def __init__(self, drawn: Drawn) -> None:
        self.drawn = drawn
        self._skin = Bvh(drawn.source) if drawn.source is not None and drawn.source.triangle_count else None

    def faces(self, part: str, middles: FloatArray) -> IntArray:
        """The colour of each face of a part by its middle (n, 3): that of the sculpt's nearest face, under the rules."""
        drawn = self.drawn
        out = np.full(len(middles), drawn.rest, dtype=np.int32)
        of = np.full(len(middles), -1, dtype=np.int64)
        if self._skin is not None and drawn.of_face is not None and drawn.object_of is not None:
            _, _, face = self._skin.closest(middles)
            told = drawn.of_face[face]
            out[told >= 0] = told[told >= 0]
            of = drawn.object_of[face].astype(np.int64)
        for rule in drawn.rules:
            mine = np.full(len(middles), part in rule.parts)
            if rule.objects:
                mine |= np.isin(of, rule.objects)
            for low, high in rule.boxes:
                mine |= np.all((middles >= np.asarray(low)) & (middles <= np.asarray(high)), axis=1)
            for centre, radius in rule.spheres:
                mine |= np.linalg.norm(middles - np.asarray(centre), axis=1) <= radius
            out[mine] = rule.colour
        return out


_HUES = (
    (20.0, "rose"), (50.0, "red"), (80.0, "orange"), (110.0, "yellow"), (170.0, "green"), (230.0, "teal"),
    (312.0, "blue"), (336.0, "violet"), (360.0, "rose"),
)  # fmt: skip


def word_for(rgb: tuple[int, int, int]) -> str:
    """A colour in plain words, by its lightness, chroma and hue in CIELAB: our own division of the hues."""
    light, a, b = (float(v) for v in lab(np.array([rgb]))[0])
    chroma = float(np.hypot(a, b))
    if chroma < 10.0:
        return (
            "black"
            if light < 18.0
            else "dark grey"
            if light < 42.0
            else "grey"
            if light < 70.0
            else "light grey"
            if light < 93.0
            else "white"
        )
    hue = float(np.degrees(np.arctan2(b, a))) % 360.0
    name = next(word for end, word in _HUES if hue <= end)
    if name in ("orange", "yellow", "red") and light < 52.0 and chroma < 45.0:
        name = "brown"
    return f"dark {name}" if light < 32.0 else f"light {name}" if light > 78.0 and name != "yellow" else name
