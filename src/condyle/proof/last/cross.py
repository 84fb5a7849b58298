"""One section of a part and what it bears, and all sections of a kit with the layers that they will be printed in."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from condyle.figure.kit import Kit
from condyle.finding import Point
from condyle.geometry.frame import unit
from condyle.geometry.mesh import FloatArray
from condyle.joints.mechanics.levered import burst_nmm
from condyle.joints.mechanics.section import (
    Bar,
    bending_nmm,
    layered_shear_mpa,
    layered_strength_mpa,
    shear_n,
    tension_n,
    twist_nmm,
)
from condyle.workshop.bench import Workshop

Z_UP: Point = (0.0, 0.0, 1.0)

TOO_SHORT = 1.5
"""A stretch shorter than this many diameters is no beam: the ends' own stress reaches all of it (Saint-Venant, from memory)."""

DOUBTED = 0.8
"""Where an elastic solve leaves less than this of what a beam promised, the beam is not believed, however long it is."""


COARSE = 0.17
"""How much more stress six cells across a neck tell than twelve: 4 to 17 % on five necks of the diver (docs/decisions/0050)."""


@dataclass(frozen=True)
class Opinion:
    """What an elastic solve says of one section: its largest stress over the beam's M/W, and how many cells were solved.

    ``at`` is the joint whose like section was solved, where that is the twin on the other side.
    """

    stress_ratio: float
    cells: int
    at: str = ""


@dataclass(frozen=True, eq=False)
class Cross:
    """One section of a part, the weakest of its stretch.

    what         ``neck`` of a joint's hardware, or ``limb``
    joint        whose neck it is, or the joint at which the limb hangs
    place        its centroid, figure coordinates at rest; ``normal`` points away from the joint
    bar          what it bears, the loose inside counted as filled; ``whole_mm3`` its bending modulus printed full
    notch        stress concentration that a static load feels
    layers_deg   angle between the section's normal and that of the layers
    strength_mpa, shear_mpa  at that angle
    about_mm3    bending about the joint's own axis over the stress it makes; the weakest way for joints that turn any way
    length_mm    how long the stretch of like thickness is
    opinion      of an elastic solve, where one was asked
    """

    part: str
    joint: str
    what: Literal["neck", "limb"]
    place: Point
    normal: FloatArray
    bar: Bar
    whole_mm3: float
    round_mm: float
    notch: float
    layers_deg: float
    strength_mpa: float
    shear_mpa: float
    length_mm: float
    about_mm3: float
    opinion: Opinion | None = None

    @property
    def beam_nmm(self) -> float:
        """The bending moment that breaks it by beam theory."""
        return bending_nmm(self.bar, self.strength_mpa, self.notch)

    @property
    def solved_nmm(self) -> float | None:
        """The same by the elastic solve, with the same notch; None where none was asked."""
        return None if self.opinion is None else self.beam_nmm / self.opinion.stress_ratio

    @property
    def solve_counts(self) -> bool:
        """Whether the elastic solve stands in for the beam: one was asked, and the beam is too short or too far off."""
        return self.opinion is not None and (self.stubby or self.opinion.stress_ratio * DOUBTED > 1.0)

    @property
    def bending_nmm(self) -> float:
        """The bending moment that breaks it: the solve's where it counts, else the beam's."""
        return self.beam_nmm * self._shape

    @property
    def turning_nmm(self) -> float:
        """The moment about the joint's own axis that breaks it: bending where it lies across the section, twist along it."""
        return self.strength_mpa * self.about_mm3 / self.notch * self._shape

    @property
    def tension_n(self) -> float:
        return tension_n(self.bar, self.strength_mpa, self.notch)

    @property
    def twist_nmm(self) -> float:
        return twist_nmm(self.bar, self.shear_mpa, self.notch)

    @property
    def shear_n(self) -> float:
        return shear_n(self.bar, self.shear_mpa)

    @property
    def stubby(self) -> bool:
        """Too short for beam theory."""
        return self.length_mm < TOO_SHORT * self.round_mm

    @property
    def by(self) -> str:
        """How its breaking moment was found, in words."""
        if self.solve_counts:
            why = "too short for a beam" if self.stubby else "further off than a beam can be"
            return f"by an elastic solve, {why}"
        return "by beam theory, though it is short for a beam" if self.stubby else "by beam theory"

    @property
    def _shape(self) -> float:
        return 1.0 / self.opinion.stress_ratio if self.opinion is not None and self.solve_counts else 1.0


