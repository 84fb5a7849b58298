"""What skeleton.toml may say: every table and key, its type and its bounds. Unknown keys are refused."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from condyle.figure.skeleton import Form, Motion, Range

_Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]
_Degrees = Annotated[float, Field(ge=-360.0, le=360.0)]
_Span = Annotated[list[_Degrees], Field(min_length=2, max_length=2)]
_Vector = Annotated[list[float], Field(min_length=3, max_length=3)]


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Wanted(Table):
    """Degrees by motion, measured from the human zero."""

    flex: _Span | None = None
    abduct: _Span | None = None
    twist: _Span | None = None

    @model_validator(mode="after")
    def _rising(self) -> Wanted:
        for motion, span in self.spans.items():
            if span[0] > span[1]:
                raise ValueError(f"{motion} runs from {span[0]:g} down to {span[1]:g}; write the smaller angle first")
        return self

    @property
    def spans(self) -> dict[Motion, Range]:
        named: dict[Motion, list[float] | None] = {"flex": self.flex, "abduct": self.abduct, "twist": self.twist}
        return {motion: (s[0], s[1]) for motion, s in named.items() if s is not None}


class Stance(Table):
    """The angles in which the lay figure and the guide stand, degrees from the human zero."""

    flex: _Degrees | None = None
    abduct: _Degrees | None = None

    @property
    def angles(self) -> dict[Motion, float]:
        named: dict[Motion, float | None] = {"flex": self.flex, "abduct": self.abduct}
        return {motion: a for motion, a in named.items() if a is not None}


class BoneTable(Table):
    parent: _Name | None = None
    tip: _Vector | None = None
    form: Form | None = None


class JointTable(Table):
    """Everything optional, as the file may inherit; what is missing in the end is told by ``_complete``."""

    kind: Literal["ball", "hinge", "swivel", "double_hinge", "peg", "custom"] | None = None
    size: Annotated[float, Field(gt=0.0, le=200.0)] | None = None
    parent: _Name | None = None
    child: _Name | None = None
    centre: _Vector | None = None
    axis: _Vector | None = None
    forward: Literal[-1, 1] | None = None
    wanted: Wanted | None = None
    yields: Literal["parent", "child", "both"] | None = None
    convex: Literal["parent", "child"] | None = None
    seam_mm: Annotated[float, Field(ge=0.0, le=100.0)] | None = None
    thick: Annotated[float, Field(gt=0.0, le=0.5)] | None = None
    stance: Stance | None = None
    custom: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    follows: dict[Motion, _Name] = {}
    detent_deg: Annotated[float, Field(ge=0.0, le=90.0)] | None = None


_Share = Annotated[float, Field(ge=0.0, le=1.0)]


class Shares(Table):
    """What each joint of an arrangement takes of a motion, in the arrangement's order."""

    flex: list[_Share] | None = None
    abduct: list[_Share] | None = None
    twist: list[_Share] | None = None

    @property
    def lists(self) -> dict[Motion, list[float]]:
        named: dict[Motion, list[float] | None] = {"flex": self.flex, "abduct": self.abduct, "twist": self.twist}
        return {motion: s for motion, s in named.items() if s is not None}


class ArrangementTable(Table):
    """Joints that act as one; a table that changes an inherited arrangement need only hold what differs."""

    joints: Annotated[list[_Name], Field(min_length=1, max_length=10)] | None = None
    whole: Wanted | None = None
    share: Shares = Shares()


class SkeletonFile(Table):
    schema_: Annotated[Literal[1], Field(alias="schema")]
    name: Annotated[str, Field(min_length=1, max_length=200)]
    inherits: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    height_mm: Annotated[float, Field(ge=20.0, le=2000.0)] | None = None
    mirror: Literal["left", "right"] | None = None
    scale_sizes: bool = False
    only: Annotated[list[_Name], Field(min_length=1, max_length=500)] | None = None
    bones: dict[_Name, BoneTable] = {}
    joints: dict[_Name, JointTable] = {}
    arrangements: dict[_Name, ArrangementTable] = {}
