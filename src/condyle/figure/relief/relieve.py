"""Relief of a whole kit: joint by joint, within each joint's budget, with what it cost and what it gave.

A ball that ends in a flat flange first gets a round seat, where there is room for one (see dome.py). Then, where the
wanted motion still meets the other side, the side that yields gives way; of two that both yield, the round one first.
What falls off or would be thinner than a wall beside a cut goes too.

How far is asked: the first 15 degrees of each wanted end whole, and half of what lies beyond. (A choice, no source: the whole
range of a human joint costs a thick limb more flesh than its looks can bear.)
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from condyle.figure.kit import JointRelief, Part
from condyle.figure.parting.hardware import Hardware
from condyle.figure.relief.carve import (
    Budget,
    Carved,
    End,
    Room,
    Side,
    carve,
    field_of,
    free_ends,
    room_about,
    surface_of,
)
from condyle.figure.relief.dome import dome, fins
from condyle.figure.relief.keep import lip_tilt_deg
from condyle.figure.relief.motions import Course, courses
from condyle.figure.relief.through import through
from condyle.figure.relief.told import ENOUGH_DEG, findings_of
from condyle.figure.relief.wish import ReliefWish
from condyle.figure.skeleton import Motion, Range, SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.finding import Finding
from condyle.geometry.gridfield import Values
from condyle.geometry.locality import Locality
from condyle.geometry.solid import Solid, overlap, remainder, union
from condyle.joints.ball import BallShape
from condyle.joints.stock import Stock

WHOLE_DEG, SHARE = 15.0, 0.5
_DEPTH_OF_REACH, _VOLUME_OF_REACH3 = 0.6, 1.0
_MORE_MM = 0.1  # beyond the clearance that the proof of motion asks, which is half a kerf
_LARGEST_MM, _DOME_MORE_MM, _MORE_ROOM_MM = 20.0, 5.0, 2.5
_WIDE_MM = 0.5
_APART = 1.7  # centres of neighbours nearer than this many radii leave no room for a round seat


@dataclass(frozen=True, eq=False)
class Relieved:
    """The parts after relief, one record for each joint that was cut, findings, and loose bits that were dropped."""

    parts: tuple[Part, ...]
    records: tuple[JointRelief, ...]
    findings: tuple[Finding, ...]
    crumbs_mm3: float


def relieve(
    parts: Sequence[Part],
    sculpt: Solid,
    hardware: Sequence[Hardware],
    part_of: Mapping[str, str],
    wishes: Mapping[str, JointWish],
    stock: Stock,
) -> Relieved:
    """Take material away, or hand it over, until each joint moves as far as is asked or its budget allows.

    part_of  part name by bone and by ``JOINT_link``
    """
    work = _Work({p.name: p.solid for p in parts}, sculpt, hardware, part_of, stock)
    records, findings = [], []
    for h in hardware:
        name = h.plan.joint.name
        wish = wishes.get(name, JointWish())
        asked = wish.relief or ReliefWish()
        if not asked.allows or h.plan.kind not in ("ball", "hinge", "double_hinge"):
            continue
        record = _joint(work, h, asked, wish.yields or h.plan.joint.spec.yields)
        if record is not None:
            records.append(record)
            findings += findings_of(record, h.plan.joint)
    done = tuple(replace(p, solid=work.solids[p.name]) for p in parts)
    return Relieved(done, tuple(records), tuple(findings), work.crumbs_mm3)


def asked_range(joint: SeatedJoint) -> dict[Motion, Range]:
    """How far relief works, degrees from the sculpt's pose."""
    out: dict[Motion, Range] = {}
    for motion, (low, high) in joint.spec.wanted.items():
        rest = joint.rest.get(motion, 0.0)
        out[motion] = (-_asked(-(low - rest)), _asked(high - rest))
    return out


def _asked(bound: float) -> float:
    return min(bound, WHOLE_DEG) + SHARE * max(0.0, bound - WHOLE_DEG) if bound > 0.0 else 0.0


