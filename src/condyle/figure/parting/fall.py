"""One cut through the whole sculpt: all kerfs and cavities at once, and the components given to their bones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import count

import numpy as np
from scipy.spatial import ConvexHull

from condyle.figure.parting.assign import Evidence, Hanging, Kerf, area_mm2, evidence, hanging
from condyle.figure.parting.beside import followed
from condyle.figure.parting.blunt import blunted
from condyle.figure.parting.cut import kerf_tool
from condyle.figure.parting.hardware import Hardware, Placed
from condyle.figure.parting.plan import Half, Plan
from condyle.figure.skeleton import Skeleton
from condyle.finding import Finding, Point
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import Region, region_from_rings
from condyle.geometry.solid import Solid, extrude, remainder, subtract, union
from condyle.joints.stock import Stock


@dataclass(frozen=True, eq=False)
class Fallen:
    """The sculpt after the cut.

    flesh     by part name; part_of: part name by bone, and by ``JOINT_link``
    kerfs     the tools, in figure coordinates, by joint, of the joints that separate, and what was taken off thin rims
    cut_mm3   volume of all components together
    crumbs    components too small to print, dropped
    hanging   joints whose cut did not separate; their kerf was not cut
    """

    flesh: dict[str, Solid]
    part_of: dict[str, str]
    bone_of: dict[str, str]
    kerfs: dict[str, tuple[Solid, ...]]
    cut_mm3: float
    crumbs: tuple[Solid, ...]
    hanging: dict[str, Hanging]
    findings: tuple[Finding, ...] = field(default=())


_MARGIN_MM = 1.0
_COARSE_MM = 0.08  # less than any kerf: what separates on the coarse copy separates on the sculpt
_EDGE_MM = 4.0  # long slivers of a flange or a barrel make the cut through a fine sculpt slow
_PIECE_MM3 = 20.0  # a loose bit larger than this is missed on the figure; a smaller one is a rivet or a lug
_TOE_MM2 = 12.0  # what stands beside the limb and is smaller than this is cut with it
_BEYOND_MM = 1.5  # below the flange, where the cup's own flesh is told from what only touches it


def crumb_mm3(stock: Stock) -> float:
    """Below this volume a loose bit is no part: a cube of three line widths."""
    return (3.0 * stock.line_mm) ** 3


def fall_apart(sculpt: Solid, skeleton: Skeleton, hardware: Sequence[Hardware], stock: Stock) -> Fallen:
    """Cut all kerfs, cavities and bores at once, and give each component to the bone that runs through it.

    Cavities reach only into their own side's flesh, so they may be cut before it is known which body that is. A joint
    whose cut does not separate its two sides is left out, so that no useless groove stays in the part.
    """
    kerfs = [_kerf(h.plan, p.half, _with_hollow(_tool(p.half, stock), p), p.cavity) for h in hardware for p in h.placed]
    for h in hardware:
        for placed in h.placed:
            placed.half.prospect.site.release()
    left_out: dict[str, Hanging] = {}
    # Every further attempt leaves out at least one joint, so this ends.
    for attempt in count():
        cut = subtract(sculpt, [t for k in kerfs for t in k.tools], "cut sculpt")
        cut_mm3 = cut.volume_mm3
        pieces = cut.components()
        del cut  # as large as all its pieces together
        found = [evidence(piece, kerfs) for piece in pieces]
        stuck = _still_together(pieces, kerfs, found)
        if not stuck:
            stuck = _without_a_body(found, skeleton, kerfs)
        if not stuck and (attempt or not _cut_off(pieces, found, kerfs, stock)):
            break
        # Rarely: a joint does not separate, or something was cut off by the way. Mended on a coarse copy, then cut again.
        if attempt:
            left_out.update({h.joint: h for h in stuck})
            kerfs = [k for k in kerfs if k.plan.joint.name not in left_out]
        else:
            kerfs, left_out = _settled(sculpt.simplified(_COARSE_MM), kerfs, stock)
    return _named(pieces, found, skeleton, kerfs, left_out, stock, cut_mm3)


def _settled(coarse: Solid, kerfs: list[Kerf], stock: Stock) -> tuple[list[Kerf], dict[str, Hanging]]:
    """Kerfs that separate and that leave pieces of the other side's flesh where they are, and the joints left out."""
    left_out: dict[str, Hanging] = {}
    before: dict[str, list[Kerf]] | None = None
    while True:
        pieces = subtract(coarse, [t for k in kerfs for t in k.tools], "coarse cut").components()
        found = [evidence(piece, kerfs) for piece in pieces]
        stuck = _still_together(pieces, kerfs, found)
        if stuck:
            # A kerf that was made to spare something and no longer separates is put back as it was; where it is a neighbour
            # that no longer does, all of them are, before that neighbour is left out.
            kept = before or {}
            back = {h.joint for h in stuck if h.joint in kept} or set(kept)
            kerfs = [k for k in kerfs if k.plan.joint.name not in back] + [k for n in sorted(back) for k in kept.pop(n)]
            left_out.update({} if back else {h.joint: h for h in stuck})
            kerfs = [k for k in kerfs if k.plan.joint.name not in left_out]
            continue
        lost = _cut_off(pieces, found, kerfs, stock) if before is None else []
        if not lost:
            return kerfs, left_out
        guilty = {kerf.plan.joint.name for _, kerf in lost}
        before = {name: [k for k in kerfs if k.plan.joint.name == name] for name in guilty}
        for piece, kerf in lost:
            # By half, since one kerf may have cut off several pieces and has been replaced by then.
            i = next(i for i, other in enumerate(kerfs) if other.half is kerf.half)
            kerfs[i] = _kerf(kerf.plan, kerf.half, _sparing(kerfs[i].tool, kerf.half, piece), kerf.cavity)


