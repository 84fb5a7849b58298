"""The demo from nothing to a kit. Meshes are judged by trimesh, the document by jsonschema."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import trimesh

from condyle.project.pipeline import cut_figure, open_figure, seat_joints, take_in_sculpt
from condyle.project.proof_json import schema
from condyle.project.watch import Watch
from tests.cli.figures import call
from tests.seating import bodies


@pytest.mark.slow
def test_the_diver_becomes_a_kit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = call(capsys, "demo", "--out", tmp_path / "demo", "--triangles", "20000")
    assert told.code in (0, 1), told.err
    assert "finding the joints" in told.out
    assert (
        told.out.rstrip().splitlines()[-1].startswith(f"Open it in the browser with: condyle atlas {tmp_path / 'demo'}")
    )
    kit = tmp_path / "demo" / "kit"
    document = json.loads((kit / "proof.json").read_text())
    jsonschema.validate(document, schema(), cls=jsonschema.Draft202012Validator)
    built = [j for j in document["joints"] if j["built"]]
    links = [p for p in document["parts"] if p["name"].endswith("_link")]
    assert len(built) == len(document["joints"]) >= 18
    assert len(document["parts"]) == len(built) + len(links) + 1
    judged_by_trimesh(kit, document)


@pytest.mark.slow
@pytest.mark.skipif(not bodies.available(), reason="the data set is not installed")
def test_a_human_body_is_cut_along_its_joints(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The body of a data set (CC0), as its package carries it: metres, y up, no unit stated. At least 14 of 18 joints."""
    told = call(capsys, "start", bodies.source_file(), "--height", "150", "--out", tmp_path / "figure")
    assert told.code == 0, told.err
    assert "intake.unit" in told.out
    opened = open_figure(tmp_path / "figure" / "figure.toml")
    taken = take_in_sculpt(opened, Watch())
    kit, _ = cut_figure(opened, taken, seat_joints(opened, taken, Watch())[0], {}, Watch())
    joints = [j for j in kit.joints if j.seated.spec.kind != "peg"]
    assert sum(j.built for j in joints) >= 14
    for joint in joints:
        assert joint.built or any(f.verdict == "fail" for f in joint.findings), joint.name
    for part in kit.parts:
        mesh = trimesh.Trimesh(part.mesh.vertices, part.mesh.faces, process=False)
        assert mesh.is_watertight and mesh.is_winding_consistent and mesh.body_count == 1, part.name


def judged_by_trimesh(kit: Path, document: dict[str, Any]) -> None:
    """Every part of a kit is one closed body with the volume and the bounds that its proof.json tells."""
    assert {p["file"] for p in document["parts"]} == {f"parts/{p.name}" for p in (kit / "parts").iterdir()}
    for part in document["parts"]:
        mesh = trimesh.load(io.BytesIO((kit / part["file"]).read_bytes()), file_type="stl")
        assert mesh.is_watertight, part["name"]
        assert mesh.is_winding_consistent
        assert mesh.body_count == 1
        assert mesh.volume == pytest.approx(part["volume_mm3"], rel=1e-4)
        for told_corner, corner in zip(part["bounds"], mesh.bounds, strict=True):
            assert told_corner == pytest.approx(list(corner), abs=1e-4)


def test_a_folder_with_other_things_is_no_place_for_the_demo(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letter.txt").write_text("mine")
    told = call(capsys, "demo", "--out", tmp_path)
    assert told.code == 2
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]
