"""Skeletons made from others: inheriting from a file, one side from the other, a giant's sizes, a limb by itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from condyle.errors import FigureFileError
from condyle.figure.skeleton_changes import SERIES
from condyle.figure.skeleton_file import load_template, read_skeleton

HERO = """\
schema = 1
name = "hero"
inherits = "upright"
mirror = "left"

[joints.elbow_left]
size = 5.0

[joints.shoulder_left]
size = 6.0
centre = [0.01, 0.14, 0.81]
"""


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text)
    return path


def test_a_hero_and_a_giant_from_one_file(tmp_path: Path) -> None:
    written(tmp_path, "hero.toml", HERO)
    giant = read_skeleton(
        written(
            tmp_path,
            "giant.toml",
            'schema = 1\nname = "giant"\ninherits = "hero.toml"\nheight_mm = 225.0\nscale_sizes = true\n',
        )
    )
    hero = read_skeleton(tmp_path / "hero.toml")
    assert hero.height_mm == 150.0 and giant.height_mm == 225.0
    assert hero.joint("shoulder_left").centre == giant.joint("shoulder_left").centre
    # 6.0 x 1.5 = 9.0, and the largest ball of the series below it is 8; 5.0 x 1.5 = 7.5, and the hinge below it is 6.
    assert giant.joint("shoulder_left").size == 8.0 and giant.joint("elbow_left").size == 6.0
    assert all(j.size is None or j.size in SERIES[j.kind] for j in giant.joints)


def test_the_right_side_is_made_from_the_left(tmp_path: Path) -> None:
    hero = read_skeleton(written(tmp_path, "hero.toml", HERO))
    template = load_template("upright")
    assert {j.name for j in hero.joints} == {j.name for j in template.joints}
    assert hero.joint("shoulder_right").centre == (0.01, -0.14, 0.81)
    assert hero.joint("elbow_right").size == 5.0
    for joint in hero.joints:
        if joint.side == "left":
            other = hero.joint(joint.name.replace("_left", "_right"))
            assert (other.wanted, other.kind, other.forward) == (joint.wanted, joint.kind, joint.forward)
            assert other.parent == joint.parent.replace("_left", "_right")


def test_only_some_joints_with_their_bones(tmp_path: Path) -> None:
    text = 'schema = 1\nname = "arm"\ninherits = "upright"\nonly = ["elbow_left", "wrist_left"]\n'
    arm = read_skeleton(written(tmp_path, "arm.toml", text))
    assert [b.name for b in arm.bones] == ["upper_arm_left", "forearm_left", "hand_left"]
    assert arm.root.name == "upper_arm_left"


WRONG = [
    ('inherits = "giant"\n', "skeleton.inherits", 3),
    ('inherits = "wrong.toml"\n', "skeleton.inherits", 3),
    ('inherits = "upright"\nmirror = "left"\n[joints.elbow_right]\nsize = 5.0\n', "skeleton.mirror", 5),
    ('inherits = "upright"\nonly = ["elbow_left", "neck"]\n', "skeleton.apart", 4),
    ('inherits = "upright"\nonly = ["elbow_lift"]\n', "skeleton.name", 4),
    ('inherits = "upright"\n[joints.elbow_left]\nkind = "custom"\n', "skeleton.joint", 5),
    ('inherits = "upright"\n[joints.elbow_left]\ncustom = "none.toml"\n', "custom.unreadable", None),
    ('inherits = "upright"\nscale = 2\n', "toml.unknown_key", 4),
]


@pytest.mark.parametrize(("text", "code", "line"), WRONG)
def test_mistakes_name_file_and_line(text: str, code: str, line: int | None, tmp_path: Path) -> None:
    path = written(tmp_path, "wrong.toml", f'schema = 1\nname = "wrong"\n{text}')
    with pytest.raises(FigureFileError) as caught:
        read_skeleton(path)
    assert caught.value.code == code and caught.value.hint
    assert caught.value.place.line == line
