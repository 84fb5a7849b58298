"""details/motion.json of a small kit: what stands in it agrees with proof.json, and the map with the ranges on its axes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from figures import bar_figure, call


@pytest.mark.slow
def test_the_motion_of_a_small_kit_is_written_and_agrees_with_its_proof(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bar_figure(tmp_path / "bar")
    kit = tmp_path / "kit"
    assert call(capsys, "make", path, "--out", kit).code in (0, 1)
    told = json.loads((kit / "details" / "motion.json").read_text())
    proof = json.loads((kit / "proof.json").read_text())
    assert told["schema"] == 1
    (joint,) = told["joints"]
    (proved,) = proof["joints"]
    assert joint["name"] == proved["name"] == "middle"
    for motion, span in proved["reached"].items():
        assert joint["ranges"][motion]["reached"] == pytest.approx(span, abs=1e-3)
    assert joint["ranges"]["flex"]["wanted"] == [-20.0, 20.0]
    assert joint["ranges"]["abduct"]["wanted"] is None
    # Directions next to an axis reach no further than the end on it.
    sectors = joint["map"]["sectors"]
    low, high = joint["ranges"]["flex"]["reached"]
    assert min(sectors[0]["reach"], sectors[-1]["reach"]) <= high + 1e-3
    middle = len(sectors) // 2
    assert min(sectors[middle]["reach"], sectors[middle - 1]["reach"]) <= -low + 1e-3
    assert [s["to"] for s in sectors[:-1]] == [s["from"] for s in sectors[1:]]
    assert all(0.0 <= s["reach"] <= s["searched"] + 1e-6 for s in sectors)
