"""Does the plain test figure do what people do? Turned limbs of the upright skeleton, against published ranges."""

from __future__ import annotations

import pytest

from condyle.figure.layfigure import lay_figure
from condyle.figure.parting import part
from condyle.figure.skeleton import Motion
from condyle.figure.skeleton_file import load_template
from condyle.geometry.bvh import Bvh
from condyle.joints.stock import stock_of
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import ranges
from condyle.workshop.bench import load_workshop

SHOP = load_workshop()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("joint", "motion", "low", "high"),
    [
        # Elbow flexion 143 (Boone & Azen): Norkin & White, Measurement of Joint Motion, App. A, Table A.1.
        ("elbow_left", "flex", 0.0, 143.0),
        # Supination 80, pronation 80 (AAOS): the same table.
        ("wrist_left", "twist", -80.0, 80.0),
        # Knee flexion 130: medicospace.com, rules of thumb.
        ("knee_left", "flex", 0.0, 130.0),
        # Neck rotation 60: AAOS, from memory.
        ("neck", "twist", -60.0, 60.0),
    ],
)
def test_a_lay_figures_joint_does_what_the_norm_says(joint: str, motion: Motion, low: float, high: float) -> None:
    lay = lay_figure(load_template("upright"), 150.0, SHOP.fits, stock_of(SHOP), None, (joint,))
    kit = part(lay.sculpt, lay.skeleton, list(lay.joints), SHOP, relief=True)
    bodies = make_bodies(kit)
    reach = ranges(kit, bodies, make_meetings(kit, bodies), Bvh(lay.sculpt.mesh), SHOP.kerf_mm)[joint][motion]
    rest = next(j.seated.rest.get(motion, 0.0) for j in kit.joints if j.name == joint)
    assert reach.low.deg + rest <= low
    assert reach.high.deg + rest >= high
