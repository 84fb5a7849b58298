"""One cut through the whole sculpt: all kerfs subtracted at once, and the components given to their bones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import ConvexHull

from condyle.figure.assign import Evidence, Hanging, evidence, hanging
from condyle.figure.cut import kerf_tool
from condyle.figure.plan import Half, Plan
from condyle.figure.skeleton import Skeleton
from condyle.finding import Finding, Point
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region, region_from_rings
from condyle.geometry.solid import Solid, extrude, remainder, subtract
from condyle.joints.stock import Stock


@dataclass(frozen=True, eq=False)
class Fallen:
    """The sculpt after the cut.

    flesh     by part name; part_of: part name by bone, and by ``JOINT_link``
    kerfs     the tools, in figure coordinates, by joint, of the joints that separate
    crumbs    components too small to print, dropped
    hanging   joints whose cut did not separate; their kerf was not cut
    """

    flesh: dict[str, Solid]
    part_of: dict[str, str]
    bone_of: dict[str, str]
    kerfs: dict[str, tuple[Solid, ...]]
    crumbs: tuple[Solid, ...]
    hanging: dict[str, Hanging]
    findings: tuple[Finding, ...] = field(default=())


def crumb_mm3(stock: Stock) -> float:
    """Below this volume a loose bit is no part: a cube of three line widths."""
    return (3.0 * stock.line_mm) ** 3


def fall_apart(sculpt: Solid, skeleton: Skeleton, plans: Sequence[Plan], stock: Stock) -> Fallen:
    """Cut all kerfs and give each component to the bone that runs through it.

    A joint whose cut does not separate its two sides is left out and the sculpt is cut again without it, so that no
    useless groove stays in the part.
    """
    left_out: dict[str, Hanging] = {}
    tools = {p.joint.name: [_tool(h, stock) for h in p.halves] for p in plans}
    spared = False
    while True:
        active = [p for p in plans if p.joint.name not in left_out]
        kerfs = {p.joint.name: tuple(tools[p.joint.name]) for p in active}
        pieces = subtract(sculpt, [t for ts in kerfs.values() for t in ts], "cut sculpt").components()
        found = [evidence(piece.mesh, active) for piece in pieces]
        stuck = _still_together(pieces, active, found)
        if stuck:
            left_out.update({h.joint: h for h in stuck})
            continue
        lost = [] if spared else _cut_off(pieces, found, active, stock)
        if not lost:
            break
        spared = True
        for piece, plan, k in lost:
            tools[plan.joint.name][k] = _sparing(tools[plan.joint.name][k], plan.halves[k], piece)
    return _named(pieces, found, skeleton, active, kerfs, left_out, stock)


def _cut_off(
    pieces: list[Solid], found: list[list[Evidence]], plans: Sequence[Plan], stock: Stock
) -> list[tuple[Solid, Plan, int]]:
    """Pieces worth keeping that a kerf cut off by the way, with the half whose kerf did it.

    A flange that meets a boot's toe, say: the toe is no part of the shin, and should stay with the foot.
    """
    largest: dict[tuple[str, str], int] = {}
    for k, marks in enumerate(found):
        for mark in marks:
            largest.setdefault((mark.joint, mark.side), k)
    out = []
    for k, (piece, marks) in enumerate(zip(pieces, found, strict=True)):
        owners = [m for m in marks if largest[(m.joint, m.side)] != k]
        if len(owners) != len(marks) or not marks or piece.volume_mm3 <= crumb_mm3(stock):
            continue
        mark = max(marks, key=lambda m: m.area_mm2)
        plan = next(p for p in plans if p.joint.name == mark.joint)
        sides = [k for k, h in enumerate(plan.halves) if mark.side in (h.cup_side, h.knuckle_side)]
        out.append((piece, plan, sides[0]))
    return out


def _sparing(tool: Solid, half: Half, piece: Solid) -> Solid:
    """A kerf that leaves alone what lies under a piece, so that the piece stays on the other side's flesh."""
    local = piece.transformed(half.frame.inverse)
    shadow = region_from_rings([_outline(local)]).offset(0.5)
    low, high = float(local.bounds[0, 2]) - 1.0, float(local.bounds[1, 2]) + 1.0
    depth = max(abs(low), abs(high), half.cut.cup_mm) + 1.0
    fence = extrude(shadow.rings(), 2 * depth).translated((0, 0, -depth)).transformed(half.frame.matrix)
    kept = remainder(tool, [fence])
    return tool if kept is None else kept


def _outline(piece: Solid) -> FloatArray:
    """The convex outline of a solid seen along z."""
    points = piece.mesh.vertices[:, :2]
    return np.asarray(points[ConvexHull(points).vertices])


