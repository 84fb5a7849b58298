"""The commands on a small figure: what they write, print and return.

proof.json is judged by jsonschema against the schema in the package; STL sizes by the format's own sum (84 + 50 n bytes).
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from condyle.finding import Finding
from condyle.geometry.formats import stl_bytes
from condyle.geometry.primitives import box
from condyle.project import pipeline
from condyle.project.proof_json import schema
from tests.cli.figures import bar_figure, call, tree


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the bar's figure file and, beside it, the kit that was made of it."""
    folder = tmp_path_factory.mktemp("bar")
    path = bar_figure(folder / "figure")
    result = pipeline.make_kit(path, folder / "kit", pipeline.Watch())
    assert [p.name for p in result.kit.parts] == ["lower", "upper"]
    return folder


def test_the_document_follows_its_schema(made: Path) -> None:
    document = json.loads((made / "kit" / "proof.json").read_text(), parse_constant=pytest.fail)
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(document, schema(), cls=jsonschema.Draft202012Validator)
    assert document["figure"] == "bar"
    assert [j["name"] for j in document["joints"]] == ["middle"]
    assert document["joints"][0]["built"] is True
    assert document["joints"][0]["wanted"] == {"flex": [-20.0, 20.0], "abduct": None, "twist": None}


def test_the_schema_refuses_what_it_must(made: Path) -> None:
    document = json.loads((made / "kit" / "proof.json").read_text())
    validator = jsonschema.Draft202012Validator(schema())
    for spoil in (
        lambda d: d.pop("poses"),
        lambda d: d.update(extra=1),
        lambda d: d["joints"][0].pop("kerf_mm"),
        lambda d: d["parts"][0].update(volume_mm3=None),
        lambda d: d["findings"].append({"check": "nodot"}),
        lambda d: d.update(schema=2),
    ):
        spoilt = json.loads(json.dumps(document))
        spoil(spoilt)
        assert list(validator.iter_errors(spoilt))


def test_every_file_of_the_kit_is_there(made: Path) -> None:
    document = json.loads((made / "kit" / "proof.json").read_text())
    files = tree(made / "kit")
    masks = json.loads(files["details/finish.json"])["masks_to_print"]
    files = {name: data for name, data in files.items() if not name.startswith("details/")}
    listed = {*(e["file"] for k in ("parts", "builds") for e in document[k]), *(f"masks/{name}" for name in masks)}
    assert set(files) == {"kit.3mf", "figure.glb", "proof.json", "book.pdf", "work.csv", *listed}
    for part in document["parts"]:
        assert len(files[part["file"]]) == 84 + 50 * part["triangles"]


