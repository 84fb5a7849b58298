"""What the page is told, as models: the types of the front end are generated from these."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel

Stage = Literal["empty", "seated", "made"]
Triple = tuple[float, float, float]


class TroubleView(BaseModel):
    """An error: what, what to do, and where."""

    code: str
    message: str
    hint: str = ""
    place: str = ""


class FindingView(BaseModel):
    """A finding as in proof.json."""

    check: str
    subject: str
    verdict: Literal["pass", "caution", "fail", "unknown"]
    measured: float | None
    target: float | None
    unit: str
    place: Triple | None
    advice: str


class JointView(BaseModel):
    """A joint: where the figure file has it, and once the kit is made what was built and measured."""

    name: str
    kind: str
    parent: str
    child: str
    centre: Triple
    source: str
    size: float | None = None
    yields: str = "child"
    built: bool | None = None
    axes: dict[str, Triple] = {}
    wanted: dict[str, tuple[float, float]] = {}
    reached: dict[str, tuple[float, float]] = {}
    stopped_by: dict[str, str | None] = {}
    hold_nmm: float | None = None
    load_nmm: float | None = None


class PartView(BaseModel):
    """A part of the kit."""

    name: str
    bone: str
    file: str
    volume_mm3: float
    mass_g: float | None
    min_wall_mm: float | None


class PoseView(BaseModel):
    """A pose and what was proved of it."""

    name: str
    stands: bool | None
    tip_deg: float | None
    margin_mm: float | None
    weakest_joint: str | None


class BuildView(BaseModel):
    """One plate."""

    file: str
    parts: list[str]
    time_s: float | None
    material_g: float | None
    cost: float | None


class CardView(BaseModel):
    """A route card."""

    part: str
    state: str
    tries: int
    failures: int
    done: list[str]


class JobView(BaseModel):
    """The work that runs: its step, words on it, and how many seconds it has taken."""

    kind: str
    step: str
    words: str
    seconds: float


class LiveView(BaseModel):
    """What follows at once when a joint is moved.

    joints, parts  those that were cut and measured anew; measured: by joint, the questions that were asked again
    took_s         by joint, seconds from the move to the cut, and to each measure
    stamp          grows with every new look of the figure
    """

    joints: list[str]
    parts: list[str]
    measured: dict[str, list[str]]
    working: bool
    step: str
    seconds: float
    took_s: dict[str, dict[str, float]]
    stamp: int
    trouble: str


class State(BaseModel):
    """All that the page shows, in one piece.

    revision  of the figure file: every change names the one it was made on
    skeletons those that a new figure may have: templates, and skeleton files beside the figure file
    fresh     whether the kit is of this revision
    made      which kit it is: changes whenever one is made
    """

    revision: str
    stage: Stage
    name: str
    height_mm: float | None
    sculpt: str
    up: str | None
    facing: str | None
    skeleton: str
    skeletons: list[str]
    printer: str
    material: str
    fresh: bool
    made: str
    joints: list[JointView]
    parts: list[PartView]
    findings: list[FindingView]
    poses: list[PoseView]
    builds: list[BuildView]
    job: JobView | None
    live: LiveView | None
    trouble: TroubleView | None
    can_undo: bool
    can_redo: bool
    files: list[str]


class SectionView(BaseModel):
    """The limb cut square to a joint: outlines in the plane (mm about the centre), depth of flesh, and sizes."""

    outlines: list[list[tuple[float, float]]]
    right: Triple
    up: Triple
    depth_mm: float
