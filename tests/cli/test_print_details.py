"""A figure's parts on the plate, from the file to the kit: pins kept, details written, a wrong name told with its line."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from figures import bar_figure, call


def test_a_part_that_is_not_there_is_told_with_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = bar_figure(tmp_path / "bar")
    path.write_text(path.read_text() + "\n[parts.uper]\nup = [0, 0, 1]\n")
    told = call(capsys, "prove", path)
    line = 1 + path.read_text().splitlines().index("[parts.uper]")
    assert told.code == 3
    assert "uper" in told.err and f"line {line}" in " ".join(told.err.split())
    path.write_text(path.read_text().replace("uper]\nup = [0, 0, 1]", "upper]\nup = [0, 0, 0]"))
    assert call(capsys, "prove", path).code == 3


@pytest.mark.slow
def test_a_pinned_part_lies_as_the_file_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = bar_figure(tmp_path / "bar")
    path.write_text(path.read_text() + "\n[parts.upper]\nup = [0.0, 0.0, -2.0]\n")
    kit = tmp_path / "kit"
    told = call(capsys, "make", path, "--out", kit)
    assert told.code in (0, 1)
    details = json.loads((kit / "details" / "print.json").read_text())
    parts = {p["name"]: p for p in details["parts"]}
    assert set(parts) == {"lower", "upper"}
    assert parts["upper"]["pinned"] and parts["upper"]["up"] == [0.0, 0.0, -1.0]
    assert not parts["lower"]["pinned"] and parts["lower"]["reasons"]
    for part in parts.values():
        move = np.array(part["transform"])
        assert np.allclose(move[:3, :3] @ part["up"], [0, 0, 1], atol=1e-3)
        assert np.linalg.det(move[:3, :3]) == pytest.approx(1.0, abs=1e-3)
        assert len(part["alternatives"]) == 2 and len(part["front"]) >= 1
        assert len(part["front"][0]["measures"]) == len(part["measured"])
    assert [f["subject"] for f in details["fits"]] == ["middle"]
    checks = {f["check"] for f in json.loads((kit / "proof.json").read_text())["findings"]}
    assert {"print.orientation", "print.islands", "print.supports"} <= checks
