"""What figure.toml may say: every table and key, its type and its bounds. Unknown keys are refused."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from condyle.project.carry_tables import HoldTable, LastTable, StandTable
from condyle.project.colour_model import ColourTable
from condyle.project.finish_model import FinishTable
from condyle.project.grip_model import GripTable
from condyle.project.motion_model import MotionTable
from condyle.project.part_model import PartTable
from condyle.project.piece_model import PieceTable
from condyle.project.pose_model import PoseTable

SCHEMA = 1
LOWEST_MM, TALLEST_MM = 20.0, 2000.0

SignedAxis = Literal["x", "y", "z", "+x", "+y", "+z", "-x", "-y", "-z"]
UnitName = Literal[
    "micron", "millimeter", "centimeter", "inch", "foot", "meter", "um", "mm", "cm", "in", "ft", "m",
]  # fmt: skip
Vector = Annotated[list[float], Field(min_length=3, max_length=3)]
Degrees = Annotated[float, Field(ge=-360.0, le=360.0)]
Span = Annotated[list[Degrees], Field(min_length=2, max_length=2)]
Text = Annotated[str, Field(min_length=1, max_length=200)]


Name = Annotated[
    str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]*$")
]
"""Text on one line that prints as it reads: no control characters and no marks that turn the direction of writing."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class FigureTable(_Table):
    """``[figure]``: which sculpt, how tall, and how the file lies."""

    name: Name
    sculpt: Text | None = None
    pieces: Annotated[list[Text], Field(min_length=1, max_length=200)] | None = None
    hash: Annotated[str, Field(pattern=r"^blake2b:[0-9a-f]{40}$")] | None = None
    height_mm: Annotated[float, Field(ge=LOWEST_MM, le=TALLEST_MM)]
    up: SignedAxis | None = None
    facing: SignedAxis | None = None
    unit: UnitName | None = None
    true_size: bool = False

    @model_validator(mode="after")
    def _one_source(self) -> FigureTable:
        if (self.sculpt is None) == (self.pieces is None):
            raise ValueError("[figure] needs either sculpt or pieces, and not both")
        return self

    @property
    def sources(self) -> tuple[str, ...]:
        """The sculpt's files, as written."""
        return (self.sculpt,) if self.sculpt is not None else tuple(self.pieces or ())


class SkeletonTable(_Table):
    """``[skeleton]``: a template that comes with Condyle, or a file of the maker's."""

    template: Text | None = None
    path: Text | None = None

    @model_validator(mode="after")
    def _one_source(self) -> SkeletonTable:
        if (self.template is None) == (self.path is None):
            raise ValueError("[skeleton] needs either template or path, and not both")
        return self


class WorkshopTable(_Table):
    """``[workshop]``: what prints it, and where attempts are recorded. Names of files stand beside the figure file."""

    printer: Text = "filament-200"
    material: Text = "pla"
    fits: Text | None = None
    record: Text = "record.sqlite"
    lines: Annotated[int, Field(ge=1, le=20)] = 3
    fill: Annotated[float, Field(ge=0.0, le=1.0)] = 0.15
    hollow_mm: Annotated[float, Field(ge=0.0, le=20.0)] = 0.0
    price_per_kg: Annotated[float, Field(ge=0.0, le=100_000.0)] | None = None


class Limits(_Table):
    """Degrees by motion."""

    flex: Span | None = None
    abduct: Span | None = None
    twist: Span | None = None

    @model_validator(mode="after")
    def _rising(self) -> Limits:
        for motion, span in self.spans.items():
            if span[0] > span[1]:
                raise ValueError(f"{motion} runs from {span[0]:g} down to {span[1]:g}; write the smaller angle first")
        return self

    @property
    def spans(self) -> dict[str, tuple[float, float]]:
        """The ranges that are given."""
        named = {"flex": self.flex, "abduct": self.abduct, "twist": self.twist}
        return {motion: (s[0], s[1]) for motion, s in named.items() if s is not None}


