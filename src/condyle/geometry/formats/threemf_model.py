"""One model part of a 3MF package (ISO/IEC 25422, core specification), read by events, checked against the schema.

Meshes are collected into flat number arrays as they stream by, so memory stays near that of the mesh itself.
"""

from __future__ import annotations

import re
from array import array
from dataclasses import dataclass, field

import numpy as np

from condyle.geometry.formats.limits import EXPORT_AGAIN, MAX_TRIANGLES, SIMPLIFY, printable, refusal
from condyle.geometry.formats.threemf_package import parse_xml
from condyle.geometry.formats.threemf_properties import MATERIAL, Properties
from condyle.geometry.mesh import FloatArray
from condyle.units import MM_PER_UNIT

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
TRIANGLE_SETS = "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07"
_SCHEMA_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"
_XML = "http://www.w3.org/XML/1998/namespace"
_UNDERSTOOD = (CORE, MATERIAL, PRODUCTION, TRIANGLE_SETS)

_CHILDREN: dict[str, frozenset[str]] = {
    "": frozenset({"model"}),
    "model": frozenset({"metadata", "resources", "build"}),
    "resources": frozenset({"basematerials", "object"}),
    "basematerials": frozenset({"base"}),
    "object": frozenset({"metadatagroup", "mesh", "components"}),
    "metadatagroup": frozenset({"metadata"}),
    "mesh": frozenset({"vertices", "triangles"}),
    "vertices": frozenset({"vertex"}),
    "triangles": frozenset({"triangle"}),
    "components": frozenset({"component"}),
    "build": frozenset({"item"}),
    "item": frozenset({"metadatagroup"}),
}
_ONCE = ("resources", "build")
_OBJECT_TYPES = ("model", "solidsupport", "support", "surface", "other")
_NUMBER = re.compile(r"\s*[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?\s*")
_MAX_DEPTH = 100


@dataclass(frozen=True, eq=False)
class Reference:
    """An item of the build or a component: which object of which part (None: the same), and where it goes."""

    object_id: int
    transform: FloatArray
    part: str | None


@dataclass(eq=False)
class Object:
    id: int
    kind: str
    name: str
    vertices: FloatArray | None = None
    faces: np.ndarray | None = None
    components: list[Reference] = field(default_factory=list)


@dataclass(eq=False)
class ModelPart:
    unit: str = "millimeter"
    objects: dict[int, Object] = field(default_factory=dict)
    items: list[Reference] = field(default_factory=list)


def read_model_part(data: bytes, file: str, part: str) -> ModelPart:
    """Parse a model part. Raises FileFormatError with the line for anything that the schema forbids."""
    handlers = _Handlers(file, part)
    parse_xml(data, handlers.start, file, part, handlers.end, handlers.text, handlers.namespace)
    handlers.finish()
    return handlers.model


