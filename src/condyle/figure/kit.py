"""What parting makes: parts, joints as built, and the balance of volume. The proofs read these."""

from __future__ import annotations

from dataclasses import dataclass, field

from condyle.figure.skeleton import SeatedJoint
from condyle.finding import Finding, Point
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid
from condyle.joints.detent import Detent
from condyle.workshop.bench import Workshop
from condyle.workshop.fits import Fit


@dataclass(frozen=True)
class Mark:
    """Letters engraved in a part: their middle on its face, the unit way out of it, and the radius about them (mm)."""

    place: Point
    out: Point
    reach_mm: float


@dataclass(frozen=True, eq=False)
class Part:
    """A printed body: named by its bone, or ``JOINT_link`` for the middle of a double hinge (bone = the joint's child),
    ``JOINT_stud`` or ``JOINT_cup`` for an insert (bone = that of its host).

    workshop  its own printer and material, where they are not the figure's
    build_up  the direction (figure coordinates) that points up on the build plate, where it is asked for
    mark      its name or number, where it is engraved
    """

    name: str
    bone: str
    solid: Solid
    workshop: Workshop | None = None
    build_up: Point | None = None
    mark: Mark | None = None

    @property
    def mesh(self) -> Mesh:
        return self.solid.mesh


@dataclass(frozen=True, eq=False)
class Axle:
    """One axis of motion of a built joint as the figure moves: child side turns, parent side stays.

    ``moves`` and ``stays`` are part names: a double hinge has two axles, parent/link and link/child.
    """

    moves: str
    stays: str
    centre: Point


@dataclass(frozen=True)
class Pin:
    """A loose pin: its diameter and the ends of its axis (figure coordinates), the blind one first."""

    diameter_mm: float
    blind: Point
    mouth: Point


@dataclass(frozen=True, eq=False)
class BuiltJoint:
    """A joint as it was built, or refused (``built`` False, with the finding that says why among ``findings``).

    bearing    solids (figure coordinates) that enclose the bearing faces only: triangles wholly inside them are where
               touching is by design; everything outside them must stay free
    insertion  unit direction (figure coordinates) in which the moving side's hardware is pushed home, for each axle
    travel_mm  how far it travels from free to seated
    undercut_mm radial depth of the lip that holds it, 0 for pinned joints
    stiffness_n_mm  radial force over radial deflection of what flexes, all fingers together; 0 where nothing flexes
    pins       the loose pins where they sit when pushed home, one for each axle that has one
    detents    of a hinge that clicks, one for each axle
    fit        what is known of its clearance as its parts will lie on the plate; None: what the workshop knows of its size
    """

    seated: SeatedJoint
    built: bool
    size_mm: float | None = None
    clearance_mm: float | None = None
    kerf_mm: float | None = None
    bearing_mm2: float | None = None
    undercut_mm: float = 0.0
    stiffness_n_mm: float = 0.0
    snap_strain: float | None = None
    insertion_n: float | None = None
    retention_n: float | None = None
    hold_nmm: float | None = None
    axles: tuple[Axle, ...] = ()
    insertion: tuple[Point, ...] = ()
    travel_mm: float = 0.0
    bearing: tuple[Solid, ...] = ()
    pin_mm: tuple[float, float] | None = None
    findings: tuple[Finding, ...] = ()
    pins: tuple[Pin, ...] = ()
    detents: tuple[Detent, ...] = ()
    fit: Fit | None = None

    @property
    def name(self) -> str:
        return self.seated.name


@dataclass(frozen=True)
class Balance:
    """The design's balance of volume, mm³: parts + voids + crumbs = sculpt + outside, interference counted once.

    voids    kerf, cavities and relief inside the sculpt's skin and not filled by hardware; read off the cut body
    outside  hardware and flare beyond the sculpt's skin
    """

    sculpt_mm3: float
    parts_mm3: float
    voids_mm3: float
    crumbs_mm3: float
    outside_mm3: float

    @property
    def residual_mm3(self) -> float:
        return self.parts_mm3 + self.voids_mm3 + self.crumbs_mm3 - self.sculpt_mm3 - self.outside_mm3


@dataclass(frozen=True)
class JointRelief:
    """What relief did at one joint. Ends by name, such as ``flex+``: degrees from the sculpt's pose, without sign.

    taken_mm3   lost to the figure; handed_mm3 went from one side to the other
    skin_mm2    of the sculpt's visible surface that is gone
    depth_mm, budget_mm3  what was allowed
    rounded     whether a flat flange was made round
    before, after, asked  how far each end came without relief, comes with it, and was asked to come
    curve       for each end: degrees (with sign) and the mm³ that this end alone takes to come there
    """

    joint: str
    taken_mm3: float
    handed_mm3: float
    skin_mm2: float
    depth_mm: float
    budget_mm3: float
    rounded: bool
    before: dict[str, float]
    after: dict[str, float]
    asked: dict[str, float]
    curve: dict[str, tuple[tuple[float, float], ...]]

    @property
    def gained_deg(self) -> float:
        """Degrees gained, all ends together."""
        return sum(max(0.0, self.after[k] - self.before[k]) for k in self.after)


@dataclass(frozen=True, eq=False)
class Kit:
    """All parts of a figure, the joints between them, what parting found, and the volume ledger."""

    parts: tuple[Part, ...]
    joints: tuple[BuiltJoint, ...]
    balance: Balance
    findings: tuple[Finding, ...] = field(default=())
    reliefs: tuple[JointRelief, ...] = ()

    def part(self, name: str) -> Part:
        return next(p for p in self.parts if p.name == name)
