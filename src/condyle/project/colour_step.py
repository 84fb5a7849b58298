"""Colours of the figure file and of the sculpt's files, brought together in figure coordinates."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import numpy as np

from condyle.errors import FigureFileError
from condyle.figure.kit import Kit
from condyle.finding import point_of
from condyle.finish.colours import Colour, pots
from condyle.finish.drawn import Drawn, Rule, word_for
from condyle.geometry.formats.scene import NamedMesh
from condyle.geometry.mesh import FloatArray, concatenate
from condyle.project.figure_file import FigureDocument
from condyle.project.sculpt import SculptFiles, load_sculpt

BASE_RGB = (205, 196, 178)


def drawn_colours(document: FigureDocument, sculpt: SculptFiles, kit: Kit, to_figure: FloatArray) -> Drawn:
    """All colours of a figure; FigureFileError for a part or piece that is not there.

    ``to_figure`` (4, 4) takes the sculpt's input coordinates to the figure's.
    """
    content = document.content
    meshes = list(sculpt.scene.meshes)
    for name, table in content.pieces.items():
        if table.file is not None:
            meshes += [
                NamedMesh(name, m.mesh, m.colours) for m in load_sculpt([document.beside(table.file)]).scene.meshes
            ]
    coloured = [m for m in meshes if m.colours is not None]
    names = list(dict.fromkeys(m.name for m in meshes))
    colours: list[Colour] = []
    own = np.zeros(0, dtype=np.int32)
    if coloured:
        areas = np.concatenate([m.mesh.areas for m in coloured])
        found, own = pots(np.concatenate([m.colours for m in coloured if m.colours is not None]), areas)
        for rgb in found:
            colours.append(Colour(_free(word_for(rgb), colours), rgb))
    rules: list[Rule] = []
    if not coloured and not content.colours:
        for name, table in content.pieces.items():
            colours.append(Colour(_free(name.replace("_", " "), colours), _shade(len(colours))))
            objects = tuple(names.index(n) for n in (table.object, name) if n in names)
            rules.append(Rule(len(colours) - 1, (name,), objects))
    rest: int | None = None
    for number, entry in enumerate(content.colours):
        same = next((k for k, c in enumerate(colours) if c.name == entry.name), None)
        if same is None:
            colours.append(Colour(entry.name, (entry.rgb[0], entry.rgb[1], entry.rgb[2])))
            same = len(colours) - 1
        if entry.everywhere:
            rest = same
            continue
        _check(document, number, "parts", entry.parts, [p.name for p in kit.parts])
        pieces = [*content.pieces, *(n for n in names if n)]
        _check(document, number, "pieces", entry.pieces, pieces)
        objects = tuple(names.index(n) for n in _objects(document, entry.pieces) if n in names)
        boxes = tuple((point_of(low), point_of(high)) for low, high in entry.boxes)
        spheres = tuple((point_of(s[:3]), s[3]) for s in entry.spheres)
        rules.append(Rule(same, (*entry.parts, *entry.pieces), objects, boxes, spheres))
    if rest is None:
        colours.append(Colour(_free(content.finish.colour, colours), BASE_RGB))
        rest = len(colours) - 1
    if not coloured and not any(r.objects for r in rules):
        return Drawn(tuple(colours), rules=tuple(rules), rest=rest)
    of_face, object_of, at = [], [], 0
    for m in meshes:
        n = m.mesh.triangle_count
        of_face.append(own[at : at + n] if m.colours is not None else np.full(n, -1, dtype=np.int32))
        at += n if m.colours is not None else 0
        object_of.append(np.full(n, names.index(m.name), dtype=np.int32))
    source = concatenate([m.mesh for m in meshes]).transformed(to_figure)
    return Drawn(tuple(colours), source, np.concatenate(of_face), np.concatenate(object_of), tuple(rules), rest)


def _objects(document: FigureDocument, pieces: Sequence[str]) -> list[str]:
    """Names of objects: a piece's own object, its file under the piece's name, or an object that is no piece."""
    tables = document.content.pieces
    return [(tables[p].object or p) if p in tables else p for p in pieces]


def _check(document: FigureDocument, number: int, key: str, asked: Sequence[str], known: Sequence[str]) -> None:
    for name in asked:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else "there are: " + ", ".join(known)
            place = document.place("colours", number, key)
            raise FigureFileError("figure.colour", f"there is no {key[:-1]} {name}", hint=hint, place=place)


def _free(name: str, taken: Sequence[Colour]) -> str:
    names = {c.name for c in taken}
    return name if name not in names else next(f"{name} {k}" for k in range(2, 1000) if f"{name} {k}" not in names)


def _shade(number: int) -> tuple[int, int, int]:
    level = 150 - 23 * (number % 5)
    return (level, level - 10, level - 25)
