"""Fits: the clearance that makes a joint feel right, by family and size, on one printer in one material.

A clearance is drawn: it is the gap between the solids as written, per side, before the printer adds its own errors.
Positive is a gap, negative is interference. It lies between: ball and cup; a hinge's tongue and each of its ears (also of
a double hinge); a swivel's stud and its bore; a peg and its hole.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, Field, model_validator

from condyle.errors import UsageError
from condyle.workshop.card import Card, Error
from condyle.workshop.toml_file import read_checked

FitKind = Literal["ball", "hinge", "swivel", "double_hinge", "peg"]
FIT_KINDS: tuple[FitKind, ...] = get_args(FitKind)


Z90 = 1.645
"""90 % of a normal distribution lies within this many standard deviations."""

OTHER_CONDITIONS_MM = {"material": 0.04, "build": 0.05, "supports": 0.04, "cure": 0.03}
"""By how much (1 sd, per side) the right clearance may move when one condition changes. Ours, no source: it lets a result
from elsewhere start a calibration, and no more."""


@dataclass(frozen=True)
class Fit:
    """A clearance per side (mm, negative = interference) and how sure it is.

    low_mm, high_mm   the range that holds the right clearance with 90 % probability
    n                 how many printed specimens stand behind it; 0 is a prior
    sd_mm             standard deviation of clearance_mm as the source states it
    material, build   what it was measured in, and how the joints stood on the plate; empty where that was not told
    supports, cure    whether supports touched the joint; how far resin was washed and cured
    also              what was felt of the same family and size under other conditions
    """

    clearance_mm: float
    low_mm: float
    high_mm: float
    n: int
    source: str
    sd_mm: float = 0.0
    material: str = ""
    build: str = ""
    supports: str = ""
    cure: str = ""
    also: tuple[Fit, ...] = ()

    def elsewhere(self, **wanted: str) -> Fit:
        """This fit as it serves under the wanted conditions (``material="petg"``, ``build=…``).

        Where all agree or were not told it is taken as it is, else as a prior (n = 0), as much wider as the conditions that
        differ make it. Of this fit and those in ``also`` the first that was felt just so counts, else the surest prior.
        """
        first, *others = (fit._moved(wanted) for fit in (replace(self, also=()) if self.also else self, *self.also))
        if not others:
            return first
        best = min((first, *others), key=lambda fit: (fit.n == 0, fit.spread_mm if fit.n == 0 else 0.0))
        return replace(best, also=tuple(fit for fit in (first, *others) if fit is not best))

    @property
    def spread_mm(self) -> float:
        """Standard deviation of the clearance: as stated, or what the range asks for where that is more."""
        return max(self.sd_mm, (self.high_mm - self.low_mm) / (2 * Z90))

    def _moved(self, wanted: Mapping[str, str]) -> Fit:
        changed = [k for k, v in wanted.items() if v and getattr(self, k) and getattr(self, k) != v]
        if not changed:
            return self
        sd = math.sqrt(self.spread_mm**2 + sum(OTHER_CONDITIONS_MM[k] ** 2 for k in changed))
        words = ", ".join(f"{k} {getattr(self, k)} and not {wanted[k]}" for k in changed)
        low, high = self.clearance_mm - Z90 * sd, self.clearance_mm + Z90 * sd
        source = f"prior: {self.source.removeprefix('prior: ')}; but with {words}: measure it there"
        return replace(self, low_mm=low, high_mm=high, n=0, source=source, sd_mm=sd)


@dataclass(frozen=True)
class Fits:
    """Fits by family: a family default (size None) and those of single sizes."""

    by_kind: Mapping[str, Mapping[float | None, Fit]] = field(default_factory=dict)

    def get(self, kind: str, size_mm: float) -> Fit:
        """The fit of a size, or the family's default where that size has none of its own.

        Raises UsageError ``fit.kind`` for a family without fits, ``fit.size`` for a size that is no length.
        """
        if not (math.isfinite(size_mm) and size_mm > 0):
            raise UsageError("fit.size", f"a joint size is a length in mm above 0, not {size_mm!r}")
        family = self.by_kind.get(kind, {})
        for size, fit in family.items():
            if size is not None and math.isclose(size, size_mm, abs_tol=1e-6):
                return fit
        if None not in family:
            known = ", ".join(sorted(self.by_kind)) or "none"
            raise UsageError("fit.kind", f"no fit for {kind!r} at {size_mm:g} mm", hint=f"families with fits: {known}")
        return family[None]

    def overridden_by(self, other: Fits) -> Fits:
        """These fits, with those of ``other`` in their place where both speak of the same family and size.

        A default that was measured also replaces the priors (n = 0) of the single sizes, which know less than it does.
        """
        merged: dict[str, dict[float | None, Fit]] = {kind: dict(sizes) for kind, sizes in self.by_kind.items()}
        for kind, sizes in other.by_kind.items():
            family = merged.setdefault(kind, {})
            default = sizes.get(None)
            if default is not None and default.n > 0:
                family = merged[kind] = {size: fit for size, fit in family.items() if fit.n > 0}
            family.update(sizes)
        return Fits(merged)

    def elsewhere(self, **wanted: str) -> Fits:
        """Every fit as it serves under the wanted conditions (see ``Fit.elsewhere``)."""
        return Fits({k: {s: fit.elsewhere(**wanted) for s, fit in f.items()} for k, f in self.by_kind.items()})


class FitCard(Card):
    """``[fits.KIND.SIZE]`` of a printer file."""

    clearance_mm: Error
    low: float = Field(ge=-2.0, le=2.0)
    high: float = Field(ge=-2.0, le=2.0)
    n: int = Field(ge=0)
    material: str = ""
    build: str = ""
    supports: str = ""
    cure: str = ""
    also: list[FitCard] = Field(default_factory=list)

    @model_validator(mode="before")
    @classmethod
    def _decimal_sizes_are_quoted(cls, given: object) -> object:
        # TOML reads [fits.ball.6.5] as a table 5 inside a table 6.
        if isinstance(given, dict) and given and all(str(key).isdigit() for key in given):
            raise ValueError(f'a size with a decimal point needs quotes, as in "6.{next(iter(given))}"')
        return given

    @model_validator(mode="after")
    def _in_order(self) -> FitCard:
        if not self.low <= self.clearance_mm.value <= self.high:
            raise ValueError("low, clearance_mm and high must be in this order")
        if self.n == 0 and not self.clearance_mm.source.startswith("prior"):
            raise ValueError('n = 0 is a prior: its source must begin with "prior"')
        return self


def _is_size(key: str) -> str:
    try:
        size = float(key)
    except ValueError:
        size = math.nan
    if key != "default" and not 0.5 <= size <= 100:
        raise ValueError("a size is a length in mm (0.5 to 100), or default")
    return key


FamilyCards = dict[FitKind, dict[Annotated[str, AfterValidator(_is_size)], FitCard]]


class FitsCard(Card):
    """A file of fits alone, schema 1."""

    schema_: Literal[1] = Field(alias="schema")
    fits: FamilyCards


def fits_from_cards(families: FamilyCards) -> Fits:
    """Fits from checked cards, families and sizes in a fixed order."""
    by_kind: dict[str, dict[float | None, Fit]] = {}
    for kind in sorted(families):
        by_size = {None if size == "default" else float(size): card for size, card in families[kind].items()}
        ordered = sorted(by_size, key=lambda size: -1.0 if size is None else size)
        by_kind[kind] = {size: _fit(by_size[size]) for size in ordered}
    return Fits(by_kind)


def _fit(card: FitCard) -> Fit:
    clearance = card.clearance_mm
    under = card.material, card.build, card.supports, card.cure
    also = tuple(_fit(other) for other in card.also)
    return Fit(clearance.value, card.low, card.high, card.n, clearance.source, clearance.sd, *under, also=also)


def parse_fits(text: str, file: str) -> Fits:
    """Fits from the text of a file that holds nothing else.

    Raises FigureFileError with file and line for anything the schema does not allow.
    """
    return fits_from_cards(read_checked(FitsCard, text, file).fits)
