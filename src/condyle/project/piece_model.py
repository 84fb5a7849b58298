"""What ``[pieces.NAME]`` may say."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

_Text = Annotated[str, Field(min_length=1, max_length=200)]
_Vector = Annotated[list[float], Field(min_length=3, max_length=3)]


class PieceTable(BaseModel):
    """A piece of the sculpt: a file of its own, or an object of the sculpt's file by name."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    file: _Text | None = None
    object: _Text | None = None
    bone: _Text
    how: Literal["fused", "pegged", "carried"] = "pegged"
    clearance_mm: Annotated[float, Field(ge=0.0, le=5.0)] | None = None
    yields: Literal["carrier", "piece"] | None = None
    way: _Vector | None = None
    peg_mm: Annotated[float, Field(ge=0.0, le=20.0)] | None = None
    on: Literal["swivel", "ball", "strap"] | None = None
    tilt_deg: Annotated[float, Field(ge=0.0, le=30.0)] | None = None

    @model_validator(mode="after")
    def _one_source(self) -> PieceTable:
        if (self.file is None) == (self.object is None):
            raise ValueError("a piece needs either file or object, and not both")
        if self.on is not None and self.how != "carried":
            raise ValueError('on says what a carried piece hangs on: write how = "carried" beside it, or take on out')
        if self.tilt_deg is not None and self.on != "ball":
            raise ValueError(
                'tilt_deg belongs to a piece carried on a ball: write on = "ball" beside it, or take it out'
            )
        return self
