"""What ``[[poses]]`` may say."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from condyle.figure.skeleton import Motion

_Degrees = Annotated[float, Field(ge=-360.0, le=360.0)]
_Name = Annotated[str, Field(min_length=1, max_length=80)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class AngleTable(_Table):
    """``joints.NAME``: degrees from the human zero."""

    flex: _Degrees | None = None
    abduct: _Degrees | None = None
    twist: _Degrees | None = None

    @property
    def angles(self) -> dict[Motion, float]:
        named: dict[Motion, float | None] = {"flex": self.flex, "abduct": self.abduct, "twist": self.twist}
        return {motion: a for motion, a in named.items() if a is not None}


class PoseTable(_Table):
    """A pose: of the sheet by its name, like another one, or joint by joint.

    like    a pose of the sheet, or one further up in the file, whose angles this one starts from
    swap    left and right change places in what ``like`` or the sheet gives
    between two poses, as ``like`` names them, and ``share`` (0 to 1) how far on the way from one to the other it starts
    after   a pose further up in the file: the way leads here from there, and not from the sculpt's own pose
    joints  angles over those; a joint named without its side stands for both
    """

    name: _Name
    like: _Name | None = None
    swap: bool = False
    between: Annotated[list[_Name], Field(min_length=2, max_length=2)] | None = None
    share: Annotated[float, Field(ge=0.0, le=1.0)] = 0.5
    after: _Name | None = None
    joints: dict[str, AngleTable] = {}

    @model_validator(mode="after")
    def _one_base(self) -> PoseTable:
        if self.like is not None and self.between is not None:
            raise ValueError("a pose starts from like or from between, and not from both")
        return self
