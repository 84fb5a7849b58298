"""Arrangements: what a compound human joint's range becomes for the joints that stand for it; and slips in their tables."""

from __future__ import annotations

from pathlib import Path

import pytest

from condyle.errors import FigureFileError, UsageError
from condyle.figure.arrangement import shared
from condyle.figure.layfigure import lay_figure
from condyle.figure.norms import normed
from condyle.figure.parting import part
from condyle.figure.skeleton import Motion, Skeleton
from condyle.figure.skeleton_changes import reduced
from condyle.figure.skeleton_file import load_template, parse_skeleton
from condyle.geometry.bvh import Bvh
from condyle.joints.stock import stock_of
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import ranges
from condyle.workshop.bench import load_workshop

EXAMPLE = Path(__file__).parents[2] / "examples" / "04-arrangements" / "whole_body.toml"
WHOLE_BODY = EXAMPLE.read_text(encoding="utf-8")
SHOP = load_workshop()


def wanted(skeleton: Skeleton, joint: str) -> dict[str, tuple[float, float]]:
    return {m: (round(a, 1), round(b, 1)) for m, (a, b) in skeleton.joint(joint).wanted.items()}


@pytest.fixture(scope="module")
def body() -> Skeleton:
    return shared(parse_skeleton(WHOLE_BODY, "whole.toml"))


def test_a_single_ball_is_never_asked_for_the_shoulder_blades_part() -> None:
    """Two thirds of raising the arm is the socket's (Inman, Saunders and Abbott 1944, from memory: 120 of 180 degrees; bone
    pins: 2.3 to 1, that is 0.70, Braman et al. 2009)."""
    for side in ("left", "right"):
        ball = wanted(shared(load_template("upright")), f"shoulder_{side}")
        assert ball == {"flex": (-40.0, 120.1), "abduct": (0.0, 120.1)}
        assert 0.66 <= ball["abduct"][1] / 180.0 <= 0.70


def test_a_single_waist_is_asked_for_half_of_the_spine_and_two_share_all_of_it(body: Skeleton) -> None:
    """Whole spine: lateral 35 (ISRN 2012, 751768, Table 8), flexion 80, extension 30, rotation 45 (AAOS, from memory)."""
    assert wanted(shared(load_template("upright")), "waist") == {
        "flex": (-15.0, 40.0), "abduct": (-17.5, 17.5), "twist": (-22.5, 22.5),
    }  # fmt: skip
    both = [wanted(body, j) for j in ("waist", "chest")]
    for motion, whole in (("flex", (-30.0, 80.0)), ("abduct", (-35.0, 35.0)), ("twist", (-45.0, 45.0))):
        assert tuple(sum(w[motion][k] for w in both) for k in (0, 1)) == pytest.approx(whole, abs=0.2)


def test_two_neck_balls_share_the_bend_and_one_has_the_turn(body: Skeleton) -> None:
    assert wanted(body, "neck_base") == {"flex": (-22.5, 22.5), "abduct": (-22.5, 22.5)}
    assert wanted(body, "neck") == {"flex": (-22.5, 22.5), "abduct": (-22.5, 22.5), "twist": (-60.0, 60.0)}


def test_a_shoulder_blade_takes_its_third_on_both_sides(body: Skeleton) -> None:
    for side in ("left", "right"):
        parts = [wanted(body, f"{j}_{side}") for j in ("blade", "shoulder")]
        assert parts[0]["flex"][1] + parts[1]["flex"][1] == pytest.approx(180.0, abs=0.2)
        assert wanted(body, f"biceps_{side}") == {"twist": (-90.0, 70.0)}  # the swivel has all of the twist
        assert wanted(body, f"toes_{side}") == {"flex": (-30.0, 70.0)}


def test_the_ankles_roll_follows_the_hips_abduction() -> None:
    """Inversion 35 and eversion 25 alone (medicospace.com) leave a leg that is spread by 45 (ISRN) on the edge of its sole."""
    upright = load_template("upright")
    assert upright.joint("ankle_left").wanted["abduct"] == (-35.0, 25.0)
    for side in ("left", "right"):
        asked = shared(upright).joint(f"ankle_{side}").wanted["abduct"]
        hip = shared(upright).joint(f"hip_{side}").wanted["abduct"]
        assert asked == (-45.0, 30.0) and asked[0] <= -hip[1] and asked[1] >= -hip[0]


def test_a_norm_and_its_factor_are_shared_too() -> None:
    """Walker, 65 to 85 years: shoulder flexion 165 (Norkin & White, Table A.1); at 0.5 of it, two thirds."""
    asked = wanted(shared(normed(load_template("upright"), "walker", 0.5)), "shoulder_left")
    assert asked["flex"] == pytest.approx((-44.0 * 0.5 * 0.667, 165.0 * 0.5 * 0.667), abs=0.1)


