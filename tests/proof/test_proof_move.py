"""Ranges against closed forms and a second judge; nothing here was built by the joint families."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from smallkits import ball_kit, double_hinge_kit, hinge_kit, kit_of, seated, swivel_kit

from condyle.figure.kit import Axle, BuiltJoint, Kit
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import rotation_matrix_about
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import Solid, union
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import Reach, findings_of, ranges, wanted_from_pose
from condyle.proof.move_case import beyond
from tests import collision


def reach_of(made: tuple[Kit, Solid, object], *, workers: int = 1) -> dict[str, Reach]:
    kit, sculpt, _ = made
    bodies = make_bodies(kit)
    found = ranges(kit, bodies, make_meetings(kit, bodies), Bvh(sculpt.mesh), 0.3, workers=workers)
    return {motion: reach for by_motion in found.values() for motion, reach in by_motion.items()}


@pytest.fixture(scope="module")
def ball() -> dict[str, Reach]:
    return reach_of(ball_kit())


def test_a_neck_in_a_round_opening_tilts_as_the_closed_form_says(ball: dict[str, Reach]) -> None:
    # Tilt of a ball joint with a lip without thickness: 90° − θ − asin(r_n / R); R = 4, θ = 15.94°, r_n = 1.6 gives
    # 50.48° (derived; spherical geometry). Here R is the hollow's, 0.05 mm more, and the neck keeps 0.05 mm (half the
    # kerf of 0.1 mm) from the lip: asin((r_n + 0.05) / 4.05).
    assert 90 - 15.94 - math.degrees(math.asin(1.6 / 4)) == pytest.approx(50.48, abs=0.01)
    exact = 90 - 15.94 - math.degrees(math.asin(1.65 / 4.05))
    reach = ball["abduct"]
    # The hollow is circumscribed by 0.01 mm, the neck inscribed by as much: 0.02 mm at the lip is 0.3°.
    assert exact - 0.05 <= reach.high.deg <= exact + 0.35
    assert reach.low.deg == pytest.approx(-reach.high.deg, abs=0.3)
    assert reach.high.staying == "upper"
    assert reach.high.against == "hardware"
    assert reach.high.place is not None
    assert np.linalg.norm(reach.high.place) == pytest.approx(4.05, abs=0.1)


def test_a_ball_turns_in_its_hollow_without_end(ball: dict[str, Reach]) -> None:
    assert ball["twist"].reached == (-180.0, 180.0)
    assert ball["flex"].reached == (-50.0, 50.0)
    assert ball["flex"].share == 1.0


def test_an_overlapping_bearing_does_not_stop_the_ball() -> None:
    # A fit of −0.05 mm touches by design; the neck still meets the lip, of a hollow 3.95 mm in radius.
    reach = reach_of(ball_kit(clearance=-0.05))["abduct"]
    exact = 90 - 15.94 - math.degrees(math.asin(1.65 / 3.95))
    assert exact - 0.3 <= reach.high.deg <= exact + 0.6


def test_the_library_finds_no_contact_inside_the_range_and_finds_it_beyond() -> None:
    # Second judge: the collision library on neck and block, the ball itself left out.
    made = ball_kit()
    reach = reach_of(made)["abduct"]
    axis = np.asarray(made[0].joints[0].seated.axes["abduct"])
    neck = collision.Body(cylinder(1.6, -30.0, -3.5).mesh)
    block = collision.Body(made[0].part("upper").mesh)
    for share in np.linspace(-1.0, 1.0, 21):
        turn = rotation_matrix_about(np.zeros(3), axis, float(share) * reach.high.deg)
        assert not collision.touching(neck, block, turn)
    assert collision.touching(neck, block, rotation_matrix_about(np.zeros(3), axis, reach.high.deg + 2.0))


def test_a_thicker_neck_never_reaches_further() -> None:
    reaches = [reach_of(ball_kit(neck=n))["abduct"].high.deg for n in (1.2, 1.6, 2.0)]
    assert reaches == sorted(reaches, reverse=True)
    assert reaches[0] > reaches[2] + 5.0


def test_an_arm_on_a_flat_stop() -> None:
    # The arm's front face, 1 mm ahead of its middle plane, meets the block's lower edge at (6, −15). The edge's distance
    # from the plane is r·sin(φ − t), r = √(6² + 15²), φ = atan(6 / 15); 0.05 mm are kept, half of the 0.1 mm beside the eye.
    exact = math.degrees(math.atan2(6, 15) - math.asin(1.05 / math.hypot(6, 15)))
    reach = reach_of(hinge_kit())["flex"]
    assert exact - 0.05 <= reach.high.deg <= exact + 0.005
    assert reach.low.deg == -10.0
    assert reach.high.place is not None
    assert reach.high.place[1:] == pytest.approx((6.0, -15.0), abs=0.1)
    (finding,) = findings_of({"hinge": {"flex": reach}})
    assert finding.check == "move.flex"
    assert finding.verdict == "caution"
    assert finding.target == pytest.approx(60.0)
    assert finding.measured == pytest.approx(reach.high.deg)
    assert "upper" in finding.advice


def test_a_swivel_turns_without_end_and_is_searched_to_a_half_turn() -> None:
    made = swivel_kit()
    reach = reach_of(made)["twist"]
    assert reach.reached == (-100.0, 100.0)
    assert reach.low.staying is None


def test_a_double_hinge_shares_its_turn() -> None:
    # Forward kinematics by hand: each axle turns by half; at a quarter turn in all, the lower bar's end has gone through
    # 45° about the near axle and 45° more about the far one.
    reach = reach_of(double_hinge_kit())["flex"]
    assert reach.reached == (-10.0, 160.0)
    # With a bar in the way of the child alone, brute force on the library's distance brackets the stop.
    kit, _, _ = double_hinge_kit()
    stop = box((-3, 12, 5), (3, 14, 20))
    upper = union([kit.part("upper").solid, stop, box((-1, 0, 18), (1, 13, 20))])
    parts = {"upper": upper, "link": kit.part("link").solid, "lower": kit.part("lower").solid}
    made = kit_of(parts, kit.joints)
    found = reach_of(made)["flex"]
    lower, fixed = collision.Body(parts["lower"].mesh), collision.Body(upper.mesh)
    x = np.array([1.0, 0.0, 0.0])
    near, far = np.array([0.0, 0.0, 3.0]), np.array([0.0, 0.0, -3.0])
    first = next(
        t
        for t in np.arange(0.0, 160.0, 0.1)
        if collision.distance(
            lower, fixed, rotation_matrix_about(near, x, t / 2) @ rotation_matrix_about(far, x, t / 2)
        )[0]
        < 0.15
    )
    assert first - 0.3 <= found.high.deg <= first
    assert found.high.moving == "lower"
    assert found.high.staying == "upper"


def test_everything_that_hangs_on_a_part_moves_with_it() -> None:
    # A hand far out on the child stops the motion against a wall that the child itself never reaches.
    wall = box((-40, 8, -60), (40, 12, -25))
    kit, _, _ = hinge_kit()
    parts = {
        "upper": kit.part("upper").solid,
        "lower": kit.part("lower").solid,
        "hand": box((-1, -1, -40), (1, 1, -20.5)),
        "wall": wall,
    }
    grip = BuiltJoint(
        seated("grip", "peg", {}, parent="lower", child="hand"),
        built=True,
        axles=(Axle("hand", "lower", (0.0, 0.0, -20.0)),),
        kerf_mm=0.5,
    )
    made = kit_of(parts, [kit.joints[0], grip])
    assert beyond(made[0], "lower") == {"lower", "hand"}
    assert beyond(made[0], "hand") == {"hand"}
    reach = reach_of(made)["flex"]
    # The hand's lower edge (1, −40): y = cos(t) + 40·sin(t) reaches 8 − 0.1.
    exact = math.degrees(math.asin(7.9 / math.hypot(1, 40)) - math.atan2(1, 40))
    assert reach.high.deg == pytest.approx(exact, abs=0.05)
    assert (reach.high.moving, reach.high.staying) == ("hand", "wall")


def test_two_threads_give_what_one_gives(ball: dict[str, Reach]) -> None:
    assert reach_of(ball_kit(), workers=2) == ball


def test_ranges_count_from_the_pose_and_not_from_the_human_zero() -> None:
    joint = seated("elbow", "hinge", {"flex": (0.0, 150.0)}, rest={"flex": 20.0})
    assert wanted_from_pose(joint) == {"flex": (-20.0, 130.0)}


def test_what_touches_at_rest_does_not_move_and_says_where() -> None:
    kit, _, _ = ball_kit()
    plug = cylinder(0.5, -3.0, -1.0).translated((6.0, 0.0, 0.0))
    stud = union([kit.part("lower").solid, plug, box((1.0, -0.4, -3.0), (6.0, 0.4, -2.5))])
    reach = reach_of(kit_of({"upper": kit.part("upper").solid, "lower": stud}, kit.joints))["flex"]
    assert reach.reached == (0.0, 0.0)
    assert reach.high.place is not None
    assert reach.high.place[0] > 5.0


def test_added_material_never_lets_a_joint_reach_further() -> None:
    rng = np.random.default_rng(11)
    kit, _, _ = hinge_kit()
    before = reach_of((kit, box((-200, -200, -200), (200, 200, 200)), None))["flex"]
    for _ in range(6):
        corner = rng.uniform((-4, 3, -26), (4, 14, -6))
        block = box(tuple(corner), tuple(corner + rng.uniform(1, 4, 3)))
        upper = union([kit.part("upper").solid, block])
        made = kit_of({"upper": upper, "lower": kit.part("lower").solid}, kit.joints)
        after = reach_of(made)["flex"]
        assert after.high.deg <= before.high.deg + 0.05
        assert after.low.deg >= before.low.deg - 0.05


def test_a_mirrored_kit_has_mirrored_ranges() -> None:
    # The right side mirrors the left: its flexion has the same sign, and the same range (design of the joint frame).
    kit, sculpt, _ = hinge_kit()
    joint = kit.joints[0]
    flip = np.diag([-1.0, 1.0, 1.0, 1.0])
    parts = {p.name: p.solid.transformed(flip) for p in kit.parts}
    bearing = tuple(b.transformed(flip) for b in joint.bearing)
    mirrored = kit_of(parts, [replace(joint, bearing=bearing)])
    one, other = (reach_of(m)["flex"] for m in ((kit, sculpt, None), mirrored))
    assert other.high.deg == pytest.approx(one.high.deg, abs=0.05)
    assert other.low.deg == pytest.approx(one.low.deg, abs=0.05)
    assert other.high.place is not None
    assert one.high.place is not None
    assert other.high.place[1:] == pytest.approx(one.high.place[1:], abs=0.1)


@pytest.mark.parametrize("bar", [1.0, 2.0])
def test_two_cylinders_meet_where_their_axes_come_within_both_radii(bar: float) -> None:
    # Closed form: an arm of radius a turns about x through the origin; a bar of radius b lies along x at distance d. Their
    # axes are d·sin(φ) apart, φ the angle between arm and bar's place: they keep c where d·sin(φ) = a + b + c.
    arm, away, keep = 1.5, 15.0, 0.1
    along = np.array([[0, 0, 1, 0], [1, 0, 0, away], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=float)
    rod = cylinder(bar, -20.0, 20.0).transformed(along)
    parts = {"lower": cylinder(arm, -40.0, -4.0), "rod": rod}
    swing = BuiltJoint(
        seated("hinge", "hinge", {"flex": (0.0, 90.0)}, parent="rod", child="lower"),
        built=True,
        kerf_mm=2 * keep,
        axles=(Axle("lower", "rod", (0.0, 0.0, 0.0)),),
    )
    reach = reach_of(kit_of(parts, [swing]))["flex"]
    exact = 90.0 - math.degrees(math.asin((arm + bar + keep) / away))
    # Chords of 0.01 mm on either cylinder are worth 0.1°.
    assert exact - 0.1 <= reach.high.deg <= exact + 0.15
