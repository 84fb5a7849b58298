"""What every reader refuses: limits on size, and checks on the numbers that come out.

A reader never allocates more than a small multiple of what the file really holds: a count in a header is believed only
after it has been held against the bytes that follow.
"""

from __future__ import annotations

import numpy as np

from condyle.errors import FileFormatError, Place
from condyle.geometry.formats.scene import NamedMesh
from condyle.geometry.mesh import FloatArray, Mesh

MAX_FILE_BYTES = 2 * 1024**3
MAX_TRIANGLES = 20_000_000
MAX_MESHES = 50_000
MAX_COORDINATE = 1e9
"""In the unit of the file: a kilometre in microns. Beyond it float32 no longer resolves a figure."""

EXPORT_AGAIN = "Export the sculpt again, and check that the export or the copying was not cut short."
SIMPLIFY = "Reduce the number of triangles in the sculpting program and export again."


def refusal(code: str, message: str, hint: str, file: str, line: int | None = None) -> FileFormatError:
    """The error for a file that cannot be read, to be raised by the caller."""
    return FileFormatError(f"file.{code}", message, hint=hint, place=Place(file=file, line=line))


def checked_mesh(name: str, vertices: FloatArray, faces: np.ndarray, file: str) -> NamedMesh:
    """A mesh whose numbers are finite, of a sane size, and whose faces point at vertices that exist.

    vertices (n, 3) of any float type; faces (m, 3) of any integer type. Raises FileFormatError.
    """
    vertices = np.asarray(vertices, dtype=np.float64).reshape(-1, 3)
    faces = np.asarray(faces).reshape(-1, 3)
    where = f" of {name!r}" if name else ""
    if len(faces) > MAX_TRIANGLES:
        raise refusal(
            "huge",
            f"{len(faces):,} triangles{where} are more than the {MAX_TRIANGLES:,} that can be read",
            SIMPLIFY,
            file,
        )
    if len(faces) and len(vertices):
        low, high = int(faces.min()), int(faces.max())
    else:
        low, high = 0, -1 if not len(faces) else 0
    if low < 0 or high >= len(vertices):
        bad = low if low < 0 else high
        raise refusal(
            "index", f"a face{where} uses vertex {bad}, but there are {len(vertices)} vertices", EXPORT_AGAIN, file
        )
    # min and max carry a NaN through and need no temporary as large as the mesh
    smallest = float(vertices.min()) if len(vertices) else 0.0
    largest = float(vertices.max()) if len(vertices) else 0.0
    if not (np.isfinite(smallest) and np.isfinite(largest)):
        number = int(np.flatnonzero(~np.isfinite(vertices).all(axis=1))[0])
        raise refusal(
            "not_finite",
            f"vertex {number}{where} is not a number or infinite",
            "Clean the mesh in the sculpting program (remove broken vertices) and export again.",
            file,
        )
    if max(-smallest, largest) > MAX_COORDINATE:
        raise refusal(
            "range",
            f"a coordinate{where} reaches {max(-smallest, largest):.3g}, beyond {MAX_COORDINATE:.0e}",
            "Check the unit of the export, and remove vertices that lie far away.",
            file,
        )
    return NamedMesh(name, Mesh(vertices, faces.astype(np.int32, copy=False)))


def checked_meshes(meshes: list[NamedMesh], file: str) -> tuple[NamedMesh, ...]:
    """The meshes that have triangles; FileFormatError when none has, or when there are too many in all."""
    kept = tuple(m for m in meshes if m.mesh.triangle_count)
    if not kept:
        raise refusal(
            "empty",
            "the file holds no triangles",
            "Export the surface of the sculpt as a mesh, not curves or points.",
            file,
        )
    total = sum(m.mesh.triangle_count for m in kept)
    if total > MAX_TRIANGLES:
        raise refusal(
            "huge", f"{total:,} triangles are more than the {MAX_TRIANGLES:,} that can be read", SIMPLIFY, file
        )
    return kept


def printable(raw: bytes | str, limit: int = 60) -> str:
    """Text of a file made fit for a message: decoded, one line, of limited length, no control characters."""
    text = raw[: 4 * limit].decode("utf-8", "replace") if isinstance(raw, bytes) else raw[: 4 * limit]
    text = "".join(c if c.isprintable() else " " for c in text).strip()
    return text if len(text) <= limit else text[: limit - 1] + "…"
