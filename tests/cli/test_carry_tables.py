"""[stand], [hold] and [last] of figure.toml, from the file to the kit."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import trimesh

from condyle.project import pipeline
from condyle.project.figure_file import read_figure
from tests.cli.figures import bar_figure, call


def _with(folder: Path, text: str) -> Path:
    path = bar_figure(folder)
    path.write_text(path.read_text() + text)
    return path


def _finding(document: dict, check: str) -> dict:  # type: ignore[type-arg]
    return next(f for f in document["findings"] if f["check"] == check)


def test_a_base_and_a_magnet_come_from_the_figure_file(tmp_path: Path) -> None:
    text = '\n[stand]\nbase = "peg"\nballast_mm = [6.0, 3.0]\n\n[hold]\nweighed_g = { upper = 20.0 }\n'
    pipeline.make_kit(_with(tmp_path / "figure", text), tmp_path / "kit", pipeline.Watch())
    kit = tmp_path / "kit"
    base = trimesh.load_mesh(kit / "parts" / "stand_base.stl")
    assert base.is_watertight and base.bounds[0, 2] < 0.0 < base.bounds[1, 2]
    foot = trimesh.load_mesh(kit / "parts" / "lower.stl")
    assert foot.is_watertight and foot.body_count == 1
    document = json.loads((kit / "proof.json").read_text())
    assert _finding(document, "stand.ballast")["verdict"] == "pass"
    assert {p["name"]: p["mass_g"] for p in document["parts"]}["upper"] == pytest.approx(20.0)
    hold = json.loads((kit / "details" / "hold.json").read_text())
    assert {p["part"]: p["sd_g"] for p in hold["parts"]}["upper"] == pytest.approx(0.2)


def test_the_proof_carries_poses_loads_and_masses(tmp_path: Path) -> None:
    text = '\n[[poses]]\nname = "nod"\njoints.middle = { flex = 15.0 }\n'
    pipeline.make_kit(_with(tmp_path / "figure", text), tmp_path / "kit", pipeline.Watch())
    document = json.loads((tmp_path / "kit" / "proof.json").read_text())
    poses = {p["name"]: p for p in document["poses"]}
    assert poses["as sculpted"]["stands"] is True
    assert 0.0 < poses["nod"]["tip_deg"] < poses["as sculpted"]["tip_deg"]
    middle = document["joints"][0]
    assert middle["load_nmm"] > 0.0
    if middle["hold_nmm"]:
        assert 0.0 < middle["hold_relaxed_nmm"] < middle["hold_nmm"]
    stand = json.loads((tmp_path / "kit" / "details" / "stand.json").read_text())
    assert len(stand["poses"]) == len(document["poses"])
    assert len(stand["poses"][0]["tips_deg"]) == 72
    last = json.loads((tmp_path / "kit" / "details" / "last.json").read_text())
    assert last["sections"] and last["joints"][0]["bending"]["breaks_nmm"] > 0.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("\n[stand]\nmagnet_mm = [5.0, 2.0]\nchild = true\n", "swallowed magnets can kill"),
        ("\n[stand]\nmagnets = 2\n", "unknown key stand.magnets"),
        ("\n[hold]\nfactor = -1.0\n", "hold.factor"),
        ("\n[last]\nfinger_n = 0.0\n", "last.finger_n"),
    ],
)
def test_what_cannot_be_is_refused_with_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    path = _with(tmp_path / "figure", text)
    told = call(capsys, "prove", path)
    assert told.code == 3
    assert said in told.err.replace("\n", " ")
    line = path.read_text().count("\n") - text.count("\n") + 2
    assert any(f"line {n}" in told.err for n in range(line, line + 4))


def test_defaults_are_what_the_documentation_says(tmp_path: Path) -> None:
    content = read_figure(bar_figure(tmp_path)).content
    assert (content.hold.factor, content.hold.factor_aged, content.hold.days) == (2.0, 1.3, 30.0)
    assert (content.stand.tip_deg, content.stand.margin_mm) == (8.0, 3.0)
    assert (content.last.finger_n, content.last.drop_mm) == (5.0, 750.0)
    assert (content.workshop.lines, content.workshop.fill) == (3, 0.15)
