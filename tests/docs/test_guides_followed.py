"""Guides followed to the letter, each line as it stands on the page, in a folder of its own; what they quote is what comes."""

from __future__ import annotations

from pathlib import Path

import pytest

from condyle.cli.main import main
from tests.cli.figures import bar_figure, call
from tests.docs.test_guides import ROOT, blocks, typed
from tests.examples.test_own_socket import example

GUIDES = ROOT / "docs" / "guides"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_my_printer(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    guide = GUIDES / "my-printer.md"
    lines = typed(guide)
    sheet = here / "coupon" / "answers.toml"
    assert call(capsys, *lines[0]).code == 0
    text = sheet.read_text("utf-8")
    (felt,) = (b for b in blocks(guide, "toml") if "felt" in b)
    for number, line in enumerate(felt.splitlines()[1:], 1):
        blank = f'\n{number} = ""'
        assert blank in text
        text = text.replace(blank, "\n" + line.split("#")[0].strip())
    sheet.write_text(text, "utf-8")
    (said,) = (b for b in blocks(guide, "") if not b.startswith("condyle"))
    for words in lines[1:]:
        told = call(capsys, *words)
        assert told.code == 0, told.err
        if words[0] == "calibrate":
            assert [line for line in said.splitlines() if line.rstrip() not in told.out] == []


@pytest.mark.slow
def test_when_it_failed(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    guide = GUIDES / "when-it-failed.md"
    bar_figure(here / "bar")
    assert main(["make", "bar/figure.toml", "--out", "bar-kit"]) in (0, 1)
    for words in typed(guide):
        told = call(capsys, *words)
        assert told.code == 0, told.err
        if "--why" in words:
            (said,) = (b for b in blocks(guide, "") if not b.startswith("condyle"))
            assert [line for line in said.splitlines() if line.rstrip() not in told.out] == []
    assert "2 of 2 parts printed" in told.out


@pytest.mark.slow
def test_many_figures(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The variant of the guide, and the same command again: nothing is made twice."""
    bar = bar_figure(here / "bar")
    (more,) = blocks(GUIDES / "many-figures.md", "toml")
    (here / "bar" / "petg.toml").write_text(f"{bar.read_text('utf-8')}\n{more}\n", "utf-8")
    words = next(w for w in typed(GUIDES / "many-figures.md") if "bar/petg.toml" in w)
    for tally in ("kits: 2 made", "kits: 0 made, 2 at hand from before"):
        told = call(capsys, *words)
        assert told.code in (0, 1), told.err
        assert tally in told.out
    assert sorted(p.name for p in (here / "kits").iterdir()) == ["bar", "bar-petg"]


@pytest.mark.slow
def test_skeleton_from_scratch(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The arm without a fail, the whole robot with the one that the guide tells of, the guide to sculpt around."""
    guide = GUIDES / "skeleton-from-scratch.md"
    for name, text in zip(("bollard.toml", "heavy.toml"), blocks(guide, "toml"), strict=True):
        (here / name).write_text(text, "utf-8")
    codes = {w[-1]: call(capsys, *w).code for w in typed(guide) if w[0] == "layfigure"}
    assert codes == {"arm": 0, "whole": 1, "guide": 0}
    assert {"guide.glb", "guide.obj", "guide-flesh.stl", "figure.toml"} <= {p.name for p in (here / "guide").iterdir()}


@pytest.mark.slow
def test_my_own_joint(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    guide = GUIDES / "my-own-joint.md"
    (makes,) = (line for block in blocks(guide, "") for line in block.splitlines() if line.startswith("python "))
    script, out = makes.split()[1:]
    assert (ROOT / script).is_file()
    example().write(here / out)
    (words,) = typed(guide)
    told = call(capsys, *words)
    assert told.code == 0 and "3 parts, 2 of 2 joints built" in told.out and " fail " not in told.out
