"""Does an order of assembly exist, with a free way for every part that is brought, measured on the finished solids?

A way is a straight move along the joint's own direction, out of the joint and on until the two groups are clear of each
other, from the sculpt's pose, found by conservative advancement: nothing is sampled in between. Where that is blocked and the
joint turns about this direction (a ball, a swivel), the limb is first turned about it, by up to 90° in steps of 15°, and then
drawn straight, as a bayonet is. Other ways, such as bending the limb's own joints, are not tried, so a kit that is found
locked may still go together: the finding says so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.finding import Finding, Point
from condyle.finish.assembly import Blocked, Mating, Order, find_order
from condyle.finish.softening import warm_words
from condyle.geometry import advance as adv
from condyle.geometry.gap import Rule
from condyle.geometry.mesh import FloatArray
from condyle.proof.bodies import FRINGE, Meeting, PartBody

HAND_N, SMALL_PART_N = 40.0, 20.0
"""What a hand pushes, and what it pushes on a part too small for a full grip: common practice, no source."""

SMALL_MM = 18.0


def remedy(material: str) -> str:
    """What helps where a hand cannot push it home."""
    return (
        f"more than a hand pushes: a wider fit or a slit socket; or {warm_words(material)}, never a flame: it scalds, and a "
        "warm joint grips less afterwards; a drop of dry or silicone lubricant only where no paint follows, and it takes from "
        "the hold: prove it with that friction"
    )


TURNS_DEG = tuple(float(s * t) for t in range(15, 91, 15) for s in (1, -1))
"""Turns that are tried about a joint's direction before it is drawn apart, the smallest first."""

_TURNING = ("ball", "swivel")
_RUB_MM = 0.01
_CLEAR_MM = 1.0


@dataclass(frozen=True)
class Assembly:
    """The order of assembly and what was found about it."""

    order: Order
    findings: tuple[Finding, ...]


def assembly(
    kit: Kit, bodies: Mapping[str, PartBody], meetings: Sequence[Meeting], material: str = "the material"
) -> Assembly:
    """Find the order in which the kit goes together. A kit of one part needs none; ``material`` is for the remedies."""
    matings = [_mating(m, material) for m in meetings if m.axle < len(m.joint.insertion)]
    trees = _trees([p.name for p in kit.parts], matings)
    of = {m.name: meeting for m, meeting in zip(matings, _with_way(meetings), strict=True)}
    orders = []
    for names in trees:
        inside = [m for m in matings if m.moves in names and m.stays in names]
        orders.append(find_order(names, inside, lambda m, brings, onto: _way(of[m.name], m, brings, onto, bodies)))
    order = Order(
        tuple(s for o in orders for s in o.steps),
        tuple(k for o in orders for k in o.locked),
        tuple(b for o in orders for b in o.blocked),
    )
    kinds = {m.name: meeting.joint.seated.spec.kind for m, meeting in zip(matings, _with_way(meetings), strict=True)}
    return Assembly(order, tuple(_locked(order, kinds)))


def _with_way(meetings: Sequence[Meeting]) -> list[Meeting]:
    return [m for m in meetings if m.axle < len(m.joint.insertion)]


def _mating(meeting: Meeting, material: str) -> Mating:
    joint = meeting.joint
    x, y, z = joint.insertion[meeting.axle]
    force = joint.insertion_n if not joint.pin_mm else None
    size = min(float(np.ptp(b.written.vertices, axis=0).max()) for b in (meeting.moves, meeting.stays))
    heavy = force is not None and force > (SMALL_PART_N if size < SMALL_MM else HAND_N)
    return Mating(
        joint=joint.name,
        axle=meeting.axle,
        moves=meeting.moves.name,
        stays=meeting.stays.name,
        direction=(x, y, z),
        force_n=force,
        remedy=remedy(material) if heavy else "",
        parts_again=_parts_again(joint),
    )


def _parts_again(joint: BuiltJoint) -> str:
    if joint.seated.spec.kind == "peg" and not joint.undercut_mm:
        return "not at all once it is glued"
    if joint.pin_mm is not None:
        return "push the pin out with a rod thinner than it"
    if joint.retention_n:
        return f"pull it straight off, about {joint.retention_n:.0f} N; not more often than needed, each time wears the lip"
    return "pull it straight off"


def _trees(names: Sequence[str], matings: Sequence[Mating]) -> list[list[str]]:
    """Parts that hang together, in the kit's order; each group is a tree as the skeleton is."""
    label = {name: n for n, name in enumerate(names)}
    for mating in matings:
        a, b = label[mating.moves], label[mating.stays]
        label = {name: min(a, b) if n in (a, b) else n for name, n in label.items()}
    return [[n for n in names if label[n] == k] for k in sorted(set(label.values()))]


