"""``[hold]``, ``[stand]`` and ``[last]`` of figure.toml: what is asked of the figure in use, every key with a default."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class HoldTable(_Table):
    """``[hold]``: what is asked of the joints' friction, and parts that were weighed, by name."""

    factor: Annotated[float, Field(gt=0.0, le=20.0)] = 2.0
    factor_aged: Annotated[float, Field(gt=0.0, le=20.0)] = 1.3
    days: Annotated[float, Field(ge=0.0, le=36500.0)] = 30.0
    warm_c: Annotated[float, Field(ge=0.0, le=60.0)] = 40.0
    wear: Annotated[float, Field(gt=0.0, le=2.0)] = 0.85
    paint: Annotated[float, Field(gt=0.0, le=5.0)] = 1.0
    weighed_g: dict[str, Annotated[float, Field(gt=0.0, le=10000.0)]] = {}


class StandTable(_Table):
    """``[stand]``: what is asked of the stand, and what is done to the soles.

    ``child`` true refuses magnets and ballast: a figure that a child may get holds neither. ``held``: one limb, or joints taken
    out of one, held in the hand; what only a whole figure can do is not asked of it.
    """

    tip_deg: Annotated[float, Field(ge=0.0, le=60.0)] = 8.0
    margin_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 3.0
    flatten_mm: Annotated[float, Field(ge=0.0, le=5.0)] = 0.0
    base: Literal["none", "peg"] = "none"
    base_foot: Literal["left", "right", "both"] = "both"
    ballast_mm: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    magnet_mm: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    child: bool = False
    held: Literal["no", "limb", "joint"] = "no"

    @model_validator(mode="after")
    def _no_magnets_for_children(self) -> StandTable:
        if self.child and (self.magnet_mm is not None or self.ballast_mm is not None):
            raise ValueError("a figure for a child takes no magnet and no loose ballast: swallowed magnets can kill")
        for name, size in (("magnet_mm", self.magnet_mm), ("ballast_mm", self.ballast_mm)):
            if size is not None and not all(0.5 <= v <= 30.0 for v in size):
                raise ValueError(f"{name} is diameter and height, each 0.5 to 30 mm")
        return self


class LastTable(_Table):
    """``[last]``: what the figure has to bear.

    ``protect``: thicker necks, gentler grips and studs of their own where a ball would else break before it lets go.
    """

    finger_n: Annotated[float, Field(gt=0.0, le=200.0)] = 5.0
    drop_mm: Annotated[float, Field(ge=0.0, le=5000.0)] = 750.0
    safety: Annotated[float, Field(gt=0.0, le=20.0)] = 2.0
    protect: bool = True
