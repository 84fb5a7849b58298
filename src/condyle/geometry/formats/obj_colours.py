"""Colours of an OBJ: numbers behind the vertices, else each material's ``Kd`` or its texture ``map_Kd``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from condyle.errors import FileFormatError
from condyle.geometry.formats.colours import Picture, as_bytes, of_corners, of_texture, picture_or_note
from condyle.geometry.formats.gltf_data import plain_name
from condyle.geometry.formats.scene import Colours
from condyle.geometry.mesh import FloatArray

_Ints = NDArray[np.int64]


class Statements(Protocol):
    """What is asked of the statements of the file."""

    file: str
    materials: list[bytes]
    face_materials: list[int]
    libraries: list[str]
    texture_lines: list[bytes]
    face_lines: list[bytes]
    vertex_colours: FloatArray | None


@dataclass(frozen=True)
class _Material:
    kd: tuple[float, float, float] | None
    picture: Picture | None


def colours_of_faces(
    lines: Statements,
    triangles: _Ints,
    owners: _Ints,
    counts: _Ints,
    fetch: Callable[[str], bytes] | None,
    notes: list[str],
) -> Colours | None:
    """One colour a triangle (m, 3), or None where the file tells none. ``owners`` is each triangle's polygon."""
    if not len(triangles):
        return None
    if lines.vertex_colours is not None:
        whole = bool(lines.vertex_colours.max(initial=0.0) > 1.0)  # some write 0 to 255, though 0 to 1 is usual
        return of_corners(as_bytes(lines.vertex_colours, whole=whole), triangles)
    if fetch is None or not lines.libraries or len(lines.materials) < 2:
        return None
    known = _libraries(lines, fetch, notes)
    number = np.array(lines.face_materials, dtype=np.int64)[owners]
    out = np.full((len(triangles), 3), 204, dtype=np.uint8)  # what has no material is a light grey
    told = False
    for index, name in enumerate(lines.materials):
        material = known.get(name)
        mine = number == index
        if material is None or not mine.any():
            continue
        told = True
        if material.kd is not None:
            out[mine] = as_bytes(np.array([material.kd]), whole=False)
        if material.picture is not None:
            middles, has = _texture_middles(lines, np.flatnonzero(mine), owners, counts)
            out[np.flatnonzero(mine)[has]] = of_texture(material.picture, middles[has], from_top=False)
    return out if told else None


def _libraries(lines: Statements, fetch: Callable[[str], bytes], notes: list[str]) -> dict[bytes, _Material]:
    out: dict[bytes, _Material] = {}
    for library in lines.libraries:
        try:
            text = fetch(plain_name(library, lines.file))
        except FileFormatError:
            notes.append(f"the materials in {library!r} are missing: colours were passed over")
            continue
        name = b""
        kd: dict[bytes, tuple[float, float, float]] = {}
        maps: dict[bytes, str] = {}
        for line in text.replace(b"\r", b"\n").split(b"\n"):
            words = line.split()
            if len(words) >= 2 and words[0] == b"newmtl":
                name = line.split(None, 1)[1].strip()
                out.setdefault(name, _Material(None, None))
            elif len(words) >= 4 and words[0] == b"Kd":
                try:
                    kd[name] = (float(words[1]), float(words[2]), float(words[3]))
                except ValueError:
                    continue
            elif len(words) >= 2 and words[0] == b"map_Kd":
                maps[name] = line.split(None, 1)[1].strip().decode("utf-8", "replace")
        for each in list(out):
            picture = out[each].picture
            if each in maps:
                address = maps[each]
                picture = picture_or_note(lambda a=address: fetch(plain_name(a, lines.file)), notes)  # type: ignore[misc]
            out[each] = _Material(kd.get(each, out[each].kd), picture)
    return out


def _texture_middles(
    lines: Statements, mine: _Ints, owners: _Ints, counts: _Ints
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """The texture coordinates (k, 2) at the middle of each polygon that a triangle is of, and which have any."""
    middles = np.zeros((len(mine), 2))
    has = np.zeros(len(mine), dtype=bool)
    points: list[tuple[float, float]] = []
    for line in lines.texture_lines:
        words = line.split()
        try:
            points.append((float(words[0]), float(words[1])))
        except (ValueError, IndexError):
            points.append((0.0, 0.0))
    first: dict[int, int] = {}
    for k, triangle in enumerate(mine):
        polygon = int(owners[triangle])
        step = first.get(polygon, 0)
        first[polygon] = step + 1
        corners = [w.split(b"/") for w in lines.face_lines[polygon].split()]
        three = [corners[0], corners[step + 1], corners[step + 2]] if step + 2 < len(corners) else corners[:3]
        try:
            at = [points[int(c[1]) - 1 if int(c[1]) > 0 else int(c[1])] for c in three]
        except (ValueError, IndexError):
            continue
        middles[k] = np.mean(at, axis=0)
        has[k] = True
    return middles, has
