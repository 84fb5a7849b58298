"""Skeleton files: the two templates, inheriting, and complaints with the line."""

from __future__ import annotations

from pathlib import Path

import pytest

from condyle.errors import FigureFileError
from condyle.figure.skeleton_file import load_template, parse_skeleton, read_skeleton
from tests.published import Published

BAR = """\
schema = 1
name = "bar"
[bones.lower]
[bones.upper]
parent = "lower"
[joints.middle]
kind = "ball"
parent = "lower"
child = "upper"
centre = [0.0, 0.0, 0.5]
wanted = { flex = [-20, 20] }
"""
PAIRED = ("shoulder", "biceps", "elbow", "wrist", "hip", "thigh", "knee", "ankle")


def test_upright_has_its_eighteen_joints() -> None:
    skeleton = load_template("upright")
    sides = {f"{name}_{side}" for name in PAIRED for side in ("left", "right")}
    assert {j.name for j in skeleton.joints} == {"neck", "waist"} | sides and len(skeleton.joints) == 18
    assert skeleton.root.name == "pelvis" and skeleton.height_mm == 150.0
    assert {skeleton.joint(f"{n}_left").kind for n in ("biceps", "thigh")} == {"swivel"}
    assert {skeleton.joint(f"{n}_left").kind for n in ("elbow", "knee")} == {"double_hinge"}


AAOS = "Norkin & White, Measurement of Joint Motion, table A.1, AAOS"
ISRN = "ISRN 2012, 751768, table 8"
SOURCES = {("knee", "flex"): "medicospace.com", ("hip", "abduct"): ISRN, ("ankle", "flex"): ISRN}
NORMS = [
    ("shoulder", "flex", (-60, 180)), ("shoulder", "abduct", (0, 180)), ("biceps", "twist", (-90, 70)),
    ("elbow", "flex", (0, 150)), ("wrist", "flex", (-30, 20)), ("wrist", "abduct", (-80, 70)),
    ("wrist", "twist", (-80, 80)), ("hip", "abduct", (-30, 45)), ("knee", "flex", (0, 130)), ("ankle", "flex", (-50, 20)),
]  # fmt: skip


@pytest.mark.parametrize(("joint", "motion", "norm"), NORMS)
def test_ranges_are_published_ones(published: Published, joint: str, motion: str, norm: tuple[int, int]) -> None:
    upright = load_template("upright")
    left, right = (upright.joint(f"{joint}_{side}").wanted[motion] for side in ("left", "right"))  # type: ignore[index]
    for end, found, printed in zip(("least", "most"), left, norm, strict=True):
        what = f"range wanted of the upright skeleton's {joint}, {motion}, {end}"
        published(what, found, printed, unit="°", tolerance=0.0, source=SOURCES.get((joint, motion), AAOS))
    assert left == right


def test_a_twist_is_asked_of_one_joint_only() -> None:
    skeleton = load_template("upright")
    assert "twist" not in skeleton.joint("shoulder_left").wanted and "twist" not in skeleton.joint("hip_left").wanted


@pytest.mark.parametrize("name", ["upright", "fourfoot"])
def test_templates_mirror(name: str) -> None:
    skeleton = load_template(name)
    assert len(skeleton.joints) >= 14 and len(skeleton.bones) == len(skeleton.joints) + 1
    for joint in skeleton.joints:
        if joint.name.endswith("_left"):
            other = skeleton.joint(joint.name.removesuffix("left") + "right")
            x, y, z = joint.centre
            assert (x, -y, z) == other.centre and joint.wanted == other.wanted and joint.forward == other.forward


def test_a_file_of_ones_own(tmp_path: Path) -> None:
    path = tmp_path / "bar.toml"
    path.write_text(BAR)
    skeleton = read_skeleton(path)
    assert [b.name for b in skeleton.bones] == ["lower", "upper"] and skeleton.height_mm == 150.0
    assert skeleton.joint("middle").wanted == {"flex": (-20.0, 20.0)}


def test_inheriting_changes_only_what_is_written() -> None:
    text = 'schema = 1\nname = "mine"\ninherits = "upright"\nheight_mm = 90\n[joints.neck]\nsize = 6\nkind = "peg"\n'
    mine, base = parse_skeleton(text, "mine.toml"), load_template("upright")
    assert mine.height_mm == 90.0 and mine.joint("neck").size == 6.0
    assert mine.joint("neck").kind == "peg" and mine.joint("neck").wanted == {}
    assert mine.joint("waist") == base.joint("waist") and mine.bones == base.bones


FAULTS = [
    (BAR.replace("kind =", "kindd ="), "toml.unknown_key", 7),
    (BAR.replace('"ball"', '"bal"'), "toml.value", 7),
    (BAR.replace("[0.0, 0.0, 0.5]", '"middle"'), "toml.value", 10),
    (BAR.replace("[0.0, 0.0, 0.5]", "[0.0, 0.5]"), "toml.value", 10),
    (BAR.replace("[0.0, 0.0, 0.5]", "[0.0, 0.0, 75.0]"), "skeleton.joint", 10),
    (BAR.replace("[0.0, 0.0, 0.5]", "[0.0, 0.0, nan]"), "toml.value", 10),
    (BAR.replace("[-20, 20]", "[20, -20]"), "toml.value", 11),
    (BAR.replace('kind = "ball"', 'kind = "swivel"'), "skeleton.joint", 11),
    (BAR.replace('child = "upper"', 'child = "top"'), "skeleton.tree", 9),
    (BAR.replace('child = "upper"\n', ""), "skeleton.joint", 6),
    (BAR.replace('[bones.upper]\nparent = "lower"', '[bones.upper]\nparent = "upper"'), "skeleton.tree", 5),
    (BAR.replace('[bones.upper]\nparent = "lower"', "[bones.upper]"), "skeleton.tree", 4),
    (BAR + '[bones.loose]\nparent = "upper"\n', "skeleton.tree", 12),
    (BAR.replace("schema = 1", "schema = 2"), "skeleton.schema", 1),
    (BAR.replace("schema = 1\n", ""), "toml.missing_key", None),
    (BAR.replace('name = "bar"', 'name = "bar'), "toml.syntax", 2),
    ("", "toml.missing_key", None),
    ('schema = 1\nname = "x"\n', "skeleton.tree", None),
]


@pytest.mark.parametrize(("text", "code", "line"), FAULTS)
def test_faults_are_told_with_their_line(text: str, code: str, line: int | None) -> None:
    with pytest.raises(FigureFileError) as told:
        parse_skeleton(text, "skeleton.toml")
    assert told.value.code == code
    assert told.value.place.file == "skeleton.toml"
    if line is not None:
        assert told.value.place.line == line


def test_files_that_are_no_text(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_bytes(b"\xff\xfe\x00")
    for path in (tmp_path / "s.toml", tmp_path / "nowhere.toml", tmp_path):
        with pytest.raises(FigureFileError) as told:
            read_skeleton(path)
        assert told.value.code == "skeleton.unreadable"
    with pytest.raises(FigureFileError) as told:
        load_template("sixfoot")
    assert told.value.code == "skeleton.template" and "upright" in told.value.hint
