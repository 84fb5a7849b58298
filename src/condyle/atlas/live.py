"""What follows at once when a joint is moved: its parts cut again and measured again, all else as it was.

A figure is made ready once, and a joint when it is taken up; then a move costs what ``figure.parting.recut`` says, and the
proofs of fit, walls and motion for the parts on both sides of the joint. Soles, engraved codes, loads, prints and the
finish wait until the whole kit is made again. Figures with pieces or inserts are not cut live, since those parts are fitted
to all of the figure, nor figures whose printer has several measurements of one fit.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from condyle.errors import UsageError
from condyle.export.glb import figure_glb
from condyle.export.kit_files import joint_nodes
from condyle.export.light import light_mesh
from condyle.figure.kit import BuiltJoint, Kit, Part
from condyle.figure.parting.recut import Ready, Stump, make_ready, recut, sizes_that_fit, stump_of
from condyle.figure.skeleton import Motion, SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.finding import Finding
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import Mesh
from condyle.project.codec import to_bytes
from condyle.project.figure_file import FigureDocument, read_figure
from condyle.project.fit_step import several_fits
from condyle.project.joints import check_inside, overlaid, placed, wishes
from condyle.project.part_tables import mixed_wishes, own_parts, with_own
from condyle.project.pipeline import cut_figure, open_figure, seat_joints, skeleton_of, take_in_sculpt
from condyle.project.watch import Watch
from condyle.proof.bodies import Meeting, PartBody, make_bodies, make_meetings
from condyle.proof.fit import fits
from condyle.proof.move import Reach, findings_of, ranges, wanted_from_pose
from condyle.proof.wall import walls
from condyle.workshop.bench import Workshop

_STUMPS = 6
Share = Callable[[str, Any], None]


@dataclass(eq=False)
class Live:
    """A figure whose joints can be moved. Changed by ``follow`` alone.

    rest      what else the figure file says, of which nothing may change
    asked     each joint's place and wish as they are cut now
    measured  by joint that was moved: what was found of it, as the page shows it
    """

    document: FigureDocument
    rest: bytes
    sculpt: Mesh
    skin: Bvh
    workshop: Workshop
    kit: Kit
    ready: Ready
    asked: dict[str, tuple[SeatedJoint, JointWish]]
    bodies: dict[str, PartBody]
    light: dict[str, Mesh]
    stumps: dict[str, Stump] = field(default_factory=dict)
    measured: dict[str, dict[str, Any]] = field(default_factory=dict)


def made_live(figure: Path, watch: Watch, text: str | None = None) -> Live:
    """Make a figure ready, as ``text`` has it, else as its file does.

    UsageError for one that is not cut live; else errors as for making its kit.
    """
    opened = open_figure(figure, text=text)
    content = opened.document.content
    if content.pieces or any(t.insert not in (None, "none") for t in content.joints.values()):
        hint = "make the kit again to have a moved joint measured"
        raise UsageError("atlas.not_live", "a figure with pieces or inserts is not cut while a joint moves", hint=hint)
    taken = take_in_sculpt(opened, watch)
    joints, _ = seat_joints(opened, taken, watch)
    own = own_parts(opened.document, opened.skeleton)
    asked = mixed_wishes(wishes(opened.document, opened.skeleton), opened.skeleton, opened.workshop, own)
    kit, _ = cut_figure(opened, taken, joints, asked, watch)
    own_studs = [j.name for j in kit.joints if j.name.endswith("_peg") and j.seated.spec.kind == "peg"]
    if own_studs:
        words = "a figure with inserts is not cut while a joint moves: " + ", ".join(own_studs)
        hint = "make the kit again to have a moved joint measured, or set protect = false under [last] to move it here"
        raise UsageError("atlas.not_live", words, hint=hint)
    if several_fits(kit, opened.workshop, asked):
        words = "how the parts will lie decides which measurement of a fit counts, so no joint is cut by itself"
        raise UsageError("atlas.not_live", words, hint="make the kit again to have a moved joint measured")
    with watch.step("ready"):
        ready = make_ready(taken.intake.solid, opened.skeleton, joints, opened.workshop, asked, kit)
        kit = with_own(kit, own, opened.workshop)
        mesh = taken.intake.solid.mesh
        live = Live(
            document=opened.document,
            rest=_rest(opened.document, opened.skeleton),
            sculpt=mesh,
            skin=Bvh(mesh),
            workshop=opened.workshop,
            kit=kit,
            ready=ready,
            asked={j.name: (j, asked.get(j.name, JointWish())) for j in joints},
            bodies=make_bodies(kit),
            light={p.name: light_mesh(p.solid) for p in kit.parts},
        )
    return live


def take_up(live: Live, joint: str, watch: Watch) -> None:
    """Make ready to move one joint; nothing to do where that was done. UsageError for a joint that is none."""
    if joint not in live.asked:
        raise UsageError("atlas.joint", f"the figure has no joint {joint!r}")
    if joint in live.stumps:
        return
    with watch.step("take up"):
        live.stumps[joint] = stump_of(live.ready, joint)
        # Cutters and kernels are made at the first cut; the hand should not wait for that.
        seated, wish = live.asked[joint]
        recut(live.ready, live.stumps[joint], seated, wish, {p.name: p for p in live.kit.parts})
        while len(live.stumps) > _STUMPS:
            del live.stumps[next(iter(live.stumps))]


def sizes(live: Live, joint: str, centre: Sequence[float]) -> dict[str, Any]:
    """The sizes that a joint could have with its centre at a place (figure coordinates), as the page shows them."""
    if joint not in live.asked:
        raise UsageError("atlas.joint", f"the figure has no joint {joint!r}")
    seated, own = live.asked[joint]
    frame = replace(seated.frame, origin=np.asarray(centre, dtype=np.float64))
    fit, lack = sizes_that_fit(live.ready, replace(seated, frame=frame, source="hand"), own)
    return {
        "joint": joint,
        "kind": seated.spec.kind,
        "frame": _frame(live, joint),
        "sizes_mm": list(fit),
        "lack_mm": None if fit else float(lack.missing_mm),
        "least_mm": None if fit else float(lack.size_mm),
    }


def _frame(live: Live, joint: str) -> dict[str, list[float]] | None:
    """How a joint lies as it is built, in the keys of the figure file: parting settles one that was found in its limb."""
    record = next((j for j in live.kit.joints if j.name == joint and j.built), None)
    if record is None:
        return None
    frame = record.seated.frame
    turned = {"along": frame.z.tolist(), "axis": frame.x.tolist(), "cut": list(record.seated.cut_axis)}
    return {key: [round(float(v), 6) for v in value] for key, value in turned.items()}


def follow(live: Live, figure: Path, watch: Watch, share: Share) -> list[str]:
    """Bring the figure to what its file says now; the joints that were cut again.

    After each cut and each measure ``share`` is called with ``"live"`` and what the page shows of it, and with
    ``"scene"`` and the bytes of a light GLB of the whole figure. UsageError ``atlas.moved_on`` where more has changed
    than joints.
    """
    document = read_figure(figure)
    skeleton = overlaid(document, skeleton_of(document))
    if _rest(document, skeleton) != live.rest:
        raise UsageError("atlas.moved_on", "more than joints has changed", hint="make the kit again")
    asked = mixed_wishes(wishes(document, skeleton), skeleton, live.workshop, own_parts(document, skeleton))
    now = placed(document, skeleton, {n: j for n, (j, _) in live.asked.items()})
    changed = [j for j in now if to_bytes((j, asked.get(j.name, JointWish()))) != to_bytes(live.asked[j.name])]
    live.document = document
    for joint in changed:
        check_inside(document, [joint], live.sculpt)
        take_up(live, joint.name, watch)
        with watch.step("recut"):
            for told in _moved(live, joint, asked.get(joint.name, JointWish()), share):
                live.measured[joint.name] = told
                share("live", told)
    return [j.name for j in changed]


def _moved(live: Live, joint: SeatedJoint, wish: JointWish, share: Share) -> Iterator[dict[str, Any]]:
    """Cut one joint again; what is found, first of the cut, then with what its parts measure, then with its motion."""
    start = time.perf_counter()
    new = recut(live.ready, live.stumps[joint.name], joint, wish, {p.name: p for p in live.kit.parts})
    by_name = {p.name: p for p in live.kit.parts if p.name not in new.gone}
    fresh = {p.name: replace(p, workshop=by_name[p.name].workshop if p.name in by_name else None) for p in new.parts}
    parts = tuple({**by_name, **fresh}.values())
    records = tuple(new.joint if j.name == joint.name else _between(j, new.ready) for j in live.kit.joints)
    live.kit = replace(live.kit, parts=parts, joints=records)
    live.ready, live.asked[joint.name] = new.ready, (joint, wish)
    # The other joints' stumps were cut where this one was.
    live.stumps = {joint.name: live.stumps[joint.name]}
    live.light = {p.name: light_mesh(p.solid) if p.name in fresh else live.light[p.name] for p in parts}
    share("scene", scene(live))
    told = _told(new.joint, list(fresh.values()), [*new.findings, *new.joint.findings])
    told |= {"gone": list(new.gone), "seconds": {"cut": time.perf_counter() - start}}
    yield told
    yield from _measures(live, new.joint, fresh, told, start)


def _between(joint: BuiltJoint, ready: Ready) -> BuiltJoint:
    """A joint between the parts that its bones belong to now: where a neighbour is refused, two bones are one part."""
    spec = joint.seated.spec
    chain = [ready.part_of[spec.parent], ready.part_of[spec.child]]
    if len(joint.axles) == 2:
        chain.insert(1, f"{spec.name}_link")
    axles = tuple(replace(a, stays=s, moves=m) for a, (s, m) in zip(joint.axles, pairwise(chain), strict=False))
    return replace(joint, axles=axles)


def _measures(
    live: Live, joint: BuiltJoint, fresh: dict[str, Part], told: dict[str, Any], start: float
) -> Iterator[dict[str, Any]]:
    shop, kit = live.workshop, live.kit
    at = tuple(j for j in kit.joints if any(a.moves in fresh or a.stays in fresh for a in j.axles))
    near = replace(kit, parts=tuple(fresh.values()), joints=at)
    bodies = make_bodies(near)
    live.bodies = {p.name: bodies.get(p.name) or live.bodies[p.name] for p in kit.parts}
    alone = replace(near, joints=(joint,))
    meetings = make_meetings(alone, bodies) if joint.built else []
    with ThreadPoolExecutor(1) as beside:
        moves = beside.submit(_motion, live, joint, meetings)
        _, found = fits(alone, meetings, live.skin, shop.kerf_mm)
        thin, on_walls = walls(alone, bodies, shop.printer.line_mm.value)
        for part in told["parts"]:
            wall = thin.get(part["name"])
            part["min_wall_mm"] = wall.thickness_mm if wall else None
        told = {**told, "findings": told["findings"] + [_finding(f) for f in (*found, *on_walls)]}
        told["seconds"] = {**told["seconds"], "fit": time.perf_counter() - start}
        told["measured"] = ["fit", "wall"]
        yield told
        reach = moves.result()
    told = {**told, "findings": told["findings"] + [_finding(f) for f in findings_of(reach)]}
    motions = reach.get(joint.name, {})
    told["joint"] = {
        **told["joint"],
        "reached": {m: list(r.reached) for m, r in motions.items()},
        "stopped_by": {m: "; ".join(e.words for e in (r.low, r.high) if e.words) or None for m, r in motions.items()},
    }
    told["seconds"] = {**told["seconds"], "motion": time.perf_counter() - start}
    told["measured"] = ["fit", "wall", "move"]
    yield told


def _motion(live: Live, joint: BuiltJoint, meetings: list[Meeting]) -> dict[str, dict[Motion, Reach]]:
    if not joint.built:
        return {}
    return ranges(live.kit, live.bodies, meetings, live.skin, live.workshop.kerf_mm, only={joint.name})


def _told(joint: BuiltJoint, parts: list[Part], findings: list[Finding]) -> dict[str, Any]:
    seated = joint.seated
    return {
        "joint": {
            "name": joint.name,
            "kind": seated.spec.kind,
            "centre": [float(v) for v in seated.frame.origin],
            "size": joint.size_mm,
            "built": joint.built,
            "axes": {m: list(a) for m, a in seated.axes.items()},
            "wanted": {m: list(r) for m, r in wanted_from_pose(seated).items()},
            "reached": {},
            "stopped_by": {},
            "hold_nmm": joint.hold_nmm,
            "load_nmm": None,
        },
        "parts": [
            {"name": p.name, "bone": p.bone, "volume_mm3": p.solid.volume_mm3, "min_wall_mm": None}
            for p in parts
        ],
        "findings": [_finding(f) for f in findings],
        "gone": [],
        "measured": [],
    }  # fmt: skip


def scene(live: Live) -> bytes:
    """The light GLB of the figure as it is cut now."""
    joints = [node for j in live.kit.joints if j.built for node in joint_nodes(j)]
    return figure_glb([(p.name, live.light[p.name]) for p in live.kit.parts], joints)


def _finding(f: Finding) -> dict[str, Any]:
    measured = None if f.measured is None or not np.isfinite(f.measured) else float(f.measured)
    return {
        "check": f.check, "subject": f.subject, "verdict": f.verdict, "measured": measured,
        "target": None if f.target is None else float(f.target), "unit": f.unit,
        "place": None if f.place is None else list(f.place), "advice": f.advice,
    }  # fmt: skip


def _rest(document: FigureDocument, skeleton: Skeleton) -> bytes:
    """Everything of a figure file that parting depends on, apart from its joints."""
    content = document.content
    tables = content.model_dump(include={"figure", "skeleton", "workshop", "pieces", "parts"}, mode="json")
    return to_bytes((repr(tables), skeleton.bones))
