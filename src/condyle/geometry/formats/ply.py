"""PLY: text, little-endian and big-endian binary, with any properties; positions, faces and colours are used."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from condyle.geometry.formats.colours import as_bytes, of_corners
from condyle.geometry.formats.faces import triangulated
from condyle.geometry.formats.limits import (
    EXPORT_AGAIN,
    MAX_TRIANGLES,
    SIMPLIFY,
    checked_mesh,
    checked_meshes,
    printable,
    refusal,
)
from condyle.geometry.formats.scene import Colours, Scene

_TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4", "double": "f8",
    "float64": "f8",
}  # fmt: skip
_ORDERS = {"ascii": "=", "binary_little_endian": "<", "binary_big_endian": ">"}
_MAX_HEADER = 1024**2
_Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class _Property:
    name: str
    kind: str
    count_kind: str | None = None


@dataclass(frozen=True)
class _Element:
    name: str
    count: int
    properties: tuple[_Property, ...]
    line: int


def looks_like_ply(data: bytes) -> bool:
    """Whether the file begins with the format's magic line."""
    return data[:4] in (b"ply\n", b"ply\r")


def read_ply(data: bytes, file: str) -> Scene:
    """Read PLY. Polygons become triangles; strips are refused."""
    order, elements, start = _header(data, file)
    body = _TextBody(data, start, file) if order == "=" else _BinaryBody(data, start, order, file)
    vertices = np.zeros((0, 3))
    of_vertices = of_faces = None
    counts = corners = np.zeros(0, dtype=np.int64)
    for element in elements:
        if element.count > 3 * MAX_TRIANGLES:
            raise refusal(
                "huge", f"{element.count:,} of {element.name!r} are more than can be read", SIMPLIFY, file, element.line
            )
        if not element.properties:
            continue
        values = body.read(element)
        if element.name == "vertex":
            missing = [axis for axis in "xyz" if not isinstance(values.get(axis), np.ndarray)]
            if missing:
                raise refusal("syntax", f"the vertices have no {missing[0]}", EXPORT_AGAIN, file, element.line)
            vertices = np.stack([values[axis] for axis in "xyz"], axis=1).astype(np.float64)
            of_vertices = _colours(element, values)
        elif element.name == "face":
            of_faces = _colours(element, values)
            lists = values.get("vertex_indices", values.get("vertex_index"))
            if not isinstance(lists, tuple):
                raise refusal("syntax", "the faces have no list of vertex indices", EXPORT_AGAIN, file, element.line)
            counts, corners = _whole_numbers(lists, file)
        elif element.name == "tristrips":
            raise refusal(
                "unsupported", "the triangles are stored as strips", "Export single triangles.", file, element.line
            )
    if len(corners) and (corners.min() < 0 or corners.max() >= len(vertices)):
        bad = int(corners.min()) if corners.min() < 0 else int(corners.max())
        raise refusal(
            "index", f"a face uses vertex {bad}, but there are {len(vertices):,} vertices", EXPORT_AGAIN, file
        )
    if len(counts) and int(counts.min()) < 3:
        face = int(np.argmin(counts))
        raise refusal("syntax", f"face {face} has only {int(counts[face])} corners", EXPORT_AGAIN, file)
    triangles, owners = triangulated(counts, corners, vertices)
    colours = of_faces[owners] if of_faces is not None and len(of_faces) else None
    if colours is None and of_vertices is not None:
        colours = of_corners(of_vertices, triangles)
    notes = []
    if len(counts) and int(counts.max()) > 4:
        notes.append(f"{int((counts > 4).sum()):,} polygons of more than four sides were split as fans")
    mesh = replace(checked_mesh("", vertices, triangles, file), colours=colours)
    return Scene(checked_meshes([mesh], file), "ply", notes=tuple(notes))


def _colours(element: _Element, values: _Values) -> Colours | None:
    """What ``red green blue`` say of each row (n, 3); None where they are not there."""
    kinds = {p.name: p.kind for p in element.properties}
    channels = [values.get(name) for name in ("red", "green", "blue")]
    rows = [c for c in channels if isinstance(c, np.ndarray)]
    if len(rows) < 3:
        return None
    return as_bytes(np.stack(rows, axis=1), whole=kinds["red"][0] in "iu")


_Values = dict[str, "_Numbers | tuple[_Numbers, _Numbers]"]
"""A property's values (n,), or for a list property the counts (n,) and all items one after the other."""