def test_sharing_twice_changes_nothing_and_a_limb_by_itself_keeps_its_shares(body: Skeleton) -> None:
    upright = shared(load_template("upright"))
    assert shared(upright) == upright and shared(body) == body
    leg = shared(reduced(load_template("upright"), {"knee_left", "ankle_left"}))
    assert leg.joint("ankle_left").wanted["abduct"] == (-35.0, 25.0)  # the hip that it follows is not there
    arm = shared(reduced(load_template("upright"), {"shoulder_left"}))
    assert wanted(arm, "shoulder_left") == {"flex": (-40.0, 120.1), "abduct": (0.0, 120.1)}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("joints", "motion", "least"),
    [
        (("neck_base", "neck"), "flex", 0.8),
        (("waist", "chest"), "flex", 0.75),
        (("waist", "chest"), "abduct", 0.9),
        (("ankle_left", "toes_left"), "flex", 0.9),
    ],
)
def test_arrangements_are_built_and_do_together_what_the_body_does(
    body: Skeleton, joints: tuple[str, str], motion: Motion, least: float
) -> None:
    """On a turned lay figure of 150 mm: the ranges reached, measured on the solids, add up to most of the whole. Of the foot the
    toes alone are asked: extension 70 (ISRN 2012, 751768, Table 8)."""
    lay = lay_figure(body, 150.0, SHOP.fits, stock_of(SHOP), None, joints)
    kit = part(lay.sculpt, lay.skeleton, list(lay.joints), SHOP, relief=True)
    studs = sum(
        j.seated.spec.kind == "peg" for j in kit.joints
    )  # Studs of their own come where a neck would break first.
    assert all(j.built for j in kit.joints) and len(kit.parts) == 3 + studs
    bodies = make_bodies(kit)
    reached = ranges(kit, bodies, make_meetings(kit, bodies), Bvh(lay.sculpt.mesh), SHOP.kerf_mm, workers=1)
    asked = joints if joints[0] != "ankle_left" else joints[1:]
    whole = sum(high - low for low, high in (body.joint(j).wanted[motion] for j in asked))
    done = 0.0
    for name in asked:
        low, high = body.joint(name).wanted[motion]
        reach = reached[name][motion]
        done += min(high, reach.high.deg) - max(low, reach.low.deg)
    assert done >= least * whole


SLIPS = [
    ('joints = ["neck_base", "neck"]', 'joints = ["neck_base", "nose"]', "there is no joint nose"),
    ('joints = ["neck_base", "neck"]', 'joints = ["neck", "neck_base"]', "does not hang on"),
    ("twist = [0.0, 1.0]", "twist = [0.5, 0.6]", "add up to 1.1"),
    ("twist = [0.0, 1.0]", "twist = [1.0]", "numbers for 2 joints"),
    ("[0.333, 0.667, 0.0], abduct", "[0.333, 0.6, 0.05], abduct", "has no flex"),
    ('joints = ["waist", "chest"]', 'joints = ["waist", "chest", "neck_base"]', "has its flex in"),
]


@pytest.mark.parametrize(("old", "new", "told"), SLIPS)
def test_slips_name_their_line_and_a_remedy(old: str, new: str, told: str) -> None:
    text = WHOLE_BODY.replace(old, new)
    assert text != WHOLE_BODY
    with pytest.raises(FigureFileError, match=told) as caught:
        parse_skeleton(text, "whole.toml")
    assert caught.value.code == "skeleton.arrangement" and caught.value.place.line and caught.value.hint


def test_following_what_is_not_there_is_told() -> None:
    text = WHOLE_BODY.replace("wanted = { flex = [-30.0, 70.0] }", 'follows = { flex = "tail" }')
    with pytest.raises(FigureFileError, match="no other joint tail") as caught:
        parse_skeleton(text, "whole.toml")
    assert (
        caught.value.code == "skeleton.follows"
        and caught.value.place.line == text[: text.index("follows =")].count("\n") + 1
    )


def test_two_neck_balls_too_near_each_other_are_told_with_the_least_distance() -> None:
    text = WHOLE_BODY.replace("centre = [0.0, 0.0, 0.915]", "centre = [0.0, 0.0, 0.85]")
    near = shared(parse_skeleton(text, "whole.toml"))
    with pytest.raises(UsageError, match=r"neck_base and neck are 2\.2 mm apart") as caught:
        lay_figure(near, 150.0, SHOP.fits, stock_of(SHOP), None, ("neck_base", "neck"))
    assert caught.value.code == "skeleton.short" and "thick" in caught.value.hint


def test_a_joint_of_another_kind_is_asked_for_what_it_can_do() -> None:
    text = """schema = 1
name = "stiff"
inherits = "upright"
mirror = "left"
[joints.ankle_left]
kind = "hinge"
[joints.shoulder_left]
kind = "hinge"
[joints.hip_left]
kind = "hinge"
"""
    stiff = shared(parse_skeleton(text, "stiff.toml"))
    for side in ("left", "right"):
        assert wanted(stiff, f"ankle_{side}") == {"flex": (-50.0, 20.0)}
        assert wanted(stiff, f"shoulder_{side}") == {"flex": (-40.0, 120.1)}
        assert wanted(stiff, f"hip_{side}") == {"flex": (-30.0, 125.0)}
