"""The storage side of glTF 2.0 (ISO/IEC 12113): container, buffers, accessors. Every size is held against the bytes."""

from __future__ import annotations

import base64
import binascii
import json
import struct
from collections.abc import Callable
from typing import Any, TypeGuard
from urllib.parse import unquote

import numpy as np

from condyle.errors import FileFormatError
from condyle.geometry.formats.limits import EXPORT_AGAIN, printable, refusal

_COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}
_GREATEST = {"<i1": 127.0, "<u1": 255.0, "<i2": 32767.0, "<u2": 65535.0}
_JSON_CHUNK, _BINARY_CHUNK = 0x4E4F534A, 0x004E4942
_MAX_BUFFERS = 1000
_MAX_ELEMENTS = 200_000_000

Json = dict[str, Any]


def is_glb(data: bytes) -> bool:
    """Whether the bytes begin as the binary container does."""
    return data[:4] == b"glTF"


def split_container(data: bytes, file: str) -> tuple[Json, bytes | None]:
    """The document, and the binary chunk of a GLB."""
    if not is_glb(data):
        return _document(data, file), None
    if len(data) < 20:
        raise refusal("truncated", f"{len(data)} bytes are fewer than the header of a GLB", EXPORT_AGAIN, file)
    version, length = struct.unpack_from("<II", data, 4)
    if version != 2:
        raise refusal("unsupported", f"this is glTF version {version}; version 2 can be read", "Export glTF 2.0.", file)
    if length > len(data):
        raise refusal(
            "truncated", f"the header states {length:,} bytes, the file holds {len(data):,}", EXPORT_AGAIN, file
        )
    chunks: dict[int, bytes] = {}
    at = 12
    while at + 8 <= length:
        size, kind = struct.unpack_from("<II", data, at)
        if at + 8 + size > length:
            raise refusal(
                "truncated", f"the chunk at byte {at:,} states {size:,} bytes, beyond the end", EXPORT_AGAIN, file
            )
        chunks.setdefault(kind, data[at + 8 : at + 8 + size])
        at += 8 + size
    if _JSON_CHUNK not in chunks:
        raise refusal("syntax", "the container has no document", EXPORT_AGAIN, file)
    return _document(chunks[_JSON_CHUNK], file), chunks.get(_BINARY_CHUNK)


def _document(text: bytes, file: str) -> Json:
    try:
        document = json.loads(text.decode("utf-8-sig"))
    except json.JSONDecodeError as error:
        raise refusal("syntax", f"the document is no JSON: {error.msg}", EXPORT_AGAIN, file, error.lineno) from None
    except (UnicodeDecodeError, RecursionError, ValueError):
        raise refusal("syntax", "the document is no JSON", EXPORT_AGAIN, file) from None
    if not isinstance(document, dict) or not isinstance(document.get("asset"), dict):
        raise refusal("syntax", "the document has no glTF 'asset'", EXPORT_AGAIN, file)
    if not str(document["asset"].get("version", "")).startswith("2."):
        raise refusal(
            "unsupported",
            f"glTF version {printable(str(document['asset'].get('version')))} cannot be read",
            "Export glTF 2.0.",
            file,
        )
    return document


def entry(document: Json, kind: str, index: object, file: str) -> Json:
    """Item ``index`` of one of the document's lists; FileFormatError when there is no such item."""
    items = document.get(kind)
    if isinstance(items, list) and is_index(index) and index < len(items) and isinstance(items[index], dict):
        found: Json = items[index]
        return found
    raise refusal(
        "syntax", f"the document names {kind}[{printable(str(index))}], which does not exist", EXPORT_AGAIN, file
    )