def _kerf(plan: Plan, half: Half, tool: Solid, cavity: Solid | None) -> Kerf:
    own, mark = tool.marked()
    if cavity is None:
        return Kerf(plan, half, own, mark)
    return Kerf(plan, half, own, mark, *cavity.marked())


def _cut_off(
    pieces: list[Solid], found: list[list[Evidence]], kerfs: Sequence[Kerf], stock: Stock
) -> list[tuple[Solid, Kerf]]:
    """Pieces worth keeping that a kerf cut off by the way, with the kerf that did it.

    A flange that meets a boot's toe, say: the toe is no part of the shin, and should stay with the foot.
    """
    largest: dict[tuple[str, str], int] = {}
    widest: dict[tuple[str, str], tuple[float, int]] = {}
    for k, marks in enumerate(found):
        for mark in marks:
            side = (mark.joint, mark.side)
            largest.setdefault(side, k)
            widest[side] = max(widest.get(side, (0.0, k)), (mark.area_mm2, k), key=lambda w: w[0])
    # A neighbour that a flange grazes may be larger than the side itself, which has more of the cut's face.
    homes = set(largest.values()) | {k for _, k in widest.values()}
    out = []
    for k, (piece, marks) in enumerate(zip(pieces, found, strict=True)):
        if not marks or piece.volume_mm3 <= crumb_mm3(stock) or k in homes:
            continue
        by_mark = piece.faces_from([q.mark for q in kerfs])
        if by_mark:
            most = max(by_mark, key=lambda m: (area_mm2(piece.mesh, by_mark[m]), m))
            out.append((piece, next(q for q in kerfs if q.mark == most)))
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


def _still_together(pieces: list[Solid], kerfs: Sequence[Kerf], found: list[list[Evidence]]) -> list[Hanging]:
    """Joints whose sides do not each have a body of their own."""
    stuck: dict[str, Hanging] = {}
    for kerf in kerfs:
        name = kerf.plan.joint.name
        homes: dict[str, tuple[float, int]] = {}
        for k, marks in enumerate(found):
            for mark in marks:
                sides = (kerf.half.cup_side, kerf.half.knuckle_side)
                if mark.joint == name and mark.side in sides and mark.area_mm2 > homes.get(mark.side, (0.0, -1))[0]:
                    homes[mark.side] = (mark.area_mm2, k)
        owners = [home[1] for home in homes.values()]
        if len(set(owners)) < 2 and name not in stuck:
            stuck[name] = hanging(pieces[owners[0] if owners else 0], kerf)
    return list(stuck.values())


def _without_a_body(found: list[list[Evidence]], skeleton: Skeleton, kerfs: Sequence[Kerf]) -> list[Hanging]:
    """Joints whose child or link has no component of its own, because another bone has the better claim to it."""
    names = _names_of(found, skeleton, kerfs)
    out: list[Hanging] = []
    for kerf in kerfs:
        spec = kerf.plan.joint.spec
        link = [f"{spec.name}_link"] if len(kerf.plan.halves) == 2 else []
        if any(n not in names for n in (spec.child, *link)) and all(h.joint != spec.name for h in out):
            x, y, z = (float(v) for v in kerf.half.frame.origin)
            out.append(Hanging(spec.name, (x, y, z)))
    return out


def _names_of(found: list[list[Evidence]], skeleton: Skeleton, kerfs: Sequence[Kerf]) -> list[str]:
    """The part name of each component, largest first; empty for those that speak for no bone of their own."""
    plans = list({k.plan.joint.name: k.plan for k in kerfs}.values())
    part_of = merged(skeleton, plans)
    names: list[str] = []
    for marks in found:
        tally: dict[str, float] = {}
        for mark in marks:
            spec = next(p for p in plans if p.joint.name == mark.joint).joint.spec
            name = f"{mark.joint}_link" if mark.side == "link" else part_of[getattr(spec, mark.side)]
            tally[name] = tally.get(name, 0.0) + mark.area_mm2
        best = max(tally, key=lambda n: (tally[n], n)) if tally else ""
        if not plans and not names:
            best = part_of[skeleton.root.name]
        names.append(best if best not in names else "")
    return names


