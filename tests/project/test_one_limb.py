"""One limb of a lay figure is judged as a limb: it is not asked to stand, to fall, or for the poses of a figure."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from condyle.cli.main import main
from condyle.figure.skeleton_changes import reduced
from condyle.figure.skeleton_file import load_template
from condyle.finding import Finding
from condyle.project.figure_file import parse_figure
from condyle.project.layfigure import _held
from condyle.project.pose_step import asked_poses
from condyle.proof.carry import Carried
from condyle.proof.one_limb import of_one_limb

CHECKS = ("hold.mass", "hold.reach", "stand.rest", "stand.tip", "last.finger", "last.drop", "last.pop_pull")


def carried() -> Carried:
    findings = tuple(Finding(c, "x", "fail", 1.0, 2.0) for c in CHECKS)
    return Carried(findings, {}, (SimpleNamespace(),), {}, {}, ())  # type: ignore[arg-type]


@pytest.mark.parametrize(("held", "gone"), [
    ("no", set()),
    ("limb", {"stand.rest", "stand.tip", "last.drop"}),
    ("joint", {"stand.rest", "stand.tip", "last.drop", "last.finger"}),
])  # fmt: skip
def test_what_is_asked_of_a_limb_and_what_is_not(held: Any, gone: set[str]) -> None:
    found = of_one_limb(carried(), held)
    assert {f.check for f in found.findings} == (set(CHECKS) - gone) | ({"stand.held"} if gone else set())
    assert len(found.poses) == (1 if held == "no" else 0)
    if gone:
        told = found.findings[-1]
        assert told.verdict == "unknown" and "not judged" in told.advice and told.measured is None


def test_a_limb_is_told_from_joints_taken_out_of_one() -> None:
    whole = load_template("upright")
    arm = ("shoulder_left", "biceps_left", "elbow_left", "wrist_left")
    assert _held(whole, whole) == "no"
    assert _held(whole, reduced(whole, arm)) == "limb" and _held(whole, reduced(whole, arm[2:])) == "limb"
    assert (
        _held(whole, reduced(whole, arm[:2])) == "joint" and _held(whole, reduced(whole, ("neck", "waist"))) == "joint"
    )


def test_a_guide_of_a_limb_says_so_and_has_no_poses_of_a_figure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["layfigure", "upright", "--guide", "--limb", "wrist_left", "--out", str(tmp_path)]) == 0
    capsys.readouterr()
    text = (tmp_path / "figure.toml").read_text()
    document = parse_figure(tmp_path / "figure.toml", text)
    assert document.content.stand.held == "limb"
    kit: Any = SimpleNamespace(joints=())
    assert asked_poses(document, kit, "upright") == ()
    freed = parse_figure(tmp_path / "figure.toml", text.replace('held = "limb"', 'held = "no"'))
    assert len(asked_poses(freed, kit, "upright")) == 12


@pytest.mark.slow
def test_a_printed_arm_by_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["layfigure", "upright", "--limb", "elbow_left", "--out", str(tmp_path / "arm")])
    capsys.readouterr()
    proof = json.loads((tmp_path / "arm" / "kit" / "proof.json").read_text())
    checks = {f["check"] for f in proof["findings"]}
    assert [c for c in checks if c.startswith(("stand", "pose"))] == ["stand.held"]
    assert proof["poses"] == [] and "last.drop" not in checks
    assert {"last.finger", "hold.reach", "move.flex", "fit.bearing_gap"} <= checks
    assert code == (1 if any(f["verdict"] == "fail" for f in proof["findings"]) else 0)
