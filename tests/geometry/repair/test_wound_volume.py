"""Whatever shells make up a body, the solid that comes out has the volume that winding numbers give the shells, to 0.5 %."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.geometry.mesh import concatenate
from condyle.geometry.repair.mend import mended
from condyle.geometry.repair.weld import welded
from tests.geometry.repair.hostile_bodies import FAMILIES
from tests.geometry.repair.mend_bodies import BLOCK_MM3, WANTED, block, knot, reversed_
from tests.geometry.repair.winding_judge import wound_volume

SHARE = 0.005
SEEDS = range(2)


def test_the_judge_knows_volumes_that_are_known() -> None:
    """A block by its sides; two that share a third by inclusion and exclusion; the knot by its own docstring."""
    assert wound_volume(block()).mm3 == pytest.approx(BLOCK_MM3, rel=1e-3)
    two = concatenate([block(), block(at=(0.0, 0.0, 20.0))])
    assert wound_volume(two).mm3 == pytest.approx(BLOCK_MM3 * 5.0 / 3.0, rel=1e-3)
    mesh, true = knot()
    assert wound_volume(mesh).mm3 == pytest.approx(true, rel=2e-3)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("seed", SEEDS)
def test_a_body_of_many_shells_has_its_wound_volume(family: str, seed: int) -> None:
    dice = np.random.default_rng([seed, *family.encode()])
    shells = FAMILIES[family](dice)
    judged = wound_volume(concatenate(shells), seed=seed)
    assert judged.se_mm3 < 0.2 * SHARE * judged.mm3, "the judge is too rough to tell"
    given = [reversed_(s) if dice.random() < 0.5 else s for s in shells]
    got = mended(welded(concatenate(given)), WANTED)
    assert got.solid.volume_mm3 == pytest.approx(judged.mm3, rel=SHARE)
    assert len(got.solid.shells()) >= 1
