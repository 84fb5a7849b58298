"""The map of a ball's reach: against the closed form of a neck in a round opening, by drawing swings from it, and its symmetries."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from smallkits import ball_kit, kit_of

from condyle.figure.kit import Kit
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_matrix_about
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, union
from condyle.proof.bodies import BEARING, make_bodies, make_meetings
from condyle.proof.move import ranges
from condyle.proof.move_map import ReachMap, reach_maps

EXACT = 90 - 15.94 - math.degrees(math.asin(1.65 / 4.05))
"""Closed form, neck in a round opening: 90° − θ − asin(r_n / R) (derived; spherical geometry); as in test_proof_move."""


def map_of(made: tuple[Kit, Solid, object]) -> ReachMap:
    kit, sculpt, _ = made
    bodies = make_bodies(kit)
    (found,) = reach_maps(kit, bodies, make_meetings(kit, bodies), Bvh(sculpt.mesh), 0.3, workers=1).values()
    return found


def walled(walls: Sequence[Solid]) -> tuple[Kit, Solid, object]:
    kit, _, _ = ball_kit()
    upper = union([kit.part("upper").solid, *walls])
    return kit_of({"upper": upper, "lower": kit.part("lower").solid}, kit.joints)


LEFT, RIGHT = box((-9, 6, -20), (9, 9, 0)), box((-9, -9, -20), (9, -6, 0))


@pytest.fixture(scope="module")
def plain() -> ReachMap:
    return map_of(ball_kit())


@pytest.fixture(scope="module")
def one_wall() -> ReachMap:
    return map_of(walled([LEFT]))


def test_a_neck_in_a_round_opening_swings_alike_in_every_direction(plain: ReachMap) -> None:
    for sector, limit in zip(plain.sectors, plain.limits_deg, strict=True):
        assert sector.reach_deg <= EXACT + 0.35
        assert sector.reach_deg >= min(limit, EXACT) - 4.0
        if limit > EXACT + 1.0:
            assert sector.against == "hardware"
    assert all(cell.twist_deg == (-180.0, 180.0) for cell in plain.twists)


def test_every_swing_drawn_from_the_map_keeps_the_gap(one_wall: ReachMap) -> None:
    # Second judge: the smallest gap at single placements, without the ball's own bearing; 0.05 mm are kept.
    kit, _, _ = walled([LEFT])
    bodies = make_bodies(kit)
    (meeting,) = make_meetings(kit, bodies)
    axes = kit.joints[0].seated.axes
    x, y, z = (np.asarray(axes[m]) for m in ("flex", "abduct", "twist"))
    rng = np.random.default_rng(3)
    neck = Bvh(bodies["lower"].pieces.subset(meeting.moved.marks & BEARING == 0))
    for sector in one_wall.sectors:
        for swing in (sector.reach_deg, *rng.uniform(0.0, sector.reach_deg, 3)):
            deg = math.radians(rng.uniform(sector.low_deg, sector.high_deg))
            turn = rotation_matrix_about(np.zeros(3), math.cos(deg) * x + math.sin(deg) * y, float(swing))
            assert smallest_gap(Surface(neck), meeting.still, turn).distance_mm >= 0.05 - 1e-9
    for cell in one_wall.twists:
        for _ in range(6):
            deg = math.radians(rng.uniform(cell.low_deg, cell.high_deg))
            swing, twist = float(rng.uniform(cell.inner_deg, cell.outer_deg)), float(rng.uniform(*cell.twist_deg))
            turn = rotation_matrix_about(np.zeros(3), math.cos(deg) * x + math.sin(deg) * y, swing)
            turn = turn @ rotation_matrix_about(np.zeros(3), z, twist)
            assert smallest_gap(Surface(neck), meeting.still, turn).distance_mm >= 0.05 - 1e-9


def test_the_map_meets_the_ranges_on_the_axes(one_wall: ReachMap) -> None:
    kit, sculpt, _ = walled([LEFT])
    bodies = make_bodies(kit)
    reach = ranges(kit, bodies, make_meetings(kit, bodies), Bvh(sculpt.mesh), 0.3, workers=1)["ball"]
    count = len(one_wall.sectors)
    for place, end in (
        (0, reach["flex"].high),
        (1, reach["abduct"].high),
        (2, reach["flex"].low),
        (3, reach["abduct"].low),
    ):
        beside = [one_wall.sectors[(place * count // 4 + k) % count].reach_deg for k in (-1, 0)]
        assert min(beside) <= abs(end.deg) + 1e-6
        assert max(beside) >= abs(end.deg) - 6.0


def test_added_material_never_lets_it_reach_further(plain: ReachMap, one_wall: ReachMap) -> None:
    both = map_of(walled([LEFT, RIGHT]))
    for a, b, c in zip(plain.sectors, one_wall.sectors, both.sectors, strict=True):
        # Cells are laid by what was found before, so that an edge may move by a step of the search.
        assert b.reach_deg <= a.reach_deg + 0.51
        assert c.reach_deg <= b.reach_deg + 0.51
    assert both.solid_angle_share < one_wall.solid_angle_share < plain.solid_angle_share


def test_a_mirrored_wall_gives_the_mirrored_map(one_wall: ReachMap) -> None:
    other = map_of(walled([RIGHT]))
    reach = [s.reach_deg for s in one_wall.sectors]
    # The mirror changes the sign of the turn about x (flex, at 0°), which is the one that meets the walls.
    count = len(reach)
    mirrored = [reach[(count // 2 - 1 - k) % count] for k in range(count)]
    assert [s.reach_deg for s in other.sectors] == pytest.approx(mirrored, abs=2.0)
