"""condyle calibrate: from what was felt and read to the maker's own printer file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

if TYPE_CHECKING:
    from rich.console import Console

    from condyle.project.printer_file import Calibrated
    from condyle.workshop.calibration.questions import Question

_UNITS = {"xy_error_mm": "in the plane, 1 sd", "z_error_mm": "in height, 1 sd", "hole_error_mm": "holes, diameter",
          "shaft_error_mm": "shafts, diameter", "first_layer_spread_mm": "first layers spread by, a side",
          "min_feature_mm": "thinnest wall that comes out"}  # fmt: skip
_IN_GRADES = ("hole_error_mm", "shaft_error_mm", "xy_error_mm", "z_error_mm")
_STUFF = {"friction": "friction on itself", "strain_once": "strain that a snap takes once",
          "strain_repeated": "strain that it takes often", "across_layers": "strength across the layers, share",
          "kept_30_days": "grip kept for 30 days, share", "kept_50_moves": "torque kept for 50 movements, share"}  # fmt: skip


def calibrate(
    answers: Annotated[Path, Parameter(help="answers.toml, or the coupon folder that holds it.")],
    /,
    *,
    into: Annotated[Path, Parameter(help="Your printer file; begun from the card when there is none.")] = Path(
        "my-printer.toml"
    ),
    ask: Annotated[bool, Parameter(help="Ask what is still blank, when on a terminal.")] = True,
) -> int:
    """Take what you felt and read, and work out the clearances, printer errors and friction, with how sure each is.

    What you answer is added to the history in the printer file; nothing in it is ever changed. A bad answer refuses the sheet
    and leaves the file as it was.
    """
    from condyle.cli.early import look_at_answers

    look_at_answers(answers)
    import datetime

    from condyle.cli.screen import to_screen
    from condyle.project.printer_file import calibrate_file, sheet_path

    if ask and sys.stdin.isatty() and sys.stdout.isatty():
        _ask(sheet_path(answers))
    done = calibrate_file(answers, into, datetime.date.today().isoformat())
    _show(done, to_screen())
    return 0


def _ask(path: Path) -> None:
    """Ask for the blanks and write the answers into the sheet; Enter leaves one blank, a full stop ends the asking."""
    from condyle.cli.screen import to_screen
    from condyle.project.place import write_file
    from condyle.project.printer_file import read_text
    from condyle.workshop.calibration.questions import open_questions, with_answer

    text = read_text(path)
    questions = open_questions(text, str(path))
    if not questions:
        return
    screen = to_screen()
    screen.print(f"{len(questions)} questions. Enter leaves one for later; a full stop ends. Answers go into {path}.",
                 markup=False, soft_wrap=True)  # fmt: skip
    group = ""
    for question in questions:
        if question.group != group:
            group = question.group
            screen.print(f"\n{group[:1].upper()}{group[1:]}", markup=False, soft_wrap=True)
            if question.choices:
                said = "   ".join(f"{k} {c}" for k, c in enumerate(question.choices, 1))
                screen.print(f"  {said}", markup=False, soft_wrap=True)
        answer = _one(question, screen)
        if answer == ".":
            break
        if answer != "":
            text = with_answer(text, question.path, answer)
            write_file(path, text.encode("utf-8"))  # after each, so that nothing is lost when the asking stops


def _one(question: Question, screen: Console) -> str | float:
    while True:
        try:
            said = input(f"  {question.words}: ").strip()
        except EOFError:
            return "."
        if said in ("", "."):
            return said
        if question.choices:
            if said.isdigit() and 1 <= int(said) <= len(question.choices):
                return question.choices[int(said) - 1]
            found = [c for c in question.choices if c.startswith(said.lower())]
            if len(found) == 1:
                return found[0]
            screen.print("    a number or the first letters of one of the words above", markup=False)
        else:
            try:
                return float(said.replace(",", "."))
            except ValueError:
                screen.print("    a number, such as 3.85", markup=False)


def _show(done: Calibrated, screen: Console) -> None:
    from rich.table import Table

    if done.begun_from:
        screen.print(f"{done.path}: begun from the card {done.begun_from}", markup=False, soft_wrap=True)
    for note in done.notes:
        screen.print(f"  {note}", markup=False, soft_wrap=True)
    found = done.found
    if found.fits:
        table = Table(box=None, pad_edge=False)
        for column in ("joint", "clearance for good", "90 % sure between", "felt", "in"):
            table.add_column(column)
        for r in found.fits:
            low, high = r.posterior.interval_mm()
            table.add_row(f"{r.family.replace('_', ' ')} {r.size_mm:g} mm", f"{r.fit.clearance_mm:+.3f} mm",
                          f"{low:+.3f} and {high:+.3f}", str(r.fit.n), f"{r.conditions.material}, {r.conditions.build}")  # fmt: skip
            for fit in r.fit.also:
                table.add_row("", f"{fit.clearance_mm:+.3f} mm", f"{fit.low_mm:+.3f} and {fit.high_mm:+.3f}", str(fit.n),
                              f"{fit.material}, {fit.build}")  # fmt: skip
        screen.print("Drawn clearances, a side (negative is interference):")
        screen.print(table)
    for r in found.fits:
        for note in r.notes:
            screen.print(f"  ! {r.family.replace('_', ' ')} {r.size_mm:g} mm: {note}", markup=False, soft_wrap=True)
    _show_numbers(done, screen)
    for note in found.notes:
        screen.print(f"  ! {note}", markup=False, soft_wrap=True)
    _show_next(done, screen)


def _show_numbers(done: Calibrated, screen: Console) -> None:
    from condyle.workshop.tolerance import accuracy_in_words

    for name, m in done.found.printer.items():
        sd = m.value if name in ("xy_error_mm", "z_error_mm") else m.sd
        words = f", {accuracy_in_words(sd, 8.0)} at 8 mm" if name in _IN_GRADES and sd > 0 else ""
        was = done.file.before[name].value
        screen.print(f"  {_UNITS[name]}: {m.value:+.3f} ± {m.sd:.3f} mm (1 sd; the card had {was:+.3f}){words}", markup=False,
                     soft_wrap=True)  # fmt: skip
    for material, numbers in done.found.materials.items():
        for name, m in numbers.items():
            screen.print(
                f"  {material}, {_STUFF[name]}: {m.value:.3g} ± {m.sd:.2g} (1 sd)", markup=False, soft_wrap=True
            )


def _show_next(done: Calibrated, screen: Console) -> None:
    from condyle.project.printer_file import next_coupon
    from condyle.workshop.calibration.sheet import CAUTIONS
    from condyle.workshop.fits import FIT_KINDS

    for r in done.found.fits:
        name = f"{r.family.replace('_', ' ')} {r.size_mm:g} mm"
        if r.proposal.pays:
            screen.print(f"Another ladder pays for {name}: {r.proposal.reason}.", markup=False, soft_wrap=True)
        else:
            screen.print(f"Enough printed for {name}: {r.proposal.reason}.", markup=False, soft_wrap=True)
    felt = {r.family for r in done.found.fits if r.fit.n > 0}
    if guessed := [k.replace("_", " ") for k in FIT_KINDS if k not in felt]:
        screen.print(
            f"Still guesses, as no ladder of them was felt: {', '.join(guessed)}.", markup=False, soft_wrap=True
        )
    if (best := next_coupon(done)) is not None:
        screen.print(
            f"Next, what tells most (± {best.half_now_mm:.3f} mm to about ± {best.half_then_mm:.3f} mm): condyle coupon --family "
            f"{best.family} --size {best.size_mm:g} --printer {done.path} --material {_card(best.material)} --out FOLDER",
            markup=False,
            soft_wrap=True,
        )
    screen.print(f'{done.path} holds all of it. In figure.toml: [workshop] printer = "{done.path.name}"', markup=False,
                 soft_wrap=True)  # fmt: skip
    screen.print(f"  ! {CAUTIONS[done.file.printer.process][-1]}", markup=False, soft_wrap=True)


def _card(material: str) -> str:
    """How a material is named on the command line: a starter card, or a file of the maker's."""
    from condyle.workshop.bench import starter_names

    return material if material in starter_names("materials") else f"{material}.toml"
