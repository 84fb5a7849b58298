"""What ``[motion]`` may say: which human norm the wanted ranges follow, and how much of it."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator

from condyle.figure.norms import OWN, norm_names


class MotionTable(BaseModel):
    """``[motion]``: a norm by name, and a factor on all wanted ranges; limits of single joints go before both."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    norms: str = OWN
    factor: Annotated[float, Field(ge=0.1, le=2.0)] = 1.0

    @field_validator("norms")
    @classmethod
    def _known(cls, name: str) -> str:
        if name not in norm_names():
            raise ValueError(f"there is no norm {name!r}; the norms are: " + ", ".join(norm_names()))
        return name
