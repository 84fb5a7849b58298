"""The proof of a detented hinge, on a rod with one."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from condyle.figure.kit import BuiltJoint, Kit
from condyle.proof.bodies import PartBody, make_bodies
from condyle.proof.detent import clicks, detents
from condyle.proof.pose_solve import _at_rest
from tests.figure.limbs import capsule, joint, parted, solid

STEP = 30.0


@cache
def kit(step: float = STEP) -> Kit:
    seated = joint("knee", "hinge", "thigh", "shin", (0, 0, 35))
    spec = replace(seated.spec, detent_deg=step, size=8.0)
    return parted(solid(capsule(9.0, 70.0)), [replace(seated, spec=spec)]).kit


def knee(made: Kit) -> BuiltJoint:
    return made.joints[0]


def bodies(made: Kit) -> dict[str, PartBody]:
    return make_bodies(made)


def test_it_rests_where_it_was_asked_to() -> None:
    made = kit()
    found = clicks(knee(made), 0, bodies(made), (-5.0, 65.0))
    assert found is not None
    assert found.rests == pytest.approx([0.0, 30.0, 60.0], abs=1.0)
    assert found.climb_mm == pytest.approx(knee(made).detents[0].height_mm, abs=0.03)
    # At a rest the ears give what the fit squeezes, and no more.
    at = float(np.interp(30.0, found.angles, found.give))
    assert at == pytest.approx(-(knee(made).clearance_mm or 0.0), abs=0.01)


def test_findings_pass_and_balance_holds() -> None:
    made = kit()
    found = {f.check: f for f in detents(made, bodies(made), {"knee": {"flex": (-2.0, 65.0)}})}
    assert {f.verdict for f in found.values()} == {"pass"}
    assert found["move.detent_rests"].measured == pytest.approx(STEP, abs=1.0)
    assert abs(made.balance.residual_mm3) < 1.0
    assert any(f.check == "joint.detent" and f.verdict == "pass" for f in knee(made).findings)


def test_an_ear_that_may_give_less_fails() -> None:
    made = kit()
    stiff = replace(knee(made), detents=(replace(knee(made).detents[0], give_mm=0.15),))
    found = detents(replace(made, joints=(stiff,)), bodies(made), {"knee": {"flex": (-2.0, 65.0)}})
    assert next(f for f in found if f.check == "move.detent_give").verdict == "fail"


def test_steps_too_narrow_for_their_bumps_are_told() -> None:
    made = kit(10.0)
    told = next(f for f in knee(made).findings if f.check == "joint.detent")
    assert told.verdict == "caution" and told.advice and not knee(made).detents


@pytest.mark.parametrize(("angle", "rest"), [(44.0, 40.0), (46.0, 40.0), (120.0, 100.0), (-30.0, 10.0), (10.0, 10.0)])
def test_a_pose_takes_the_nearest_rest_inside_the_limits(angle: float, rest: float) -> None:
    """Rests every 30° from a sculpt that stands at 10°, limits 0 to 125°."""
    assert _at_rest(angle, 10.0, 30.0, 0.0, 125.0) == rest
