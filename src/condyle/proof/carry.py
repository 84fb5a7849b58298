"""It holds, stands and lasts: every pose put down, every joint weighed, every section loaded, and the answers gathered."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from condyle.figure.kit import Kit
from condyle.figure.pose import Pose, forward
from condyle.figure.skeleton import Motion, Range
from condyle.figure.soles import Lump
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.joints.stock import stock_of
from condyle.proof.hold.capacity import Grip, HoldWanted, grips
from condyle.proof.hold.judge import JointHold, hold_findings, weakest, weakest_finding
from condyle.proof.hold.mend import Remedy, mend
from condyle.proof.hold.statics import Load, contact_points, held_loads, standing_loads
from condyle.proof.hold.worst import Reach, Worst, worst_reach
from condyle.proof.last.cross import Limb, Opinion, Sections, in_layers
from condyle.proof.last.judge import last_findings
from condyle.proof.last.loads import JointStrength, Loaded, Wanted, guarded, loaded
from condyle.proof.last.on_layers import strengths_of
from condyle.proof.last.scan import Scanner
from condyle.proof.last.second import Key, heard, key_of, opinions, worth_asking
from condyle.proof.mass import PartMass, part_masses
from condyle.proof.stand.ankles import Offer, offer
from condyle.proof.stand.judge import StandWanted, stand_findings
from condyle.proof.stand.standing import CONTACT_MM, Ground, Shaken, Standing, make_ground, put_down, shaken
from condyle.workshop.bench import Workshop
from condyle.workshop.recipe import Recipe


@dataclass(frozen=True)
class CarryAsked:
    """What is asked and given beyond the kit; every number can be changed.

    weighed_g  parts that were weighed
    layers     normal of each part's layers, figure coordinates; a part not named is built upright
    lumps      ballast and magnets in the parts
    """

    recipe: Recipe = field(default_factory=Recipe)
    hold: HoldWanted = field(default_factory=HoldWanted)
    stand: StandWanted = field(default_factory=StandWanted)
    last: Wanted = field(default_factory=Wanted)
    weighed_g: Mapping[str, float] = field(default_factory=dict)
    layers: Mapping[str, Point] = field(default_factory=dict)
    lumps: tuple[Lump, ...] = ()


@dataclass(frozen=True, eq=False)
class PoseCarried:
    """One pose: how it stands, what it asks of each joint, and what would make it stand."""

    standing: Standing
    loads: Mapping[str, Load]
    weakest_joint: str | None
    factor: float | None
    off: Shaken | None
    offered: Offer | None


@dataclass(frozen=True, eq=False)
class Carried:
    """All answers: findings in the order of the questions, and the measures behind them."""

    findings: tuple[Finding, ...]
    masses: Mapping[str, PartMass]
    poses: tuple[PoseCarried, ...]
    holds: Mapping[str, JointHold]
    strengths: Mapping[str, JointStrength]
    loads: tuple[Loaded, ...]


def carry(
    kit: Kit,
    workshop: Workshop,
    poses: Sequence[Pose],
    reach: Reach,
    asked: CarryAsked | None = None,
    skin: Bvh | None = None,
    sections: Sections | None = None,
    only: Collection[str] | None = None,
) -> Carried:
    """Mass, hold, stand and last of a kit in its poses.

    poses  none asks the sculpt's own pose alone
    reach  degrees by joint and motion, from the sculpt's own pose, where the search for the worst load may go
    skin   hierarchy of the clean sculpt, to tell which faces are coated
    sections  of the kit, where they were read off before
    only   joints that are asked after, where it is a trial: then nothing is told of standing nor of what else may mend
    """
    asked = asked or CarryAsked()
    masses = part_masses(kit, workshop, asked.recipe, skin, asked.weighed_g, asked.lumps)
    ground = make_ground(kit, masses)
    able = grips(kit, workshop, asked.hold)
    limits = _limits(kit, reach)
    whole = only is None

    def posed() -> list[PoseCarried]:
        return [_pose(ground, p, able, limits, asked, whole=whole) for p in (poses or [Pose("rest")])]

    # Poses and sections know nothing of each other, and half of a solve leaves the interpreter alone.
    with ThreadPoolExecutor(1) as pool:
        standing = pool.submit(posed)
        found, strengths, loads = _sections(kit, workshop, asked, ground, masses, able, sections, only)
        carried = standing.result()
    limbs = found.limbs
    worst = worst_reach(kit, masses, reach)
    holds = _holds(ground, carried, able, worst, workshop, asked, strengths, limbs, remedies=whole)

    joints = {j.name: j for j in kit.joints}
    least = weakest_finding(holds, joints, asked.hold)
    findings: list[Finding] = [_weight(masses), *([least] if least is not None else [])]
    for name, hold in holds.items():
        findings += hold_findings(hold, joints[name], strengths.get(name), asked.hold, limbs)
    for pose in carried if whole else ():
        findings += stand_findings(ground, pose.standing, pose.off, pose.offered, asked.stand)
    findings += last_findings(kit, strengths, loads, workshop, asked.last)
    return Carried(tuple(findings), masses, tuple(carried), holds, strengths, tuple(loads))


def _sections(
    kit: Kit,
    workshop: Workshop,
    asked: CarryAsked,
    ground: Ground,
    masses: Mapping[str, PartMass],
    able: Mapping[str, Grip],
    sections: Sections | None,
    only: Collection[str] | None,
) -> tuple[Sections, Mapping[str, JointStrength], Sequence[Loaded]]:
    """The sections of necks and limbs with the opinions on them, what each joint bears, and what it is asked."""
    found = sections or Scanner(kit, workshop, asked.recipe).sections()
    found = in_layers(found, kit, workshop, asked.layers)
    modulus = {p.name: (p.workshop or workshop).material.modulus_mpa.value for p in kit.parts}
    torque = {n: g.new.value for n, g in able.items()}
    told: dict[Key, Opinion | None] = {}
    while True:
        strengths = guarded(kit, ground.corners, strengths_of(kit, found), asked.last)
        loads = loaded(kit, ground.corners, masses, strengths, found.limbs, modulus, asked.last)
        doubtful = worth_asking(strengths, loads, asked.last, torque, asked.hold.grip_share)
        fresh = [c for c in doubtful if key_of(c) not in told and (only is None or c.joint in only)]
        if not fresh:
            return found, strengths, loads
        # A solve may put another section of the same joint first: then that one is asked too.
        said = opinions(fresh, kit, workshop)
        told.update({key_of(c): said.get(key_of(c)) for c in fresh})
        found = found.mapped(heard(told))


def _weight(masses: Mapping[str, PartMass]) -> Finding:
    """The figure's mass, told and not judged; unweighed parts of one spool err together, so their doubts add up."""
    grams = sum(m.printed.mass_g for m in masses.values())
    doubt = 100.0 * sum(m.sd_g for m in masses.values()) / grams
    return Finding(
        "hold.mass", "figure", "pass", round(grams, 2), unit=f"g as printed, ±{doubt:.0f} % until it is weighed"
    )


