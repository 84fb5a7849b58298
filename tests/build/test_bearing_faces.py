"""Which faces bear: a socket in its band alone, a ball where that band comes to over its range; a hinge on its cheeks and in its
bore; and columns that stand beside a bearing, not on it."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.build.faces import BEARING, HIDDEN, print_part
from condyle.build.supports import supports
from condyle.figure.kit import Axle, BuiltJoint, Part
from condyle.figure.skeleton import JointSpec, SeatedJoint
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import Frame
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import subtract, union
from tests.build.forms import part_of, rules, standing

AWAY = Bvh(box((500, 500, 500), (501, 501, 501)).mesh)


LIP_DEG = 10.0


def joint(home: tuple[float, float, float], moves: str, stays: str, wanted: dict | None = None) -> BuiltJoint:
    """A ball of 8 mm about the origin, whose socket's lip lies 10° under its equator."""
    seated = SeatedJoint(
        JointSpec("neck", "ball", stays, moves, (0.0, 0.0, 0.5), wanted=wanted or {}), Frame(np.zeros(3), np.eye(3)),
        (0.0, 0.0, 1.0),
    )  # fmt: skip
    return BuiltJoint(
        seated, True, size_mm=8.0, axles=(Axle(moves, stays, (0.0, 0.0, 0.0)),), insertion=(home,),
        bearing=(sphere(4.3),), undercut_mm=4.0 * (1.0 - np.cos(np.radians(LIP_DEG))),
    )  # fmt: skip


CUP = Part("cup", "cup", subtract(box((-7, -7, -2), (7, 7, 8)), [sphere(4.0)]))
STUD = Part("stud", "stud", union([sphere(4.0), box((-1, -1, -9), (1, 1, 0))]))


def on_ball(latitude_deg: np.ndarray, longitude_deg: float = 0.0) -> np.ndarray:
    """Points on the ball, latitudes counted from its equator to its pole at +z."""
    t, u = np.radians(latitude_deg), np.radians(longitude_deg)
    return 4.0 * np.stack([np.cos(t) * np.cos(u), np.cos(t) * np.sin(u), np.sin(t)], axis=1)


@pytest.mark.parametrize(
    ("home", "moves", "stays"), [((0.0, 0.0, 1.0), "stud", "cup"), ((0.0, 0.0, -1.0), "cup", "stud")]
)
def test_a_socket_bears_from_its_lip_to_the_top_of_its_band_and_a_ball_wherever_that_comes(home, moves, stays):
    """Mouth down, whichever of the two is pushed home. The band reaches to 32° over the equator; a joint that states no range
    tilts until its neck, 0.56 of the ball, meets the lip: 90° - 10° - asin 0.56 = 46° to every side, and 2° of play."""
    made = joint(home, moves, stays)
    latitude = np.linspace(-25.0, 88.0, 60)
    socket = print_part(CUP, [made], AWAY).kinds_at(on_ball(latitude))
    assert (socket[(latitude < 31.0) & (latitude > -LIP_DEG + 1.0)] == BEARING).all()
    assert (socket[(latitude > 33.0) | (latitude < -LIP_DEG - 1.0)] == HIDDEN).all()
    ball = print_part(STUD, [made], AWAY).kinds_at(on_ball(latitude))
    assert (ball[latitude < 78.0] == BEARING).all()
    assert (ball[latitude > 81.0] == HIDDEN).all()


@pytest.mark.parametrize(
    ("home", "moves", "stays"), [((0.0, 0.0, 1.0), "stud", "cup"), ((0.0, 0.0, -1.0), "cup", "stud")]
)
def test_a_ball_is_free_where_the_range_never_brings_the_band(home, moves, stays):
    """It flexes 30° one way about x and no other: the side away from that is free 2° past the band's own ends at rest."""
    made = joint(home, moves, stays, {"flex": (0.0, 30.0)})
    ball = print_part(STUD, [made], AWAY)
    latitude = np.linspace(-50.0, 88.0, 70)
    sides = {y: ball.kinds_at(on_ball(latitude, 90.0 * y)) == BEARING for y in (1.0, -1.0)}
    highest = sorted(float(latitude[bears].max()) for bears in sides.values())
    lowest = sorted(float(latitude[bears].min()) for bears in sides.values())
    assert highest == pytest.approx([32.0 + 2.0, 32.0 + 2.0 + 30.0], abs=2.5)
    assert lowest == pytest.approx([-LIP_DEG - 2.0 - 30.0, -LIP_DEG - 2.0], abs=2.5)
    # The neck is not the ball's surface, however deep it lies in the enclosing solid.
    assert ball.kinds_at(np.array([[1.0, 0.0, -4.15]])).tolist() == [HIDDEN]


