"""The common grammar of printer, material and fit cards."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from condyle.workshop.values import Measured

Process = Literal["filament", "resin"]


class Card(BaseModel):
    """Base of what a card may say: unknown keys, wrong types and numbers that are not finite are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Number(Card):
    """``{value, sd, source}`` as a card writes it."""

    value: float
    sd: float = Field(ge=0)
    source: str = Field(min_length=1)

    @model_validator(mode="after")
    def _prior_is_wide(self) -> Number:
        if self.source.startswith("prior") and self.sd == 0:
            raise ValueError("a prior cannot be certain: sd must be above 0")
        return self

    def measured(self) -> Measured:
        return Measured(self.value, self.sd, self.source)


def _within(low: float, high: float, unit: str) -> AfterValidator:
    def check(number: Number) -> Number:
        if not low <= number.value <= high:
            raise ValueError(f"{number.value:g} is outside what is possible, {low:g} to {high:g} {unit}".rstrip())
        return number

    return AfterValidator(check)


Length = Annotated[Number, _within(0.001, 10.0, "mm")]
"""A process length above zero, mm."""
Error = Annotated[Number, _within(-2.0, 2.0, "mm")]
"""A signed deviation, mm."""
Spread = Annotated[Number, _within(0.0, 2.0, "mm")]
"""A deviation without a sign, mm."""
Overhang = Annotated[Number, _within(0.0, 90.0, "degrees")]
Density = Annotated[Number, _within(0.1, 25.0, "g/cm³")]
Modulus = Annotated[Number, _within(1.0, 500_000.0, "MPa")]
Stress = Annotated[Number, _within(0.1, 5_000.0, "MPa")]
Strain = Annotated[Number, _within(1e-5, 1.0, "(a fraction, not per cent)")]
Share = Annotated[Number, _within(0.01, 1.2, "(a fraction, not per cent)")]
Friction = Annotated[Number, _within(0.0, 2.0, "")]
Poisson = Annotated[Number, _within(0.0, 0.5, "")]
PlateSide = Annotated[float, Field(ge=10.0, le=5000.0)]
