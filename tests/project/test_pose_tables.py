"""What ``[[poses]]`` may say: sides swapped, a share of the way between two poses, and from which pose the way leads."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from condyle.errors import FigureFileError
from condyle.figure.pose import Pose, pose_sheet
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.skeleton_file import load_template
from condyle.geometry.frame import frame_from_zx
from condyle.project.figure_file import FigureDocument, parse_figure
from condyle.project.pose_step import asked_poses, ways_from

HEAD = """\
schema = 1
[figure]
name = "bar"
sculpt = "bar.stl"
height_mm = 150
[skeleton]
template = "upright"
"""
# The poses that a sheet of the upright figure is asked to have.
NAMES = ("at ease", "stride", "kneel", "sit", "reach", "guard", "point", "push", "carry", "crouch", "look back", "fall")


def document(text: str) -> FigureDocument:
    return parse_figure(Path("figure.toml"), HEAD + text)


def poses(text: str) -> dict[str, Pose]:
    at = frame_from_zx(np.zeros(3), np.array([0.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0]))
    joints = [SimpleNamespace(seated=SeatedJoint(s, at, (0.0, 0.0, -1.0))) for s in load_template("upright").joints]
    kit: Any = SimpleNamespace(joints=joints)
    return {p.name: p for p in asked_poses(document(text), kit, "upright")}


def refused(text: str) -> FigureFileError:
    with pytest.raises(FigureFileError) as caught:
        poses(text)
        ways_from(document(text))
    return caught.value


def test_the_upright_sheet_has_all_of_its_poses() -> None:
    assert tuple(p.name for p in pose_sheet("upright")) == NAMES
    assert tuple(poses("")) == NAMES


def test_half_way_between_two_poses_every_angle_is_their_mean() -> None:
    told = poses(
        '[[poses]]\nname = "stride"\n[[poses]]\nname = "kneel"\n'
        '[[poses]]\nname = "rising"\nbetween = ["stride", "kneel"]\nshare = 0.25\njoints.neck = { flex = 7.0 }\n'
    )
    for joint in ("knee_left", "hip_right", "elbow_left", "waist"):
        for motion, angle in told["rising"].angles[joint].items():
            one = told["stride"].angles[joint].get(motion, 0.0)
            other = told["kneel"].angles[joint].get(motion, 0.0)
            assert angle == pytest.approx(0.75 * one + 0.25 * other)
    assert told["rising"].angles["neck"]["flex"] == 7.0


def test_swapped_sides_change_places() -> None:
    told = poses('[[poses]]\nname = "point"\n[[poses]]\nname = "other hand"\nlike = "point"\nswap = true\n')
    for joint in ("shoulder", "elbow", "hip", "knee"):
        assert told["other hand"].angles[f"{joint}_left"] == told["point"].angles[f"{joint}_right"]
    assert told["other hand"].angles["waist"]["twist"] == pytest.approx(-told["point"].angles["waist"]["twist"])


def test_a_way_leads_from_a_pose_further_up_in_the_file() -> None:
    text = '[[poses]]\nname = "crouch"\n[[poses]]\nname = "reach"\nafter = "crouch"\n'
    assert ways_from(document(text)) == {"reach": "crouch"}
    late = refused('[[poses]]\nname = "reach"\nafter = "crouch"\n[[poses]]\nname = "crouch"\n')
    assert late.place.line == 10
    assert "crouch" in late.message


def test_what_cannot_be_is_refused_with_its_line() -> None:
    unknown = refused('[[poses]]\nname = "rising"\nbetween = ["stride", "knell"]\n')
    assert unknown.place.line == 10
    assert "kneel" in unknown.hint
    assert refused('[[poses]]\nname = "x"\nlike = "sit"\nbetween = ["stride", "kneel"]\n').place.line in (8, 9)
