"""The workshop of one figure: a printer, a material, the fits between parts, and the kerf between surfaces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from condyle.errors import FigureFileError, Place, UsageError
from condyle.workshop.card import Process
from condyle.workshop.fits import Fits, parse_fits
from condyle.workshop.material import Material, parse_material
from condyle.workshop.printer import Printer, parse_printer_file
from condyle.workshop.toml_file import parse_toml
from condyle.workshop.values import Measured

KERF_MM: dict[Process, float] = {"filament": 0.35, "resin": 0.30}
"""Default gap between the sculpt's surfaces at a cut.

It must stay open after printing and painting: two coats of 20 µm on each of the two faces close it by 0.08 mm, and the
seam of a filament print leaves blobs that ask for some 0.05 mm more. Our choice, not a published value.
"""


MOST_BYTES = 4_000_000


@dataclass(frozen=True)
class Workshop:
    """printer, material, fits, and ``kerf_mm``: the default gap that a cut leaves between the sculpt's surfaces."""

    printer: Printer
    material: Material
    fits: Fits
    kerf_mm: float


def starter_names(what: str) -> tuple[str, ...]:
    """Names of the starter cards, sorted; ``what`` is ``printers`` or ``materials``."""
    folder = resources.files("condyle.workshop") / "cards" / what
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))


def load_workshop(
    printer: str = "filament-200",
    material: str = "pla",
    fits_file: str | Path | None = None,
) -> Workshop:
    """The workshop for a printer and a material: each the name of a starter card or the path of a ``.toml`` file.

    Fits: the starter priors of the process, then those of the printer's file, then those of ``fits_file`` (a file of
    fits alone, or another printer's file of the same process). A fit that was measured in another material is only a
    prior. What coupons told of the material (friction, strain) comes from the same two files, over the material's card.

    Raises UsageError for an unknown name or a material that the printer cannot print, FigureFileError (file and line)
    for a file that cannot be read or says what it must not.
    """
    text, file = _card_text("printers", printer)
    own = parse_printer_file(text, _name_of(printer), file)
    machine = own.printer
    stuff = load_material(material)
    if stuff.process != machine.process:
        raise UsageError(
            "workshop.process",
            f"{stuff.name} is for {stuff.process} printers, and {machine.name} prints {machine.process}",
            hint=f"choose a {machine.process} material or a {stuff.process} printer",
        )
    fits = parse_fits(*_card_text("fits", machine.process)).overridden_by(own.fits.elsewhere(material=stuff.name))
    stuff = stuff.told(own.materials.get(stuff.name, {}))
    if fits_file is not None:
        felt, told = _fits_of(Path(fits_file), machine.process)
        fits = fits.overridden_by(felt.elsewhere(material=stuff.name))
        stuff = stuff.told(told.get(stuff.name, {}))
    return Workshop(machine, stuff, fits, KERF_MM[machine.process])


def load_material(material: str) -> Material:
    """A material by the name of a starter card or the path of a ``.toml`` file; raises as ``load_workshop``."""
    text, file = _card_text("materials", material)
    return parse_material(text, _name_of(material), file)


def card_text(what: str, name: str) -> str:
    """The text of a card: ``what`` is ``printers``, ``materials`` or ``fits``; raises as ``load_workshop``."""
    return _card_text(what, name)[0]


def starter_fits(process: Process) -> Fits:
    """The fits that a process starts with before any coupon: priors, all of them."""
    return parse_fits(*_card_text("fits", process))


def _fits_of(path: Path, process: Process) -> tuple[Fits, Mapping[str, Mapping[str, Measured]]]:
    """The fits of a file, and what it tells of materials: of a file of fits alone, or of another printer's file."""
    text = _file_text(path)
    if "process" not in parse_toml(text, str(path)):
        return parse_fits(text, str(path)), {}
    other = parse_printer_file(text, path.stem, str(path))
    if other.printer.process != process:
        raise FigureFileError(
            "workshop.process",
            f"these fits were measured on a {other.printer.process} printer and cannot serve a {process} printer",
            place=Place(str(path)),
        )
    return other.fits, other.materials


def _card_text(what: str, name: str) -> tuple[str, str]:
    """Text and display name of a starter card or of the maker's own file."""
    if name.endswith(".toml"):
        return _file_text(Path(name)), name
    if what != "fits" and name not in starter_names(what):
        raise UsageError(
            f"workshop.{what}",
            f"no starter card {name!r} among the {what}",
            hint=f"known: {', '.join(starter_names(what))}; or give the path of a .toml file",
        )
    card = resources.files("condyle.workshop") / "cards" / what / f"{name}.toml"
    return card.read_text(encoding="utf-8"), f"{name} (starter card)"


def _file_text(path: Path) -> str:
    try:
        if path.exists() and not path.is_file():  # a device or a pipe may never end
            raise OSError("this is no file")
        with path.open("rb") as source:
            data = source.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        hint = "check the path and the rights"
        raise FigureFileError(
            "toml.unreadable", f"cannot be read: {reason}", hint=hint, place=Place(str(path))
        ) from error
    if len(data) > MOST_BYTES:
        raise FigureFileError(
            "toml.too_long", f"more than {MOST_BYTES // 1_000_000} MB of text", place=Place(str(path))
        )
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        place = Place(str(path), data.count(b"\n", 0, error.start) + 1)
        raise FigureFileError("toml.encoding", "this file is not UTF-8 text", place=place) from error


def _name_of(card: str) -> str:
    return Path(card).stem if card.endswith(".toml") else card
