"""Beginning with a sculpt, and finding its joints again: what is written, what stays.

The diver's true joint centres are the numbers that its code placed the limbs by; TOML is judged by the standard library.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from condyle.demo.diver import diver, diver_joints
from condyle.geometry.formats import stl_bytes
from condyle.project.cache import content_hash
from tests.cli.figures import call, tree

JOINTS = ("neck", "shoulder_left", "elbow_right", "hip_left", "knee_right")


@pytest.fixture(scope="module")
def sculpt() -> bytes:
    return stl_bytes(diver(24_000))


@pytest.fixture
def started(sculpt: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    (tmp_path / "diver.stl").write_bytes(sculpt)
    out = tmp_path / "figure"
    told = call(capsys, "start", tmp_path / "diver.stl", "--skeleton", "upright", "--height", "150", "--out", out)
    assert told.code == 0, told.err
    assert "condyle make" in told.out
    return out / "figure.toml"


def test_start_writes_the_figure_file_and_nothing_else(started: Path, sculpt: bytes) -> None:
    assert [p.name for p in started.parent.rglob("*")] == ["figure.toml"]
    plain = tomllib.loads(started.read_text())
    assert plain["figure"]["sculpt"] == "../diver.stl"
    assert plain["figure"]["hash"] == content_hash(sculpt)
    assert plain["figure"]["height_mm"] == 150.0
    assert (plain["figure"]["up"], plain["figure"]["facing"]) == ("z", "x")
    assert len(plain["joints"]) >= 18


def test_joints_lie_where_the_diver_was_jointed(started: Path) -> None:
    joints = tomllib.loads(started.read_text())["joints"]
    truth = diver_joints()
    misses = [float(np.linalg.norm(np.array(joints[n]["centre"]) - truth[n])) for n in JOINTS]
    assert max(misses) <= 0.06 * 150.0
    for name in JOINTS:
        assert joints[name]["source"] == "seated"
        np.testing.assert_allclose(np.linalg.norm(joints[name]["along"]), 1.0, atol=1e-5)


def test_the_same_start_again_is_no_trouble_and_another_one_is(
    started: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sculpt = started.parent.parent / "diver.stl"
    before = started.read_bytes()
    again = ["start", sculpt, "--skeleton", "upright", "--out", started.parent, "--height"]
    assert call(capsys, *again, "150").code == 0
    told = call(capsys, *again, "200")
    assert told.code == 2
    assert "--replace" in told.err
    assert started.read_bytes() == before
    assert call(capsys, *again, "200", "--replace").code == 0
    assert tomllib.loads(started.read_text())["figure"]["height_mm"] == 200.0


def test_seat_leaves_what_the_maker_has_set(started: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = started.read_text()
    neck = text.index("[joints.neck]")
    head, tail = text[:neck], text[neck:]
    tail = tail.replace('source = "seated"', 'source = "hand"  # mine', 1)
    joints = tomllib.loads(text)["joints"]
    centre, elbow = joints["neck"]["centre"], joints["elbow_left"]["centre"]
    moved = [centre[0] + 1.0, centre[1], centre[2]]
    tail = tail.replace(f"centre = {centre}", f"centre = {moved}", 1)
    tail = tail.replace(f"centre = {elbow}", "centre = [0.0, 0.0, 0.0]", 1)
    started.write_text(head + tail)
    told = call(capsys, "seat", started)
    assert told.code == 0, told.err
    after = tomllib.loads(started.read_text())["joints"]
    assert after["neck"]["centre"] == moved
    assert after["neck"]["source"] == "hand"
    np.testing.assert_allclose(after["elbow_left"]["centre"], elbow, atol=0.5)
    assert "# mine" in started.read_text()


def test_seat_takes_a_changed_sculpt(started: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sculpt = started.parent.parent / "diver.stl"
    changed = stl_bytes(diver(21_000))
    sculpt.write_bytes(changed)
    assert call(capsys, "prove", started).code == 3
    assert call(capsys, "seat", started).code == 0
    assert tomllib.loads(started.read_text())["figure"]["hash"] == content_hash(changed)


def test_a_start_that_cannot_be_written_leaves_nothing(
    sculpt: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "diver.stl").write_bytes(sculpt)

    def fail(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", fail)
    told = call(capsys, "start", tmp_path / "diver.stl", "--height", "150", "--out", tmp_path / "figure")
    assert told.code == 3
    assert "No space left" in told.err
    assert set(tree(tmp_path)) == {"diver.stl"}