class Rest(_Table):
    """The angles in which the sculpt itself stands, degrees from the human zero."""

    flex: Degrees | None = None
    abduct: Degrees | None = None
    twist: Degrees | None = None

    @property
    def angles(self) -> dict[str, float]:
        named = {"flex": self.flex, "abduct": self.abduct, "twist": self.twist}
        return {motion: a for motion, a in named.items() if a is not None}


class KeepTable(_Table):
    """A region that relief leaves alone: a ball (centre, radius_mm) or an upright box (low, high)."""

    centre: Vector | None = None
    radius_mm: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    low: Vector | None = None
    high: Vector | None = None

    @model_validator(mode="after")
    def _one_form(self) -> KeepTable:
        ball = (self.centre is not None, self.radius_mm is not None)
        box = (self.low is not None, self.high is not None)
        if sorted((ball, box)) != [(False, False), (True, True)]:
            raise ValueError("a kept region is a ball (centre, radius_mm) or a box (low, high)")
        return self


class ReliefTable(_Table):
    """``[joints.NAME.relief]``: how much may be taken away for motion, and where nothing may."""

    depth_mm: Annotated[float, Field(ge=0.0, le=50.0)] | None = None
    volume_mm3: Annotated[float, Field(ge=0.0, le=100000.0)] | None = None
    refill: bool = True
    keep: Annotated[list[KeepTable], Field(max_length=50)] = []


class JointTable(_Table):
    """``[joints.NAME]``: where one joint lies, and what is asked of it over the skeleton."""

    source: Literal["seated", "hand", "skin"] = "hand"
    centre: Vector | None = None
    along: Vector | None = None
    axis: Vector | None = None
    cut: Vector | None = None
    rest: Rest | None = None
    sd_mm: Annotated[float, Field(ge=0.0, le=1000.0)] | None = None
    kind: Literal["ball", "hinge", "swivel", "double_hinge", "peg", "custom"] | None = None
    size: Annotated[float, Field(gt=0.0, le=200.0)] | None = None
    limits: Limits | None = None
    yields: Literal["parent", "child", "both"] | None = None
    convex: Literal["parent", "child"] | None = None
    seam_mm: Annotated[float, Field(ge=0.0, le=100.0)] | None = None
    flare_mm: Annotated[float, Field(ge=0.0, le=20.0)] | None = None
    kerf_mm: Annotated[float, Field(ge=0.0, le=10.0)] | None = None
    clearance_mm: Annotated[float, Field(ge=-1.0, le=5.0)] | None = None
    socket: Literal["plain", "slit", "split"] | None = None
    pin: Literal["printed", "filament", "metal"] | None = None
    detent_deg: Annotated[float, Field(ge=0.0, le=90.0)] | None = None
    relief: ReliefTable | None = None
    custom: Text | None = None
    insert: Literal["stud", "cup", "double_ball", "none"] | None = None
    stock: Text | None = None
    spares: Annotated[list[Text], Field(max_length=20)] = []


class BookTable(_Table):
    """``[book]``: the paper that it is printed on."""

    paper: Literal["a4", "us-letter"] = "a4"


class FigureFile(_Table):
    """The whole file."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    figure: FigureTable
    skeleton: SkeletonTable
    workshop: WorkshopTable = WorkshopTable()
    motion: MotionTable = MotionTable()
    joints: dict[str, JointTable] = {}
    parts: dict[str, PartTable] = {}
    pieces: dict[str, PieceTable] = {}
    grips: dict[str, GripTable] = {}
    poses: list[PoseTable] = []
    colours: Annotated[list[ColourTable], Field(max_length=200)] = []
    finish: FinishTable = FinishTable()
    book: BookTable = BookTable()
    hold: HoldTable = HoldTable()
    stand: StandTable = StandTable()
    last: LastTable = LastTable()
