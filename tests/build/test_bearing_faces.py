"""Which faces bear: a ball all over, its socket in the band alone; and columns that stand beside a bearing, not on it."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.build.faces import BEARING, HIDDEN, print_part
from condyle.build.supports import supports
from condyle.figure.kit import Axle, BuiltJoint, Part
from condyle.figure.skeleton import JointSpec, SeatedJoint
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import Frame
from condyle.geometry.primitives import box, sphere
from condyle.geometry.solid import subtract, union
from tests.build.forms import part_of, rules, standing

AWAY = Bvh(box((500, 500, 500), (501, 501, 501)).mesh)


def joint(home: tuple[float, float, float], moves: str, stays: str) -> BuiltJoint:
    """A ball of 8 mm about the origin."""
    seated = SeatedJoint(
        JointSpec("neck", "ball", stays, moves, (0.0, 0.0, 0.5)), Frame(np.zeros(3), np.eye(3)), (0.0, 0.0, 1.0)
    )
    return BuiltJoint(
        seated, True, size_mm=8.0, axles=(Axle(moves, stays, (0.0, 0.0, 0.0)),), insertion=(home,),
        bearing=(sphere(4.3),),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("home", "moves", "stays"), [((0.0, 0.0, 1.0), "stud", "cup"), ((0.0, 0.0, -1.0), "cup", "stud")]
)
def test_a_socket_bears_up_to_the_top_of_its_band_and_a_ball_all_over(home, moves, stays):
    """Mouth down, whichever of the two is pushed home: latitudes of the face itself, over the equator, tell what bears."""
    cup = Part("cup", "cup", subtract(box((-7, -7, -2), (7, 7, 8)), [sphere(4.0)]))
    stud = Part("stud", "stud", union([sphere(4.0), box((-1, -1, -9), (1, 1, 0))]))
    made = joint(home, moves, stays)
    latitude = np.radians(np.linspace(-25.0, 88.0, 60))
    points = 4.0 * np.stack([np.cos(latitude), 0.0 * latitude, np.sin(latitude)], axis=1)
    socket = print_part(cup, [made], AWAY).kinds_at(points)
    assert (socket[np.degrees(latitude) < 31.0] == BEARING).all()
    assert (socket[np.degrees(latitude) > 33.0] == HIDDEN).all()
    ball = print_part(stud, [made], AWAY).kinds_at(points)
    assert (ball == BEARING).all()


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
