"""The step that makes a figure's feet, as ``[stand]`` of figure.toml asks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condyle.figure.kit import Kit
from condyle.figure.soles import Soled, SoleWishes, make_soles
from condyle.geometry.solid import Solid
from condyle.joints.stock import stock_of
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.figure_file import FigureDocument
from condyle.project.watch import Watch
from condyle.proof.mass import part_masses, posed_mass
from condyle.workshop.bench import Workshop
from condyle.workshop.recipe import Recipe

BASE = "stand_base"


def sole_wishes(document: FigureDocument) -> SoleWishes:
    """What ``[stand]`` asks of the soles."""
    stand = document.content.stand

    def pair(size: Sequence[float] | None) -> tuple[float, float] | None:
        return None if size is None else (size[0], size[1])

    return SoleWishes(
        flatten_mm=stand.flatten_mm,
        base=stand.base == "peg",
        base_feet=stand.base_foot,
        ballast_mm=pair(stand.ballast_mm),
        magnet_mm=pair(stand.magnet_mm),
        child=stand.child,
    )


def recipe_of(document: FigureDocument) -> Recipe:
    """How ``[workshop]`` has the parts filled; hollows are in the geometry itself (hollow_step.py)."""
    shop = document.content.workshop
    return Recipe(lines=shop.lines, fill=shop.fill)


def soled_by(document: FigureDocument) -> bytes:
    """All of the figure file that the feet depend on, for the keys of later steps."""
    wishes = sole_wishes(document)
    return b"" if wishes.nothing else to_bytes((wishes, recipe_of(document)))


def sole_kit(
    document: FigureDocument, kit: Kit, workshop: Workshop, inputs: Sequence[bytes], cache: Cache, watch: Watch
) -> Soled:
    """The kit with its feet made; as it is where nothing is asked."""
    wishes = sole_wishes(document)
    if wishes.nothing:
        return Soled(kit, None, (), ())

    def make() -> Soled:
        masses = part_masses(kit, workshop, recipe_of(document))
        whole = posed_mass(masses, {p.name: np.eye(4) for p in kit.parts})
        play = workshop.fits.get("peg", 4.0).clearance_mm
        return make_soles(kit, wishes, stock_of(workshop), whole.mass_g, whole.centre_mm, max(play, 0.05))

    with watch.step("soles") as stored:
        soled, stored.value = cache.fetch("soles", key_of("soles", *inputs, soled_by(document)), make)
    return soled


def accessories(soled: Soled) -> dict[str, Solid]:
    """The base, where there is one, by the name of its file: it is in no joint of the kit."""
    return {} if soled.base is None else {BASE: soled.base}
