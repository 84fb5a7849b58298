"""The table ``[parts.NAME]`` of a figure file: a part's own printer, material, build orientation and hollow."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

_Text = Annotated[str, Field(min_length=1, max_length=200)]


class PartTable(BaseModel):
    """What a part may have of its own; what is left out is the figure's."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    printer: _Text | None = None
    material: _Text | None = None
    fits: _Text | None = None
    hollow_mm: Annotated[float, Field(ge=0.5, le=20.0)] | None = None
    up: Annotated[list[float], Field(min_length=3, max_length=3)] | None = None

    @model_validator(mode="after")
    def _a_way(self) -> PartTable:
        if self.up is not None and sum(v * v for v in self.up) < 1e-12:
            raise ValueError("up is a direction and needs a length")
        return self
