"""Norms: the numbers of the published table, times a factor, go to the joints that have the motion."""

from __future__ import annotations

from pathlib import Path

import pytest

from condyle.errors import FigureFileError, UsageError
from condyle.figure.arrangement import shared
from condyle.figure.norms import norm_names, normed, norms
from condyle.figure.skeleton_file import load_template
from condyle.project.figure_file import parse_figure
from condyle.project.joints import overlaid

UPRIGHT = load_template("upright")
FILE = """\
schema = 1
[figure]
name = "bar"
sculpt = "bar.stl"
height_mm = 150
[skeleton]
template = "upright"
"""


def test_a_column_of_the_published_table() -> None:
    # Norkin & White, Measurement of Joint Motion, App. A, Table A.1, column Macedo & Magee: shoulder flexion 188, extension
    # 70, abduction 188, medial rotation 94, lateral 108; elbow 149; wrist flexion 93, extension 86, radial 18, ulnar 41.
    told = normed(UPRIGHT, "macedo-magee")
    assert told.joint("shoulder_left").wanted == {"flex": (-70.0, 188.0), "abduct": (0.0, 188.0)}
    assert told.joint("biceps_right").wanted == {"twist": (-108.0, 94.0)}
    assert told.joint("elbow_left").wanted == {"flex": (0.0, 149.0)}
    assert told.joint("wrist_left").wanted["abduct"] == (-93.0, 86.0)
    assert told.joint("wrist_left").wanted["flex"] == (-41.0, 18.0)
    # It says nothing of legs: the skeleton's own stay.
    assert told.joint("knee_left").wanted == UPRIGHT.joint("knee_left").wanted


def test_the_skeletons_own_come_from_the_same_table() -> None:
    told = normed(UPRIGHT, "aaos")
    for name in ("shoulder_left", "biceps_left", "elbow_left", "wrist_left"):
        assert told.joint(name).wanted == UPRIGHT.joint(name).wanted


def test_a_factor_scales_every_range_and_left_stays_like_right() -> None:
    for name in norm_names():
        half = normed(UPRIGHT, name, 0.5)
        whole = normed(UPRIGHT, name)
        for spec in half.joints:
            for motion, (low, high) in spec.wanted.items():
                a, b = whole.joint(spec.name).wanted[motion]
                assert (low, high) == pytest.approx((a / 2, b / 2))
            if spec.side == "left":
                assert spec.wanted == half.joint(spec.name.replace("_left", "_right")).wanted


def test_every_norm_names_its_source_and_holds_zero() -> None:
    for norm in norms().values():
        assert norm.source
        for spans in norm.ranges.values():
            assert all(low <= 0.0 <= high for low, high in spans.values())


def test_the_figure_file_chooses_a_norm_and_a_joints_own_limits_go_first() -> None:
    text = FILE + '[motion]\nnorms = "ama"\nfactor = 0.8\n[joints.elbow_left]\nlimits = { flex = [0, 99] }\n'
    told = overlaid(parse_figure(Path("figure.toml"), text), UPRIGHT)
    assert told.joint("elbow_right").wanted["flex"] == pytest.approx((0.0, 112.0))
    assert told.joint("elbow_left").wanted["flex"] == (0.0, 99.0)
    assert overlaid(parse_figure(Path("figure.toml"), FILE), UPRIGHT).joints == shared(UPRIGHT).joints


def test_an_unknown_norm_is_refused_with_its_line_and_the_names() -> None:
    with pytest.raises(FigureFileError) as caught:
        parse_figure(Path("figure.toml"), FILE + '[motion]\nnorms = "circus"\n')
    assert caught.value.place.line == 9
    assert "boone-azen" in f"{caught.value.message} {caught.value.hint}"
    with pytest.raises(UsageError):
        normed(UPRIGHT, "circus")
