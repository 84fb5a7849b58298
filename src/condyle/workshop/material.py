"""Materials, by their chemistry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pydantic import Field, model_validator

from condyle.workshop.card import Card, Density, Friction, Modulus, Poisson, Process, Share, Strain, Stress
from condyle.workshop.toml_file import read_checked
from condyle.workshop.values import Measured


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
    )