class _Work:
    """The parts as they stand, and how they change."""

    def __init__(
        self,
        solids: dict[str, Solid],
        sculpt: Solid,
        hardware: Sequence[Hardware],
        part_of: Mapping[str, str],
        stock: Stock,
    ) -> None:
        self.solids, self.sculpt, self.hardware, self.part_of, self.stock = solids, sculpt, hardware, part_of, stock
        self.crumbs_mm3 = 0.0
        self._skin: Locality | None = None

    @property
    def skin(self) -> Locality:
        if self._skin is None:
            self._skin = Locality(self.sculpt.mesh)
        return self._skin

    def beyond(self, part: str) -> list[str]:
        """A part and all that hang on it."""
        out, open_ = [], [part]
        while open_:
            name = open_.pop()
            if name in out or name not in self.solids:
                continue
            out.append(name)
            for h in self.hardware:
                spec = h.plan.joint.spec
                chain = [self.part_of[spec.parent], self.part_of[spec.child]]
                if len(h.placed) == 2:
                    chain.insert(1, f"{spec.name}_link")
                open_ += [b for a, b in pairwise(chain) if a == name]
        return out

    def cut(self, names: Sequence[str], tool: Solid) -> float:
        """Cut the tool from the parts; the volume that they lost, mm³. The largest body of each is kept."""
        lost = 0.0
        for name in names:
            solid = self.solids[name]
            if (tool.bounds[0] > solid.bounds[1]).any() or (tool.bounds[1] < solid.bounds[0]).any():
                continue
            rest = remainder(solid, [tool])
            if rest is None:
                continue
            first, *loose = rest.components()
            bits = sum(s.volume_mm3 for s in loose)
            self.crumbs_mm3 += bits
            lost += solid.volume_mm3 - first.volume_mm3
            self.solids[name] = first
        return lost

    def give(self, name: str, tool: Solid) -> float:
        """Give a part the sculpt's flesh inside the tool; the volume that it gained, mm³."""
        flesh = overlap(self.sculpt, tool)
        if flesh is None:
            return 0.0
        before = self.solids[name]
        grown, *_ = union([before, flesh], f"{name} with a round seat").components()
        self.solids[name] = grown
        return grown.volume_mm3 - before.volume_mm3


@dataclass
class _Tally:
    taken_mm3: float = 0.0
    handed_mm3: float = 0.0
    skin_mm2: float = 0.0


def _joint(work: _Work, h: Hardware, asked: ReliefWish, yields: str) -> JointRelief | None:
    joint, stock = h.plan.joint, work.stock
    reach = max(max(p.half.prospect.at(0.0).reach_mm, p.half.cut.radius_mm) for p in h.placed)
    depth = _DEPTH_OF_REACH * reach if asked.depth_mm is None else asked.depth_mm
    volume = _VOLUME_OF_REACH3 * reach**3 if asked.volume_mm3 is None else asked.volume_mm3
    kerf = h.placed[0].design.cut.kerf_mm
    budget = Budget(depth, volume, 0.5 * kerf + _MORE_MM)
    tilt, stud = lip_tilt_deg(h)
    wanted = asked_range(joint)
    tally = _Tally()
    before: dict[End, float] = {}
    after: dict[End, float] = {}
    aims: dict[End, float] = {}
    curve: dict[End, tuple[tuple[float, float], ...]] = {}
    rounded = False
    for which, names, share in _pairs(work, h):
        centres = [h.placed[i].half.frame.origin for i in which]
        seat = len(work.hardware) and _round_seat_fits(work, h, asked, yields, reach)
        radius = min(reach + (_DOME_MORE_MM if seat else _MORE_ROOM_MM), _LARGEST_MM)

        def room(centres=centres, names=names, radius=radius, which=which) -> Room:  # type: ignore[no-untyped-def]
            sides: dict[Side, list[Solid]] = {s: [work.solids[n] for n in v] for s, v in names.items()}
            return room_about(
                joint, [h.placed[i].half for i in which], centres, sides, work.hardware, asked.kept, stock, radius
            )

        scaled = {m: (a * share, b * share) for m, (a, b) in wanted.items()}
        ways = courses(joint, centres, radius, scaled, tilt, stud)
        if not ways:
            continue
        here = room()
        start = free_ends(here, ways, 0.5 * kerf + 0.02)
        aim = {(w.motion, w.sense): float(w.angles[-1]) for w in ways}
        end = dict(start)
        if _short(start, aim) and seat:
            rounded = _seat(work, h, here, ways, names, reach, tally, volume) or rounded
            here = room()
            end = free_ends(here, ways, budget.grown_mm)
        for side in _order(yields, h) if _short(end, aim) else ():
            left = replace(budget, volume_mm3=max(0.0, volume - tally.taken_mm3))
            carved = carve(here, ways, side, left)
            if carved is None:
                continue
            _cut(work, here, carved, names, tally)
            end = {k: max(end.get(k, 0.0), v) for k, v in carved.ends.items()}
            curve = curve or dict(carved.curve)
            if not _short(end, aim):
                break
        for key in aim:
            # Of the pairs of a double hinge the first to stop is the joint's stop.
            for store, values in ((before, start), (after, end), (aims, aim)):
                store[key] = min(store.get(key, math.inf), values[key] / share)
    if tally.taken_mm3 + tally.handed_mm3 <= 0.0:
        return None
    return JointRelief(
        joint=joint.name,
        taken_mm3=tally.taken_mm3,
        handed_mm3=tally.handed_mm3,
        skin_mm2=tally.skin_mm2,
        depth_mm=depth,
        budget_mm3=volume,
        rounded=rounded,
        before=_named(before),
        after=_named(after),
        asked=_named(aims),
        curve={_key(k): v for k, v in curve.items()},
    )