def _limits(kit: Kit, reach: Reach) -> dict[str, dict[Motion, Range]]:
    """The reach from the human zero, as poses count."""
    out: dict[str, dict[Motion, Range]] = {}
    for joint in kit.joints:
        rest = joint.seated.rest
        out[joint.name] = {
            m: (low + rest.get(m, 0.0), high + rest.get(m, 0.0)) for m, (low, high) in reach.get(joint.name, {}).items()
        }
    return out


def _pose(
    ground: Ground,
    pose: Pose,
    able: Mapping[str, Grip],
    limits: Mapping[str, Mapping[Motion, Range]],
    asked: CarryAsked,
    *,
    whole: bool,
) -> PoseCarried:
    standing = put_down(ground, pose)
    loads = _loads(ground, standing, able, asked.hold, ground.masses, bounds=whole)
    name, factor = weakest({n: x.nmm for n, x in loads.items()}, able)
    if not whole:
        return PoseCarried(standing, loads, name, factor, None, None)
    off = shaken(ground, standing, asked.stand.off_deg) if standing.stands else None
    short = standing.tip_deg < asked.stand.tip_deg or standing.margin_mm < asked.stand.margin_mm
    falls = off is not None and not off.standing.stands
    return PoseCarried(standing, loads, name, factor, off, offer(ground, pose, limits) if short or falls else None)


