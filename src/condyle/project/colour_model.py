"""What ``[[colours]]`` may say: a pot of paint and where it goes. Later entries go over earlier ones."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

_Mm = Annotated[float, Field(ge=-10_000.0, le=10_000.0)]
_Level = Annotated[int, Field(ge=0, le=255)]


class ColourTable(BaseModel):
    """One colour. Where: ``parts`` and ``pieces`` by name, ``boxes`` as two corners, ``spheres`` as centre and radius;
    figure coordinates in mm. With none of them it is the colour of all that no other entry names.

    printed  the maker prints this colour: parts that are of it alone share plates, and take no base coat
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    name: Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f]*$")]
    rgb: Annotated[list[_Level], Field(min_length=3, max_length=3)]
    parts: list[str] = []
    pieces: list[str] = []
    boxes: list[
        Annotated[list[Annotated[list[_Mm], Field(min_length=3, max_length=3)]], Field(min_length=2, max_length=2)]
    ] = []
    spheres: list[Annotated[list[_Mm], Field(min_length=4, max_length=4)]] = []
    printed: bool = False

    @model_validator(mode="after")
    def _possible(self) -> ColourTable:
        for low, high in self.boxes:
            if any(a >= b for a, b in zip(low, high, strict=True)):
                raise ValueError("a box is its lower corner, then its upper one: each number of the first is smaller")
        if any(s[3] <= 0.0 for s in self.spheres):
            raise ValueError("a sphere is its centre and a radius above 0")
        return self

    @property
    def everywhere(self) -> bool:
        """Whether it is the colour of all the rest."""
        return not (self.parts or self.pieces or self.boxes or self.spheres)