def _way(
    meeting: Meeting, mating: Mating, brings: frozenset[str], onto: frozenset[str], bodies: Mapping[str, PartBody]
) -> Blocked | float:
    """By how much a group is turned before it can be drawn straight out of its joint; else what blocks the straight way."""
    away = -np.asarray(mating.direction, dtype=np.float64)
    groups = ([bodies[n] for n in sorted(brings)], [bodies[n] for n in sorted(onto)])
    straight = _drawn(meeting, mating, groups, np.eye(4), away)
    if straight is None:
        return 0.0
    if meeting.joint.seated.spec.kind in _TURNING:
        for deg in TURNS_DEG:
            # The parameter is the size of the turn, its sense the axis's.
            motion = adv.Turn(meeting.centre, -away * np.sign(deg))
            free = _stopped(meeting, mating, groups, motion, abs(deg)) is None
            if free and _drawn(meeting, mating, groups, motion.matrix(abs(deg)), away) is None:
                return deg
    return straight


_Groups = tuple[list[PartBody], list[PartBody]]


def _drawn(meeting: Meeting, mating: Mating, groups: _Groups, turn: FloatArray, away: FloatArray) -> Blocked | None:
    """What blocks the way straight out, of what has been turned, the nearest first; None where all of it is free."""
    far = _until_clear(away, turn, *groups)
    return _stopped(meeting, mating, groups, adv.Onward(adv.Shift(away), 0.0, turn), far)


def _stopped(meeting: Meeting, mating: Mating, groups: _Groups, motion: adv.Motion, far: float) -> Blocked | None:
    found: Blocked | None = None
    for moves in groups[0]:
        for stays in groups[1]:
            own = (moves.name, stays.name) == (mating.moves, mating.stays)
            if not own and not _boxes_meet(moves, stays, motion, far):
                continue
            stop = adv.advance(
                meeting.moved if own else moves.bare,
                meeting.still if own else stays.bare,
                motion,
                far if found is None else found.after_mm,
                clearance_mm=_RUB_MM,
                smallest_step=0.01,
                rule=Rule(skip_both=FRINGE) if own else Rule(),
            )
            if stop.blocked:
                found = Blocked(mating, (moves.name, stays.name), float(stop.reached), _point(stop.place))
    return found


def _until_clear(away: FloatArray, turn: FloatArray, moving: Sequence[PartBody], still: Sequence[PartBody]) -> float:
    """How far the turned group must go along a direction until a plane square to it parts the two."""
    hind = min(float(((b.written.vertices @ turn[:3, :3].T + turn[:3, 3]) @ away).min()) for b in moving)
    front = max(float((b.written.vertices @ away).max()) for b in still)
    return max(front - hind, 0.0) + _CLEAR_MM


def _boxes_meet(moves: PartBody, stays: PartBody, motion: adv.Motion, far: float) -> bool:
    """Whether the box about where a body begins and ends comes near the other's; a turn passes outside it, so it always may."""
    if isinstance(motion, adv.Turn):
        return True
    ends = []
    for at in (0.0, far):
        m = motion.matrix(at)
        placed = moves.written.vertices @ m[:3, :3].T + m[:3, 3]
        ends += [placed.min(axis=0), placed.max(axis=0)]
    low, high = np.min(ends, axis=0), np.max(ends, axis=0)
    other_low, other_high = stays.written.bounds
    return bool(np.all(low <= other_high + _CLEAR_MM) and np.all(high >= other_low - _CLEAR_MM))


def _locked(order: Order, kinds: Mapping[str, str]) -> list[Finding]:
    if order.exists:
        return [Finding("assemble.order", "kit", "pass", float(len(order.steps)), None, "steps")]
    out = []
    for group in order.locked:
        first = min((b for b in order.blocked if set(b.parts) <= set(group)), key=lambda b: -b.after_mm)
        a, b = first.parts
        turned = ", and turned by up to 90° as well" if kinds[first.mating.name] in _TURNING else ""
        out.append(
            Finding(
                "assemble.order",
                f"{first.mating.joint} {a}/{b}",
                "fail",
                first.after_mm,
                None,
                "mm",
                first.place,
                f"{', '.join(group)} do not come apart: at {first.mating.joint} {a} meets {b} after {first.after_mm:.1f} mm "
                f"of a straight way{turned}. Turn the cut, make the joint's way another, or part the sculpt there; "
                "bending the limb on the way was not tried",
            )
        )
    return out


def _point(p: FloatArray) -> Point:
    return (float(p[0]), float(p[1]), float(p[2]))
