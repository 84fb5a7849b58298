"""STL, binary and text.

Binary: 80 bytes of header, a little-endian uint32 count, 50 bytes a triangle (12 float32 and a uint16). A binary file
may begin with the word ``solid`` as a text file does, so the size decides before the first word.
"""

from __future__ import annotations

import re

import numpy as np

from condyle.geometry.formats.limits import (
    EXPORT_AGAIN,
    MAX_TRIANGLES,
    SIMPLIFY,
    checked_mesh,
    checked_meshes,
    printable,
    refusal,
)
from condyle.geometry.formats.scene import NamedMesh, Scene
from condyle.geometry.mesh import FloatArray, Mesh

_HEADER = 84
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_FRAME_LINE = re.compile(rb"^[ \t]*(endsolid|solid)\b[^\n]*", re.MULTILINE)
_VERTEX = re.compile(rb"\bvertex\s+(\S+)\s+(\S+)\s+(\S+)")
_CHUNK = 8 * 1024**2
_PER_MM = 2.0**20  # grid of the written corners: about a nanometre, and exact in float32 up to 16 mm


def looks_like_stl(data: bytes) -> bool:
    """Whether the size fits a binary STL or the words fit a text one."""
    return _binary_size(data) == len(data) or _is_text(data)


def read_stl(data: bytes, file: str) -> Scene:
    """Read STL of either kind. Facet normals are ignored: the order of the corners decides what is outside."""
    stated = _binary_size(data)
    if stated != len(data) and _is_text(data):
        return _read_text(data, file)
    if len(data) < _HEADER:
        raise refusal(
            "truncated", f"{len(data)} bytes are fewer than the {_HEADER} of an STL header", EXPORT_AGAIN, file
        )
    count = (stated - _HEADER) // _RECORD.itemsize
    held = (len(data) - _HEADER) // _RECORD.itemsize
    if held < count:
        raise refusal(
            "truncated",
            f"the header states {count:,} triangles, but only {held:,} follow "
            f"(the data end at byte {len(data):,} of {stated:,})",
            EXPORT_AGAIN,
            file,
        )
    if count > MAX_TRIANGLES:
        raise refusal(
            "huge", f"{count:,} triangles are more than the {MAX_TRIANGLES:,} that can be read", SIMPLIFY, file
        )
    after = len(data) - stated
    notes = (f"{after:,} bytes after the last triangle were ignored",) if after else ()
    corners = np.frombuffer(data, dtype=_RECORD, count=count, offset=_HEADER)["corners"]
    return Scene(checked_meshes([_soup("", corners, file)], file), "stl", notes=notes)


def stl_bytes(mesh: Mesh) -> bytes:
    """Binary STL: float32 corners, unit normals, 84 + 50 n bytes. The unit is mm by the custom of the trade.

    The header holds no date and does not begin with ``solid``, so the same mesh gives the same bytes.
    """
    records = np.zeros(mesh.triangle_count, dtype=_RECORD)
    records["normal"] = mesh.normals
    records["corners"] = mesh.corners
    header = b"binary STL, millimetres, z up".ljust(80)
    return header + np.uint32(mesh.triangle_count).tobytes() + records.tobytes()


