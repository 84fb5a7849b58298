"""The lay figure: closed turned forms, thick enough for their hardware; a limb by itself; one size changed."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from condyle.errors import UsageError
from condyle.export import kit_files, part_file
from condyle.figure.kit import Kit
from condyle.figure.layfigure import LayFigure, lay_figure
from condyle.figure.parting import part
from condyle.figure.skeleton import Skeleton
from condyle.figure.skeleton_file import load_template, parse_skeleton
from condyle.figure.stance import standing
from condyle.finding import Finding
from condyle.joints.stock import stock_of
from condyle.proof import prove
from condyle.workshop.bench import load_workshop

WORKSHOP = load_workshop()


def turned(skeleton: Skeleton, limb: str | None = None, only: tuple[str, ...] = ()) -> LayFigure:
    return lay_figure(skeleton, skeleton.height_mm, WORKSHOP.fits, stock_of(WORKSHOP), limb, only)


def parted(lay: LayFigure) -> Kit:
    return part(lay.sculpt, lay.skeleton, list(lay.joints), WORKSHOP)


def sized(skeleton: Skeleton, **sizes: float) -> Skeleton:
    return replace(skeleton, joints=tuple(replace(j, size=sizes.get(j.name, j.size)) for j in skeleton.joints))


@pytest.mark.parametrize("name", ["upright", "fourfoot"])
def test_every_bone_is_one_closed_form_and_all_hang_together(name: str) -> None:
    lay = turned(load_template(name))
    assert set(lay.bones) == {b.name for b in lay.skeleton.bones}
    for bone, form in lay.bones.items():
        assert len(form.components()) == 1 and form.genus == 0, bone
    assert len(lay.sculpt.components()) == 1
    low, high = lay.sculpt.bounds
    assert low[2] == pytest.approx(0.0, abs=0.01)  # soles on the ground
    assert 0.9 * lay.skeleton.height_mm < high[2] <= 1.001 * lay.skeleton.height_mm
    # Left and right are mirror images: volumes, and bounds in a mirror.
    for bone, form in lay.bones.items():
        if bone.endswith("_left"):
            other = lay.bones[bone.replace("_left", "_right")]
            assert other.volume_mm3 == pytest.approx(form.volume_mm3, rel=2e-3)
            assert np.allclose(other.bounds[:, [0, 2]], form.bounds[:, [0, 2]], atol=0.05)
            assert np.allclose(other.bounds[::-1, 1], -form.bounds[:, 1], atol=0.05)


def test_limbs_are_turned_about_their_bone() -> None:
    """A spindle is a solid of revolution: turned about its own axis by an odd angle it is (nearly) itself."""
    lay = turned(load_template("upright"))
    at = {j.name: j.frame.origin for j in lay.joints}
    for bone, near, far in (("forearm_left", "elbow_left", "wrist_left"), ("shin_right", "knee_right", "ankle_right")):
        axis = at[far] - at[near]
        turn = Rotation.from_rotvec(0.7 * axis / np.linalg.norm(axis)).as_matrix()
        m = np.eye(4)
        m[:3, :3], m[:3, 3] = turn, at[near] - turn @ at[near]
        form = lay.bones[bone]
        shared = (form._body ^ form.transformed(m)._body).volume()
        assert shared == pytest.approx(form.volume_mm3, rel=0.01), bone


def test_the_stance_keeps_the_skeletons_lengths() -> None:
    """Whatever the arms do, distances along a limb are those of the file; the arm leans out by its stance's 48 degrees."""
    skeleton = load_template("upright")
    at = {j.name: j.frame.origin for j in standing(skeleton).joints}
    told = {j.name: 150.0 * np.array(j.centre) for j in skeleton.joints}
    for a, b in (("shoulder_left", "elbow_left"), ("elbow_left", "wrist_left"), ("hip_left", "knee_left")):
        assert np.linalg.norm(at[a] - at[b]) == pytest.approx(np.linalg.norm(told[a] - told[b]), abs=2e-3)
    arm = at["wrist_left"] - at["shoulder_left"]
    assert np.degrees(np.arctan2(arm[1], -arm[2])) == pytest.approx(48.0, abs=0.05)
    assert np.allclose(at["wrist_right"], at["wrist_left"] * [1, -1, 1], atol=2e-3)


def test_a_larger_size_makes_its_flesh_thicker_and_nothing_else() -> None:
    plain = load_template("upright")
    thick = turned(sized(plain, elbow_left=10.0))
    before = turned(plain)
    grown = {b for b in before.bones if abs(thick.bones[b].volume_mm3 - before.bones[b].volume_mm3) > 1e-6}
    assert grown == {"upper_arm_left", "forearm_left"}
    assert all(thick.bones[b].volume_mm3 > before.bones[b].volume_mm3 for b in grown)


