"""The demo from nothing to a kit. Meshes are judged by trimesh, the document by jsonschema."""

from __future__ import annotations

import io
import json
from pathlib import Path

import jsonschema
import pytest
import trimesh

from condyle.project.proof_json import schema
from tests.cli.figures import call


@pytest.mark.slow
def test_the_diver_becomes_a_kit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = call(capsys, "demo", "--out", tmp_path / "demo", "--triangles", "60000")
    assert told.code in (0, 1), told.err
    assert "finding the joints" in told.out
    kit = tmp_path / "demo" / "kit"
    document = json.loads((kit / "proof.json").read_text())
    jsonschema.validate(document, schema(), cls=jsonschema.Draft202012Validator)
    built = [j for j in document["joints"] if j["built"]]
    links = [p for p in document["parts"] if p["name"].endswith("_link")]
    assert len(built) >= 14
    assert len(document["parts"]) == len(built) + len(links) + 1
    for part in document["parts"]:
        mesh = trimesh.load(io.BytesIO((kit / part["file"]).read_bytes()), file_type="stl")
        assert mesh.is_watertight
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
