"""Joints under paint: plain sums of films and gaps."""

from __future__ import annotations

import pytest
from smallkits import ball_kit

from condyle.finish.coats import STARTER, Film, film
from condyle.proof.coat import OPEN_MM, coated
from condyle.proof.kit import JointProof


def test_two_films_are_taken_from_the_measured_gap():
    kit, _, _ = ball_kit()
    (joint,), findings = coated(kit, {"ball": JointProof(skin_gap_mm=0.36)}, Film(0.10, 0.02))
    assert joint.left_mm == pytest.approx(0.36 - 0.20)
    assert joint.least_mm == pytest.approx(0.36 - 2 * (0.10 + 1.645 * 0.02))
    assert [f.verdict for f in findings] == ["pass"]


@pytest.mark.parametrize(("gap", "verdict"), [(0.40, "pass"), (0.30, "caution"), (0.22, "fail")])
def test_the_verdict_follows_what_is_left(gap, verdict):
    kit, _, _ = ball_kit()
    _, (finding,) = coated(kit, {"ball": JointProof(skin_gap_mm=gap)}, Film(0.10, 0.03))
    assert finding.verdict == verdict
    assert finding.target == OPEN_MM


def test_the_usual_kerf_survives_the_usual_paint():
    # 0.35 mm between the skins, prior for a whole hobby system 0.08 to 0.15 mm a face: common practice, no source
    kit, _, _ = ball_kit()
    _, (finding,) = coated(kit, {"ball": JointProof(skin_gap_mm=0.35)}, film(STARTER))
    assert finding.verdict in ("pass", "caution")
    assert 0.35 - 2 * film(STARTER).mm > OPEN_MM


def test_a_painted_bearing_is_told():
    kit, _, _ = ball_kit(clearance=0.05)
    (joint,), findings = coated(kit, {}, Film(0.02, 0.0), {"ball": 2})
    # 20 µm on both faces of a bearing take 0.04 mm from the radial clearance
    assert joint.clearance_mm == pytest.approx(0.05 - 0.04)
    assert "fail" in [f.verdict for f in findings if f.check == "coat.bearing"]