def _whole_numbers(lists: tuple[_Numbers, _Numbers], file: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    for part in lists:
        whole = part.dtype.kind in "iu" or ((np.abs(part) <= 2**53).all() and bool((part == np.floor(part)).all()))
        if not whole:  # a NaN fails the first comparison
            raise refusal("syntax", "a vertex index is not a whole number", EXPORT_AGAIN, file)
    return lists[0].astype(np.int64), lists[1].astype(np.int64)


def _header(data: bytes, file: str) -> tuple[str, list[_Element], int]:
    """Byte order (``=`` for text), the elements in order, and where the body begins."""
    marker = data.find(b"end_header", 0, _MAX_HEADER)
    if not looks_like_ply(data) or marker < 0:
        raise refusal(
            "truncated" if looks_like_ply(data) else "kind",
            "the header has no end or no beginning",
            EXPORT_AGAIN,
            file,
            1,
        )
    end = data.find(b"\n", marker)
    if end < 0:
        end = data.find(b"\r", marker) if b"\r" in data[marker:] else len(data) - 1
    order = None
    elements: list[_Element] = []
    lines = data[:marker].replace(b"\r\n", b"\n").replace(b"\r", b"\n").decode("latin-1").split("\n")
    for number, line in enumerate(lines, 1):
        words = line.split()
        try:
            if not words or words[0] in ("ply", "comment", "obj_info"):
                continue
            if words[0] == "format":
                order = _ORDERS[words[1]]
            elif words[0] == "element":
                count = int(words[2])
                if count < 0 or len(elements) > 100:
                    raise ValueError
                elements.append(_Element(words[1], count, (), number))
            elif words[0] == "property":
                if words[1] == "list":
                    new = _Property(words[4], _TYPES[words[3]], _TYPES[words[2]])
                else:
                    new = _Property(words[2], _TYPES[words[1]])
                last = elements[-1]
                if any(p.name == new.name for p in last.properties) or len(last.properties) > 1000:
                    raise ValueError
                elements[-1] = _Element(last.name, last.count, (*last.properties, new), last.line)
            # other words are passed over: there are exporters that break a comment over several lines
        except (ValueError, KeyError, IndexError):
            raise refusal(
                "syntax", f"the header says what PLY does not know: {printable(line)}", EXPORT_AGAIN, file, number
            ) from None
    if order is None:
        raise refusal("syntax", "the header names no format", EXPORT_AGAIN, file, 1)
    return order, elements, end + 1


def _truncated(element: _Element, file: str, at: int) -> Exception:
    return refusal(
        "truncated",
        f"the header states {element.count:,} of {element.name!r}, but the data end before (byte {at:,})",
        EXPORT_AGAIN,
        file,
        element.line,
    )


class _TextBody:
    def __init__(self, data: bytes, start: int, file: str) -> None:
        self._file = file
        self._size = len(data)
        try:
            self._numbers = np.fromiter(map(float, data[start:].split()), dtype=np.float64)
        except ValueError:
            raise self._fault(data, start) from None
        self._at = 0

    def _fault(self, data: bytes, start: int) -> Exception:
        first = data.count(b"\n", 0, start) + 1
        for number, line in enumerate(data[start:].split(b"\n"), first):
            try:
                list(map(float, line.split()))
            except ValueError:
                return refusal("syntax", f"not a row of numbers: {printable(line)}", EXPORT_AGAIN, self._file, number)
        return refusal("syntax", "the data are not numbers", EXPORT_AGAIN, self._file)

    def read(self, element: _Element) -> _Values:
        left = self._numbers[self._at :]
        width = len(element.properties)
        if element.count * width > len(left):
            raise _truncated(element, self._file, self._size)
        if not any(p.count_kind for p in element.properties):
            table = left[: element.count * width].reshape(element.count, width)
            self._at += element.count * width
            return {p.name: table[:, i] for i, p in enumerate(element.properties)}
        if width == 1 and element.count and 0 <= left[0] < len(left):
            stride = 1 + int(left[0])
            if element.count * stride <= len(left):
                table = left[: element.count * stride].reshape(element.count, stride)
                if (table[:, 0] == left[0]).all():
                    self._at += element.count * stride
                    return {element.properties[0].name: (table[:, 0], table[:, 1:].ravel())}
        return self._row_by_row(element)

    def _row_by_row(self, element: _Element) -> _Values:
        single: dict[str, list[float]] = {p.name: [] for p in element.properties}
        items: dict[str, list[_Numbers]] = {p.name: [] for p in element.properties}
        for _ in range(element.count):
            for prop in element.properties:
                if self._at >= len(self._numbers):
                    raise _truncated(element, self._file, self._size)
                value = float(self._numbers[self._at])
                self._at += 1
                single[prop.name].append(value)
                if prop.count_kind:
                    if not 0 <= value <= len(self._numbers) - self._at:
                        raise _truncated(element, self._file, self._size)
                    items[prop.name].append(self._numbers[self._at : self._at + int(value)])
                    self._at += int(value)
        return _gathered(element, single, items)


class _BinaryBody:
    def __init__(self, data: bytes, start: int, order: str, file: str) -> None:
        self._data, self._at, self._order, self._file = data, start, order, file

    def read(self, element: _Element) -> _Values:
        least = sum(np.dtype(p.count_kind or p.kind).itemsize for p in element.properties)
        if element.count * least > len(self._data) - self._at:
            raise _truncated(element, self._file, len(self._data))
        if not element.count:
            return {p.name: (np.zeros(0), np.zeros(0)) if p.count_kind else np.zeros(0) for p in element.properties}
        return self._even_rows(element) or self._row_by_row(element)

    def _even_rows(self, element: _Element) -> _Values | None:
        """All rows at once, when every list is as long as in the first row."""
        fields, at = [], self._at
        for i, prop in enumerate(element.properties):
            if prop.count_kind:
                count = self._one(prop.count_kind, at)
                if count is None or not 0 <= count <= len(self._data):
                    return None
                fields += [(f"n{i}", self._order + prop.count_kind), (f"v{i}", self._order + prop.kind, (int(count),))]
                at += np.dtype(prop.count_kind).itemsize + np.dtype(prop.kind).itemsize * int(count)
            else:
                fields.append((f"v{i}", self._order + prop.kind))
                at += np.dtype(prop.kind).itemsize
        if (at - self._at) * element.count > len(self._data) - self._at:
            return None
        rows = np.frombuffer(self._data, dtype=np.dtype(fields), count=element.count, offset=self._at)
        values: _Values = {}
        for i, prop in enumerate(element.properties):
            if prop.count_kind:
                counts = rows[f"n{i}"]
                if (counts != counts[0]).any():
                    return None
                values[prop.name] = (counts, rows[f"v{i}"].ravel())
            else:
                values[prop.name] = rows[f"v{i}"]
        self._at += rows.nbytes
        return values

    def _one(self, kind: str, at: int) -> float | None:
        size = np.dtype(kind).itemsize
        if at + size > len(self._data):
            return None
        value = float(np.frombuffer(self._data, dtype=self._order + kind, count=1, offset=at)[0])
        return value if np.isfinite(value) else None

    def _row_by_row(self, element: _Element) -> _Values:
        single: dict[str, list[float]] = {p.name: [] for p in element.properties}
        items: dict[str, list[_Numbers]] = {p.name: [] for p in element.properties}
        for _ in range(element.count):
            for prop in element.properties:
                value = self._one(prop.count_kind or prop.kind, self._at)
                self._at += np.dtype(prop.count_kind or prop.kind).itemsize
                if value is None and self._at > len(self._data):
                    raise _truncated(element, self._file, len(self._data))
                single[prop.name].append(np.nan if value is None else value)
                if prop.count_kind:
                    size = np.dtype(prop.kind).itemsize
                    if value is None or not 0 <= value * size <= len(self._data) - self._at:
                        raise _truncated(element, self._file, len(self._data))
                    items[prop.name].append(
                        np.frombuffer(self._data, dtype=self._order + prop.kind, count=int(value), offset=self._at)
                    )
                    self._at += int(value) * size
        return _gathered(element, single, items)


def _gathered(element: _Element, single: dict[str, list[float]], items: dict[str, list[_Numbers]]) -> _Values:
    values: _Values = {}
    for prop in element.properties:
        counts = np.array(single[prop.name], dtype=np.float64)
        if prop.count_kind:
            flat = np.concatenate(items[prop.name]) if items[prop.name] else np.zeros(0)
            values[prop.name] = (np.floor(counts), flat)
        else:
            values[prop.name] = counts
    return values
