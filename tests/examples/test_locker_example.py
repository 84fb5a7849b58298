"""The example of a locker: one line puts a hand on an arm, and the others of its set go on the same ball."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from condyle.errors import FigureFileError
from condyle.project.pipeline import matter_of, open_figure, prove_figure
from condyle.project.watch import Watch


def example() -> ModuleType:
    path = Path(__file__).parents[2] / "examples" / "03-locker" / "make.py"
    spec = importlib.util.spec_from_file_location("locker", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
def test_the_set_is_made_and_each_of_it_goes_on_the_arm(tmp_path: Path) -> None:
    result = prove_figure(example().write(tmp_path), Watch(), keep=False)
    assert {p["name"] for p in result.document["parts"]} == {"arm_left", "hand_left"}
    (joint,) = result.document["joints"]
    assert joint["kind"] == "ball" and joint["size"] == 5.0 and joint["built"]
    assert {"parts/wrist_left_open_hand.stl", "parts/wrist_left_hook.stl"} < set(result.files)
    assert "parts/hand_left_sounding_rod.stl" in result.files
    # The rest of the set and the tool lie on plates of their own, each proved as it will print.
    loose = {"wrist_left_open_hand", "wrist_left_hook", "hand_left_sounding_rod"}
    plates = {b["file"]: set(b["parts"]) for b in result.document["builds"]}
    assert set().union(*(p for f, p in plates.items() if f.startswith("builds/loose-"))) == loose
    assert not any(p & loose for f, p in plates.items() if f.startswith("builds/build-"))
    assert set(plates) <= set(result.files)
    # The book draws them after the figure's own, each thing with a letter and its name.
    (drawn,) = [p for p in matter_of(result).plates if p.name.startswith("loose-")]
    assert {words.split(" ", 1)[1] for words, _ in drawn.outlines} == loose
    assert sorted(words.split(" ", 1)[0] for words, _ in drawn.outlines) == ["A", "B", "C"]
    assert {f.subject for f in result.findings if f.check == "print.orientation"} >= loose
    held = [f for f in result.findings if f.check.startswith(("held.", "grip."))]
    assert {f.check for f in held} >= {"held.gap", "grip.gap", "grip.ring", "grip.way"}
    assert all(f.verdict == "pass" for f in held)
    spares = {f.subject: f for f in result.findings if f.check == "locker.spare"}
    assert set(spares) == {"wrist_left/open hand", "wrist_left/hook"}
    assert all(f.verdict != "fail" for f in spares.values())
    # The wrist of the locker's hand has a radius of 6 mm, the arm's 7: the fist ends at 60 + 24 * 7 / 6.
    hand = next(p for p in result.document["parts"] if p["name"] == "hand_left")
    assert hand["bounds"][1][2] == pytest.approx(60.0 + 24.0 * 7.0 / 6.0, abs=0.05)
    assert [f for f in result.findings if f.check.startswith(("fit.", "move.")) and f.verdict == "fail"] == []


def test_what_clashes_with_a_piece_of_the_locker_names_its_line(tmp_path: Path) -> None:
    path = example().write(tmp_path)
    text = path.read_text()
    line = text[: text.index("stock =")].count("\n") + 1
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(text.replace('stock = "', 'size = 4.0\nstock = "'))
    with pytest.raises(FigureFileError, match="brings its joint") as caught:
        open_figure(wrong, keep=False)
    assert caught.value.place.line == line
    hook = tmp_path / "locker" / "hook.toml"
    hook.write_text(hook.read_text().replace("size = 5.0", "size = 6.0"))
    with pytest.raises(FigureFileError, match="do not change places") as caught:
        open_figure(path, keep=False)
    assert caught.value.place.line == line + 1
