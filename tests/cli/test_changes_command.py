"""The command that tries single changes: a pose that the bar cannot take, what was tried, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from figures import bar_figure, call

BOW = '\n[[poses]]\nname = "bow"\njoints.middle = { flex = 85.0 }\n'


@pytest.mark.slow
def test_changes_are_tried_for_a_pose_that_cannot_be_reached(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bar_figure(tmp_path / "bar")
    text = path.read_text() + "limits = { flex = [-90.0, 90.0] }\n" + BOW
    path.write_text(text)
    out = tmp_path / "changes.json"
    told = call(capsys, "changes", path, "--poses", "1", "--out", out, "--json")
    assert told.code == 0
    document = json.loads(told.out)
    assert document == json.loads(out.read_text())
    assert document["poses"][0]["name"] == "bow"
    trials = document["trials"]
    assert {t["pose"] for t in trials} == {"bow"}
    assert {"moved 1 mm towards the child", "moved 1 mm towards the parent"} <= {t["change"] for t in trials}
    gains = [t["gained_deg"] for t in trials]
    assert gains == sorted(gains, reverse=True)
    for trial in trials:
        if trial["after_deg"] is not None:
            assert trial["gained_deg"] == pytest.approx(trial["before_deg"] - trial["after_deg"], abs=0.02)
    assert [r["gained_deg"] for r in document["ranking"]] == sorted(gains, reverse=True)


def test_a_number_of_poses_that_cannot_be_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bar_figure(tmp_path / "bar")
    told = call(capsys, "changes", path, "--poses", "0")
    assert told.code == 2
    assert "1 to 12" in told.err