def _loads(
    ground: Ground,
    standing: Standing,
    able: Mapping[str, Grip],
    wanted: HoldWanted,
    masses: Mapping[str, PartMass],
    *,
    bounds: bool = True,
) -> dict[str, Load]:
    """Standing where it stands; else held by its root bone, as it was put down."""
    if not standing.stands:
        return held_loads(ground.kit, masses, forward(ground.kit, standing.pose))
    return standing_loads(
        ground.kit,
        masses,
        standing.placed,
        contact_points(ground.corners, standing.placed, CONTACT_MM),
        {n: g.new.value for n, g in able.items()},
        wanted.ground_friction,
        bounds=bounds,
    )


def _holds(
    ground: Ground,
    carried: Sequence[PoseCarried],
    able: Mapping[str, Grip],
    worst: Mapping[str, Worst],
    workshop: Workshop,
    asked: CarryAsked,
    strengths: Mapping[str, JointStrength],
    limbs: Sequence[Limb],
    *,
    remedies: bool,
) -> dict[str, JointHold]:
    """Each joint at the pose that loads it most, with remedies tried where it is short there or in its reach."""
    stock = stock_of(workshop)
    out: dict[str, JointHold] = {}
    for joint in ground.kit.joints:
        grip = able.get(joint.name)
        told = [(p.loads[joint.name].nmm, i) for i, p in enumerate(carried) if joint.name in p.loads]
        if grip is None or not told:
            continue
        most = max(told)[1]
        pose = carried[most]
        load = pose.loads[joint.name]
        found = worst.get(joint.name)
        judged = max(load.nmm, 0.5 * found.found_nmm if found else 0.0)
        mends: tuple[Remedy, ...] = ()
        # So much new that it is still enough when aged.
        kept = grip.aged.value / grip.new.value if grip.new.value > 0.0 else 1.0
        target = max(asked.hold.new_factor, asked.hold.aged_factor / max(kept, 0.05))
        if remedies and (
            grip.new.value < asked.hold.new_factor * load.nmm
            or grip.aged.value < asked.hold.aged_factor * load.nmm
            or (found is not None and grip.new.value < found.found_nmm)
        ):
            limb = _limb_mm(joint.name, strengths, limbs)
            lighter = _lighter(ground, pose.standing, able, asked, joint.name, judged / max(load.nmm, 1e-9))
            mends = tuple(
                mend(joint, grip.new.value, judged, target, stock, limb, lighter if _has_fill(ground) else None)
            )
        out[joint.name] = JointHold(
            joint.name,
            grip,
            load.nmm,
            load.low_nmm,
            load.high_nmm,
            pose.standing.pose.name,
            found,
            mends,
            target * judged,
        )
    return out


def _has_fill(ground: Ground) -> bool:
    return any(m.core is not None and m.inside > 0.06 for m in ground.masses.values())


def _lighter(
    ground: Ground, standing: Standing, able: Mapping[str, Grip], asked: CarryAsked, joint: str, scale: float
) -> Callable[[float], float]:
    """The load of one joint with all parts filled otherwise, the same pose weighed again."""

    def load(inside: float) -> float:
        masses = {
            n: PartMass(m.name, m.filled(inside), m.full_g, m.core, inside, m.sd_g) for n, m in ground.masses.items()
        }
        return scale * _loads(ground, standing, able, asked.hold, masses, bounds=False)[joint].nmm

    return load


def _limb_mm(joint: str, strengths: Mapping[str, JointStrength], limbs: Sequence[Limb]) -> float:
    """Inscribed radius of the limb around a joint, from the sections next to it."""
    near = [0.5 * limb.weakest.bar.thinnest_mm for limb in limbs if joint in (limb.joint, limb.beyond)]
    own = strengths.get(joint)
    return max([*near, 0.5 * own.twist.bar.thinnest_mm if own else 0.0, 1.0])
