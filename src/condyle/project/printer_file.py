"""The maker's own printer file on disk: what a sheet of answers adds to it, and what to print next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from condyle.errors import FigureFileError, InputError, Place, UsageError
from condyle.project.place import write_file
from condyle.workshop.bench import (
    Workshop,
    card_text,
    load_material,
    starter_fits,
    starter_names,
)
from condyle.workshop.calibration.answers import Answers, material_name, parse_answers
from condyle.workshop.calibration.calibrate import Calibration, calibrate, same_plate
from condyle.workshop.calibration.feel import feel_prior
from condyle.workshop.calibration.ordinal import outcomes
from condyle.workshop.calibration.own_file import started_from, with_results
from condyle.workshop.calibration.posterior import CLASSES, posterior
from condyle.workshop.calibration.propose import propose
from condyle.workshop.calibration.records import Record
from condyle.workshop.fits import FIT_KINDS, FitKind
from condyle.workshop.material import Material
from condyle.workshop.printer import PrinterFile, parse_printer_file

SHEET = "answers.toml"


@dataclass(frozen=True, eq=False)
class Calibrated:
    """What came of a sheet: the printer file (text, and where it was written), what was added, what it tells now."""

    path: Path
    file: PrinterFile
    found: Calibration
    added: tuple[Record, ...]
    notes: tuple[str, ...]
    begun_from: str


def sheet_path(given: Path) -> Path:
    """The sheet itself, also when its folder was named."""
    return given / SHEET if given.is_dir() else given


def read_text(path: Path) -> str:
    """The text of one of the maker's files; FigureFileError when it cannot be read."""
    return card_text("any", str(path)) if path.suffix == ".toml" else _not_toml(path)


def calibrate_file(answers: Path, into: Path, today: str) -> Calibrated:
    """Add a sheet's answers to a printer file (begun from the sheet's card when there is none) and renew what follows.

    The file is written last and whole: when anything is wrong, it stays as it was. Raises FigureFileError (file and line) for
    a sheet or a printer file that cannot be used, InputError for answers that contradict each other or what was drawn,
    UsageError when they do not belong together.
    """
    path = sheet_path(answers)
    told = parse_answers(read_text(path), str(path), today)
    begun_from = ""
    if into.exists():
        text = read_text(into)
    else:
        if into.suffix != ".toml":
            _not_toml(into)
        begun_from = told.printer
        if begun_from not in starter_names("printers"):
            raise UsageError("calibration.printer", f"there is no {into}, and {begun_from!r} is no starter card to begin it from",
                             hint="name your printer file with --into", place=Place(str(path)))  # fmt: skip
        text = started_from(card_text("printers", begun_from), begun_from, into.name)
    file = parse_printer_file(text, into.stem, str(into))
    materials = _materials([*file.history, *told.records], told, path)
    for name, card in materials.items():
        if card.process != file.printer.process:
            raise UsageError("workshop.process", f"{name} is for {card.process} printers, and {into} prints {file.printer.process}",
                             hint="give this sheet a printer file of its own with --into", place=Place(str(path)))  # fmt: skip
    added, notes = _news(file.history, told.records)
    try:
        found = _told(file, [*file.history, *added], materials)
    except InputError as error:
        if error.place.file is None:
            error.place = Place(str(path))
        raise
    if added:
        renewed = with_results(text, file, found, added)
        file = parse_printer_file(renewed, into.stem, str(into))
        write_file(into, renewed.encode("utf-8"))
    return Calibrated(into, file, found, tuple(added), tuple(notes), begun_from)


def proposed_ladder(
    printer: str, fits: Path | None, family: FitKind, size_mm: float, workshop: Workshop, count: int
) -> tuple[float, ...]:
    """Drawn clearances that tell most, from the history in the printer's file (or the fits' file) if there is one.

    A history in another material counts as far as the fit that the workshop took from it does.
    """
    for given in (None if fits is None else str(fits), printer if printer.endswith(".toml") else None):
        if given is None or "process" not in (text := read_text(Path(given))):
            continue
        file = parse_printer_file(text, Path(given).stem, given)
        mine = [r for r in file.history if r.material == workshop.material.name]
        found = _told(file, mine, {})
        for result in found.fits:
            if (result.family, result.size_mm) == (family, size_mm):
                return propose(result.posterior, count).drawn_mm
    fit = workshop.fits.get(family, size_mm)
    start = feel_prior(fit, workshop.printer.process)
    return propose(posterior(outcomes([], [], CLASSES), start), count).drawn_mm


@dataclass(frozen=True)
class NextCoupon:
    """The ladder that is expected to tell most: half the 90 % interval now, and after it (mm)."""

    family: FitKind
    size_mm: float
    material: str
    half_now_mm: float
    half_then_mm: float


def next_coupon(done: Calibrated) -> NextCoupon | None:
    """Of all that still pays, felt or not: the ladder that shortens an interval most. None when nothing pays.

    Families of which nothing was felt stand for all their sizes, at 6 mm.
    """
    found = [
        NextCoupon(r.family, r.size_mm, r.conditions.material, r.proposal.half_now_mm, r.proposal.half_then_mm)
        for r in done.found.fits
        if r.proposal.pays
    ]
    felt = {r.family for r in done.found.fits if r.fit.n > 0}
    process = done.file.printer.process
    starter = starter_fits(process).overridden_by(done.file.fits_before)
    material = (
        done.found.fits[-1].conditions.material
        if done.found.fits
        else ("pla" if process == "filament" else "resin-stiff")
    )
    for family in FIT_KINDS:
        if family not in felt:
            guess = propose(posterior(outcomes([], [], CLASSES), feel_prior(starter.get(family, 6.0), process)))
            found.append(NextCoupon(family, 6.0, material, guess.half_now_mm, guess.half_then_mm))
    return max(found, key=lambda c: c.half_now_mm - c.half_then_mm, default=None)


def _told(file: PrinterFile, history: Sequence[Record], materials: dict[str, Material]) -> Calibration:
    process = file.printer.process
    return calibrate(history, process, file.before, starter_fits(process).overridden_by(file.fits_before), materials)


def _news(history: Sequence[Record], records: Sequence[Record]) -> tuple[list[Record], list[str]]:
    """What the history does not hold yet, and what is to be said about the rest."""
    added: list[Record] = []
    notes: list[str] = []
    for record in records:
        earlier = [old for old in history if same_plate(old, record)]
        if earlier and earlier[-1].model_copy(update={"date": record.date}) == record:
            continue
        if earlier:
            notes.append(f"{record.what}: these answers replace those of {earlier[-1].date} for the same plate")
        added.append(record)
    if not added:
        notes.append("all of this is in the history already: nothing was added")
    return added, notes


def _materials(records: Sequence[Record], told: Answers, sheet: Path) -> dict[str, Material]:
    """The cards of all materials in the history; a file of the maker's is looked for beside the sheet."""
    cards: dict[str, Material] = {}
    for name in sorted({r.material for r in records}):
        if name == material_name(told.material) and told.material.endswith(".toml"):
            own = Path(told.material)
            cards[name] = load_material(str(own if own.exists() else sheet.parent / own))
        elif name in starter_names("materials"):
            cards[name] = load_material(name)
    return cards


def _not_toml(path: Path) -> str:
    raise FigureFileError("toml.name", "a file that ends in .toml is needed here", place=Place(str(path)))
