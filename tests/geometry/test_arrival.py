"""Bundles of motions: what is called free is free in every motion drawn from the bundle, and where it ends something is near."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.geometry.arrival import Known, first_within
from condyle.geometry.bvh import Bvh
from condyle.geometry.follow import TURN, Path, Slack
from condyle.geometry.frame import rotation_matrix_about, unit
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.primitives import box, sphere
from condyle.geometry.rings import arms_about, rings_about, spans_about
from condyle.geometry.solid import Solid, subtract, union

ORIGIN = np.zeros(3)
GAP, STEP = 0.2, math.radians(0.02)


def surface(solid: Solid) -> Surface:
    return Surface(Bvh(solid.mesh))


def turn(axis: np.ndarray, start: np.ndarray | None = None) -> Path:
    return Path(TURN, np.eye(4) if start is None else start, ORIGIN, axis, ORIGIN, 1.0)


BAR, POST = box((-1, -1, 2), (1, 1, 9)), box((4, -3, 1), (6, 3, 7))


def test_every_motion_drawn_from_a_bundle_about_a_point_keeps_the_gap() -> None:
    # Second judge: the smallest gap at single placements (gap.py), each turned aside by as much as the slack allows.
    rng = np.random.default_rng(5)
    moved, still = surface(BAR), surface(POST)
    spans = (spans_about(moved, ORIGIN), spans_about(still, ORIGIN))
    levers = spans[0].triangles[:, 1].copy(), spans[0].nodes[:, 1].copy()
    ended = 0
    for _ in range(40):
        axis, limit = unit(rng.normal(size=3)), rng.uniform(0.3, 2.8)
        fixed, rate = rng.uniform(0.0, 0.08), rng.uniform(0.0, 0.05)
        far, place, _, _ = first_within(
            moved, still, turn(axis), limit, clearance_mm=GAP, smallest_step=STEP, known=Known(spans),
            slack=Slack(*levers, fixed, rate),
        )  # fmt: skip
        ended += place >= 0
        for at in (*rng.uniform(0.0, far, 8), far):
            wide = fixed + 4.0 * math.asin(rate * math.sin(0.5 * at))
            aside = rotation_matrix_about(ORIGIN, unit(rng.normal(size=3)), math.degrees(wide))
            there = aside @ rotation_matrix_about(ORIGIN, axis, math.degrees(at))
            assert smallest_gap(moved, still, there).distance_mm >= GAP - 1e-9
    assert 5 < ended < 35


def test_a_bundle_ends_where_its_slack_meets_the_gap() -> None:
    # A bar turned about z towards a far wall: its end face at radius 9 keeps GAP and 9·fixed from the plane x = 8.
    moved, still = surface(box((-0.01, 2, -0.01), (0.01, 9, 0.01))), surface(box((8, -20, -5), (9, 20, 5)))
    levers = arms_about(moved, ORIGIN, np.array([0.0, 0.0, 1.0]))
    fixed = 0.02
    # The corner of the end face lies atan(0.01 / 9) ahead.
    reach = math.hypot(9.0, 0.01)
    exact = math.asin((8.0 - GAP - reach * fixed) / reach) - math.atan(0.01 / 9.0)
    far, place, _, points = first_within(
        moved, still, turn(np.array([0.0, 0.0, -1.0])), 3.0, clearance_mm=GAP, smallest_step=STEP,
        slack=Slack(*levers, fixed, 0.0),
    )  # fmt: skip
    assert place >= 0
    assert far == pytest.approx(exact, abs=3 * STEP)
    assert points[3] == pytest.approx(8.0)


@pytest.mark.parametrize("sense", [1.0, -1.0])
@pytest.mark.parametrize("axis", [(0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.6, 0.1, 0.8)])
def test_what_is_known_beforehand_changes_no_answer(axis: tuple[float, float, float], sense: float) -> None:
    ball = union([sphere(5.0), box((-1, -1, -14), (1, 1, 0))])
    cup = union([subtract(box((-8, -8, -2), (8, 8, 8)), [sphere(5.3, "outside")]), box((7, -3, -14), (9, 3, 0))])
    moved, still, line = surface(ball), surface(cup), unit(np.array(axis))
    spans = (spans_about(moved, ORIGIN), spans_about(still, ORIGIN))
    rings = (rings_about(moved, ORIGIN, line), rings_about(still, ORIGIN, line))
    for offset in (0.0, 7.0, -4.0):
        path = turn(sense * line, rotation_matrix_about(ORIGIN, line, offset))
        plain = first_within(moved, still, path, math.pi, clearance_mm=0.15, smallest_step=STEP)
        known = first_within(
            moved, still, path, math.pi, clearance_mm=0.15, smallest_step=STEP, known=Known(spans, rings)
        )
        assert known[0] == pytest.approx(plain[0], abs=1e-9)
        # The gap a little before the end, and one step beyond it, by the second judge.
        if plain[1] >= 0 and plain[0] > 0.0:
            before, after = (
                rotation_matrix_about(ORIGIN, line, offset + sense * math.degrees(at))
                for at in (plain[0], plain[0] + 2 * STEP)
            )
            assert smallest_gap(moved, still, before).distance_mm >= 0.15 - 1e-9
            assert smallest_gap(moved, still, after).distance_mm < 0.15 + 0.02


def test_concentric_faces_never_meet_though_they_lie_a_kerf_apart() -> None:
    # A ball in a hollow one kerf of 0.3 mm wider, in a bundle so wide that only the distances from the centre can tell.
    ball, hollow = surface(sphere(4.0)), surface(subtract(box((-9, -9, -9), (9, 9, 0)), [sphere(4.3, "outside")]))
    spans = (spans_about(ball, ORIGIN), spans_about(hollow, ORIGIN))
    slack = Slack(spans[0].triangles[:, 1].copy(), spans[0].nodes[:, 1].copy(), 1.0, 0.0)
    path = turn(np.array([0.0, 0.0, 1.0]))
    for gap, free in ((0.15, True), (0.31, False)):
        far, *_ = first_within(
            ball, hollow, path, 3.0, clearance_mm=gap, smallest_step=STEP, known=Known(spans), slack=slack
        )
        assert (far == 3.0) is free
