"""Wavefront OBJ: vertices and polygons, split by object and group names. Vertex colours, materials and textures give colours.

Curves and free-form surfaces are passed over.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from condyle.geometry.formats.faces import triangulated
from condyle.geometry.formats.limits import EXPORT_AGAIN, MAX_MESHES, checked_mesh, checked_meshes, printable, refusal
from condyle.geometry.formats.obj_colours import colours_of_faces
from condyle.geometry.formats.scene import Colours, NamedMesh, Scene
from condyle.geometry.mesh import FloatArray

_STATEMENT = re.compile(rb"^[ \t]*(v|f|o|g|vn|vt|usemtl|mtllib|s)[ \t]", re.MULTILINE)
_OTHER_THAN_POSITION = re.compile(rb"/[^\s]*")
_PASSED_OVER = (b"curv", b"curv2", b"surf", b"l", b"p")

_Ints = NDArray[np.int64]


def looks_like_obj(data: bytes) -> bool:
    """Whether the first lines that are no comment hold statements of the format."""
    return _STATEMENT.search(data[:65536]) is not None and b"\0" not in data[:65536]


def read_obj(data: bytes, file: str, fetch: Callable[[str], bytes] | None = None) -> Scene:
    """Read OBJ. Each name of an ``o`` or ``g`` statement becomes a mesh; polygons become triangles.

    Materials and textures come through ``fetch``; where they are missing the sculpt is read without, and that is noted.
    """
    if b"\0" in data[:65536]:
        raise refusal(
            "kind",
            "the file is no text, so it is no OBJ file",
            "Name the file by its real format, or export it again as OBJ.",
            file,
        )
    lines = _Lines(data, file)
    vertices = lines.vertices()
    counts, corners = lines.faces(len(vertices))
    if len(corners) and (int(corners.min()) < 0 or int(corners.max()) >= len(vertices)):
        wrong = int(np.flatnonzero((corners < 0) | (corners >= len(vertices)))[0])
        face = int(np.searchsorted(np.cumsum(counts), wrong, side="right"))
        raise refusal(
            "index",
            f"a face uses a vertex that does not exist; there are {len(vertices):,}",
            EXPORT_AGAIN,
            file,
            lines.face_numbers[face],
        )
    triangles, owners = triangulated(counts, corners, vertices)
    groups = np.array(lines.face_groups, dtype=np.int64)[owners] if len(owners) else np.zeros(0, dtype=np.int64)
    notes = list(lines.notes)
    colours = colours_of_faces(lines, triangles, owners, counts, fetch, notes)
    meshes = _by_group(vertices, triangles, groups, lines.names, colours, file)
    if len(counts) and int(counts.max()) > 4:
        notes.append(f"{int((counts > 4).sum()):,} polygons of more than four sides were split as fans")
    return Scene(checked_meshes(meshes, file), "obj", notes=tuple(notes))


class _Lines:
    """The statements of the file, sorted by kind; numbers are parsed in bulk, and line by line only to find a fault."""

    def __init__(self, data: bytes, file: str) -> None:
        self.file = file
        self.names: list[str] = [""]
        self.notes: list[str] = []
        self.face_numbers: list[int] = []
        self.face_groups: list[int] = []
        self.materials: list[bytes] = [b""]
        self.face_materials: list[int] = []
        self.libraries: list[str] = []
        self.texture_lines: list[bytes] = []
        self.vertex_colours: FloatArray | None = None
        self._vertex_lines: list[bytes] = []
        self._vertex_numbers: list[int] = []
        self.face_lines: list[bytes] = []
        self._seen: list[int] = []
        known = {"": 0}
        group = material = 0
        passed_over = 0
        pending = b""
        for number, raw in enumerate(data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n"), 1):
            line = pending + raw if pending else raw
            pending = b""
            if line.endswith(b"\\"):
                pending = line[:-1] + b" "
                continue
            word, rest = line[:1], line[2:]
            if line[1:2] != b" " or word not in (b"v", b"f"):  # most lines need no closer look
                word, _, rest = line.replace(b"\t", b" ").strip().partition(b" ")
            if word == b"v":
                self._vertex_lines.append(rest)
                self._vertex_numbers.append(number)
            elif word == b"f":
                self.face_lines.append(rest)
                self.face_materials.append(material)
                self.face_numbers.append(number)
                self.face_groups.append(group)
                self._seen.append(len(self._vertex_lines))
            elif word in (b"o", b"g"):
                name = printable(rest, 200)
                group = known.setdefault(name, len(known))
                if group == len(self.names):
                    self.names.append(name)
                    if len(self.names) > MAX_MESHES:
                        raise refusal(
                            "huge", f"more than {MAX_MESHES:,} groups", "Join the groups and export again.", file
                        )
            elif word == b"vt":
                self.texture_lines.append(rest)
            elif word == b"usemtl":
                name_of = rest.strip()
                if name_of not in self.materials:
                    self.materials.append(name_of)
                material = self.materials.index(name_of)
            elif word == b"mtllib":
                self.libraries.append(printable(rest.strip(), 200))
            elif word in _PASSED_OVER:
                passed_over += 1
        if passed_over:
            self.notes.append(f"{passed_over:,} lines, points, curves or free-form surfaces were passed over")

    def vertices(self) -> FloatArray:
        """(n, 3); a weight is ignored, a colour of three numbers after them is kept apart."""
        try:
            numbers = np.fromiter(map(float, b" ".join(self._vertex_lines).split()), dtype=np.float64)
            width = len(self._vertex_lines[0].split()) if self._vertex_lines else 3
            if width >= 3 and len(numbers) == width * len(self._vertex_lines) and self._even(width):
                table = numbers.reshape(-1, width)
                self.vertex_colours = table[:, 3:6] if width in (6, 7) else None
                return table[:, :3]
        except ValueError:
            pass
        rows = []
        for number, line in zip(self._vertex_numbers, self._vertex_lines, strict=True):
            try:
                x, y, z = (float(word) for word in line.split(b"#")[0].split()[:3])
            except ValueError:
                raise refusal(
                    "syntax", f"a vertex is not three numbers: v {printable(line)}", EXPORT_AGAIN, self.file, number
                ) from None
            rows.append((x, y, z))
        return np.array(rows, dtype=np.float64).reshape(-1, 3)

    def _even(self, width: int) -> bool:
        return width == 3 or all(len(line.split()) == width for line in self._vertex_lines)

    def faces(self, vertex_count: int) -> tuple[_Ints, _Ints]:
        """Corners per face (k,), and vertex indices from 0 of all faces one after the other."""
        text = _OTHER_THAN_POSITION.sub(b"", b"\n".join(self.face_lines))
        rows = text.split(b"\n") if self.face_lines else []
        counts = np.fromiter((len(row.split()) for row in rows), dtype=np.int64, count=len(rows))
        try:
            corners = np.fromiter(map(int, text.split()), dtype=np.int64, count=int(counts.sum()))
        except (ValueError, OverflowError):
            corners = None
        if corners is None or (len(counts) and int(counts.min()) < 3):
            raise self._broken_face()
        back = corners < 0
        if back.any():
            corners = np.where(back, corners + np.repeat(np.array(self._seen, dtype=np.int64), counts) + 1, corners)
        return counts, corners - 1

    def _broken_face(self) -> Exception:
        for number, line in zip(self.face_numbers, self.face_lines, strict=True):
            words = _OTHER_THAN_POSITION.sub(b"", line).split()
            if len(words) < 3 or not all(re.fullmatch(rb"[+-]?\d{1,18}", w) for w in words):
                return refusal(
                    "syntax",
                    f"a face is not three or more vertex numbers: f {printable(line)}",
                    EXPORT_AGAIN,
                    self.file,
                    number,
                )
        return refusal("syntax", "the faces are not well formed", EXPORT_AGAIN, self.file)


def _by_group(
    vertices: FloatArray, triangles: _Ints, groups: _Ints, names: list[str], colours: Colours | None, file: str
) -> list[NamedMesh]:
    """One mesh a group, each with the vertices that it uses; cost does not grow with groups × vertices."""
    if not len(triangles):
        return []
    if (groups == groups[0]).all():
        return [replace(checked_mesh(names[int(groups[0])], vertices, triangles, file), colours=colours)]
    order = np.argsort(groups, kind="stable")
    bounds = np.flatnonzero(np.diff(groups[order], prepend=-1, append=-1))
    meshes = []
    for start, stop in itertools.pairwise(bounds):
        mine = triangles[order[start:stop]]
        used, renumbered = np.unique(mine, return_inverse=True)
        mesh = checked_mesh(names[int(groups[order[start]])], vertices[used], renumbered.reshape(-1, 3), file)
        meshes.append(replace(mesh, colours=None if colours is None else colours[order[start:stop]]))
    return meshes