@pytest.mark.parametrize("ratio", [0.56, 0.72])
def test_a_thick_neck_keeps_the_band_from_the_pole(ratio):
    """Each ball tilts until its own neck meets the lip: 90° - 10° - asin(neck/ball), and bears that far past the band's top."""
    stud = Part("stud", "stud", union([sphere(4.0), cylinder(4.0 * ratio, -9.0, 0.0)]))
    latitude = np.linspace(-25.0, 88.0, 120)
    bears = print_part(stud, [joint((0.0, 0.0, 1.0), "stud", "cup")], AWAY).kinds_at(on_ball(latitude)) == BEARING
    tilt = 90.0 - LIP_DEG - np.degrees(np.arcsin(ratio))
    assert latitude[bears].max() == pytest.approx(32.0 + tilt + 2.0, abs=2.0)


def test_a_hinge_bears_on_its_cheeks_and_in_its_bore_not_on_the_slots_floor():
    """An eye of 8 mm, 3.4 mm wide, on a pin of 1.75 mm; the slot's floor runs free 0.2 mm off the eye's rim."""
    spec = JointSpec("elbow", "hinge", "arm", "hand", (0.0, 0.0, 0.5))
    seated = SeatedJoint(spec, Frame(np.zeros(3), np.eye(3)), (0.0, 0.0, 1.0))
    turn = np.array([[0.0, 0, 1, 0], [0, 1, 0, 0], [-1, 0, 0, 0], [0, 0, 0, 1]])
    made = BuiltJoint(
        seated, True, size_mm=8.0, axles=(Axle("hand", "arm", (0.0, 0.0, 0.0)),), insertion=((0.0, 0.0, 1.0),),
        bearing=(cylinder(4.25, -2.0, 2.0, "outside").transformed(turn),), pin_mm=(1.75, 9.0),
    )  # fmt: skip
    arm = Part("arm", "arm", box((-5, -5, -6), (5, 5, 5)))
    points = np.array([[1.7, 0, 2.5], [-1.7, 1.5, -1.0], [0.5, 0.975, 0], [0.0, 0, 4.2], [1.0, 0, 4.0], [1.7, 0, 4.2]])
    told = print_part(arm, [made], AWAY).kinds_at(points)
    assert told.tolist() == [BEARING, BEARING, BEARING, HIDDEN, HIDDEN, HIDDEN]


def test_a_column_stands_beside_a_bearing_where_its_neighbour_is_within_the_spacing():
    """A shelf of 8 x 2.4 mm, half of whose underside bears: columns at most 3 mm apart need not touch that half."""
    shelf = union([box((0, 0, 0), (2, 8, 12)), box((1, 0, 10), (4.4, 8, 12))])
    bears = box((1.5, -1, 9.5), (3.2, 9, 10.5))
    used = rules(spacing_mm=3.0, ledge_mm=0.0)
    free = supports(part_of(shelf), standing(shelf), used)
    kept = supports(part_of(shelf, bearings=(bears,)), standing(shelf), used)
    assert any(c.top[0] < 3.2 for c in free.columns)
    assert kept.columns and all(c.touches != BEARING for c in kept.columns)
    # No place of the shelf is further from a column than the spacing.
    tops = np.array([c.top[:2] for c in kept.columns])
    for x in np.arange(2.2, 4.4, 0.3):
        for y in np.arange(0.2, 8.0, 0.3):
            assert np.hypot(*(tops - (x, y)).T).min() <= used.spacing_mm + 0.36
    assert kept.bearing_mm2 == pytest.approx(1.2 * 8.0, rel=0.15)
