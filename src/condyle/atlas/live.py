"""What follows at once when a joint is moved: its parts cut again and measured again, all else as it was.

A figure is made ready once, and a joint when it is taken up; then a move costs what ``figure.parting.recut`` says, and the
proofs of fit, walls and motion for the parts on both sides of the joint. Inserts, pieces and grips are fitted again to the
parts that were cut (``outfit.py``). Soles, hollows, engraved codes, loads, prints and the finish wait until the whole kit is made
again. Not cut live are figures whose printer has several measurements of one fit, and joints on which a piece of the locker
is put: that changes the sculpt itself.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from condyle.atlas.outfit import Outfit, fitted_again
from condyle.atlas.remeasure import finding_told, measures, told_of_cut
from condyle.errors import UsageError
from condyle.export.glb import figure_glb
from condyle.export.kit_files import joint_nodes
from condyle.export.light import light_mesh
from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.parting import part
from condyle.figure.parting.recut import Ready, Stump, make_ready, recut, sizes_that_fit, stump_of
from condyle.figure.skeleton import SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import Mesh
from condyle.project.cache import key_of
from condyle.project.codec import to_bytes
from condyle.project.figure_file import FigureDocument, read_figure
from condyle.project.fit_step import several_fits
from condyle.project.grip_step import grips_of
from condyle.project.joints import check_inside, overlaid, placed, wishes
from condyle.project.locker_step import wear
from condyle.project.part_keys import in_own_order
from condyle.project.part_tables import mixed_wishes, own_parts, with_own
from condyle.project.pipeline import cut_figure, open_figure, seat_joints, skeleton_of, take_in_sculpt
from condyle.project.watch import Watch
from condyle.proof.bodies import PartBody, make_bodies
from condyle.workshop.bench import Workshop

_STUMPS = 6
Share = Callable[[str, Any], None]


@dataclass(eq=False)
class Live:
    """A figure whose joints can be moved. Changed by ``follow`` alone.

    rest      what else the figure file says, of which nothing may change
    asked     each joint's place and wish as they are cut now
    bare      the kit without its outfit: no inserts, pieces or grips
    measured  by joint that was moved: what was found of it, as the page shows it
    """

    document: FigureDocument
    rest: bytes
    sculpt: Mesh
    skin: Bvh
    workshop: Workshop
    kit: Kit
    bare: Kit
    outfit: Outfit
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
    taken = take_in_sculpt(opened, watch)
    joints, _ = seat_joints(opened, taken, watch)
    worn = wear(opened.document, taken.intake, joints)
    own = own_parts(opened.document, opened.skeleton)
    asked = mixed_wishes(wishes(opened.document, opened.skeleton), opened.skeleton, opened.workshop, own)
    kit, inputs = cut_figure(opened, taken, joints, asked, watch)
    if several_fits(kit, opened.workshop, asked):
        words = "how the parts will lie decides which measurement of a fit counts, so no joint is cut by itself"
        raise UsageError("atlas.not_live", words, hint="make the kit again to have a moved joint measured")
    outfit = Outfit(taken.pieces, grips_of(opened.document))
    with watch.step("ready"):
        sculpt = worn.intake.solid
        bare = kit
        if outfit.pieces or outfit.grips or len(kit.joints) > len(joints):
            key = key_of("bare", *inputs)
            more = (sculpt, opened.skeleton, joints, opened.workshop, asked, watch.watcher.details)
            bare, _ = opened.cache.fetch("bare", key, lambda: in_own_order(part(*more, relief=True, inserts=False)))
        ready = make_ready(sculpt, opened.skeleton, joints, opened.workshop, asked, bare)
        kit = with_own(kit, own, opened.workshop)
        live = Live(
            document=opened.document,
            rest=_rest(opened.document, opened.skeleton),
            sculpt=sculpt.mesh,
            skin=Bvh(sculpt.mesh),
            workshop=opened.workshop,
            kit=kit,
            bare=bare,
            outfit=outfit,
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
        recut(live.ready, live.stumps[joint], seated, wish, {p.name: p for p in live.bare.parts})
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
        if (table := document.content.joints.get(joint.name)) is not None and table.stock is not None:
            words = f"{joint.name} carries a piece of the locker, which is put on the sculpt anew where its joint moves"
            raise UsageError("atlas.moved_on", words, hint="make the kit again")
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
    new = recut(live.ready, live.stumps[joint.name], joint, wish, {p.name: p for p in live.bare.parts})
    by_name = {p.name: p for p in live.bare.parts if p.name not in new.gone}
    fresh = {p.name: replace(p, workshop=by_name[p.name].workshop if p.name in by_name else None) for p in new.parts}
    records = tuple(new.joint if j.name == joint.name else _between(j, new.ready) for j in live.bare.joints)
    bare = replace(live.bare, parts=tuple({**by_name, **fresh}.values()), joints=records)
    live.asked[joint.name] = (joint, wish)
    asked = {name: wish for name, (_, wish) in live.asked.items()}
    fitted = fitted_again(
        live.outfit, live.kit, live.bare, bare, set(fresh), joint.name, new.ready.ordered(), new.ready.part_of, asked,
        live.workshop, new.ready.stock,
    )  # fmt: skip
    live.bare, live.kit, live.ready = bare, fitted.kit, new.ready
    # The other joints' stumps were cut where this one was.
    live.stumps = {joint.name: live.stumps[joint.name]}
    live.light = {p.name: light_mesh(p.solid) if p.name in fitted.anew else live.light[p.name] for p in live.kit.parts}
    share("scene", scene(live))
    record = next(j for j in live.kit.joints if j.name == joint.name)
    told = told_of_cut(record, [live.kit.part(n) for n in fitted.anew], [*new.findings, *record.findings])
    told["findings"] += [finding_told(f) for f in fitted.findings]
    told |= {"gone": list(fitted.gone), "also": list(fitted.also), "refitted": list(fitted.of)}
    told["seconds"] = {"cut": time.perf_counter() - start}
    yield told
    yield from measures(live, record, fitted, told, start)


def _between(joint: BuiltJoint, ready: Ready) -> BuiltJoint:
    """A joint between the parts that its bones belong to now: where a neighbour is refused, two bones are one part."""
    spec = joint.seated.spec
    chain = [ready.part_of[spec.parent], ready.part_of[spec.child]]
    if len(joint.axles) == 2:
        chain.insert(1, f"{spec.name}_link")
    axles = tuple(replace(a, stays=s, moves=m) for a, (s, m) in zip(joint.axles, pairwise(chain), strict=False))
    return replace(joint, axles=axles)


def scene(live: Live) -> bytes:
    """The light GLB of the figure as it is cut now."""
    joints = [node for j in live.kit.joints if j.built for node in joint_nodes(j)]
    return figure_glb([(p.name, live.light[p.name]) for p in live.kit.parts], joints)


def _rest(document: FigureDocument, skeleton: Skeleton) -> bytes:
    """Everything of a figure file that parting depends on, apart from its joints."""
    content = document.content
    tables = content.model_dump(include={"figure", "skeleton", "workshop", "pieces", "parts", "grips"}, mode="json")
    stocked = [(name, table.stock) for name, table in content.joints.items() if table.stock is not None]
    return to_bytes((repr(tables), repr(stocked), skeleton.bones))
