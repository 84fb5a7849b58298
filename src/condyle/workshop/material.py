"""Materials, by their chemistry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from pydantic import Field, model_validator

from condyle.workshop.card import Card, Density, Friction, Modulus, Poisson, Process, Share, Strain, Stress
from condyle.workshop.toml_file import read_checked
from condyle.workshop.values import Measured

KEPT_30_DAYS = Measured(0.55, 0.15, "prior: plastics creep at room temperature, no number for printed ones was found")
KEPT_40_C = Measured(0.8, 0.12, "prior: no source; a grip test on a warm day tells")
KEPT_50_MOVES = Measured(0.8, 0.15, "prior: printed ridges wear smooth, no source; the friction beam tells")
NOTCH = Measured(0.6, 0.25, "prior: between ductile and brittle, no source; a bend test of a notched bar tells")


@dataclass(frozen=True)
class Material:
    """What a printed part is made of, at 23 °C, every number with its standard deviation and source.

    density_g_cm3     of the solid plastic
    modulus_mpa       in-plane Young's modulus (of a printed part where known)
    yield_mpa         in-plane yield or tensile strength, whichever is the lower
    strain_once       permissible strain of a snap joined once, a fraction
    strain_repeated   permissible strain of a snap worked many times, a fraction
    across_layers     strength across the layers as a share of the strength along them
    friction          static coefficient of friction of the material on itself, unpainted
    poisson           Poisson's ratio
    kept_30_days      share of an elastic grip that is left after 30 days at 23 °C
    kept_40_c         share of the modulus at 23 °C that is left at 40 °C
    notch             how much of a stress concentration a static load feels: 0 ductile, 1 brittle
    kept_50_moves     share of a joint's friction torque that is left after 50 movements
    """

    name: str
    process: Process
    density_g_cm3: Measured
    modulus_mpa: Measured
    yield_mpa: Measured
    strain_once: Measured
    strain_repeated: Measured
    across_layers: Measured
    friction: Measured
    poisson: Measured
    kept_30_days: Measured = KEPT_30_DAYS
    kept_40_c: Measured = KEPT_40_C
    notch: Measured = NOTCH
    kept_50_moves: Measured = KEPT_50_MOVES

    def told(self, numbers: Mapping[str, Measured]) -> Material:
        """The material with what coupons told of it, by the names of its numbers."""
        changes: dict[str, Any] = dict(numbers)
        return replace(self, **changes)


class MaterialCard(Card):
    """material.toml, schema 1."""

    schema_: Literal[1] = Field(alias="schema")
    process: Process
    density_g_cm3: Density
    modulus_mpa: Modulus
    yield_mpa: Stress
    strain_once: Strain
    strain_repeated: Strain
    across_layers: Share
    friction: Friction
    poisson: Poisson
    kept_30_days: Share | None = None
    kept_40_c: Share | None = None
    notch: Share | None = None

    @model_validator(mode="after")
    def _repeated_is_gentler(self) -> MaterialCard:
        if self.strain_repeated.value > self.strain_once.value:
            raise ValueError("strain_repeated cannot exceed strain_once")
        return self


def parse_material(text: str, name: str, file: str) -> Material:
    """A material from the text of a material file.

    Raises FigureFileError with file and line for anything the schema does not allow.
    """
    card = read_checked(MaterialCard, text, file)
    return Material(
        name=name,
        process=card.process,
        density_g_cm3=card.density_g_cm3.measured(),
        modulus_mpa=card.modulus_mpa.measured(),
        yield_mpa=card.yield_mpa.measured(),
        strain_once=card.strain_once.measured(),
        strain_repeated=card.strain_repeated.measured(),
        across_layers=card.across_layers.measured(),
        friction=card.friction.measured(),
        poisson=card.poisson.measured(),
        kept_30_days=card.kept_30_days.measured() if card.kept_30_days else KEPT_30_DAYS,
        kept_40_c=card.kept_40_c.measured() if card.kept_40_c else KEPT_40_C,
        notch=card.notch.measured() if card.notch else NOTCH,
    )
