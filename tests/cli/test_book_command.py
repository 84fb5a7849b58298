"""The finish of a small figure from the command line: book, masks, table, calendar, colours and engraved numbers."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import icalendar
import pypdf
import pytest
import trimesh

from tests.cli.figures import bar_figure, call

FINISH = """
[[colours]]
name = "brick"
rgb = [150, 60, 40]
parts = ["upper"]
printed = true
[[colours]]
name = "slate"
rgb = [70, 80, 90]
[finish]
start = "2031-05-05"
hour = 10.0
[book]
paper = "us-letter"
"""


@pytest.mark.slow
def test_the_whole_finish_of_a_bar(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = bar_figure(tmp_path)
    place.write_text(place.read_text() + FINISH)
    out = tmp_path / "kit"
    assert call(capsys, "make", place, "--out", out).code in (0, 1)
    details = json.loads((out / "details" / "finish.json").read_text())
    parts = {p["name"]: p for p in details["parts"]}
    # The joint is in the middle of the bar: each half shows half of π·20·70 and an end, less what the cut takes.
    for name, colour in (("upper", "brick"), ("lower", "slate")):
        assert parts[name]["one_colour"] == colour
        half = 3.1416 * 20 * 35 + 3.1416 * 100
        assert parts[name]["colours_mm2"][colour] == pytest.approx(half, rel=0.25)
    base = {m["colour"]: m for m in details["mixes"] if m["coat"] == "base"}
    assert set(base) == {"slate"}  # brick is printed
    assert len(list((out / "builds").iterdir())) == 2  # and so has a plate of its own
    files = sorted(p.name for p in (out / "masks").iterdir())
    assert files == sorted(details["masks_to_print"])
    assert all(trimesh.load(out / "masks" / f).is_watertight for f in files)
    rows = list(csv.reader(io.StringIO((out / "work.csv").read_bytes().decode())))
    assert rows[0][0] == "task"
    assert len(rows) == 1 + len(details["schedule"])
    events = icalendar.Calendar.from_ical((out / "work.ics").read_bytes()).walk("VEVENT")
    assert {str(e["SUMMARY"]).removeprefix("bar: ") for e in events} >= {r[0] for r in rows[1:] if float(r[2]) > 0.0}
    labels = {
        f["subject"]: f
        for f in json.loads((out / "proof.json").read_text())["findings"]
        if f["check"] == "assemble.label"
    }
    assert set(labels) == {"upper", "lower"}
    reader = pypdf.PdfReader(io.BytesIO((out / "book.pdf").read_bytes()))
    assert float(reader.pages[0].mediabox.width) == pytest.approx(612.0, abs=0.5)
    text = re.sub(r"\s+", " ", " ".join(p.extract_text() for p in reader.pages))
    for words in ("upper", "lower", "brick", "slate", "10 figures", "Spares", "a guess", "not a toy"):
        assert words in text, words
    # The book by itself says the same to the byte, and as a page.
    assert call(capsys, "book", place, "--out", tmp_path / "own.pdf").code == 0
    assert (tmp_path / "own.pdf").read_bytes() == (out / "book.pdf").read_bytes()
    assert call(capsys, "book", place, "--html").code == 0
    page = (tmp_path / "book.html").read_text()
    assert "brick" in page
    assert "http" not in re.sub(r'src="data:[^"]*"', "", page)