def is_index(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def plain_name(uri: str, file: str) -> str:
    """A relative URI as a file name below the glTF's folder. Anything that could lead elsewhere is refused."""
    name = unquote(uri)
    leads_away = not name or "\\" in name or ":" in name or name.startswith("/") or ".." in name.split("/")
    if leads_away or not name.isprintable():
        raise refusal(
            "path",
            f"the file refers to {printable(uri)!r}, which is no file in its own folder",
            "Export everything into one file (GLB), or keep the files in one folder.",
            file,
        )
    return name


class Store:
    """Buffers and accessors of one document."""

    def __init__(self, document: Json, binary: bytes | None, file: str, fetch: Callable[[str], bytes]) -> None:
        self.document, self.file = document, file
        self.side_files: list[str] = []
        self._binary, self._fetch = binary, fetch
        self._buffers: dict[int, bytes] = {}
        for image in document.get("images") or []:
            uri = image.get("uri") if isinstance(image, dict) else None
            if isinstance(uri, str) and not uri.startswith("data:"):
                plain_name(uri, file)  # a document that plays tricks is not trusted, whatever else is in it

    def accessor(self, index: object) -> np.ndarray:
        """The values of an accessor, (count, width); normalised integers come as floats."""
        accessor = entry(self.document, "accessors", index, self.file)
        kind, width = _COMPONENTS.get(accessor.get("componentType")), _WIDTHS.get(accessor.get("type"))  # type: ignore[arg-type]
        count = accessor.get("count")
        if kind is None or width is None or not is_index(count) or count > _MAX_ELEMENTS:
            raise self._bad(f"accessor {index} has a type or count that glTF does not know")
        if "bufferView" in accessor:
            values = self._view(accessor["bufferView"], accessor.get("byteOffset", 0), kind, width, count)
        elif "sparse" in accessor and count * width <= 3 * self._bytes_in_all():
            values = np.zeros((count, width), dtype=kind)
        else:
            raise refusal(
                "compressed",
                f"accessor {index} has no data of its own",
                "Export without compression of the geometry.",
                self.file,
            )
        if "sparse" in accessor:
            values = self._sparse(values.copy(), accessor["sparse"], kind, width)
        if accessor.get("normalized") is True and kind in _GREATEST:
            return np.maximum(values.astype(np.float64) / _GREATEST[kind], -1.0)
        return values

    def _sparse(self, values: np.ndarray, sparse: object, kind: str, width: int) -> np.ndarray:
        try:
            count, places, new = sparse["count"], sparse["indices"], sparse["values"]  # type: ignore[index]
            at = self._view(
                places["bufferView"], places.get("byteOffset", 0), _COMPONENTS[places["componentType"]], 1, count
            )[:, 0]
            replacements = self._view(new["bufferView"], new.get("byteOffset", 0), kind, width, count)
        except (KeyError, TypeError, AttributeError):
            raise self._bad("a sparse accessor is not well formed") from None
        if at.dtype.kind != "u" or (len(at) and int(at.max()) >= len(values)):
            raise self._bad("a sparse accessor replaces what does not exist")
        values[at] = replacements
        return values

    def _view(self, index: object, offset: object, kind: str, width: int, count: object) -> np.ndarray:
        view = entry(self.document, "bufferViews", index, self.file)
        start, length = view.get("byteOffset", 0), view.get("byteLength")
        item = np.dtype(kind).itemsize * width
        stride = view.get("byteStride", item)
        sound = is_index(start) and is_index(length) and is_index(stride) and item <= stride <= 65536
        if not sound or not is_index(offset) or not is_index(count):
            raise self._bad(f"buffer view {index} is not well formed")
        data = self._buffer(view.get("buffer"))
        if start + length > len(data):
            raise refusal(
                "truncated",
                f"buffer view {index} reaches to byte {start + length:,}, the buffer holds {len(data):,}",
                EXPORT_AGAIN,
                self.file,
            )
        if count and offset + stride * (count - 1) + item > length:
            raise refusal(
                "truncated", f"buffer view {index} is too short for what is to be read from it", EXPORT_AGAIN, self.file
            )
        if not count:
            return np.zeros((0, width), dtype=kind)
        return np.ndarray(
            (count, width), dtype=kind, buffer=data, offset=start + offset, strides=(stride, np.dtype(kind).itemsize)
        )

    def view_bytes(self, index: object) -> bytes:
        """The bytes of a buffer view, such as a picture's."""
        view = entry(self.document, "bufferViews", index, self.file)
        start, length = view.get("byteOffset", 0), view.get("byteLength")
        data = self._buffer(view.get("buffer"))
        if not (is_index(start) and is_index(length)) or start + length > len(data):
            raise self._bad(f"buffer view {index} is not well formed")
        return data[start : start + length]

    def side_file(self, uri: str) -> bytes:
        """The bytes of a file beside the document."""
        name = plain_name(uri, self.file)
        data = self._fetch(name)
        self.side_files.append(name)
        return data

    def _buffer(self, index: object) -> bytes:
        buffer = entry(self.document, "buffers", index, self.file)
        assert isinstance(index, int)
        if index in self._buffers:
            return self._buffers[index]
        if len(self._buffers) >= _MAX_BUFFERS:
            raise self._bad("there are too many buffers")
        uri = buffer.get("uri")
        if uri is None:
            if index or self._binary is None:
                raise refusal(
                    "compressed",
                    f"buffer {index} has no data",
                    "Export without compression of the geometry, or with the buffers beside the file.",
                    self.file,
                )
            data = self._binary
        elif not isinstance(uri, str):
            raise self._bad(f"buffer {index} has no usable address")
        elif uri.startswith("data:"):
            try:
                data = base64.b64decode(uri.partition(",")[2], validate=True)
            except (binascii.Error, ValueError):
                raise self._bad(f"buffer {index} is no base64 text") from None
        else:
            name = plain_name(uri, self.file)
            data = self._fetch(name)
            self.side_files.append(name)
        length = buffer.get("byteLength")
        if not is_index(length) or length > len(data):
            raise refusal(
                "truncated",
                f"buffer {index} states {printable(str(length))} bytes, {len(data):,} are there",
                EXPORT_AGAIN,
                self.file,
            )
        self._buffers[index] = data
        return data

    def _bytes_in_all(self) -> int:
        return sum(len(self._buffer(i)) for i in range(len(self.document.get("buffers") or [])))

    def _bad(self, message: str) -> FileFormatError:
        return refusal("syntax", message, EXPORT_AGAIN, self.file)
