"""Answer sheets: what is read from them, every mistake on its line, and a history that is only ever added to."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from condyle.errors import CondyleError, FigureFileError, InputError, UsageError
from condyle.project.printer_file import calibrate_file, next_coupon, proposed_ladder
from condyle.workshop.bench import load_workshop
from condyle.workshop.calibration import sheet
from condyle.workshop.calibration.answers import parse_answers
from condyle.workshop.calibration.questions import open_questions, with_answer
from condyle.workshop.calibration.records import FrictionRecord, GaugeRecord, LadderRecord
from condyle.workshop.fits import Fit

DRAWN = (-0.15, -0.11, -0.07, -0.03, 0.01, 0.05, 0.09)
FELT = ("will not go", "tight", "good", "good", "loose", "falls out", "falls out")
TODAY = "2026-11-25"


def blank(material: str = "pla", coupon: str = "ladder 00aa") -> str:
    return (
        sheet.head(coupon, "filament-200", material, "filament")
        + sheet.gauge((4.0, 6.0), (84.0,))
        + sheet.steps((4.0, 8.0), 14.0)
        + sheet.walls((0.45, 0.9))
        + sheet.strain((0.006, 0.012), (0.004, 0.008))
        + sheet.ladder("ball", 6.0, "upright", DRAWN, None)
        + sheet.friction(6.0, "upright", {"A": -0.09}, (15.0, 30.0), 0.75, 1800.0)
    )


def felt(text: str, answers: tuple[str, ...] = FELT) -> str:
    for mark, answer in enumerate(answers, 1):
        text = with_answer(text, ("ladder", "ball", "6", "felt", str(mark)), answer)
    return text


def test_a_sheet_says_what_was_felt_and_read() -> None:
    text = felt(blank())
    for path, value in ((("gauge", "holes", "4"), 3.86), (("gauge", "lengths", "84"), 84), (("steps", "foot"), 14.2),
                        (("steps", "above"), 14.0), (("walls", "stood", "1"), "gaps"), (("strain", "along", "bent", "1"), "sound"),
                        (("friction", "sockets", "A", "new", "hole_mm"), 30), (("friction", "sockets", "A", "new", "held_g"), 50),
                        (("friction", "sockets", "A", "new", "sank_g"), 60)):  # fmt: skip
        text = with_answer(text, path, value)
    records = parse_answers(text, "answers.toml", TODAY).records
    assert [r.what for r in records] == ["ladder", "gauge", "steps", "walls", "strain", "friction"]
    ladder, gauge, beam = records[0], records[1], records[-1]
    assert isinstance(ladder, LadderRecord) and isinstance(gauge, GaugeRecord) and isinstance(beam, FrictionRecord)
    assert tuple(ladder.felt) == FELT and tuple(ladder.drawn_mm) == DRAWN and ladder.date == TODAY
    assert gauge.holes_mm == [[4.0, 3.86]] and gauge.lengths_mm == [[84.0, 84.0]] and gauge.shafts_mm == []
    # 50 g at 30 mm is 0.05 · 9.80665 · 30 = 14.71 N·mm, and the arm's own 0.75.
    assert beam.held_nmm == pytest.approx(0.75 + 14.709975, abs=1e-3)
    assert beam.sank_nmm == pytest.approx(0.75 + 17.65197, abs=1e-3)
    # Comments and everything unanswered are still there.
    assert "glasses on" in text and text.count('""') < blank().count('""')


def test_blanks_are_asked_and_answers_are_not_asked_again() -> None:
    text = blank()
    asked = open_questions(text, "answers.toml")
    assert len(asked) == len({q.path for q in asked}) == 2 + 2 + 1 + 2 + 2 + 2 + 4 + 7 + 12
    assert {q.choices for q in asked if q.path[0] == "ladder"} == {
        ("falls out", "loose", "good", "tight", "will not go", "broke")
    }
    fewer = open_questions(felt(text), "answers.toml")
    assert len(fewer) == len(asked) - 7 and not any(q.path[0] == "ladder" for q in fewer)


def test_inches_are_converted_where_the_sheet_says_so() -> None:
    text = with_answer(blank(), ("gauge", "holes", "4"), 0.152)
    text = text.replace('unit = "mm"', 'unit = "inch"')
    record = parse_answers(text, "answers.toml", TODAY).records[0]
    assert isinstance(record, GaugeRecord)
    assert record.holes_mm == [[4.0, pytest.approx(0.152 * 25.4)]]


SLIPS = [
    (("gauge", "holes", "4"), 0.152, "calibration.unit", "can only be in inch"),
    (("gauge", "holes", "6"), 9.5, "calibration.reading", "9.5 was read where 6 mm"),
    (("steps", "foot"), 14.1, "calibration.missing", "together or not at all"),
    (("ladder", "ball", "6", "felt", "3"), "fine", "toml.value", "falls out"),
    (("ladder", "ball", "6", "felt", "3"), 2, "toml.value", "felt.3"),
    (("walls", "stood", "2"), "ok", "toml.value", "whole"),
    (("friction", "sockets", "A", "new", "held_g"), 50, "calibration.missing", "in which hole"),
    (("friction", "sockets", "A", "new", "held_g"), 60000, "toml.value", "friction.sockets.A.new.held_g: "),
    (("gauge", "holes", "4"), "3.82", "toml.value", "gauge.holes.4: "),
]


@pytest.mark.parametrize(("path", "value", "code", "words"), SLIPS)
def test_every_slip_is_named_with_its_line(path: tuple[str, ...], value: str | float, code: str, words: str) -> None:
    text = with_answer(felt(blank()), path, value)
    with pytest.raises(FigureFileError) as caught:
        parse_answers(text, "answers.toml", TODAY)
    error = caught.value
    assert error.code == code and words in error.message
    line = text.splitlines()[(error.place.line or 0) - 1]
    assert line.lstrip("[").startswith((path[-1], "foot", "hole_mm", "friction.sockets.A.new")), line


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("schema = 1", "schema = 9", "toml.value"),
        ('material = "pla"', "", "toml.missing_key"),
        ("print = 1", "print = 0", "toml.value"),
        ('date = ""', 'date = "yesterday"', "toml.value"),
        ('date = ""', 'date = "2026-13-45"', "toml.value"),
        ('unit = "mm"', 'unit = "furlong"', "toml.value"),
        ('supports = "none"', 'supports = "some"', "toml.value"),
        ("[ladder.ball.6.felt]", '[ladder.ball.6.felt]\n9 = "good"', "calibration.mark"),
        ("[gauge.holes]", "[gauge.hoels]", "toml.unknown_key"),
        ("[printed]", "[printed", "toml.syntax"),
    ],
)  # fmt: skip
def test_a_spoilt_sheet_is_refused(old: str, new: str, code: str) -> None:
    with pytest.raises(FigureFileError) as caught:
        parse_answers(felt(blank()).replace(old, new, 1), "answers.toml", TODAY)
    assert caught.value.code == code and caught.value.place.line is not None


def test_a_hole_that_the_arm_does_not_have_is_refused() -> None:
    """The second hole is at 30 mm; 2, or 1.18 inch, are slips that would make the torque a few per cent of what it was."""
    for hole in (2, 1.18, 60):
        text = with_answer(blank(), ("friction", "sockets", "A", "new", "held_g"), 50)
        text = with_answer(text, ("friction", "sockets", "A", "new", "hole_mm"), hole)
        with pytest.raises(FigureFileError) as caught:
            parse_answers(text, "answers.toml", TODAY)
        assert caught.value.code == "calibration.hole" and "15, 30 mm" in caught.value.hint


def test_a_decimal_comma_is_told() -> None:
    with pytest.raises(FigureFileError) as caught:
        parse_answers(blank().replace('4 = ""', "4 = 3,82"), "answers.toml", TODAY)
    assert caught.value.code == "toml.syntax" and "point" in caught.value.hint


def test_an_arm_cannot_sink_under_less_than_it_held() -> None:
    text = blank()
    for key, value in (("hole_mm", 30), ("held_g", 50), ("sank_g", 40)):
        text = with_answer(text, ("friction", "sockets", "A", "new", key), value)
    with pytest.raises(FigureFileError) as caught:
        parse_answers(text, "answers.toml", TODAY)
    assert caught.value.code == "calibration.order"


def test_nothing_answered() -> None:
    with pytest.raises(FigureFileError) as caught:
        parse_answers(blank(), "answers.toml", TODAY)
    assert caught.value.code == "calibration.empty" and caught.value.hint


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """A printer file with one ladder in its history."""
    (tmp_path / "first").mkdir()
    (tmp_path / "first" / "answers.toml").write_text(felt(blank()))
    calibrate_file(tmp_path / "first", tmp_path / "mine.toml", TODAY)
    return tmp_path / "mine.toml"


def write(folder: Path, text: str) -> Path:
    path = folder / "answers.toml"
    path.write_text(text)
    return path


def history(text: str) -> str:
    return text[text.index("[[history]]") :]


def test_a_fit_flows_into_the_workshop_and_other_sizes_follow_as_guesses(mine: Path) -> None:
    plain, own = load_workshop(), load_workshop(str(mine))
    fit = own.fits.get("ball", 6.0)
    assert (
        fit.n == 7 and fit.low_mm < fit.clearance_mm < fit.high_mm and fit.source.startswith("measured on 2026-11-25")
    )
    shift = fit.clearance_mm - plain.fits.get("ball", 6.0).clearance_mm
    near = own.fits.get("ball", 8.0)
    assert near.n == 0 and near.source.startswith("prior: moved as ball 6 mm")
    moved = near.clearance_mm - plain.fits.get("ball", 8.0).clearance_mm
    assert 0 < moved / shift < 1
    assert own.fits.get("hinge", 6.0) == plain.fits.get("hinge", 6.0)
    # As the fits of another card of the same process, too.
    assert load_workshop(fits_file=mine).fits.get("ball", 6.0) == fit
    # In another material it is only a first guess, and wider.
    petg = load_workshop(str(mine), "petg").fits.get("ball", 6.0)
    assert petg.n == 0 and petg.sd_mm > fit.sd_mm and petg.clearance_mm == fit.clearance_mm
    assert "material pla and not petg" in petg.source
    assert fit.elsewhere(build="lying").n == 0 and fit.elsewhere(build="upright") == fit
    assert isinstance(fit, Fit)


def test_the_history_is_only_added_to(mine: Path, tmp_path: Path) -> None:
    before = mine.read_text()
    later = felt(blank(coupon="ladder 00bb"), ("tight", "tight", "good", "good", "good", "loose", "falls out"))
    done = calibrate_file(write(tmp_path, later), mine, "2026-11-26")
    after = mine.read_text()
    assert history(after).startswith(history(before).rstrip("\n"))
    assert after.count("[[history]]") == before.count("[[history]]") + 1 and len(done.added) == 1
    # The newest derived values are those in use, and the starting guesses are kept.
    assert load_workshop(str(mine)).fits.get("ball", 6.0).n == 14
    assert after.count("[before.numbers]") == 1
    assert re.search(r"hole_error_mm = \{value = -0.15", after[after.index("[before.numbers]") :])


def test_the_same_sheet_twice_counts_once(mine: Path, tmp_path: Path) -> None:
    before = mine.read_bytes()
    done = calibrate_file(tmp_path / "first", mine, "2026-11-27")
    assert mine.read_bytes() == before and not done.added and "already" in done.notes[0]
    # A second print of the same plate counts for itself; a corrected sheet replaces what it said.
    calibrate_file(write(tmp_path, felt(blank()).replace("print = 1", "print = 2")), mine, TODAY)
    assert load_workshop(str(mine)).fits.get("ball", 6.0).n == 14
    fixed = felt(blank(), ("tight", *FELT[1:])).replace("print = 1", "print = 2")
    done = calibrate_file(write(tmp_path, fixed), mine, "2026-11-28")
    assert load_workshop(str(mine)).fits.get("ball", 6.0).n == 14 and "replace" in done.notes[0]


def test_a_corrected_material_moves_the_answers_and_does_not_double_them(mine: Path, tmp_path: Path) -> None:
    calibrate_file(write(tmp_path, felt(blank("petg"))), mine, "2026-11-26")
    assert load_workshop(str(mine), "petg").fits.get("ball", 6.0).n == 7
    assert load_workshop(str(mine)).fits.get("ball", 6.0).n == 0
    assert mine.read_text().count("[[history]]") == 2


BAD = [
    (lambda t: t.replace('2 = "tight"', '2 = "snug"'), "toml.value"),
    (lambda t: felt(t, FELT[::-1]), "calibration.reversed"),
    (lambda t: felt(t, ("good", "will not go", "loose", "tight", "falls out", "good", "tight")), "calibration.mixed"),
    (lambda t: with_answer(t, ("gauge", "holes", "4"), 0.15), "calibration.unit"),
    (lambda t: t.replace('material = "pla"', 'material = "resin-ductile"'), "workshop.process"),
    (lambda t: t[: len(t) // 2] + "\n[[", "toml.syntax"),
    (lambda t: blank(), "calibration.empty"),
]


@pytest.mark.parametrize(("spoil", "code"), BAD)
def test_bad_answers_leave_the_history_untouched(mine: Path, tmp_path: Path, spoil: object, code: str) -> None:
    before = mine.read_bytes()
    text = felt(blank(coupon="ladder 00cc"))
    with pytest.raises(CondyleError) as caught:
        calibrate_file(write(tmp_path, spoil(text)), mine, TODAY)  # type: ignore[operator]
    assert caught.value.code == code and isinstance(caught.value, (InputError, UsageError))
    assert caught.value.place.file == str(tmp_path / "answers.toml")
    assert mine.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["answers.toml", "first", "mine.toml"]


def test_a_first_sheet_that_is_bad_begins_no_file(tmp_path: Path) -> None:
    path = write(tmp_path, felt(blank(), FELT[::-1]))
    with pytest.raises(InputError):
        calibrate_file(path, tmp_path / "mine.toml", TODAY)
    assert not (tmp_path / "mine.toml").exists()
    with pytest.raises(FigureFileError):
        calibrate_file(path, tmp_path / "mine.txt", TODAY)
    path.write_text(felt(blank()).replace("filament-200", "lost.toml"))
    with pytest.raises(UsageError, match=r"no .*mine\.toml"):
        calibrate_file(path, tmp_path / "mine.toml", TODAY)


def test_a_printer_file_of_ones_own_keeps_its_words_and_its_starting_guesses(tmp_path: Path, mine: Path) -> None:
    own = tmp_path / "own.toml"
    text = mine.read_text().split("[before.numbers]")[0].replace("value = 0.45", "value = 0.48")
    own.write_text("# the one by the window\n" + text + '\n[fits.ball.6]\nclearance_mm = { value = 0.02, sd = 0.03, source = "my '
                   'notebook" }\nlow = -0.03\nhigh = 0.07\nn = 4\n')  # fmt: skip
    done = calibrate_file(tmp_path / "first", own, TODAY)
    renewed = own.read_text()
    assert renewed.startswith("# the one by the window\n") and "value = 0.48" in renewed
    assert "[before.fits.ball.6]" in renewed and "my notebook" in renewed
    # The own guess of +0.02 pulls the fit up from where the card's −0.03 would have it.
    assert done.found.fits[0].fit.clearance_mm > load_workshop(str(mine)).fits.get("ball", 6.0).clearance_mm
    again = calibrate_file(write(tmp_path, felt(blank(coupon="z"))), own, TODAY)
    assert again.file.fits_before.get("ball", 6.0).clearance_mm == 0.02


def test_the_next_ladder_begins_from_the_history(mine: Path) -> None:
    shop = load_workshop(str(mine))
    drawn = proposed_ladder(str(mine), None, "ball", 6.0, shop, 7)
    fresh = proposed_ladder("filament-200", None, "ball", 6.0, load_workshop(), 7)
    assert max(drawn) - min(drawn) < max(fresh) - min(fresh)
    assert sum(drawn) / 7 == pytest.approx(shop.fits.get("ball", 6.0).clearance_mm, abs=0.004)
    assert proposed_ladder("filament-200", mine, "ball", 6.0, load_workshop(fits_file=mine), 7) == drawn


def test_the_next_coupon_is_the_one_that_tells_most(mine: Path, tmp_path: Path) -> None:
    done = calibrate_file(tmp_path / "first", mine, TODAY)
    best = next_coupon(done)
    # The ball is known to some 0.02 mm; a family of which nothing was felt has more to tell.
    assert best is not None and best.family != "ball" and best.half_then_mm < best.half_now_mm
    assert best.half_now_mm - best.half_then_mm > max(
        r.proposal.half_now_mm - r.proposal.half_then_mm for r in done.found.fits
    )


def test_guesses_for_other_sizes_are_wider_still_in_another_material(mine: Path) -> None:
    here, there = load_workshop(str(mine)).fits.get("ball", 8.0), load_workshop(str(mine), "abs").fits.get("ball", 8.0)
    assert here.n == there.n == 0 and there.sd_mm > here.sd_mm and there.source.startswith("prior: ")
    assert there.low_mm < here.low_mm < here.clearance_mm == there.clearance_mm < here.high_mm < there.high_mm


def test_a_measured_friction_reaches_the_workshop_of_its_material_only(tmp_path: Path) -> None:
    text = blank()
    for key, value in (("hole_mm", 30), ("held_g", 60), ("sank_g", 70)):
        text = with_answer(text, ("friction", "sockets", "A", "new", key), value)
    for key, value in (("hole_mm", 30), ("held_g", 30), ("sank_g", 35)):
        text = with_answer(text, ("friction", "sockets", "A", "after_24_h", key), value)
    done = calibrate_file(write(tmp_path, text), tmp_path / "mine.toml", TODAY)
    assert "second one" in done.found.notes[0]  # one clearance cannot part friction from the printer's error
    shop, card = load_workshop(str(tmp_path / "mine.toml")), load_workshop()
    assert (
        shop.material.friction.source.startswith("measured")
        and shop.material.friction.value != card.material.friction.value
    )
    assert shop.material.kept_30_days.value < card.material.kept_30_days.value + 0.2
    assert "24 hours" in shop.material.kept_30_days.source
    assert load_workshop(str(tmp_path / "mine.toml"), "petg").material == load_workshop(material="petg").material
