"""The log as a maker uses it: attempts in, route cards and reasons out; mistakes told and nothing lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from condyle.build.triage import Measure
from condyle.project.bench_sheet import BenchSheet, SheetPart, keep_sheet
from tests.cli.figures import bar_figure, call

HASH = "blake2b:" + "0" * 40


@pytest.fixture
def figure(tmp_path: Path) -> Path:
    """A figure file whose last kit had three parts on two plates; the hand starts in the air."""
    path = bar_figure(tmp_path / "bar")
    island = Measure(2.5, 0.2, "mm²", place=(1.0, 2.0, 3.0))
    keep_sheet(
        path,
        BenchSheet(
            1, "bar", "filament-200", "pla",
            (
                SheetPart("chest", HASH, (0.0, 0.0, 1.0), 3000.0, 150),
                SheetPart("head", HASH, (0.0, 0.0, 1.0), 1000.0, 100),
                SheetPart("hand", HASH, (0.0, 1.0, 0.0), 200.0, 60, {"island": island}),
            ),
            {"build-01": ("chest", "hand"), "build-02": ("head",)},
        ),
    )  # fmt: skip
    return path


def states(capsys, figure) -> dict[str, str]:
    told = json.loads(call(capsys, "log", figure, "--json").out)
    return {c["part"]: c["state"] for c in told["cards"]}


def test_before_the_first_kit_the_maker_is_told_to_make_it(capsys, tmp_path):
    told = call(capsys, "log", bar_figure(tmp_path / "bar"))
    assert told.code == 3
    assert "bench.none" in told.err
    assert "condyle make" in told.err


def test_one_failed_part_of_a_plate_and_the_others_came_out_well(capsys, figure):
    told = call(capsys, "log", figure, "hand", "--build", "build-01", "--failed", "loose strands", "--time", "2:30")
    assert told.code == 0, told.err
    assert states(capsys, figure) == {"chest": "printed", "head": "to print", "hand": "print again"}
    assert "to print again: hand" in told.out


def test_only_the_named_part(capsys, figure):
    call(capsys, "log", figure, "hand", "--build", "build-01", "--failed", "loose strands", "--only")
    assert states(capsys, figure)["chest"] == "to print"


def test_a_whole_plate(capsys, figure):
    assert call(capsys, "log", figure, "--build", "build-01", "--printed").code == 0
    assert states(capsys, figure) == {"chest": "printed", "head": "to print", "hand": "printed"}


def test_why_begins_with_the_measured_evidence(capsys, figure):
    call(capsys, "log", figure, "hand", "--build", "build-01", "--failed", "loose strands")
    told = json.loads(call(capsys, "log", figure, "--why", "hand", "--json").out)
    assert told["answer"] == "island"
    assert "(1.0, 2.0, 3.0)" in told["suspects"][0]["evidence"][0]
    words = call(capsys, "log", figure, "--why", "hand").out
    assert "It lies in the file: a region starts in the air." in words


def test_ticks_stand_and_are_cleared(capsys, figure):
    call(capsys, "log", figure, "chest", "--printed", "--when", "2031-05-04T10:00+00:00")
    call(capsys, "log", figure, "chest", "--tick", "sanded", "--when", "2031-05-04T12:00+00:00")
    cards = json.loads(call(capsys, "log", figure, "--json").out)["cards"]
    assert cards[0]["done"] == ["sanded"]
    call(capsys, "log", figure, "chest", "--clear", "sanded", "--when", "2031-05-04T13:00+00:00")
    assert json.loads(call(capsys, "log", figure, "--json").out)["cards"][0]["done"] == []


def test_a_mistake_is_taken_back(capsys, figure):
    call(capsys, "log", figure, "chest", "--printed")
    assert "Taken back: 1, chest, printed" in call(capsys, "log", figure, "--withdraw", "1").out
    assert states(capsys, figure)["chest"] == "to print"


def test_figures_may_share_a_record(capsys, figure):
    text = figure.read_text()
    figure.write_text(text + '\n[workshop]\nrecord = "../bench/record.sqlite"\n')
    assert call(capsys, "log", figure, "chest", "--printed").code == 0
    assert (figure.parent.parent / "bench" / "record.sqlite").is_file()
    assert not (figure.parent / "record.sqlite").exists()


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("nose", "--printed"), "log.part"),
        (("--printed",), "log.parts"),
        (("--build", "build-09", "--printed"), "log.build"),
        (("head", "--build", "build-01", "--failed", "warped"), "log.parts"),
        (("chest", "--printed", "--failed", "warped"), "log.one_thing"),
        (("chest", "--printed", "--time", "90"), "log.time"),
        (("chest", "--printed", "--time", "0:00"), "log.time"),
        (("chest", "--printed", "--mass", "-3"), "log.mass"),
        (("chest", "--printed", "--when", "yesterday"), "log.when"),
        (("chest", "--printed", "--setting", "speed"), "log.setting"),
        (("chest",), "log.outcome"),
        (("--why", "chest"), "log.no_failure"),
        (("--withdraw", "7"), "log.number"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_entered(capsys, figure, words, code):
    told = call(capsys, "log", figure, *words)
    assert told.code == 2
    assert told.err.startswith(code + ":")
    assert set(states(capsys, figure).values()) == {"to print"}
