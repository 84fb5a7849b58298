"""What ``[finish]`` may say: the coats, the evenings, and what is painted that usually is not."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from condyle.finish.coats import STARTER, Coat
from condyle.finish.cost import Prices
from condyle.finish.schedule import Evening
from condyle.workshop.values import Measured

_Hours = Annotated[float, Field(ge=0.0, le=10_000.0)]
_Money = Annotated[float, Field(ge=0.0, le=100_000.0)]
_Share = Annotated[float, Field(gt=0.0, le=1.0)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class CoatTable(_Table):
    """``[[finish.coats]]``: one kind of coat as your own tests gave it."""

    role: Literal["primer", "base", "detail", "clear"]
    times: Annotated[int, Field(ge=1, le=20)]
    film_um: Annotated[float, Field(gt=0.0, le=1000.0)]
    film_sd_um: Annotated[float, Field(ge=0.0, le=500.0)] = 3.0
    solids: _Share
    thinner: Annotated[float, Field(ge=0.0, le=20.0)] = 0.0
    transfer: _Share
    touch_dry_h: _Hours = 0.5
    recoat_h: _Hours = 1.0
    next_h: Annotated[list[_Hours], Field(min_length=2, max_length=2)]
    cure_h: _Hours
    glossy: bool = False

    def coat(self) -> Coat:
        source = "the figure file"
        return Coat(
            self.role, self.times, Measured(self.film_um, self.film_sd_um, source),
            Measured(self.solids, 0.1 * self.solids, source), self.thinner,
            Measured(self.transfer, 0.1 * self.transfer, source), self.touch_dry_h, self.recoat_h,
            (self.next_h[0], self.next_h[1]), self.cure_h, self.glossy,
        )  # fmt: skip


class FinishTable(_Table):
    """``[finish]``.

    start            the day on which the work begins, as "2031-05-05"; without it the plan counts days
    evening_from, evening_hours, days   when there is time: o'clock, hours, days of the week (1 is Monday)
    printers         how many run at a time
    painted_bearings joints whose bearings are not masked
    colour           the name of the base colour where none are drawn
    labels           whether each part gets its name, or its number, engraved on a hidden face
    paint_per_ml, paper_per_piece, hour   your prices, in the money of price_per_kg
    """

    start: Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")] | None = None
    evening_from: Annotated[float, Field(ge=0.0, lt=24.0)] = 19.0
    evening_hours: Annotated[float, Field(gt=0.0, le=24.0)] = 3.0
    days: Annotated[list[Annotated[int, Field(ge=1, le=7)]], Field(min_length=1, max_length=7)] = [1, 2, 3, 4, 5, 6, 7]
    printers: Annotated[int, Field(ge=1, le=20)] = 1
    painted_bearings: list[str] = []
    colour: Annotated[str, Field(min_length=1, max_length=60)] = "base colour"
    coats: list[CoatTable] = []
    labels: bool = True
    paint_per_ml: _Money | None = None
    paper_per_piece: _Money | None = None
    hour: _Money | None = None

    @model_validator(mode="after")
    def _possible(self) -> FinishTable:
        if self.start is not None:
            date.fromisoformat(self.start)
        if self.evening_from + self.evening_hours > 24.0:
            raise ValueError("an evening ends before midnight: evening_from + evening_hours is more than 24")
        return self

    @property
    def system(self) -> tuple[Coat, ...]:
        """The coats of the file, or the usual ones."""
        return tuple(c.coat() for c in self.coats) or STARTER

    @property
    def prices(self) -> Prices:
        return Prices(self.paint_per_ml, self.paper_per_piece, self.hour)

    @property
    def evening(self) -> Evening:
        return Evening(self.evening_from, self.evening_hours, tuple(sorted({d - 1 for d in self.days})))
