"""A limb that is bent loses its ball before a swivel further out breaks. What bears is read off the finished parts."""

from __future__ import annotations

from functools import cache

import pytest

from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.skeleton import Bone, Skeleton
from condyle.figure.wishes import JointWish
from condyle.joints.mechanics.release import pry_moment_nmm
from condyle.proof.last.on_layers import strengths_of
from condyle.proof.last.scan import Scanner
from condyle.workshop.bench import load_workshop
from condyle.workshop.recipe import Recipe
from tests.figure.limbs import capsule, joint, solid

LENGTH = 90.0


@cache
def arm(protect: bool) -> Kit:
    """A straight limb with a ball, a swivel of 3 mm a little further out, and a long way to its end."""
    shoulder = joint("shoulder", "ball", "trunk", "upper_arm", (0, 0, 22.0), z=(0, 0, 1))
    biceps = joint("biceps", "swivel", "upper_arm", "forearm", (0, 0, 44.0), z=(0, 0, 1))
    bones = (Bone("trunk", None), Bone("upper_arm", "trunk"), Bone("forearm", "upper_arm"))
    skeleton = Skeleton("arm", bones, (shoulder.spec, biceps.spec), LENGTH)
    wishes = {
        "shoulder": JointWish(socket="slit", protect=protect),
        "biceps": JointWish(size_mm=3.0, protect=protect),
    }
    return part(solid(capsule(8.0, LENGTH)), skeleton, [shoulder, biceps], load_workshop(), wishes)


def share(kit: Kit) -> float:
    """What reaches the stud when the ball is levered out, over what breaks its weakest section as a beam, layers across it.

    A force on the limb's far end bends each joint by its arm (statics; Hibbeler, Engineering Mechanics, from memory).
    """
    ball = next(j for j in kit.joints if j.name == "shoulder")
    strengths = strengths_of(kit, Scanner(kit, load_workshop(), Recipe(fill=1.0)).sections())
    assert ball.retention_n is not None and ball.size_mm is not None
    pry = pry_moment_nmm(ball.retention_n, ball.size_mm - 2.0 * ball.undercut_mm)
    return pry * (LENGTH - 44.0) / (LENGTH - 22.0) / strengths["biceps"].bending.bending_nmm


def test_a_ball_above_a_thin_swivel_lets_go_before_the_stud_breaks() -> None:
    as_liked, guarded = arm(False), arm(True)
    assert all(j.built for kit in (as_liked, guarded) for j in kit.joints)
    size = {kit: next(j.size_mm for j in kit.joints if j.name == "shoulder") for kit in (as_liked, guarded)}
    assert size[guarded] < size[as_liked]  # type: ignore[operator]
    assert share(as_liked) > 0.5
    assert share(guarded) <= 0.5


def test_a_size_that_was_asked_for_stays() -> None:
    assert next(j.size_mm for j in arm(True).joints if j.name == "biceps") == pytest.approx(3.0)