@dataclass(frozen=True, eq=False)
class Limb:
    """A stretch of a part from one joint towards the next joint or the tip.

    beyond     the joint further out, None where it ends in a tip
    length_mm  from the joint to there
    """

    part: str
    joint: str
    beyond: str | None
    weakest: Cross
    length_mm: float


@dataclass(frozen=True, eq=False)
class Seat:
    """Where an insert sits in the part that was sculpted, read off that part.

    insert      the part that sits in it
    cross       the host's weakest section through the hole, square to it
    peg_mm, length_mm  the hole's diameter and depth; ``wall_mm`` the least wall around it
    along_mpa   the host's tensile strength along its lines, ``across_share`` that across its layers over it
    """

    insert: str
    cross: Cross
    peg_mm: float
    length_mm: float
    wall_mm: float
    along_mpa: float
    across_share: float

    @property
    def burst_nmm(self) -> float:
        """The moment on the insert that splits the wall: the split runs along the hole, the way the layers let it best."""
        if self.wall_mm <= 0.0:
            return 0.0
        hoop = layered_strength_mpa(self.along_mpa, self.across_share, 90.0 - min(90.0, self.cross.layers_deg))
        return burst_nmm(self.peg_mm, self.length_mm, self.wall_mm, hoop)

    @property
    def breaks_nmm(self) -> float:
        """The moment that breaks the host at the seat: its wall split, or the whole limb bent off through the hole."""
        return min(self.burst_nmm, self.cross.bending_nmm)


@dataclass(frozen=True, eq=False)
class Sections:
    """Of a kit: by joint the weakest sections of its hardware and those beside its pins, the limbs', and by joint the seats
    of inserts."""

    necks: Mapping[str, tuple[Cross, ...]]
    eyes: Mapping[str, tuple[Cross, ...]]
    limbs: tuple[Limb, ...]
    seats: Mapping[str, Seat] = field(default_factory=dict)

    def mapped(self, change: Callable[[Cross], Cross]) -> Sections:
        """With every section changed."""
        return Sections(
            {n: tuple(change(c) for c in told) for n, told in self.necks.items()},
            {n: tuple(change(c) for c in told) for n, told in self.eyes.items()},
            tuple(replace(limb, weakest=change(limb.weakest)) for limb in self.limbs),
            {n: replace(seat, cross=change(seat.cross)) for n, seat in self.seats.items()},
        )


def in_layers(sections: Sections, kit: Kit, workshop: Workshop, layers: Mapping[str, Point]) -> Sections:
    """The sections with each part's layers: ``layers`` gives their normal in figure coordinates; a part that is not named is
    built the way up that it asks for, or upright."""
    shops = {p.name: p.workshop or workshop for p in kit.parts}
    ups = {p.name: layers.get(p.name) or p.build_up or Z_UP for p in kit.parts}
    return sections.mapped(lambda c: layered(c, shops[c.part], ups[c.part]))


def layered(cross: Cross, workshop: Workshop, layer: Point) -> Cross:
    """One section printed in layers with this normal."""
    way = unit(np.asarray(layer, dtype=np.float64))
    angle = math.degrees(math.acos(min(1.0, abs(float(way @ cross.normal)))))
    along, across = workshop.material.yield_mpa.value, workshop.material.across_layers.value
    return replace(
        cross,
        layers_deg=angle,
        strength_mpa=layered_strength_mpa(along, across, angle),
        shear_mpa=layered_shear_mpa(along, across, angle),
    )
