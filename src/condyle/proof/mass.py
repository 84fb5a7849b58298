"""What each part weighs as printed, where its centre of mass is, and the same for the figure in any pose.

Outer lines or walls are full, the inside is filled as the recipe says, hardware is full, coats lie on the skin, and loose
pins weigh what their metal or plastic weighs. Slicing programs measure an outer line level with the plate, so on slopes
it is thinner than here and the part lighter, by a tenth of the wall's weight at most for a round body: within the 8 %
that a mass is told with until a part was weighed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit, Part
from condyle.figure.soles import Lump
from condyle.geometry.bvh import Bvh
from condyle.geometry.hollow import core_properties
from condyle.geometry.mass import (
    GRAMS_PER_MM3,
    MassProperties,
    combined,
    film_properties,
    mass_properties,
    moved,
    taken_away,
)
from condyle.geometry.mesh import BoolArray, FloatArray, Mesh
from condyle.workshop.bench import Workshop
from condyle.workshop.recipe import Recipe

UNWEIGHED = 0.08
"""Relative standard deviation of a mass that nobody has weighed: flow, air between lines, paint (common practice)."""

STEEL_G_CM3 = 7.85
_METAL_PINS = (1.0, 1.5)
_SKIN_MM = 0.02


@dataclass(frozen=True, eq=False)
class PartMass:
    """One part.

    printed   as printed, coated and pinned, rest pose, figure coordinates
    full_g    what it would weigh printed full, uncoated
    core      what lies deeper than the walls, at the material's density, None where nothing does
    inside    the share of the core that is filled
    sd_g      standard deviation of the mass
    """

    name: str
    printed: MassProperties
    full_g: float
    core: MassProperties | None
    inside: float
    sd_g: float

    def filled(self, inside: float) -> MassProperties:
        """As printed with another share of the inside filled."""
        if self.core is None or inside == self.inside:
            return self.printed
        return combined([self.printed, taken_away(self.core, self.inside - inside)])


def part_masses(
    kit: Kit,
    workshop: Workshop,
    recipe: Recipe | None = None,
    skin: Bvh | None = None,
    weighed_g: Mapping[str, float] | None = None,
    lumps: Sequence[Lump] = (),
    *,
    workers: int = 2,
) -> dict[str, PartMass]:
    """Every part's mass by name.

    skin       hierarchy of the clean sculpt: only faces on it are coated; without it nothing is
    weighed_g  parts that were weighed: their mass is scaled to it, and its deviation is 1 %
    lumps      ballast and magnets in the parts, on top of what was weighed
    workers    how many threads weigh parts; the result does not depend on it
    """
    recipe = recipe or Recipe()
    joints: dict[str, list[BuiltJoint]] = {}
    for joint in kit.joints:
        for name in {n for a in joint.axles for n in (a.moves, a.stays)} if joint.built else ():
            joints.setdefault(name, []).append(joint)
    weighed = weighed_g or {}

    def one(part: Part) -> PartMass:
        return _one(part, joints.get(part.name, []), part.workshop or workshop, recipe, skin, weighed.get(part.name))

    with ThreadPoolExecutor(workers) as pool:
        out = dict(zip((p.name for p in kit.parts), pool.map(one, kit.parts), strict=True))
    for lump in lumps:
        mass = out[lump.part]
        # As a point: a lump of 8 mm adds a hundredth to a foot's inertia by its own turning.
        point = MassProperties(0.0, lump.mass_g, np.asarray(lump.middle, dtype=np.float64), np.zeros((3, 3)))
        out[lump.part] = replace(mass, printed=combined([mass.printed, point]))
    return out


def posed_mass(masses: Mapping[str, PartMass], placed: Mapping[str, FloatArray]) -> MassProperties:
    """The whole figure with each part under its (4, 4) move."""
    return combined([moved(masses[name].printed, placed[name]) for name in sorted(masses)])


def posed_centre_mm(masses: Mapping[str, PartMass], placed: Mapping[str, FloatArray]) -> FloatArray:
    """The centre of mass (3,) of the same."""
    names = sorted(masses)
    grams = np.array([masses[n].printed.mass_g for n in names])
    moves = np.array([placed[n][:3] for n in names])
    centres = np.array([masses[n].printed.centre_mm for n in names])
    return np.asarray(grams @ (np.einsum("kij,kj->ki", moves[:, :, :3], centres) + moves[:, :, 3]) / grams.sum())


def _one(
    part: Part,
    joints: list[BuiltJoint],
    workshop: Workshop,
    recipe: Recipe,
    skin: Bvh | None,
    weighed_g: float | None,
) -> PartMass:
    mesh = part.mesh
    density = workshop.material.density_g_cm3.value
    full = mass_properties(mesh, density)
    bodies = [full]
    wall, inside = recipe.wall_mm(workshop), recipe.inside(workshop)
    core = None
    if math.isfinite(wall):
        zones = [s.mesh for j in joints for s in j.bearing] if recipe.solid_hardware else []
        core = core_properties(mesh, wall, density, solid=lambda points: _within(zones, points))
        if core is not None:
            bodies.append(taken_away(core, 1.0 - inside))
    if skin is not None and recipe.coat_mm > 0.0:
        middles = mesh.corners.mean(axis=1)
        coated = mesh.subset(np.isfinite(skin.closest(middles, _SKIN_MM)[0]))
        film = film_properties(coated, recipe.coat_mm, recipe.coat_g_cm3)
        if film is not None:
            bodies.append(film)
    for joint in joints:
        bodies += _pins(part.name, joint, density)
    printed = combined(bodies)
    sd = UNWEIGHED * printed.mass_g
    if weighed_g is not None:
        scale = weighed_g / printed.mass_g
        printed = MassProperties(printed.volume_mm3, weighed_g, printed.centre_mm, scale * printed.inertia_g_mm2)
        core = None if core is None else taken_away(core, -scale)
        sd = 0.01 * weighed_g
    return PartMass(part.name, printed, full.mass_g, core, inside, sd)


def _within(zones: list[Mesh], points: FloatArray) -> BoolArray:
    """Which points lie in one of the closed meshes."""
    out = np.zeros(len(points), dtype=bool)
    for zone in zones:
        low, high = zone.bounds
        near = np.flatnonzero(~out & np.all((points >= low) & (points <= high), axis=1))
        if len(near):
            out[near] = Bvh(zone).inside(points[near])
    return out


def _pins(part: str, joint: BuiltJoint, density: float) -> list[MassProperties]:
    """Half of each loose pin at this part's axles: it lies in both parts, and on their common axis."""
    if joint.pin_mm is None:
        return []
    diameter, length = joint.pin_mm
    weight = STEEL_G_CM3 if diameter in _METAL_PINS else density
    volume = 0.5 * math.pi / 4.0 * diameter**2 * length
    mass = volume * weight * GRAMS_PER_MM3
    axis = next((np.asarray(a) for a in joint.seated.axes.values()), np.array([0.0, 1.0, 0.0]))
    # A rod: m r²/2 about its axis, m (3 r² + L²)/12 across it.
    across, along = mass * (0.75 * diameter**2 + length**2) / 12.0, mass * diameter**2 / 8.0
    inertia = across * np.eye(3) + (along - across) * np.outer(axis, axis)
    return [
        MassProperties(volume, mass, np.asarray(a.centre, dtype=np.float64), inertia)
        for a in joint.axles
        if part in (a.moves, a.stays)
    ]
