"""The file of a joint of the maker's own: sizes and ranges in TOML, and beside it the meshes of what each side gains and
loses. Every complaint names the file, the line or the place, and the remedy.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from condyle.errors import CondyleError, FigureFileError, Place, SolidError
from condyle.finding import Point
from condyle.geometry.formats import as_written, read_scene
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid, overlap, solid_from_mesh
from condyle.joints.custom import Bearing, OwnJoint, Tested, Turning
from condyle.joints.design import SideTools
from condyle.units import MM_PER_UNIT
from condyle.workshop.card import Number
from condyle.workshop.toml_file import line_of, parse_toml, read_checked

MOST_MM = 60.0
"""How far from the centre hardware may reach."""

_LEAST_SHARED_MM3 = 0.05

_Length = Annotated[float, Field(gt=0.0, le=MOST_MM)]
_Span = Annotated[list[Annotated[float, Field(ge=-180.0, le=180.0)]], Field(min_length=2, max_length=2)]
_File = Annotated[str, Field(min_length=1, max_length=200)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class _Cut(_Table):
    shape: Literal["sphere", "cylinder", "plane"]
    radius_mm: Annotated[float, Field(ge=0.0, le=MOST_MM)] = 0.0
    kerf_mm: Annotated[float, Field(gt=0.0, le=10.0)] | None = None

    @model_validator(mode="after")
    def _round_or_flat(self) -> _Cut:
        if (self.shape == "plane") != (self.radius_mm == 0.0):
            raise ValueError("a sphere or a cylinder needs a radius_mm above 0, and a plane has none")
        return self


class _Side(_Table):
    take: _File | None = None
    add: _File | None = None
    bore: _File | None = None


class _BearingTable(_Table):
    radius_mm: _Length
    about: Literal["x", "z"] | None = None
    from_mm: Annotated[float, Field(ge=-MOST_MM, le=MOST_MM)] | None = None
    to_mm: Annotated[float, Field(ge=-MOST_MM, le=MOST_MM)] | None = None

    @model_validator(mode="after")
    def _whole(self) -> _BearingTable:
        ends = (self.from_mm, self.to_mm)
        if self.about is None and ends != (None, None):
            raise ValueError('from_mm and to_mm belong to a cylinder: add about = "x" or about = "z"')
        if self.about is not None and (self.from_mm is None or self.to_mm is None or self.from_mm >= self.to_mm):
            raise ValueError("a cylinder needs from_mm and to_mm along its axis, the smaller first")
        return self


class _Ranges(_Table):
    flex: _Span | None = None
    abduct: _Span | None = None
    twist: _Span | None = None

    @model_validator(mode="after")
    def _around_zero(self) -> _Ranges:
        for motion, span in self.spans.items():
            if not span[0] <= 0.0 <= span[1]:
                raise ValueError(
                    f"{motion} must run from 0 or below to 0 or above: 0 is the pose in which the meshes are drawn"
                )
        if not self.spans:
            raise ValueError("a joint needs a range in at least one of flex, abduct and twist")
        return self

    @property
    def spans(self) -> dict[Turning, tuple[float, float]]:
        named: dict[Turning, list[float] | None] = {"flex": self.flex, "abduct": self.abduct, "twist": self.twist}
        return {motion: (s[0], s[1]) for motion, s in named.items() if s is not None}


class _TestedTable(_Table):
    process: Literal["filament", "resin"]
    material: Annotated[str, Field(max_length=200)] = ""
    clearance_mm: Number
    hold_nmm: Number | None = None
    insertion_n: Number | None = None
    retention_n: Number | None = None

    @model_validator(mode="after")
    def _sane(self) -> _TestedTable:
        if not -1.0 <= self.clearance_mm.value <= 5.0:
            raise ValueError("clearance_mm is per side, between -1 (a tight squeeze) and 5")
        for number in (self.hold_nmm, self.insertion_n, self.retention_n):
            if number is not None and number.value < 0.0:
                raise ValueError("forces and torques are 0 or above")
        return self


class _OwnJointFile(_Table):
    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Annotated[str, Field(min_length=1, max_length=200)]
    size_mm: _Length
    convex: Literal["parent", "child"]
    side: Literal["left", "right", "either"] = "either"
    unit: Literal["micron", "millimeter", "centimeter", "inch", "foot", "meter"] | None = None
    travel_mm: Annotated[float, Field(ge=0.0, le=MOST_MM)]
    undercut_mm: Annotated[float, Field(ge=0.0, le=5.0)] = 0.0
    cut: _Cut
    parent: _Side = _Side()
    child: _Side = _Side()
    bearing: _BearingTable
    range: _Ranges
    tested: _TestedTable


def read_own_joint(path: Path, side: str = "middle") -> OwnJoint:
    """The joint in a file, for a joint on the ``left``, ``right`` or ``middle``; one made for the other side is mirrored.

    Raises FigureFileError: ``custom.unreadable``, ``toml.*`` for keys and values, ``custom.mesh`` for a mesh that is
    missing, open, inside out or too large, ``custom.empty`` for a file that neither adds nor takes anything,
    ``custom.overlap`` where a bearing is drawn tighter than it was tested.
    """
    text = own_text(path)
    schema = parse_toml(text, str(path)).get("schema")
    if isinstance(schema, int) and not isinstance(schema, bool) and schema > 1:
        told = f"this joint file has schema {schema}; this version of Condyle reads schema 1"
        place = Place(str(path), line_of(text, ("schema",)))
        raise FigureFileError("custom.schema", told, hint="use a newer Condyle", place=place)
    told_file = read_checked(_OwnJointFile, text, str(path))
    tools = {}
    for key, table in (("parent", told_file.parent), ("child", told_file.child)):
        solids = {}
        for what in ("take", "add", "bore"):
            name = getattr(table, what)
            solids[what] = None if name is None else own_solid(path, text, (key, what), name, told_file.unit)
        tools[key] = SideTools(solids["take"], solids["add"], solids["bore"])
    if all(t is None for s in tools.values() for t in (s.take, s.add, s.bore)):
        hint = 'write add = "FILE.stl" under [parent] and take = "FILE.stl" under [child], say'
        raise FigureFileError(
            "custom.empty", "this joint neither adds nor takes anything", hint=hint, place=Place(str(path))
        )
    _check_apart(path, told_file, tools)
    tested = told_file.tested
    spans = told_file.range.spans
    joint = OwnJoint(
        name=told_file.name,
        size_mm=told_file.size_mm,
        convex=told_file.convex,
        shape=told_file.cut.shape,
        radius_mm=told_file.cut.radius_mm,
        kerf_mm=told_file.cut.kerf_mm,
        parent=tools["parent"],
        child=tools["child"],
        bearing=_bearing(told_file.bearing),
        ranges=spans,
        travel_mm=told_file.travel_mm,
        undercut_mm=told_file.undercut_mm,
        tested=Tested(
            process=tested.process,
            clearance_mm=tested.clearance_mm.value,
            source=tested.clearance_mm.source,
            material=tested.material,
            hold_nmm=_value(tested.hold_nmm),
            insertion_n=_value(tested.insertion_n),
            retention_n=_value(tested.retention_n),
        ),
        handed=told_file.side != "either",
    )
    return joint.mirrored() if side in ("left", "right") and told_file.side != side else joint


def own_text(path: Path) -> str:
    """The text of a small file of the maker's; FigureFileError ``custom.unreadable`` for anything else."""
    try:
        if path.exists() and not path.is_file():  # a device or a pipe may never end
            raise OSError(0, "it is no file")
        with path.open("rb") as source:
            data = source.read(1_000_001)
        if len(data) > 1_000_000:
            raise OSError(0, "it is longer than a joint's file ever is")
        return data.decode("utf-8-sig")
    except (OSError, ValueError) as error:
        reason = "it is not UTF-8 text" if isinstance(error, UnicodeDecodeError) else getattr(error, "strerror", None)
        raise FigureFileError(
            "custom.unreadable",
            f"the joint's file cannot be read: {reason or error}",
            hint="check the path; it is relative to the file that names it",
            place=Place(str(path)),
        ) from None


