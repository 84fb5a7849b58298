"""A ball with a swivel after it: what is called free is free at every place drawn from a slab, and a foot that is turned
away from a wall lets the ball go on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from smallkits import ball_kit, kit_of, seated

from condyle.figure.kit import Axle, BuiltJoint
from condyle.figure.skeleton import Motion, Range
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import frame_from_zx, rotation_matrix_about
from condyle.geometry.primitives import box
from condyle.geometry.solid import union
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move_coupled import Coupled, coupled_ranges
from tests import collision

WALL = box((-20, 9, -60), (20, 12, 3))
SHIN = union([box((-1.5, -1.5, -50), (1.5, 1.5, -30.3)), box((0, -1.5, -50), (8, 1.5, -46))])
"""A foot along x at the end of the limb, 8 mm long."""


def made() -> tuple:  # type: ignore[type-arg]
    kit, _, _ = ball_kit()
    ball = kit.joints[0]
    seat = seated("turn", "swivel", {"twist": (-90.0, 90.0)}, parent="lower", child="shin")
    at = frame_from_zx(np.array([0.0, 0.0, -30.0]), np.array([0.0, 0.0, -1.0]), np.array([1.0, 0.0, 0.0]))
    swivel = BuiltJoint(
        replace(seat, frame=at), built=True, size_mm=3.0, kerf_mm=0.3, axles=(Axle("shin", "lower", (0.0, 0.0, -30.0)),)
    )
    upper = union([kit.part("upper").solid, WALL, box((-9, 8, 2), (9, 10, 3))])
    return kit_of({"upper": upper, "lower": kit.part("lower").solid, "shin": SHIN}, [ball, swivel])


@pytest.fixture(scope="module")
def found() -> Coupled:
    kit, sculpt, _ = made()
    bodies = make_bodies(kit)
    alone: dict[str, dict[Motion, Range]] = {
        "ball": {"flex": (-45.0, 45.0), "abduct": (-45.0, 45.0)},
        "turn": {"twist": (-90.0, 90.0)},
    }
    (coupled,) = coupled_ranges(kit, bodies, make_meetings(kit, bodies), Bvh(sculpt.mesh), 0.3, alone, workers=1)
    return coupled


def test_the_slabs_cover_the_swivels_range(found: Coupled) -> None:
    assert (found.joint, found.swivel) == ("ball", "turn")
    assert [r.twist_deg for r in found.rows] == [(v, v + 15.0) for v in np.arange(-90.0, 90.0, 15.0)]


def test_a_foot_turned_away_lets_the_ball_go_further(found: Coupled) -> None:
    # Twist and flexion by the axes' own right hands: the foot at +x comes to the wall for one sense of the twist.
    towards = [r.reached["flex"] for r in found.rows]
    spans = [high - low for low, high in towards]
    assert max(spans) > min(spans) + 4.0
    assert {s for r in found.rows for s in r.stopped["flex"] if s} == {("shin", "upper")}


def test_no_place_of_a_slab_touches_by_the_librarys_judgement(found: Coupled) -> None:
    kit, _, _ = made()
    ball, turn = (j.seated for j in kit.joints)
    x, z = np.asarray(ball.axes["flex"]), np.asarray(turn.axes["twist"])
    shin, upper = collision.Body(kit.part("shin").mesh), collision.Body(kit.part("upper").mesh)
    rng = np.random.default_rng(1)
    end = []
    for row in found.rows:
        low, high = row.reached["flex"]
        for flex in (low, high, *rng.uniform(low, high, 4)):
            twist = float(rng.uniform(*row.twist_deg))
            m = rotation_matrix_about(np.zeros(3), x, float(flex))
            m = m @ rotation_matrix_about(np.array([0.0, 0.0, -30.0]), z, twist)
            assert collision.distance(shin, upper, m)[0] >= 0.15 - 1e-6
        for flex, blocked in ((low, row.stopped["flex"][0]), (high, row.stopped["flex"][1])):
            if blocked is None:
                continue
            over = flex + (3.0 if flex > 0 else -3.0)
            near = min(
                collision.distance(
                    shin,
                    upper,
                    rotation_matrix_about(np.zeros(3), x, over)
                    @ rotation_matrix_about(np.array([0.0, 0.0, -30.0]), z, t),
                )[0]
                for t in np.linspace(*row.twist_deg, 31)
            )
            end.append(near)
    # Tight: three degrees on, some turn of the slab is in contact.
    assert end
    assert max(end) < 0.15