def _pairs(work: _Work, h: Hardware) -> list[tuple[tuple[int, ...], dict[Side, list[str]], float]]:
    """What moves against what: halves whose axes turn, part names by side, and the share of the turn between them."""
    spec = h.plan.joint.spec
    parent, child = work.part_of[spec.parent], work.part_of[spec.child]
    if len(h.placed) == 1:
        return [((0,), {"parent": [parent], "child": work.beyond(child)}, 1.0)]
    link = f"{spec.name}_link"
    return [
        ((0,), {"parent": [parent], "child": [link]}, 0.5),
        ((1,), {"parent": [link], "child": work.beyond(child)}, 0.5),
        ((0, 1), {"parent": [parent], "child": work.beyond(child)}, 1.0),
    ]


def _order(yields: str, h: Hardware) -> tuple[Side, ...]:
    if yields == "parent":
        return ("parent",)
    if yields == "child":
        return ("child",)
    return ("parent", "child") if h.placed[0].half.knuckle_side == "parent" else ("child", "parent")


def _short(ends: Mapping[End, float], aim: Mapping[End, float]) -> bool:
    return any(aim[k] - ends.get(k, 0.0) > ENOUGH_DEG for k in aim)


def _round_seat_fits(work: _Work, h: Hardware, asked: ReliefWish, yields: str, reach: float) -> bool:
    """Whether a flange may be made round: allowed, on a ball, on the side that yields, and away from other joints."""
    half = h.placed[0].half
    if not asked.refill or h.plan.wide_mm <= _WIDE_MM or not isinstance(half.shape, BallShape):
        return False
    if yields not in ("both", half.cup_side):
        return False
    spec = h.plan.joint.spec
    hollow = work.part_of[spec.parent if half.cup_side == "parent" else spec.child]
    for other in work.hardware:
        other_spec = other.plan.joint.spec
        if other is h or hollow not in (work.part_of[other_spec.parent], work.part_of[other_spec.child]):
            continue
        apart = min(float(np.linalg.norm(p.half.frame.origin - half.frame.origin)) for p in other.placed)
        if apart < _APART * reach:
            return False
    return reach + _DOME_MORE_MM <= _LARGEST_MM + 1.0


def _seat(
    work: _Work,
    h: Hardware,
    room: Room,
    ways: Sequence[Course],
    names: Mapping[Side, list[str]],
    reach: float,
    tally: _Tally,
    volume_mm3: float,
) -> bool:
    near = {n for v in names.values() for n in v}
    others = field_of([s for n, s in work.solids.items() if n not in near], room.grid, room.radius_mm)
    sculpt = field_of([work.sculpt], room.grid, room.radius_mm)
    made = dome(room, h, ways, reach + 0.1, work.stock.wall_mm, others, sculpt)
    if made is None:
        return False
    taken, given = surface_of(room, made.taken), surface_of(room, made.given)
    if taken is None or given is None:
        return False
    full: Side = "child" if made.hollow == "parent" else "parent"
    before, crumbs = dict(work.solids), work.crumbs_mm3
    lost = work.cut(names[made.hollow], taken)
    gained = work.give(names[full][0], given)
    if lost - gained > volume_mm3:
        # What the seat costs beyond what it hands over is more than may go.
        work.solids.update(before)
        work.crumbs_mm3 = crumbs
        return False
    tally.handed_mm3 += gained
    tally.taken_mm3 += max(0.0, lost - gained)
    tally.skin_mm2 += _skin_lost(work, room, np.maximum(made.taken, -made.given))
    return True


def _cut(work: _Work, room: Room, carved: Carved, names: Mapping[Side, list[str]], tally: _Tally) -> None:
    tool = np.minimum(carved.tool, fins(room, carved.side, carved.tool, work.stock.wall_mm))
    tool = through(tool, carved.flesh, room.grid.step_mm, work.stock.wall_mm)
    room.fields[carved.side] = np.maximum(room.fields[carved.side], -tool)
    solid = surface_of(room, tool)
    if solid is not None:
        tally.skin_mm2 += _skin_lost(work, room, tool, carved.side)
        tally.taken_mm3 += work.cut(names[carved.side], solid)


def _skin_lost(work: _Work, room: Room, tool: Values, side: Side | None = None) -> float:
    """Area of the sculpt's skin inside a tool, mm², by the middles of its triangles; of one side's part only, if given."""
    mesh = work.skin.near(np.mean(room.centres, axis=0), room.radius_mm)
    if not mesh.triangle_count:
        return 0.0
    middles = mesh.corners.mean(axis=1)
    inside = (middles >= room.grid.bounds[0]).all(axis=1) & (middles <= room.grid.bounds[1]).all(axis=1)
    lost = inside & (room.grid.at(tool, middles) < 0.0)
    if side is not None:
        lost &= room.grid.at(room.first[side], middles) < 0.3
    return float(mesh.areas[lost].sum())


def _key(end: End) -> str:
    return f"{end[0]}{'+' if end[1] > 0 else '-'}"


def _named(ends: Mapping[End, float]) -> dict[str, float]:
    return {_key(k): float(v) for k, v in ends.items()}