class _Handlers:
    def __init__(self, file: str, part: str) -> None:
        self.model = ModelPart()
        self._file, self._part = file, part
        self._stack: list[str] = [""]
        self._foreign = 0
        self._seen: set[str] = set()
        self._metadata: set[str] = set()
        self._namespaces: dict[str, str] = {}
        self._properties = Properties(file)
        self._object: Object | None = None
        self._pid: int | None = None
        self._coordinates, self._corners = array("d"), array("q")
        self._begin = {
            "model": self._model, "metadata": self._metadata_entry, "object": self._object_begin, "vertex": self._vertex,
            "triangle": self._triangle, "component": self._component, "item": self._item,
            "basematerials": self._property, "base": self._property,
        }  # fmt: skip

    def namespace(self, prefix: str | None, uri: str) -> None:
        if len(self._stack) == 1:
            self._namespaces[prefix or ""] = uri

    def start(self, tag: str, values: dict[str, str]) -> None:
        if self._foreign:
            self._foreign += 1
            self._material(tag, values)
            return
        namespace, _, name = tag.rpartition(" ")
        if namespace != CORE:
            if len(self._stack) == 1:
                raise self._bad("the document is no 3MF model")
            if not namespace:
                raise self._bad(f"an element {printable(name)!r} of no namespace")
            self._foreign = 1
            self._material(tag, values)
            return
        if name not in _CHILDREN.get(self._stack[-1], ()):
            raise self._bad(f"{printable(name)!r} may not stand in {self._stack[-1] or 'the document'!r}")
        if name in _ONCE:
            if name in self._seen:
                raise self._bad(f"there is more than one {name!r}")
            self._seen.add(name)
        self._stack.append(name)
        if len(self._stack) > _MAX_DEPTH:
            raise self._bad("the elements are nested too deep")
        begin = self._begin.get(name)
        if begin is not None:
            begin(values)
        if name not in ("vertex", "triangle"):
            for key in values:
                if key.startswith(_SCHEMA_INSTANCE) or key == f"{_XML} space":
                    raise self._bad(f"the attribute {printable(key.rpartition(' ')[2])!r} is forbidden in 3MF")

    def end(self, _: str) -> None:
        if self._foreign:
            self._foreign -= 1
            return
        name = self._stack.pop()
        if name == "mesh":
            self._mesh_end()
        elif name == "object":
            self._object_end()

    def text(self, data: str) -> None:
        if not self._foreign and self._stack[-1] != "metadata" and data.strip():
            raise self._bad(f"text where none belongs: {printable(data)!r}")

    def finish(self) -> None:
        for name in _ONCE:
            if name not in self._seen:
                raise refusal("syntax", f"the model has no {name!r} (in {self._part})", EXPORT_AGAIN, self._file)
        self._properties.check()

    def _model(self, values: dict[str, str]) -> None:
        unit = values.get("unit", "millimeter")
        if unit not in MM_PER_UNIT:
            raise self._bad(f"the unit {printable(unit)!r} is none that 3MF knows")
        self.model.unit = unit
        for prefix in values.get("requiredextensions", "").split():
            namespace = self._namespaces.get(prefix)
            if namespace is None:
                raise self._bad(f"the required extension {printable(prefix)!r} is not declared")
            if namespace not in _UNDERSTOOD:
                raise refusal(
                    "unsupported",
                    f"the file cannot be read without the extension {printable(namespace)}",
                    "Export plain 3MF, or STL or OBJ.",
                    self._file,
                )

    def _metadata_entry(self, values: dict[str, str]) -> None:
        name = values.get("name")
        if not name:
            raise self._bad("a metadata entry has no name")
        if self._stack[-2] == "model":
            if name in self._metadata:
                raise self._bad(f"the metadata {printable(name)!r} is given twice")
            self._metadata.add(name)

    def _property(self, values: dict[str, str]) -> None:
        self._properties.add(self._stack[-1], values)

    def _material(self, tag: str, values: dict[str, str]) -> None:
        namespace, _, name = tag.rpartition(" ")
        if namespace == MATERIAL:
            self._properties.add(name, values)

    def _object_begin(self, values: dict[str, str]) -> None:
        number = self._whole(values, "id", least=1)
        self._properties.claim(number)
        kind = values.get("type", "model")
        if kind not in _OBJECT_TYPES:
            raise self._bad(f"the object type {printable(kind)!r} is none that 3MF knows")
        self._pid = self._whole(values, "pid", least=1) if "pid" in values else None
        if self._pid is not None:
            self._properties.refer(self._pid)
        if "pindex" in values:
            self._whole(values, "pindex")
            if self._pid is None:
                raise self._bad(f"object {number} has a property index but no property group")
        self._object = Object(number, kind, values.get("name", ""))
        self._coordinates, self._corners = array("d"), array("q")

    def _vertex(self, values: dict[str, str]) -> None:
        try:
            self._coordinates.extend((float(values["x"]), float(values["y"]), float(values["z"])))
        except (KeyError, ValueError):
            raise self._bad("a vertex is not three numbers") from None

    def _triangle(self, values: dict[str, str]) -> None:
        try:
            a, b, c = int(values["v1"]), int(values["v2"]), int(values["v3"])
            self._corners.extend((a, b, c))
        except (KeyError, ValueError, OverflowError):
            raise self._bad("a triangle is not three vertex numbers") from None
        if a == b or b == c or c == a:
            raise self._bad(f"a triangle uses a vertex twice ({a}, {b}, {c})")
        if len(values) > 3:
            self._triangle_properties(values)
        if len(self._corners) > 3 * MAX_TRIANGLES:
            raise refusal("huge", f"more than {MAX_TRIANGLES:,} triangles", SIMPLIFY, self._file)

    def _triangle_properties(self, values: dict[str, str]) -> None:
        if "pid" in values:
            self._properties.refer(self._whole(values, "pid", least=1))
        given = [k in values for k in ("p1", "p2", "p3")]
        for key in ("p1", "p2", "p3"):
            if key in values:
                self._whole(values, key)
        if any(given) and "pid" not in values and self._pid is None:
            raise self._bad("a triangle has a property index but no property group")
        if given[1] != given[2] or (given[1] and not given[0]):
            raise self._bad("a triangle gives properties to some of its corners only")

    def _mesh_end(self) -> None:
        assert self._object is not None
        vertices = np.array(self._coordinates, dtype=np.float64).reshape(-1, 3)
        faces = np.array(self._corners, dtype=np.int64).reshape(-1, 3)
        if len(vertices) < 3 or not len(faces):
            raise self._bad(f"the mesh of object {self._object.id} has no triangles")
        if int(faces.min()) < 0 or int(faces.max()) >= len(vertices):
            raise refusal(
                "index",
                f"a triangle of object {self._object.id} uses a vertex that does not exist",
                EXPORT_AGAIN,
                self._file,
            )
        self._object.vertices, self._object.faces = vertices, faces
        self._coordinates, self._corners = array("d"), array("q")

    def _object_end(self) -> None:
        obj = self._object
        assert obj is not None
        if (obj.vertices is None) == (not obj.components):
            raise self._bad(f"object {obj.id} has not either a mesh or components")
        if obj.components and self._pid is not None:
            raise self._bad(f"object {obj.id} is made of components and has properties of its own")
        self.model.objects[obj.id] = obj
        self._object = None

    def _component(self, values: dict[str, str]) -> None:
        assert self._object is not None
        reference = self._reference(values)
        if reference.part is None:
            target = self.model.objects.get(reference.object_id)
            if target is None:
                raise self._bad(f"a component uses object {reference.object_id}, which was not defined before")
            if target.kind == "other":
                raise self._bad(f"a component uses object {reference.object_id}, which is of type 'other'")
        self._object.components.append(reference)

    def _item(self, values: dict[str, str]) -> None:
        reference = self._reference(values)
        if reference.part is None:
            target = self.model.objects.get(reference.object_id)
            if target is None:
                raise self._bad(f"the build uses object {reference.object_id}, which does not exist")
            if target.kind == "other":
                raise self._bad(f"the build uses object {reference.object_id}, which is of type 'other'")
        self.model.items.append(reference)

    def _reference(self, values: dict[str, str]) -> Reference:
        number = self._whole(values, "objectid", least=1)
        matrix = np.eye(4)
        if "transform" in values:
            words = values["transform"].split()
            if len(words) != 12 or not all(_NUMBER.fullmatch(w) for w in words):
                raise self._bad(f"a transform is not twelve numbers: {printable(values['transform'])}")
            rows = np.array([float(w) for w in words]).reshape(4, 3)  # row vectors: v' = v M
            matrix[:3, :3], matrix[:3, 3] = rows[:3].T, rows[3]
            with np.errstate(all="ignore"):
                size = np.linalg.det(matrix[:3, :3])
            if not np.isfinite(matrix).all() or not np.isfinite(size) or abs(size) < 1e-30:
                raise self._bad("a transform flattens its object or is not finite")
        return Reference(number, matrix, values.get(f"{PRODUCTION} path"))

    def _whole(self, values: dict[str, str], key: str, least: int = 0) -> int:
        try:
            number = int(values[key])
        except (KeyError, ValueError):
            number = -1
        if not least <= number < 2**31:
            raise self._bad(f"{key!r} is missing or no number that 3MF allows")
        return number

    def _bad(self, message: str) -> Exception:
        return refusal("syntax", message, EXPORT_AGAIN, self._file)