def _named(
    pieces: list[Solid],
    found: list[list[Evidence]],
    skeleton: Skeleton,
    kerfs: Sequence[Kerf],
    left_out: dict[str, Hanging],
    stock: Stock,
    cut_mm3: float,
) -> Fallen:
    plans = list({k.plan.joint.name: k.plan for k in kerfs}.values())
    part_of = merged(skeleton, plans)
    bone_of = {part_of[b.name]: part_of[b.name] for b in skeleton.bones}
    for plan in plans:
        if len(plan.halves) == 2:
            link = f"{plan.joint.name}_link"
            part_of[link], bone_of[link] = link, plan.joint.spec.child
    flesh: dict[str, Solid] = {}
    findings: list[Finding] = []
    crumbs: list[Solid] = []
    for piece, name in zip(pieces, _names_of(found, skeleton, kerfs), strict=True):
        if name:
            flesh[name] = piece
            continue
        crumbs.append(piece)
        if piece.volume_mm3 > crumb_mm3(stock):
            findings.append(_lost(piece, stock))
    if crumbs:
        small = [c.volume_mm3 for c in crumbs if c.volume_mm3 <= crumb_mm3(stock)]
        # Larger pieces have findings of their own.
        findings.append(
            Finding(
                "part.crumbs", "sculpt", "pass", measured=sum(small), target=len(small) * crumb_mm3(stock), unit="mm³"
            )
        )
    ordered = {n: flesh[n] for n in _order(skeleton, plans, part_of) if n in flesh}
    tools = {p.joint.name: tuple(k.tool for k in kerfs if k.plan is p) for p in plans}
    cuts = {k.mark: k.plan.joint.name for k in kerfs}
    cavities = [k.cavity_mark for k in kerfs if k.cavity is not None]
    rims: dict[str, list[Solid]] = {}
    for name, found_there in zip(ordered, blunted(list(ordered.values()), cuts, cavities, stock), strict=True):
        ordered[name] = found_there.flesh
        for joint, taken in found_there.taken.items():
            rims.setdefault(joint, []).extend(taken)
    # What was taken off the rims belongs to the kerf from here on.
    for joint, chips in rims.items():
        tools[joint] = (*tools[joint], *chips)
        volume = sum(c.volume_mm3 for c in chips)
        cut_mm3 -= volume
        findings.append(Finding("part.rims", joint, "pass", measured=volume, unit="mm³"))
    return Fallen(ordered, part_of, bone_of, tools, cut_mm3, tuple(crumbs), left_out, tuple(findings))


def _lost(piece: Solid, stock: Stock) -> Finding:
    middle = piece.bounds.mean(axis=0)
    place: Point = (float(middle[0]), float(middle[1]), float(middle[2]))
    return Finding(
        "part.falls_apart",
        "sculpt",
        "fail" if piece.volume_mm3 > _PIECE_MM3 else "caution",
        measured=piece.volume_mm3,
        target=crumb_mm3(stock),
        unit="mm³",
        place=place,
        advice="the cuts leave this piece loose and it is dropped: move the joint, or make the piece one of its own",
    )


def merged(skeleton: Skeleton, plans: Sequence[Plan]) -> dict[str, str]:
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
    downwards, others = followed(stations[::-1])
    limbs = downwards[::-1]
    if not limbs:
        raise AssertionError("a plan was made where there is no limb")
    rim = None
    if cut.radius_mm:
        top = seen.at(0.0)
        out = top.reach_mm if cut.shape == "sphere" else _depth(top.limb)
        rim = seen.at(-math.sqrt(max(cut.cup_mm**2 - min(out, 0.97 * cut.radius_mm) ** 2, 0.0))).limb
    level = seen.at(-cut.kerf_mm - _BEYOND_MM)
    own = level.limb.offset(_MARGIN_MM) if level.limb is not None else None
    beside = [r if own is None else r - own for r in level.others if r.area_mm2 > _TOE_MM2]
    tool = kerf_tool(cut, limbs, others, [r for r in beside if not r.empty], rim, stock.wall_mm)
    return tool.subdivided(_EDGE_MM).transformed(half.frame.matrix)


def _with_hollow(tool: Solid, placed: Placed) -> Solid:
    """The kerf together with what the cup loses, whose walls speak for no side."""
    return tool if placed.hollow is None else union([tool, placed.hollow], "kerf and hollow")


def _depth(limb: Region | None) -> float:
    return 0.0 if limb is None else float(np.abs(limb.bounds[:, 1]).max())
