"""Coupon results on the page: the sheets beside the figure file, what they still ask, and the printer file that follows."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from pydantic import BaseModel

from condyle.errors import CondyleError, UsageError
from condyle.project.figure_file import read_text
from condyle.project.place import write_file

SHEET = "answers.toml"
PRINTER_FILE = "my-printer.toml"
_MOST_SHEETS = 40


class QuestionView(BaseModel):
    """One blank of a sheet; ``choices`` is empty for a number."""

    path: list[str]
    group: str
    words: str
    choices: list[str]


class SheetView(BaseModel):
    """A sheet of coupons: where it lies beside the figure file, and what it still asks."""

    name: str
    questions: list[QuestionView]
    trouble: str = ""


class CalibratedView(BaseModel):
    """What the answers tell, in words; ``printer`` is the file to name in figure.toml."""

    printer: str
    said: list[str]


def sheets(folder: Path) -> list[SheetView]:
    """The sheets in the figure's folder and one folder below."""
    found = sorted([*folder.glob(SHEET), *folder.glob(f"*/{SHEET}")])[:_MOST_SHEETS]
    return [_view(folder, path) for path in found]


def answer(folder: Path, name: str, path: list[str], value: str | float) -> SheetView:
    """Fill one blank. UsageError for a sheet or a blank that is none; what cannot be an answer leaves the sheet as it was."""
    from condyle.workshop.calibration.questions import open_questions, with_answer

    sheet = _sheet(folder, name)
    text = read_text(sheet, "sheet")
    asked = {tuple(str(k) for k in q.path): q for q in open_questions(text, str(sheet))}
    question = asked.get(tuple(path))
    if question is None:
        raise UsageError("atlas.question", "the sheet does not ask this", hint="it may have been answered meanwhile")
    if question.choices and value not in question.choices:
        raise UsageError(
            "atlas.answer", f"{value!r} is no answer to this", hint=f"one of {', '.join(question.choices)}"
        )
    if not question.choices and not isinstance(value, int | float):
        raise UsageError("atlas.answer", "a number is wanted here")
    new = with_answer(text, question.path, value)
    open_questions(new, str(sheet))
    write_file(sheet, new.encode())
    return _view(folder, sheet)


def worked_out(folder: Path, name: str) -> CalibratedView:
    """From a sheet to the maker's printer file beside the figure file. Errors as ``calibrate_file``."""
    # Imported late: statistics take longer to load than the page may wait for its first picture.
    from condyle.project.printer_file import calibrate_file, next_coupon

    done = calibrate_file(_sheet(folder, name), folder / PRINTER_FILE, date.today().isoformat())
    said = list(done.notes)
    for r in done.found.fits:
        low, high = r.posterior.interval_mm()
        words = f"{r.family.replace('_', ' ')} {r.size_mm:g} mm: clearance {r.fit.clearance_mm:+.3f} mm"
        said.append(f"{words}, 90 % sure between {low:+.3f} and {high:+.3f} mm, {r.fit.n} felt")
        said += list(r.notes)
    for what, m in done.found.printer.items():
        said.append(f"{what.removesuffix('_mm').replace('_', ' ')}: {m.value:+.3f} ± {m.sd:.3f} mm (1 sd)")
    said += list(done.found.notes)
    best = next_coupon(done)
    if best is not None:
        said.append(f"a ladder of {best.family.replace('_', ' ')} {best.size_mm:g} mm would tell most next")
    return CalibratedView(printer=PRINTER_FILE, said=said)


def _view(folder: Path, path: Path) -> SheetView:
    from condyle.workshop.calibration.questions import open_questions

    name = path.parent.relative_to(folder).as_posix()
    try:
        asked = open_questions(read_text(path, "sheet"), str(path))
    except CondyleError as error:
        return SheetView(name=name, questions=[], trouble=f"{error.message} ({error.place})")
    told = [
        QuestionView(path=[str(k) for k in q.path], group=q.group, words=q.words, choices=list(q.choices))
        for q in asked
    ]
    return SheetView(name=name, questions=told)


def _sheet(folder: Path, name: str) -> Path:
    for path in [*folder.glob(SHEET), *folder.glob(f"*/{SHEET}")]:
        if path.parent.relative_to(folder).as_posix() == name:
            return path
    raise UsageError("atlas.no_sheet", "there is no such sheet beside the figure file")