def test_one_limb_or_a_few_joints_by_themselves() -> None:
    skeleton = load_template("upright")
    arm = turned(skeleton, limb="arm_left")
    assert [j.name for j in arm.joints] == ["shoulder_left", "biceps_left", "elbow_left", "wrist_left"]
    assert arm.bones["chest"].volume_mm3 < 0.3 * turned(skeleton).bones["chest"].volume_mm3  # a knob to hold it by
    assert [j.name for j in turned(skeleton, limb="forearm_left").joints] == ["elbow_left", "wrist_left"]
    pair = turned(skeleton, only=("knee_left", "ankle_left"))
    assert [b.name for b in pair.skeleton.bones] == ["thigh_left", "shin_left", "foot_left"]
    with pytest.raises(UsageError) as caught:
        turned(skeleton, limb="arm_lift")
    assert "arm_left" in caught.value.hint
    with pytest.raises(UsageError, match="do not hang together"):
        turned(skeleton, only=("knee_left", "neck"))


@pytest.mark.parametrize("name", ["elbow_left", "knee_left"])
def test_a_double_hinge_by_itself_gets_the_size_that_it_has_in_its_limb(name: str) -> None:
    skeleton = load_template("upright")
    limb = {"elbow_left": "arm_left", "knee_left": "leg_left"}[name]
    alone, within = (parted(turned(skeleton, **how)) for how in ({"only": (name,)}, {"limb": limb}))  # type: ignore[arg-type]
    sizes = [next((j.seated.spec.kind, j.size_mm) for j in kit.joints if j.name == name) for kit in (alone, within)]
    assert sizes[0] == sizes[1] and sizes[0][0] == "double_hinge" and sizes[0][1] is not None


def test_one_size_changed_rebuilds_only_what_depends_on_it() -> None:
    """By hash of the part files: an elbow's size is the business of its two bones and its link, and of nothing else.

    Not so for the largest elbow that finds room: it takes flesh that the wrist's socket else would have.
    """
    skeleton = load_template("upright")
    first = parted(turned(skeleton, limb="arm_left"))
    sizes = {j.name: j.size_mm for j in first.joints if j.size_mm}
    fixed = sized(skeleton, **{**sizes, "elbow_left": 6.0})
    one, other = (hashes(parted(turned(s, limb="arm_left"))) for s in (fixed, sized(fixed, elbow_left=5.0)))
    assert set(one) == set(other) and len([n for n in one if not n.endswith("_stud")]) == 6
    changed = {name for name in one if one[name] != other[name]}
    assert changed == {"upper_arm_left", "elbow_left_link", "forearm_left"}


def hashes(kit: Kit) -> dict[str, str]:
    assert all(j.built for j in kit.joints)
    files = kit_files(kit).files
    return {p.name: hashlib.blake2b(files[part_file(p.name)]).hexdigest() for p in kit.parts}


def test_a_skeleton_of_two_bones_stands_on_a_post() -> None:
    """Its one joint is built where the file puts it, and the post reaches the ground."""
    text = (
        'schema = 1\nname = "bar"\nheight_mm = 80\n[bones.lower]\n[bones.upper]\nparent = "lower"\n'
        '[joints.middle]\nkind = "ball"\nparent = "lower"\nchild = "upper"\ncentre = [0.0, 0.0, 0.5]\nthick = 0.09\n'
    )
    lay = turned(parse_skeleton(text, "bar.toml"))
    assert lay.joints[0].frame.origin.tolist() == [0.0, 0.0, 40.0]
    assert lay.sculpt.bounds[0, 2] == pytest.approx(0.0, abs=0.11)
    kit = parted(lay)
    assert [j.built for j in kit.joints] == [True] and len(kit.parts) == 2


@pytest.mark.slow
@pytest.mark.parametrize("name", ["upright", "fourfoot"])
def test_a_whole_lay_figure_gets_every_joint_and_passes(name: str) -> None:
    lay = turned(load_template(name))
    kit = parted(lay)
    assert [j.name for j in kit.joints if not j.built] == []
    links = sum(p.name.endswith("_link") for p in kit.parts)
    assert len(kit.parts) == len(kit.joints) + links + 1
    assert kit.balance.residual_mm3 == pytest.approx(0.0, abs=0.5)
    proof = prove(kit, lay.sculpt, lay.skeleton, WORKSHOP, workers=1)
    # A range is the business of relief, which is not asked for here.
    wrong: list[Finding] = [f for f in proof.findings if f.verdict == "fail" and not f.check.startswith("move.")]
    assert wrong == []
