"""What ``[grips.PART]`` may say."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

_Vector = Annotated[list[float], Field(min_length=3, max_length=3)]


class GripTable(BaseModel):
    """A bore for a handle through a hand: where its middle lies, which way the handle runs, and where the mouth opens."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    handle_mm: Annotated[float, Field(ge=0.8, le=60.0)] | None = None
    tool: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    point: _Vector
    axis: _Vector
    opening: _Vector | None = None
    clearance_mm: Annotated[float, Field(ge=-0.2, le=2.0)] | None = None
    mouth_mm: Annotated[float, Field(gt=0.0, le=60.0)] | None = None
    slit_mm: Annotated[float, Field(ge=0.0, le=60.0)] = 0.0

    @model_validator(mode="after")
    def _sane(self) -> GripTable:
        if (self.handle_mm is None) == (self.tool is None):
            raise ValueError("a grip needs handle_mm, or the tool whose handle it is for, and not both")
        length = sum(v * v for v in self.axis) ** 0.5
        if length < 1e-6:
            raise ValueError("axis has no length: write the direction in which the handle runs")
        if (self.mouth_mm is not None or self.slit_mm > 0.0) and self.opening is None:
            raise ValueError("mouth_mm and slit_mm need opening, the direction from the handle to the mouth")
        if (
            self.mouth_mm is not None
            and self.handle_mm is not None
            and not 0.4 * self.handle_mm <= self.mouth_mm <= self.handle_mm
        ):
            raise ValueError("mouth_mm lies between 0.4 of handle_mm and handle_mm itself")
        if self.opening is not None:
            across = sum(v * v for v in self.opening) ** 0.5
            along = abs(sum(a * b for a, b in zip(self.axis, self.opening, strict=True)))
            if across < 1e-6 or along > 0.95 * length * across:
                raise ValueError("opening must lie across axis: the handle goes in sideways there")
        return self
