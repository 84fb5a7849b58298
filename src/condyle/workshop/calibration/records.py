"""What was printed, felt and read: one record for each coupon, in mm and g, as answers and history both keep them."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, Field, model_validator

from condyle.workshop.card import Card
from condyle.workshop.fits import FitKind

Feel = Literal["falls out", "loose", "good", "tight", "will not go", "broke"]
FEELS: tuple[Feel, ...] = get_args(Feel)
Support = Literal["none", "touching the joint"]
Cure = Literal["", "washed", "washed and cured"]
When = Literal["new", "after 24 h", "after 50 movements", "after 30 days"]
Stood = Literal["whole", "gaps", "missing"]
Bent = Literal["sound", "marked", "broke"]

Millimetres = Annotated[float, Field(ge=-2.0, le=400.0)]
Grams = Annotated[float, Field(ge=0.0, le=5000.0)]


def _is_day(text: str) -> str:
    try:
        date.fromisoformat(text)
    except ValueError:
        raise ValueError("no day of the calendar; write it as 2026-11-25") from None
    return text


Day = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$"), AfterValidator(_is_day)]
Words = Annotated[str, Field(min_length=1, max_length=60)]


class Conditions(Card):
    """Under what conditions a coupon was printed: a result holds for these, and is only a prior for others.

    build      how the joints stood on the plate: ``upright`` or ``link lying``, or the maker's own words
    supports   whether supports touched the joint
    cure       of resin: how far it was washed and cured when it was felt
    """

    material: Words
    build: Words = "upright"
    supports: Support = "none"
    cure: Cure = ""


class _Record(Conditions):
    """Common to all: when it was felt, and which printed plate it was; later answers for the same plate replace earlier."""

    date: Day
    coupon: str = ""
    print_: Annotated[int, Field(ge=1, alias="print")] = 1

    @property
    def conditions(self) -> Conditions:
        return Conditions(material=self.material, build=self.build, supports=self.supports, cure=self.cure)


class LadderRecord(_Record):
    """A clearance ladder: drawn clearances and how each joint felt."""

    what: Literal["ladder"] = "ladder"
    family: FitKind
    size_mm: Annotated[float, Field(ge=0.5, le=100.0)]
    drawn_mm: Annotated[list[Annotated[float, Field(ge=-1.0, le=2.0)]], Field(min_length=1, max_length=99)]
    felt: Annotated[list[Feel], Field(min_length=1, max_length=99)]

    @model_validator(mode="after")
    def _as_many(self) -> LadderRecord:
        if len(self.drawn_mm) != len(self.felt):
            raise ValueError("as many feelings as drawn clearances are needed")
        return self


Pair = Annotated[list[Millimetres], Field(min_length=2, max_length=2)]
Pairs = Annotated[list[Pair], Field(max_length=99)]


class GaugeRecord(_Record):
    """Drawn and read, in mm: diameters of holes and shafts, outside lengths in the plane."""

    what: Literal["gauge"] = "gauge"
    holes_mm: Pairs = Field(default_factory=list)
    shafts_mm: Pairs = Field(default_factory=list)
    lengths_mm: Pairs = Field(default_factory=list)


class StepsRecord(_Record):
    """Drawn and read heights; the width read at the foot and above it."""

    what: Literal["steps"] = "steps"
    heights_mm: Pairs = Field(default_factory=list)
    foot_mm: Millimetres | None = None
    above_mm: Millimetres | None = None


class WallsRecord(_Record):
    """Thickness of each wall and whether it stands whole."""

    what: Literal["walls"] = "walls"
    walls_mm: Annotated[list[Millimetres], Field(min_length=1, max_length=99)]
    stood: Annotated[list[Stood], Field(min_length=1, max_length=99)]


class StrainRecord(_Record):
    """Strain of each tongue at its stop (a fraction), and what ten pushes did to it; along or across the layers."""

    what: Literal["strain"] = "strain"
    way: Literal["along", "across"]
    strain: Annotated[list[Annotated[float, Field(ge=0.0, le=0.5)]], Field(min_length=1, max_length=99)]
    bent: Annotated[list[Bent], Field(min_length=1, max_length=99)]


class FrictionRecord(_Record):
    """One joint of the friction beam: torque that it held, and torque at which the arm sank, N·mm, and when.

    nmm_per_mm   computed torque over interference for a friction of 1, as the coupon's description has it
    """

    what: Literal["friction"] = "friction"
    size_mm: Annotated[float, Field(ge=0.5, le=100.0)]
    mark: Words
    drawn_mm: Annotated[float, Field(ge=-1.0, le=2.0)]
    nmm_per_mm: Annotated[float, Field(gt=0.0)]
    when: When
    held_nmm: Annotated[float, Field(ge=0.0)] | None = None
    sank_nmm: Annotated[float, Field(ge=0.0)] | None = None

    @model_validator(mode="after")
    def _in_order(self) -> FrictionRecord:
        if self.held_nmm is None and self.sank_nmm is None:
            raise ValueError("either the torque that was held or the one at which the arm sank is needed")
        if self.held_nmm is not None and self.sank_nmm is not None and self.held_nmm >= self.sank_nmm:
            raise ValueError("the arm cannot sink under less than it held: held_nmm must be below sank_nmm")
        return self


Record = Annotated[
    LadderRecord | GaugeRecord | StepsRecord | WallsRecord | StrainRecord | FrictionRecord, Field(discriminator="what")
]
