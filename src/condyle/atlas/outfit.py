"""What is put on parts after the cut: inserts, pieces and grips; and put on again where a part is cut anew.

All of them are fitted to finished parts, so a moved joint is cut in a kit without them, the bare one, and they are fitted
again to those parts that came out of that cut, and to whatever shares a piece with these.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.kit import Axle, BuiltJoint, Kit, Part
from condyle.figure.parting.hardware import Hardware
from condyle.figure.parting.inserts import host_bone, with_inserts
from condyle.figure.pieces import Piece
from condyle.figure.pieces.grip import Grip
from condyle.figure.wishes import JointWish
from condyle.finding import Finding
from condyle.geometry.mesh import in_order
from condyle.joints.stock import Stock
from condyle.project.grip_step import grip_all
from condyle.project.piece_step import seat_all
from condyle.workshop.bench import Workshop

_BESIDE_MM = 3.0  # how near a piece may come to a part that it takes from: its kerf and what its stud stands out


@dataclass(frozen=True, eq=False)
class Outfit:
    """The pieces of a figure, apart from its fused ones, and what its hands hold."""

    pieces: tuple[Piece, ...]
    grips: tuple[Grip, ...]


@dataclass(frozen=True, eq=False)
class Fitted:
    """A kit with its outfit on.

    anew   names of the parts that are new or came out otherwise; gone: of those that are no more
    also   joints of inserts and pieces that were fitted again
    findings  of inserts, pieces and grips that were fitted again; of: names of those pieces and hands
    """

    kit: Kit
    anew: tuple[str, ...]
    gone: tuple[str, ...]
    also: tuple[str, ...]
    findings: tuple[Finding, ...]
    of: tuple[str, ...]


def fitted_again(
    outfit: Outfit,
    before: Kit,
    was: Kit,
    bare: Kit,
    cut: Collection[str],
    moved: str,
    hardware: Sequence[Hardware],
    part_of: Mapping[str, str],
    wishes: Mapping[str, JointWish],
    workshop: Workshop,
    stock: Stock,
) -> Fitted:
    """The kit with its outfit after some parts of it were ``cut`` anew at a ``moved`` joint.

    ``before`` is the kit with its outfit on before that, ``was`` the bare one then, and ``bare`` the one now.
    """
    names, pieces = _beside(outfit, bare, cut)
    hosts = {h.plan.joint.name: part_of.get(host_bone(h, wishes) or "") for h in hardware}
    again = [h for h in hardware if h.plan.joint.name == moved or hosts[h.plan.joint.name] in names]
    some = replace(bare, parts=tuple(p for p in bare.parts if p.name in names), findings=())
    some = with_inserts(some, again, wishes, workshop.fits, stock)
    grips = tuple(g for g in outfit.grips if g.part in {p.name for p in some.parts} | {p.name for p in pieces})
    some = grip_all(seat_all(some, pieces, workshop), grips, workshop)

    renewed = {h.plan.joint.name for h in again} | {moved}
    joints = _joints(before, was, bare, some, renewed, {f"{p.name}_seat" for p in pieces})
    old, new = {p.name: p for p in before.parts}, {p.name: p for p in some.parts}
    left = {n for j in joints for a in j.axles for n in (a.moves, a.stays)}
    bodies = {p.name for p in bare.parts} | {p.name for p in outfit.pieces if p not in pieces}
    parts: dict[str, Part] = {}
    anew = []
    for name in dict.fromkeys([*(p.name for p in bare.parts), *old, *new]):
        if name not in new and (name not in old or name not in bodies | left):
            continue
        one = new.get(name)
        if one is not None and (name in cut or name not in old or not _same(old[name], one)):
            parts[name] = replace(one, workshop=old[name].workshop) if name in old else one
            anew.append(name)
        else:
            parts[name] = old[name]
    kit = replace(before, parts=tuple(parts.values()), joints=joints)
    extra = tuple(j.name for j in some.joints if j.name not in {b.name for b in bare.joints})
    of = (*(p.name for p in pieces), *(g.part for g in grips))
    return Fitted(kit, tuple(anew), tuple(n for n in old if n not in parts), extra, some.findings, of)


def _beside(outfit: Outfit, bare: Kit, cut: Collection[str]) -> tuple[set[str], tuple[Piece, ...]]:
    """The parts that pieces tie to those that were cut, these among them, and the pieces."""
    names = set(cut)
    while True:
        tied = tuple(q for q in outfit.pieces if any(p.name in names and _near(p, q) for p in bare.parts))
        more = {p.name for p in bare.parts if any(_near(p, q) for q in tied)} | names
        if more == names:
            return names, tied
        names = more


def _near(part: Part, piece: Piece) -> bool:
    if part.bone == piece.bone:
        return True
    (low, high), (others_low, others_high) = part.solid.bounds, piece.solid.bounds
    return bool((others_high >= low - _BESIDE_MM).all() and (others_low <= high + _BESIDE_MM).all())


def _joints(
    before: Kit, was: Kit, bare: Kit, some: Kit, renewed: Collection[str], seats: Collection[str]
) -> tuple[BuiltJoint, ...]:
    """The bare kit's joints, those with an insert between the parts that these make, then pegs and seats."""
    had, bare_had = {j.name: j for j in before.joints}, {j.name: j for j in was.joints}
    own = {j.name for j in bare.joints}
    now = {j.name: j for j in some.joints}
    out = [now[j.name] if j.name in renewed else _renamed(had[j.name], bare_had[j.name], j) for j in bare.joints]
    dropped = {f"{n}_peg" for n in renewed} | set(seats)
    kept = [j for j in before.joints if j.name not in own and j.name not in dropped]
    return (*out, *kept, *(j for j in some.joints if j.name not in own))


def _renamed(joint: BuiltJoint, was: BuiltJoint, now: BuiltJoint) -> BuiltJoint:
    """A joint that stays as it is, between the parts that its bones belong to now: an insert stays between them."""
    axles = []
    for axle, old, new in zip(joint.axles, was.axles, now.axles, strict=True):
        moves = new.moves if axle.moves == old.moves else axle.moves
        stays = new.stays if axle.stays == old.stays else axle.stays
        axles.append(Axle(moves, stays, axle.centre))
    return replace(joint, axles=tuple(axles))


def _same(a: Part, b: Part) -> bool:
    """Whether two parts have the same points and triangles, however they are numbered."""
    if a.solid.triangle_count != b.solid.triangle_count:
        return False
    one, other = in_order(a.mesh), in_order(b.mesh)
    return np.array_equal(one.vertices, other.vertices) and np.array_equal(one.faces, other.faces)