def _still_together(pieces: list[Solid], plans: Sequence[Plan], found: list[list[Evidence]]) -> list[Hanging]:
    stuck = []
    for plan in plans:
        sides = {h.cup_side for h in plan.halves} | {h.knuckle_side for h in plan.halves}
        homes: dict[str, tuple[float, int]] = {}
        for k, marks in enumerate(found):
            for mark in marks:
                if mark.joint == plan.joint.name and mark.area_mm2 > homes.get(mark.side, (0.0, -1))[0]:
                    homes[mark.side] = (mark.area_mm2, k)
        owners = [home[1] for home in homes.values()]
        if len(homes) < len(sides) or len(set(owners)) < len(sides):
            where = max(owners, key=owners.count) if owners else 0
            stuck.append(hanging(pieces[where].mesh, plan))
    return stuck


def _named(
    pieces: list[Solid],
    found: list[list[Evidence]],
    skeleton: Skeleton,
    plans: Sequence[Plan],
    kerfs: dict[str, tuple[Solid, ...]],
    left_out: dict[str, Hanging],
    stock: Stock,
) -> Fallen:
    part_of = _merged(skeleton, plans)
    bone_of = {part_of[b.name]: part_of[b.name] for b in skeleton.bones}
    votes: list[dict[str, float]] = []
    for marks in found:
        tally: dict[str, float] = {}
        for mark in marks:
            plan = next(p for p in plans if p.joint.name == mark.joint)
            if mark.side == "link":
                name = f"{mark.joint}_link"
                bone_of[name] = plan.joint.spec.child
                part_of[name] = name
            else:
                name = part_of[getattr(plan.joint.spec, mark.side)]
            tally[name] = tally.get(name, 0.0) + mark.area_mm2
        votes.append(tally)
    flesh: dict[str, Solid] = {}
    findings: list[Finding] = []
    crumbs: list[Solid] = []
    root = part_of[skeleton.root.name]
    # Components come largest first, so the largest body that speaks for a bone is the bone's part.
    for piece, tally in zip(pieces, votes, strict=True):
        name = max(tally, key=lambda n: (tally[n], n)) if tally else (root if not plans else "")
        if name and name not in flesh:
            flesh[name] = piece
            continue
        crumbs.append(piece)
        if piece.volume_mm3 > crumb_mm3(stock):
            findings.append(_lost(piece, name or "sculpt", stock))
    if crumbs:
        total = sum(c.volume_mm3 for c in crumbs)
        findings.append(
            Finding("part.crumbs", "sculpt", "pass", measured=total, target=len(crumbs) * crumb_mm3(stock), unit="mm³")
        )
    ordered = {n: flesh[n] for n in _order(skeleton, plans, part_of) if n in flesh}
    return Fallen(ordered, part_of, bone_of, kerfs, tuple(crumbs), left_out, tuple(findings))


def _lost(piece: Solid, name: str, stock: Stock) -> Finding:
    middle = piece.bounds.mean(axis=0)
    place: Point = (float(middle[0]), float(middle[1]), float(middle[2]))
    return Finding(
        "part.falls_apart",
        name,
        "fail",
        measured=piece.volume_mm3,
        target=crumb_mm3(stock),
        unit="mm³",
        place=place,
        advice="the cuts leave this piece loose and it is dropped: move the joint, or make the piece one of its own",
    )


def _merged(skeleton: Skeleton, plans: Sequence[Plan]) -> dict[str, str]:
    """Part name by bone: bones whose joint is not built go with their parent."""
    built = {p.joint.spec.child for p in plans}
    parents = {b.name: b.parent for b in skeleton.bones}

    def top(bone: str) -> str:
        parent = parents[bone]
        return bone if bone in built or parent is None else top(parent)

    return {b.name: top(b.name) for b in skeleton.bones}


def _order(skeleton: Skeleton, plans: Sequence[Plan], part_of: dict[str, str]) -> list[str]:
    """Part names in the skeleton's order, links after their joint's parent."""
    names: list[str] = []
    for bone in skeleton.bones:
        if part_of[bone.name] not in names:
            names.append(part_of[bone.name])
    return names + [f"{p.joint.name}_link" for p in plans if len(p.halves) == 2]


def _tool(half: Half, stock: Stock) -> Solid:
    """The kerf of one half, in figure coordinates."""
    cut, seen = half.cut, half.prospect
    stations = seen.between(-cut.cup_mm, 0.0) if cut.radius_mm else [seen.at(0.0)]
    limbs = [s.limb for s in stations if s.limb is not None]
    if not limbs:
        raise AssertionError("a plan was made where there is no limb")
    others = [r for s in stations for r in s.others]
    rim = None
    if cut.radius_mm:
        top = seen.at(0.0)
        out = top.reach_mm if cut.shape == "sphere" else _depth(top.limb)
        rim = seen.at(-math.sqrt(max(cut.cup_mm**2 - min(out, 0.97 * cut.radius_mm) ** 2, 0.0))).limb
    tool = kerf_tool(cut, limbs, others, rim, stock.wall_mm)
    return tool.transformed(half.frame.matrix)


def _depth(limb: Region | None) -> float:
    return 0.0 if limb is None else float(np.abs(limb.bounds[:, 1]).max())
