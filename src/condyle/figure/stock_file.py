"""A piece of the locker: a hand, head or foot that serves every figure, with the joint that it hangs on.

A TOML file with its mesh beside it. The mesh lies in the joint frame: the centre of motion at the origin, z out into the
piece, x the axis of flexion; it reaches a little behind the origin, and its section there is the wrist that is matched.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from condyle.errors import FigureFileError, Place
from condyle.figure.custom_file import own_solid, own_text, read_own_joint
from condyle.figure.skeleton import Kind
from condyle.figure.skeleton_changes import SERIES
from condyle.geometry.frame import Frame
from condyle.geometry.sections import section
from condyle.geometry.solid import Solid
from condyle.joints.custom import OwnJoint
from condyle.workshop.toml_file import line_of, parse_toml, read_checked

BEHIND_MM = 0.5
"""How far behind the origin a piece of the locker reaches at least."""

_SIDEWAYS = np.diag([-1.0, 1.0, 1.0, 1.0])


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class _Joint(_Table):
    kind: Literal["ball", "hinge", "swivel", "peg"] | None = None
    size: Annotated[float, Field(gt=0.0, le=200.0)] | None = None
    convex: Literal["parent", "child"] = "child"
    custom: Annotated[str, Field(min_length=1, max_length=200)] | None = None

    @model_validator(mode="after")
    def _one(self) -> _Joint:
        if (self.custom is None) == (self.kind is None or self.size is None):
            raise ValueError("the joint is either custom (a file) or kind with size")
        return self


class _StockFile(_Table):
    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f]*$")]
    mesh: Annotated[str, Field(min_length=1, max_length=200)]
    side: Literal["left", "right", "either"] = "either"
    unit: Literal["micron", "millimeter", "centimeter", "inch", "foot", "meter"] | None = None
    joint: _Joint


@dataclass(frozen=True, eq=False)
class StockPiece:
    """A piece of the locker as it goes on one side: its flesh in the joint frame (mm), and its joint.

    wrist_mm   radius of the circle as large as its section at the origin
    """

    name: str
    flesh: Solid
    wrist_mm: float
    kind: Kind
    size: float | None
    convex: Literal["parent", "child"]
    custom: OwnJoint | None


def read_stock(path: Path, side: str = "middle") -> StockPiece:
    """The piece in a file, for a joint on the ``left``, ``right`` or ``middle``; one made for the other side is mirrored.

    Raises FigureFileError: ``toml.*`` for keys and values, ``custom.unreadable``, ``custom.mesh`` (missing, open, inside
    out), ``stock.size`` for a size that its family does not have, ``stock.wrist`` for a mesh without flesh at its origin.
    """
    text = own_text(path)
    schema = parse_toml(text, str(path)).get("schema")
    if isinstance(schema, int) and not isinstance(schema, bool) and schema > 1:
        place = Place(str(path), line_of(text, ("schema",)))
        told = f"this piece has schema {schema}; this version of Condyle reads schema 1"
        raise FigureFileError("stock.schema", told, hint="use a newer Condyle", place=place)
    told_file = read_checked(_StockFile, text, str(path))
    own, kind = None, told_file.joint.kind or "custom"
    if told_file.joint.custom is not None:
        own = read_own_joint(path.parent / told_file.joint.custom, side)
    elif told_file.joint.size not in SERIES[kind]:
        sizes = ", ".join(f"{s:g}" for s in SERIES[kind])
        raise FigureFileError(
            "stock.size",
            f"no {kind} has the size {told_file.joint.size:g} mm",
            hint=f"take one of {sizes}: pieces change places only on the same size",
            place=Place(str(path), line_of(text, ("joint", "size"))),
        )
    flesh = own_solid(path, text, ("mesh",), told_file.mesh, told_file.unit)
    if side in ("left", "right") and told_file.side not in ("either", side):
        flesh = flesh.transformed(_SIDEWAYS)
    return StockPiece(
        told_file.name, flesh, _wrist(path, text, flesh), kind, told_file.joint.size,
        own.convex if own else told_file.joint.convex, own,
    )  # fmt: skip


def _wrist(path: Path, text: str, flesh: Solid) -> float:
    here = Frame(np.zeros(3), np.eye(3))
    around = [r for r in section(flesh.mesh, here).components() if r.depth((0.0, 0.0)) > 0.0]
    if not around or float(flesh.bounds[0, 2]) > -BEHIND_MM:
        raise FigureFileError(
            "stock.wrist",
            f"the piece has no flesh from its origin to {BEHIND_MM:g} mm behind it",
            hint="put the joint's centre at the mesh's origin, z out into the piece, and leave some wrist behind it",
            place=Place(str(path), line_of(text, ("mesh",)), (0.0, 0.0, 0.0)),
        )
    return float(np.sqrt(around[0].area_mm2 / np.pi))
