"""A tool of the locker: what a gripping hand holds. A TOML file with its mesh beside it, in the handle's frame.

z runs along the handle, whose middle in the hand is the origin, and x towards the mouth through which it goes in. A tool is
used at its own size: its handle is what the hand is bored for.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from condyle.errors import FigureFileError, Place
from condyle.figure.custom_file import own_solid, own_text
from condyle.geometry.frame import Frame
from condyle.geometry.sections import section
from condyle.geometry.solid import Solid
from condyle.workshop.toml_file import line_of, read_checked

HANDLE_MM = 0.05
"""How far the handle's section at the origin may be from the diameter that the file states."""

_SIDEWAYS = np.diag([1.0, -1.0, 1.0, 1.0])


class _ToolFile(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f]*$")]
    mesh: Annotated[str, Field(min_length=1, max_length=200)]
    handle_mm: Annotated[float, Field(ge=0.8, le=60.0)]
    side: Literal["left", "right", "either"] = "either"
    unit: Literal["micron", "millimeter", "centimeter", "inch", "foot", "meter"] | None = None


@dataclass(frozen=True, eq=False)
class Tool:
    """A tool as it lies in the handle's frame (mm)."""

    name: str
    solid: Solid
    handle_mm: float


def read_tool(path: Path, side: str = "middle") -> Tool:
    """The tool in a file, for the hand on a side; one made for the other side is mirrored in the plane of z and x.

    Raises FigureFileError: ``toml.*``, ``custom.unreadable``, ``custom.mesh``, and ``tool.handle`` where the mesh at its
    origin is no round handle of the stated diameter.
    """
    text = own_text(path)
    told = read_checked(_ToolFile, text, str(path))
    solid = own_solid(path, text, ("mesh",), told.mesh, told.unit)
    here = [r for r in section(solid.mesh, Frame(np.zeros(3), np.eye(3))).components() if r.depth((0.0, 0.0)) > 0.0]
    radius = 0.5 * told.handle_mm
    if (
        not here
        or abs(here[0].reach((0.0, 0.0)) - radius) > HANDLE_MM
        or here[0].depth((0.0, 0.0)) < radius - HANDLE_MM
    ):
        found = f"{2.0 * here[0].reach((0.0, 0.0)):.2f} mm" if here else "none"
        raise FigureFileError(
            "tool.handle",
            f"at its origin the tool has no round handle of {told.handle_mm:g} mm (found: {found})",
            hint="put the middle of the grip at the mesh's origin, z along the handle, or correct handle_mm",
            place=Place(str(path), line_of(text, ("handle_mm",)), (0.0, 0.0, 0.0)),
        )
    if side in ("left", "right") and told.side not in ("either", side):
        solid = solid.transformed(_SIDEWAYS)
    return Tool(told.name, solid, told.handle_mm)
