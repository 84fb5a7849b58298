"""answers.toml: the sheet that lies beside a coupon. Read strictly; what is blank is not answered.

Nothing is taken in part: one bad answer refuses the whole sheet, with its line, so that a history never holds half of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationError

from condyle.errors import FigureFileError, Place
from condyle.units import GRAVITY_M_S2
from condyle.workshop.calibration.records import (
    Bent,
    Cure,
    Day,
    Feel,
    FrictionRecord,
    GaugeRecord,
    Grams,
    LadderRecord,
    Record,
    StepsRecord,
    Stood,
    StrainRecord,
    Support,
    WallsRecord,
    When,
    Words,
)
from condyle.workshop.card import Card
from condyle.workshop.fits import FitKind, _is_size
from condyle.workshop.toml_file import KeyPath, line_of, read_checked

INCH_MM = 25.4
LARGEST_OFF_MM = 1.0
"""A reading that differs more from what was drawn is taken for a slip."""

WHEN_KEYS: dict[str, When] = {
    "new": "new",
    "after_24_h": "after 24 h",
    "after_50_movements": "after 50 movements",
    "after_30_days": "after 30 days",
}

Blank = Literal[""]
Reading = Annotated[float, Field(ge=0.0)] | Blank


class PrintedSheet(Card):
    """``[printed]``: on what, of what, and how."""

    printer: Words
    material: Words
    supports: Support = "none"
    cure: Cure = ""


class LadderSheet(Card):
    build: Words
    drawn_mm: list[float]
    felt: dict[str, Feel | Blank] = Field(default_factory=dict)


class GaugeSheet(Card):
    holes: dict[str, Reading] = Field(default_factory=dict)
    shafts: dict[str, Reading] = Field(default_factory=dict)
    lengths: dict[str, Reading] = Field(default_factory=dict)


class StepsSheet(Card):
    heights: dict[str, Reading] = Field(default_factory=dict)
    width_mm: float
    foot: Reading = ""
    above: Reading = ""


class WallsSheet(Card):
    walls_mm: list[float]
    stood: dict[str, Stood | Blank] = Field(default_factory=dict)


class StrainSheet(Card):
    strain: list[float]
    bent: dict[str, Bent | Blank] = Field(default_factory=dict)


class HungSheet(Card):
    hole_mm: Reading = ""
    held_g: Grams | Blank = ""
    sank_g: Grams | Blank = ""


class BeamSheet(Card):
    """One socket of the friction beam, at the times that it was hung."""

    drawn_mm: float
    new: HungSheet = HungSheet()
    after_24_h: HungSheet = HungSheet()
    after_50_movements: HungSheet = HungSheet()
    after_30_days: HungSheet = HungSheet()


class FrictionSheet(Card):
    size_mm: float
    build: Words
    nmm_per_mm: Annotated[float, Field(gt=0.0)]
    own_nmm: float
    holes_mm: list[float] = Field(default_factory=list)
    sockets: dict[str, BeamSheet]


class Sheet(Card):
    """answers.toml, schema 1."""

    schema_: Literal[1] = Field(alias="schema")
    coupon: Words
    print_: Annotated[int, Field(ge=1, alias="print")] = 1
    date: Day | Blank = ""
    unit: Literal["mm", "inch"] = "mm"
    printed: PrintedSheet
    ladder: dict[FitKind, dict[Annotated[str, AfterValidator(_is_size)], LadderSheet]] = Field(default_factory=dict)
    gauge: GaugeSheet | None = None
    steps: StepsSheet | None = None
    walls: WallsSheet | None = None
    strain: dict[Literal["along", "across"], StrainSheet] = Field(default_factory=dict)
    friction: FrictionSheet | None = None


@dataclass(frozen=True)
class Answers:
    """What a sheet says: on which card or file it was printed, of what, and the records that were answered."""

    printer: str
    material: str
    records: tuple[Record, ...]


def parse_answers(text: str, file: str, today: str) -> Answers:
    """The records of a sheet, in mm, g and N·mm; ``today`` (YYYY-MM-DD) dates a sheet that says no day.

    Raises FigureFileError with file and line: ``toml.*`` for what the schema does not allow, ``calibration.unit`` for
    readings that can only be in another unit, ``calibration.reading`` for one too far from what was drawn,
    ``calibration.mark`` for a joint that the coupon does not have, ``calibration.drawn`` for a number of the coupon that it
    cannot have had, ``calibration.empty`` when nothing is answered.
    """
    sheet = read_checked(Sheet, text, file)
    reader = _Reader(sheet, text, file, sheet.date or today)
    try:
        records = tuple(reader.records())
    except ValidationError as error:
        raise _drawn_wrong(error, text, file) from error
    if not records:
        raise FigureFileError(
            "calibration.empty",
            "nothing is answered on this sheet",
            hint="fill in what you felt and read between the quotes; what you leave blank is not used",
            place=Place(file, line_of(text, ("printed",))),
        )
    return Answers(sheet.printed.printer, sheet.printed.material, records)


def material_name(card: str) -> str:
    """The name that a material goes by in a history: its card's, or that of the maker's own file."""
    return Path(card).stem if card.endswith(".toml") else card


def _drawn_wrong(error: ValidationError, text: str, file: str) -> FigureFileError:
    """What a coupon says of itself was changed into what no coupon has; answers were looked at before."""
    first = error.errors(include_url=False)[0]
    name = str(first["loc"][0]) if first["loc"] else ""
    lines = (n for n, line in enumerate(text.splitlines(), 1) if name and line.strip().startswith(name))
    told = f"{name}: {first['msg']}" if name else re.sub(r"^Value error, ", "", first["msg"])
    hint = "leave the coupon's own numbers as they were written; the sheet can be written again by condyle coupon"
    return FigureFileError("calibration.drawn", told, hint=hint, place=Place(file, next(lines, None)))


class _Reader:
    """Turns one checked sheet into records; every complaint knows its line."""

    def __init__(self, sheet: Sheet, text: str, file: str, date: str) -> None:
        self.sheet, self.text, self.file = sheet, text, file
        printed = sheet.printed
        self.common: dict[str, Any] = {
            "material": material_name(printed.material), "supports": printed.supports, "cure": printed.cure, "date": date,
            "coupon": sheet.coupon, "print": sheet.print_,
        }  # fmt: skip

    def records(self) -> Iterator[Record]:
        for family, sizes in self.sheet.ladder.items():
            for size, ladder in sizes.items():
                marks = self._marked(ladder.felt, len(ladder.drawn_mm), ("ladder", family, size, "felt"))
                if marks:
                    yield LadderRecord(
                        **self.common, build=ladder.build, family=family, size_mm=float(size),
                        drawn_mm=[ladder.drawn_mm[k] for k, _ in marks], felt=[f for _, f in marks],
                    )  # fmt: skip
        yield from self._gauges()
        if self.sheet.walls is not None:
            walls = self.sheet.walls
            stood = self._marked(walls.stood, len(walls.walls_mm), ("walls", "stood"))
            if stood:
                yield WallsRecord(
                    **self.common, walls_mm=[walls.walls_mm[k] for k, _ in stood], stood=[s for _, s in stood]
                )
        for way, tongues in self.sheet.strain.items():
            bent = self._marked(tongues.bent, len(tongues.strain), ("strain", way, "bent"))
            if bent:
                yield StrainRecord(
                    **self.common, way=way, strain=[tongues.strain[k] for k, _ in bent], bent=[b for _, b in bent]
                )
        yield from self._hung()

    def _gauges(self) -> Iterator[Record]:
        gauge, steps = self.sheet.gauge, self.sheet.steps
        if gauge is not None:
            read: dict[str, Any] = {
                f"{name}_mm": self._read(getattr(gauge, name), ("gauge", name))
                for name in ("holes", "shafts", "lengths")
            }
            if any(read.values()):
                yield GaugeRecord(**self.common, **read)
        if steps is not None:
            heights = self._read(steps.heights, ("steps", "heights"))
            foot, above = (
                None if value == "" else self._in_mm(float(value), steps.width_mm, ("steps", name))
                for name, value in (("foot", steps.foot), ("above", steps.above))
            )
            if (foot is None) != (above is None):
                raise self._no("calibration.missing", "foot and above are read together or not at all",
                               "read the width just above the plate and again at half height", ("steps", "foot"))  # fmt: skip
            if heights or foot is not None:
                yield StepsRecord(**self.common, heights_mm=heights, foot_mm=foot, above_mm=above)

    def _hung(self) -> Iterator[Record]:
        beam = self.sheet.friction
        if beam is None:
            return
        for mark, socket in beam.sockets.items():
            for key, when in WHEN_KEYS.items():
                hung: HungSheet = getattr(socket, key)
                where: KeyPath = ("friction", "sockets", mark, key)
                if hung.held_g == "" and hung.sank_g == "":
                    continue
                if hung.hole_mm == "":
                    raise self._no("calibration.missing", f"socket {mark}, {when}: in which hole did the mass hang?",
                                   "write hole_mm, the number beside the hole", (*where, "hole_mm"))  # fmt: skip
                if beam.holes_mm and float(hung.hole_mm) not in beam.holes_mm:
                    holes = ", ".join(f"{h:g}" for h in beam.holes_mm)
                    raise self._no("calibration.hole", f"socket {mark}, {when}: the arm has no hole at {hung.hole_mm:g} mm",
                                   f"its holes lie {holes} mm from the ball, whatever unit the readings are in",
                                   (*where, "hole_mm"))  # fmt: skip
                held, sank = (
                    None if grams == "" else beam.own_nmm + float(grams) * 1e-3 * GRAVITY_M_S2 * float(hung.hole_mm)
                    for grams in (hung.held_g, hung.sank_g)
                )
                if held is not None and sank is not None and held >= sank:
                    raise self._no("calibration.order", f"socket {mark}, {when}: the arm cannot sink under less than it held",
                                   "held_g is the largest mass that stayed up, sank_g the first that let it sink; where the arm "
                                   "alone sank, leave held_g blank and write 0 for sank_g",
                                   (*where, "held_g"))  # fmt: skip
                if hung.sank_g == 0.0:
                    held, sank = None, beam.own_nmm  # the arm alone was too heavy
                yield FrictionRecord(
                    **self.common, build=beam.build, size_mm=beam.size_mm, mark=mark, drawn_mm=socket.drawn_mm,
                    nmm_per_mm=beam.nmm_per_mm, when=when, held_nmm=None if held is None else round(held, 4),
                    sank_nmm=None if sank is None else round(sank, 4),
                )  # fmt: skip

    def _marked(self, given: Mapping[str, Any], count: int, path: KeyPath) -> list[tuple[int, Any]]:
        """Place (from 0) and answer of everything that is answered."""
        out: list[tuple[int, Any]] = []
        for mark, answer in given.items():
            if not (mark.isdigit() and 1 <= int(mark) <= count):
                raise self._no(
                    "calibration.mark", f"this coupon has no mark {mark}", f"marks run from 1 to {count}", (*path, mark)
                )
            if answer != "":
                out.append((int(mark) - 1, answer))
        return sorted(out, key=lambda pair: pair[0])

    def _read(self, given: dict[str, Reading], path: KeyPath) -> list[list[float]]:
        """Drawn and read, in mm."""
        out = []
        for drawn, value in given.items():
            try:
                nominal = float(drawn)
            except ValueError:
                raise self._no("calibration.mark", f"{drawn!r} is no drawn length", "leave the names of the lines as they are",
                               (*path, drawn)) from None  # fmt: skip
            if value != "":
                out.append([nominal, self._in_mm(float(value), nominal, (*path, drawn))])
        return out

    def _in_mm(self, value: float, drawn: float, path: KeyPath) -> float:
        """A reading in mm, refused where only another unit or a slip explains it."""
        inch = self.sheet.unit == "inch"
        read = value * INCH_MM if inch else value
        if abs(read - drawn) <= LARGEST_OFF_MM:
            return round(read, 4)
        other = value if inch else value * INCH_MM
        if abs(other - drawn) <= max(LARGEST_OFF_MM, 0.1 * drawn):
            found, said = ("mm", "inch") if inch else ("inch", "mm")
            raise self._no("calibration.unit", f"{value:g} for {drawn:g} mm can only be in {found}, but the sheet says {said}",
                           f'write unit = "{found}" at the top of the sheet if all readings are', path)  # fmt: skip
        raise self._no("calibration.reading", f"{value:g} was read where {drawn:g} mm was drawn",
                       "read it again; if it is really so, leave it blank and look at the print", path)  # fmt: skip

    def _no(self, code: str, message: str, hint: str, path: KeyPath) -> FigureFileError:
        return FigureFileError(code, message, hint=hint, place=Place(self.file, line_of(self.text, path)))