def as_written(mesh: Mesh) -> Mesh:
    """The mesh as a reader of its STL will see it.

    Corners rounded to float32, nowhere finer than 2⁻²⁰ mm, and equal ones merged; triangles that lost a side that way
    are dropped. Vertices come sorted by coordinate. The result may be pinched or doubled where the original was not:
    see export.written.
    """
    # Near zero float32 tells places apart that many readers take for one (they merge what is closer than about 1e-8).
    on_grid = np.round(mesh.vertices * _PER_MM) / _PER_MM
    rounded = on_grid.astype(np.float32) + np.float32(0.0)  # +0.0 turns -0.0 into 0.0
    order = np.lexsort(rounded.T[::-1])
    ordered = rounded[order]
    first = np.ones(len(ordered), dtype=bool)
    first[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    renumbered = np.empty(len(ordered), dtype=np.int32)
    renumbered[order] = np.cumsum(first) - 1
    faces = renumbered[mesh.faces]
    sound = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return Mesh(ordered[first].astype(np.float64), faces[sound])


def _binary_size(data: bytes) -> int:
    if len(data) < _HEADER:
        return -1
    return _HEADER + _RECORD.itemsize * int.from_bytes(data[80:84], "little")


def _is_text(data: bytes) -> bool:
    start = data[:4096].lstrip().lower()
    return (
        start.startswith(b"solid")
        and start[5:6].strip() == b""
        and (b"facet" in start or b"endsolid" in data[-4096:].lower() or b"\0" not in start)
    )


def _soup(name: str, corners: FloatArray, file: str) -> NamedMesh:
    vertices = corners.reshape(-1, 3)
    return checked_mesh(name, vertices, np.arange(len(vertices), dtype=np.int32), file)


def _read_text(data: bytes, file: str) -> Scene:
    text = data.lower()
    frames = [(m.group(1) == b"solid", m.start(), m.end()) for m in _FRAME_LINE.finditer(text)]
    if not frames:
        raise refusal("syntax", "there is no line that begins a solid", EXPORT_AGAIN, file)
    meshes, notes = [], []
    for i, (opens, start, end) in enumerate(frames):
        if not opens:
            continue
        if i + 1 == len(frames) or frames[i + 1][0]:
            raise refusal(
                "truncated",
                "a solid is never closed: its 'endsolid' is missing",
                EXPORT_AGAIN,
                file,
                _line(data, start),
            )
        name = printable(data[start:end].split(None, 1)[1]) if len(data[start:end].split(None, 1)) > 1 else ""
        meshes.append(_soup(name, _text_corners(text, end, frames[i + 1][1], file), file))
    if text[frames[-1][2] :].strip():
        notes.append("what follows the last 'endsolid' was ignored")
    return Scene(checked_meshes(meshes, file), "stl", notes=tuple(notes))


def _text_corners(text: bytes, start: int, end: int, file: str) -> FloatArray:
    """Corners (m, 3, 3) between two places of a text STL, read in chunks so that memory stays near the file's size."""
    blocks, at = [np.zeros((0, 3))], start
    while at < end:
        stop = end
        if end - at > _CHUNK:
            cut = text.find(b"endfacet", at + _CHUNK, end)
            stop = end if cut < 0 else cut + len(b"endfacet")
        chunk = text[at:stop]
        usual = _usual_layout(chunk)
        if usual is not None:
            blocks.append(usual)
            at = stop
            continue
        triples = _VERTEX.findall(chunk)
        ends = chunk.count(b"endfacet")
        if len(triples) != 3 * ends or chunk.count(b"vertex") != len(triples) or chunk.count(b"facet") != 2 * ends:
            raise _broken_facet(text, at, stop, file)
        try:
            blocks.append(np.array(triples, dtype=np.float64).reshape(-1, 3))
        except ValueError:
            raise _broken_facet(text, at, stop, file) from None
        at = stop
    return np.concatenate(blocks).reshape(-1, 3, 3)


_LAYOUT = {0: b"facet", 1: b"normal", 5: b"outer", 6: b"loop", 7: b"vertex", 11: b"vertex", 15: b"vertex",
           19: b"endloop", 20: b"endfacet"}  # fmt: skip


def _usual_layout(chunk: bytes) -> FloatArray | None:
    """Corners (3 m, 3) of facets that are 21 words each in the usual order; None for anything else."""
    words = chunk.split()
    if len(words) % 21 or any(set(words[at::21]) != {word} for at, word in _LAYOUT.items() if words):
        return None
    corners = np.empty((len(words) // 21, 9))
    try:
        for column in range(9):
            place = 8 + column + column // 3
            corners[:, column] = np.fromiter(map(float, words[place::21]), dtype=np.float64, count=len(corners))
    except ValueError:
        return None
    return corners.reshape(-1, 3)


def _broken_facet(text: bytes, start: int, stop: int, file: str) -> Exception:
    """The error for the first facet of a piece of text that has not three corners of three numbers."""
    at = start
    while at < stop:
        found = text.find(b"endfacet", at, stop)
        end = stop if found < 0 else found + len(b"endfacet")
        facet = text[at:end]
        corners = _VERTEX.findall(facet)
        good = len(corners) == 3 and facet.count(b"facet") == 2 and facet.count(b"vertex") == 3
        if good:
            try:
                np.array(corners, dtype=np.float64)
            except ValueError:
                good = False
        if not good and facet.strip():
            lead = len(facet) - len(facet.lstrip())
            return refusal(
                "syntax",
                f"a facet has not three corners of three numbers: {printable(facet)}",
                EXPORT_AGAIN,
                file,
                _line(text, at + lead),
            )
        at = end
    return refusal("syntax", "the facets are not well formed", EXPORT_AGAIN, file, _line(text, start))


def _line(data: bytes, offset: int) -> int:
    return data.count(b"\n", 0, offset) + 1
