"""3MF (ISO/IEC 25422): what the build of a package would print, with components and placements worked in.

Coordinates stay in the unit of the root model, which the scene names; transforms are in that unit too, so a caller who
scales the scene scales them along. Supports are passed over; colours and materials are checked and dropped.
"""

from __future__ import annotations

import numpy as np

from condyle.errors import FileFormatError
from condyle.geometry.formats.limits import (
    EXPORT_AGAIN,
    MAX_MESHES,
    MAX_TRIANGLES,
    SIMPLIFY,
    checked_mesh,
    checked_meshes,
    printable,
    refusal,
)
from condyle.geometry.formats.scene import NamedMesh, Scene
from condyle.geometry.formats.threemf_model import ModelPart, Object, Reference, read_model_part
from condyle.geometry.formats.threemf_package import MODEL_RELATION, MODEL_TYPE, Package
from condyle.geometry.mesh import FloatArray
from condyle.units import MM_PER_UNIT

_PASSED_OVER = ("support", "solidsupport", "other")
_MAX_NESTING = 200


def looks_like_zip(data: bytes) -> bool:
    """Whether the bytes begin as a ZIP archive does."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def read_threemf(data: bytes, file: str) -> Scene:
    """Read a 3MF package. What the core specification forbids is refused, with the line where there is one."""
    package = Package(data, file)
    roots = [r.target for r in package.relations() if r.kind == MODEL_RELATION]
    if not roots:
        raise refusal("kind", "the package names no 3D model", "Give a 3MF file that holds a model.", file)
    if len(roots) > 1:
        raise refusal("syntax", f"the package names {len(roots)} 3D models; one is allowed", EXPORT_AGAIN, file)
    build = _Build(package, roots[0], file)
    meshes = build.meshes()
    return Scene(checked_meshes(meshes, file), "3mf", build.root.unit, notes=tuple(build.notes))


class _Build:
    """Works the references of the build out into placed meshes."""

    def __init__(self, package: Package, root: str, file: str) -> None:
        self._package, self._file = package, file
        self._parts: dict[str, ModelPart] = {}
        self._sizes: dict[tuple[str, int], tuple[int, int]] = {}
        self._root_name = root
        self.root = self._part(root)
        self.notes: list[str] = []
        package.relations(root)

    def meshes(self) -> list[NamedMesh]:
        """All meshes of the build, placed. The sum is known before anything is copied, so nesting cannot explode."""
        sizes = [self._size(self._root_name, item, 0) for item in self.root.items]
        if sum(s[0] for s in sizes) > MAX_TRIANGLES or sum(s[1] for s in sizes) > MAX_MESHES:
            raise refusal(
                "bomb", "the components of the build multiply to more triangles than can be read", SIMPLIFY, self._file
            )
        found: list[NamedMesh] = []
        for item in self.root.items:
            self._place(self._root_name, item, np.eye(4), "", found)
        return found

    def _part(self, name: str) -> ModelPart:
        if name not in self._parts:
            data = self._package.read(name)
            if self._package.content_type(name) != MODEL_TYPE:
                raise refusal(
                    "syntax", f"{printable(name)!r} is not declared to be a 3D model", EXPORT_AGAIN, self._file
                )
            self._parts[name] = read_model_part(data, self._file, name)
        return self._parts[name]

    def _target(self, part: str, reference: Reference) -> tuple[str, Object]:
        if reference.part is not None:
            if part != self._root_name:
                raise self._bad("a model that is no root points on to a further model")
            part = self._package.resolve(reference.part)
        target = self._part(part).objects.get(reference.object_id)
        if target is None:
            raise self._bad(f"object {reference.object_id} of {printable(part)!r} does not exist")
        return part, target

    def _size(self, part: str, reference: Reference, depth: int) -> tuple[int, int]:
        """Triangles (or vertices, where there are more) and meshes below a reference."""
        if depth > _MAX_NESTING:
            raise self._bad("components are nested too deep")
        part, target = self._target(part, reference)
        key = (part, target.id)
        if key not in self._sizes:
            below = [self._size(part, c, depth + 1) for c in target.components]
            own = 0 if target.faces is None or target.vertices is None else max(len(target.faces), len(target.vertices))
            self._sizes[key] = (own + sum(b[0] for b in below), max(1, sum(b[1] for b in below)))
        return self._sizes[key]

    def _place(self, part: str, reference: Reference, outer: FloatArray, name: str, found: list[NamedMesh]) -> None:
        step = reference.transform.copy()
        step[:3, 3] *= self._scale(part)
        part, target = self._target(part, reference)
        if target.kind in _PASSED_OVER:
            note = "supports in the file were passed over"
            if note not in self.notes:
                self.notes.append(note)
            return
        with np.errstate(all="ignore"):
            matrix = outer @ step
        if not np.isfinite(matrix).all():
            raise self._bad("the transforms of nested components are not finite")
        name = target.name or name
        if target.vertices is not None and target.faces is not None:
            source = checked_mesh(name, target.vertices * self._scale(part), target.faces, self._file).mesh
            placed = source.transformed(matrix)
            found.append(checked_mesh(name, placed.vertices, placed.faces, self._file))
        for component in target.components:
            self._place(part, component, matrix, name, found)

    def _scale(self, part: str) -> float:
        """From the unit of a part to that of the root."""
        return MM_PER_UNIT[self._part(part).unit] / MM_PER_UNIT[self.root.unit]

    def _bad(self, message: str) -> FileFormatError:
        return refusal("syntax", message, EXPORT_AGAIN, self._file)
