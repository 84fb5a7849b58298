"""What stands in the book, as values: the template only sets it. Numbers are words here, with their units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True)
class Verdicts:
    """One question of the proof: how many findings of each verdict, and the question in words."""

    question: str
    words: str
    fails: int
    cautions: int
    unknown: int
    passes: int


@dataclass(frozen=True)
class Trouble:
    """Findings of one check that ask for the maker's attention; ``subjects`` are the parts or joints they are about."""

    verdict: str
    subjects: str
    check: str
    measured: str
    wanted: str
    advice: str


@dataclass(frozen=True)
class Arc:
    """A range of motion: degrees from the sculpt's pose, wanted (None: nothing was) and reached (None: not measured); in
    words as printed, with the doubt."""

    motion: str
    wanted: tuple[float, float] | None
    reached: tuple[float, float] | None
    printed: str = ""


@dataclass(frozen=True)
class ReachDrawing:
    """A ball's reach by direction: middle of a sector, reach, and how far was searched, degrees; ``outer`` of the dial."""

    spokes: tuple[tuple[float, float, float], ...]
    outer: float


@dataclass(frozen=True)
class JointEntry:
    """A joint as the book shows it."""

    name: str
    kind: str
    size: str
    between: str
    built: bool
    rows: tuple[tuple[str, str], ...]
    arcs: tuple[Arc, ...]
    stopped_by: str
    reach: ReachDrawing | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class PartEntry:
    """A part: its number, its picture as it lies, and what is said of it."""

    number: str
    name: str
    picture: str
    rows: tuple[tuple[str, str], ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlateEntry:
    """One build: outlines (mm, plate coordinates) of what lies on it, by the parts' numbers and names in one, and its time and
    material in words."""

    name: str
    width_mm: float
    depth_mm: float
    outlines: tuple[tuple[str, tuple[tuple[tuple[float, float], ...], ...]], ...]
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class StepEntry:
    """One step of assembly with its drawing; ``arrow`` from and to, as shares of the drawing's width and height."""

    number: int
    title: str
    words: tuple[str, ...]
    picture: str
    arrow: tuple[tuple[float, float], tuple[float, float]] | None = None


@dataclass(frozen=True)
class Table:
    """A table under a heading."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True)
class Swatch:
    """A colour with its sRGB, 0 to 255, and how much of it there is."""

    name: str
    rgb: tuple[int, int, int]
    words: str


@dataclass(frozen=True)
class SafetyEntry:
    """Cautions of one kind of work, with where they come from."""

    work: str
    words: tuple[str, ...]
    source: str


@dataclass(frozen=True)
class Matter:
    """The whole book. Chapters without content are left out by the template.

    ``cautions`` are said where the work is: under ``plates``, ``assembly``, ``finishing``, ``masks``.
    """

    figure: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]
    cover: str
    apart: str
    verdicts: tuple[Verdicts, ...] = ()
    troubles: tuple[Trouble, ...] = ()
    more_troubles: int = 0
    joints: tuple[JointEntry, ...] = ()
    parts: tuple[PartEntry, ...] = ()
    part_words: str = ""
    plates: tuple[PlateEntry, ...] = ()
    finishing: tuple[Table, ...] = ()
    finish_words: tuple[str, ...] = ()
    schedule: tuple[Table, ...] = ()
    assembly: tuple[StepEntry, ...] = ()
    assembly_words: tuple[str, ...] = ()
    poses: tuple[Table, ...] = ()
    safety: tuple[SafetyEntry, ...] = ()
    record: tuple[Table, ...] = ()
    coupons: tuple[Table, ...] = ()
    swatches: tuple[Swatch, ...] = ()
    colour_map: str = ""
    colours: tuple[Table, ...] = ()
    masks: tuple[Table, ...] = ()
    mask_words: tuple[str, ...] = ()
    mask_picture: str = ""
    cost: tuple[Table, ...] = ()
    spares: tuple[Table, ...] = ()
    cautions: Mapping[str, str] = field(default_factory=dict)
    pictures: Mapping[str, bytes] = field(default_factory=dict)

    def data(self) -> dict[str, Any]:
        """All but the pictures, for the template."""
        out = asdict(self)
        del out["pictures"]
        return out