def own_solid(path: Path, text: str, key: tuple[str, ...], name: str, unit: str | None) -> Solid:
    """A mesh of the maker's that lies beside its file, in mm, checked: FigureFileError ``custom.mesh`` names file, line, remedy."""
    line = line_of(text, key)
    file = path.parent / name

    def fault(message: str, hint: str, point: Point | None = None) -> FigureFileError:
        told = f"{'.'.join(key)}: {name} {message}"
        return FigureFileError("custom.mesh", told, hint=hint, place=Place(str(path), line, point))

    try:
        scene = read_scene(file)
    except CondyleError as error:
        raise fault(f"cannot be used: {error.message}", error.hint) from error
    scale = MM_PER_UNIT[unit or scene.unit or "millimeter"]
    matrix = np.diag([scale, scale, scale, 1.0])
    if scene.up == "y":
        matrix = matrix @ np.array([[1, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)
    mesh = as_written(scene.merged().transformed(matrix))
    if not mesh.triangle_count:
        raise fault("holds no triangles", "export the mesh again")
    reach = float(np.linalg.norm(mesh.vertices, axis=1).max())
    if reach > MOST_MM:
        raise fault(
            f"reaches {reach:.0f} mm from the joint's centre, and {MOST_MM:g} mm is the most",
            'put the centre of motion at the mesh\'s origin, and say its unit with unit = "millimeter" or another',
        )
    open_at = _open_edge(mesh)
    if open_at is not None:
        raise fault("is not closed", "close the hole there; each mesh must enclose its volume", open_at)
    try:
        return solid_from_mesh(mesh, name)
    except SolidError:
        if mesh.volume_mm3 < 0.0:
            raise fault("is inside out", "turn its faces so that they look outward") from None
        raise fault("is no clean solid", "its faces cross or meet along an edge; join them into one body") from None


def _open_edge(mesh: Mesh) -> Point | None:
    """The middle of an edge that does not have one triangle on each side, or None."""
    edges = np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]]).astype(np.int64)
    count = len(mesh.vertices)
    forward, uses = np.unique(edges[:, 0] * count + edges[:, 1], return_counts=True)
    back = forward % count * count + forward // count
    at = np.minimum(np.searchsorted(forward, back), len(forward) - 1)
    wrong = (forward[at] != back) | (uses > 1)
    if not wrong.any():
        return None
    edge = forward[np.argmax(wrong)]
    x, y, z = (float(v) for v in mesh.vertices[[edge // count, edge % count]].mean(axis=0))
    return (x, y, z)


def _check_apart(path: Path, told: _OwnJointFile, tools: dict[str, SideTools]) -> None:
    """What one side adds must not stand in what the other side adds, further than it was tested to be squeezed."""
    one, other = tools["parent"].add, tools["child"].add
    if one is None or other is None or told.tested.clearance_mm.value < 0.0:
        return
    shared = overlap(one, other)
    if shared is not None and shared.volume_mm3 > _LEAST_SHARED_MM3:
        x, y, z = (float(v) for v in shared.bounds.mean(axis=0))
        raise FigureFileError(
            "custom.overlap",
            f"what the two sides add overlaps by {shared.volume_mm3:.2f} mm³, yet it was tested at a clearance of "
            f"{told.tested.clearance_mm.value:g} mm",
            hint="draw both in one frame with the gap between them, or give the clearance as it is (negative is a squeeze)",
            place=Place(str(path), None, (x, y, z)),
        )


def _bearing(table: _BearingTable) -> Bearing:
    if table.about is None:
        return Bearing(table.radius_mm)
    return Bearing(table.radius_mm, table.about, table.from_mm or 0.0, table.to_mm or 0.0)


def _value(number: Number | None) -> float | None:
    return None if number is None else number.value