def test_a_second_run_is_the_same_to_the_byte_with_and_without_the_cache(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = made / "figure" / "figure.toml"
    assert call(capsys, "make", path, "--out", tmp_path / "again").code in (0, 1)
    assert tree(tmp_path / "again") == tree(made / "kit")
    pipeline.make_kit(path, tmp_path / "fresh", pipeline.Watch(), keep=False)
    assert tree(tmp_path / "fresh") == tree(made / "kit")


def test_a_sculpt_in_pieces_is_joined(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bar_figure(tmp_path)
    (tmp_path / "foot.stl").write_bytes(stl_bytes(box((-14, -14, 0), (14, 14, 6)).mesh))
    lines = [line for line in path.read_text().splitlines() if not line.startswith("hash")]
    path.write_text("\n".join(lines).replace('sculpt = "bar.stl"', 'pieces = ["bar.stl", "foot.stl"]'))
    told = call(capsys, "prove", path, "--json")
    assert told.code in (0, 1), told.err
    document = json.loads(told.out)
    assert [p["name"] for p in document["parts"]] == ["lower", "upper"]
    np.testing.assert_allclose(document["parts"][0]["bounds"][0], [-14.0, -14.0, 0.0], atol=0.05)


def test_a_joint_with_nothing_but_a_centre_gets_its_directions_from_the_sculpt(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bar_figure(tmp_path)
    text = path.read_text()
    path.write_text(text[: text.index("along =")].replace("35.0]", "40.0]"))
    told = call(capsys, "prove", path, "--json")
    assert told.code in (0, 1), told.err
    (joint,) = json.loads(told.out)["joints"]
    assert joint["centre"] == [0.0, 0.0, 40.0]
    np.testing.assert_allclose(np.abs(joint["axes"][2]), [0.0, 0.0, 1.0], atol=0.05)


def test_prove_prints_the_document_alone_and_writes_no_kit(made: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = tree(made)
    told = call(capsys, "prove", made / "figure" / "figure.toml", "--json")
    assert told.out == (made / "kit" / "proof.json").read_text()
    assert "measuring" in told.err
    assert tree(made) == before


def test_findings_are_shown_by_joint_with_their_verdicts_in_words(
    made: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = call(capsys, "prove", made / "figure" / "figure.toml", "--every")
    assert "middle" in told.out
    assert "pass" in told.out
    assert "\x1b[" not in told.out


@pytest.mark.parametrize(
    ("verdict", "threshold", "code"),
    [
        ("pass", "caution", 0),
        ("unknown", "caution", 0),
        ("caution", "fail", 0),
        ("caution", "caution", 1),
        ("fail", "fail", 1),
        ("fail", "caution", 1),
    ],
)
def test_the_exit_code_follows_the_threshold_and_the_kit_is_written_all_the_same(
    verdict: str,
    threshold: str,
    code: int,
    made: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    one = Finding("fit.trial", "middle", verdict, 1.0, 2.0, "mm", None, "change it")  # type: ignore[arg-type]
    monkeypatch.setattr(pipeline, "each_once", lambda _: (one,))
    path = made / "figure" / "figure.toml"
    told = call(capsys, "make", path, "--out", tmp_path / "kit", "--fail-on", threshold)
    assert told.code == code
    assert json.loads((tmp_path / "kit" / "proof.json").read_text())["findings"][0]["verdict"] == verdict


def test_the_unforeseen_is_told_shortly_and_saved(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("a slip")

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(pipeline, "load_sculpt", fail)
    told = call(capsys, "make", made / "figure" / "figure.toml", "--out", tmp_path / "kit")
    assert told.code == 4
    assert "ZeroDivisionError: a slip" in told.err
    assert "Traceback" not in told.err
    assert not (tmp_path / "kit").exists()
    if sys.platform.startswith("linux"):
        (report,) = (tmp_path / "home").rglob("*.txt")
        assert str(report) in told.err
        assert "Traceback" in report.read_text()


def test_stopping_by_hand_is_quiet(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(pipeline, "write_kit", stop)
    told = call(capsys, "make", made / "figure" / "figure.toml", "--out", tmp_path / "kit")
    assert (told.code, told.out) == (130, "")
    assert "Stopped" in told.err
    assert list(tmp_path.iterdir()) == []


def test_help_and_version_answer(capsys: pytest.CaptureFixture[str]) -> None:
    told = call(capsys, "--help")
    assert told.code == 0
    for command in ("demo", "start", "seat", "make", "prove", "selfcheck"):
        assert command in told.out
        assert call(capsys, command, "--help").code == 0
    assert call(capsys, "--version").out.strip() == "0.1.0"


def test_help_loads_nothing_heavy() -> None:
    """Speed is not asserted; what makes it slow is."""
    heavy = ("numpy", "scipy", "numba", "manifold3d", "trimesh", "pydantic", "shapely", "skimage", "fcl", "PIL")
    code = (
        "import sys; from condyle.cli.main import main; main(['--help']);"
        f"print([m for m in {heavy!r} if m in sys.modules], file=sys.stderr)"
    )
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert child.stderr.strip() == "[]"


def test_selfcheck_is_sound_here(capsys: pytest.CaptureFixture[str]) -> None:
    told = call(capsys, "selfcheck", "--json")
    document = json.loads(told.out)
    assert [c for c in document["checks"] if not c["sound"]] == []
    assert (told.code, document["sound"]) == (0, True)
    assert "manifold3d" in document["versions"]


def test_selfcheck_can_fail(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    from condyle.joints.mechanics import press

    monkeypatch.setattr(press, "wall_mm", lambda *_: 7.2)
    told = call(capsys, "selfcheck")
    assert told.code == 1
    assert "FAIL" in told.out
