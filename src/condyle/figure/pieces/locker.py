"""Pieces of the locker on a figure: the sculpt's own hand, head or foot gives way to one that serves every figure.

It is done before parting: what lies beyond the joint's middle goes, the piece's flesh takes its place, scaled to the wrist
that it meets, and the joint is then cut through both as through any limb. Other pieces of the same set are cut at a short
piece of the same wrist, so that they go on the same ball.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit, Part
from condyle.figure.parting import part
from condyle.figure.skeleton import SeatedJoint, Skeleton
from condyle.figure.skeleton_changes import reduced
from condyle.figure.stock_file import StockPiece
from condyle.figure.wishes import JointWish
from condyle.finding import Finding, point_of
from condyle.geometry.frame import Frame
from condyle.geometry.polygons import Region
from condyle.geometry.primitives import cylinder
from condyle.geometry.sections import section
from condyle.geometry.solid import Solid, gather, intersect, remainder, union
from condyle.workshop.bench import Workshop

SCALES = (0.5, 2.0)
"""How far a piece may be scaled: beyond, its fingers or its walls are no longer what was modelled."""

_CUT_MM = 0.02
_BESIDE_MM = 0.3
_STUB_MM = 25.0


@dataclass(frozen=True, eq=False)
class Fitted:
    """The sculpt with a piece of the locker on it; the sculpt as it was where ``scale`` is None."""

    sculpt: Solid
    scale: float | None
    findings: tuple[Finding, ...]


def put_on(sculpt: Solid, joint: SeatedJoint, piece: StockPiece) -> Fitted:
    """The sculpt with the piece in the place of all that lies beyond the joint's middle."""
    frame = joint.frame
    at = point_of(frame.origin)

    def refused(advice: str) -> Fitted:
        return Fitted(sculpt, None, (Finding("locker.wrist", joint.name, "fail", place=at, advice=advice),))

    here = [r for r in section(sculpt.mesh, frame).components() if r.depth((0.0, 0.0)) > 0.0]
    if not here:
        return refused("the joint's centre lies outside the sculpt: move it into the wrist")
    reach = here[0].reach((0.0, 0.0))
    local = sculpt.transformed(frame.inverse)
    kept = _without_end(local, reach)
    if kept is None:
        return refused(
            "what lies beyond the joint hangs together with the rest of the sculpt elsewhere: free it there, as a hand from "
            "the hip that it rests on, or leave stock out"
        )
    scale = math.sqrt(here[0].area_mm2 / math.pi) / piece.wrist_mm
    if not SCALES[0] <= scale <= SCALES[1]:
        return refused(
            f"the piece would be scaled by {scale:.2f}: {SCALES[0]:g} to {SCALES[1]:g} is the range; take another"
        )
    flesh = piece.flesh.transformed(np.diag([scale, scale, scale, 1.0])).trimmed((0.0, 0.0, 1.0), -_CUT_MM)
    whole = union([kept, flesh], f"{joint.name} with {piece.name}")
    if len(whole.components()) > 1:
        return refused(f"{piece.name} does not meet the wrist all round: put its wrist about its origin")
    there = section(flesh.mesh, Frame(np.zeros(3), np.eye(3)))
    step = max(0.0, *(abs(a - b) for a, b in zip(_widths(here[0]), _widths(there), strict=True))) / 2.0
    told = Finding(
        "locker.wrist", joint.name, "pass" if step <= 0.15 * reach else "caution", measured=step, target=0.15 * reach,
        unit="mm", place=at,
        advice=f"{piece.name}, scaled by {scale:.2f}, stands out of the wrist or back from it: blend it with filler",
    )  # fmt: skip
    return Fitted(
        whole.transformed(frame.matrix), scale, (told if told.verdict != "pass" else replace(told, advice=""),)
    )


def spare(
    kit: Kit, sculpt: Solid, skeleton: Skeleton, built: BuiltJoint, piece: StockPiece, workshop: Workshop
) -> tuple[Solid | None, Kit | None, tuple[Finding, ...]]:
    """Another piece for a built joint: its solid in figure coordinates, and the two parts that meet there as a kit to prove.

    ``sculpt`` is the one that was parted. The piece is cut with the same size, at a short piece of the same wrist.
    """
    name = built.name
    at = point_of(built.seated.frame.origin)
    child = built.seated.spec.child
    stub = _stub(sculpt, built.seated)
    fitted = put_on(stub, built.seated, piece) if stub is not None else None
    if fitted is None or fitted.scale is None:
        told = fitted.findings if fitted else ()
        return None, None, tuple(replace(f, check="locker.spare", subject=f"{name}/{piece.name}") for f in told)
    seated = replace(built.seated, source="hand")
    own = built.seated.spec.custom is not None
    wish = JointWish(
        size_mm=None if own else built.size_mm, clearance_mm=None if own else built.clearance_mm,
        convex=None if own else piece.convex, seam_mm=0.0,
    )  # fmt: skip
    cut = part(fitted.sculpt, reduced(skeleton, {name}), [seated], workshop, {name: wish})
    made = next((p for p in cut.parts if p.bone == child), None)
    joint = cut.joints[0]
    if not joint.built or made is None:
        advice = f"{piece.name} has no room for the joint's hardware: thicken its wrist, or model it larger"
        return None, None, (Finding("locker.spare", f"{name}/{piece.name}", "fail", place=at, advice=advice),)
    carrier = next(p for p in kit.parts if p.name == built.axles[-1].stays)
    pair = Kit((carrier, Part(child, child, made.solid)), (replace(joint, axles=built.axles),), kit.balance)
    return made.solid, pair, fitted.findings


def _without_end(local: Solid, reach: float) -> Solid | None:
    """A solid in the joint frame without the body beyond a thin cut at z = 0; None where the cut does not part it."""
    disc = cylinder(reach + 0.5, 0.0, _CUT_MM)
    left = remainder(local, [disc])
    if left is None:
        return None
    bodies = left.components()
    end = [b for b in bodies if _holds(b, _BESIDE_MM)]
    near = [b for b in bodies if _holds(b, -_BESIDE_MM)]
    if not end or not near or end[0] is near[0]:
        return None
    return gather([b for b in bodies if b is not end[0]]) if len(bodies) > 2 else near[0]


def _holds(body: Solid, z: float) -> bool:
    here = section(body.mesh, Frame(np.zeros(3), np.eye(3)), z)
    return any(r.depth((0.0, 0.0)) > 0.0 for r in here.components())


def _stub(sculpt: Solid, joint: SeatedJoint) -> Solid | None:
    """The sculpt near a joint: its limb a short way back, and all that lies beyond, whatever it is."""
    local = sculpt.transformed(joint.frame.inverse)
    here = [r for r in section(sculpt.mesh, joint.frame).components() if r.depth((0.0, 0.0)) > 0.0]
    if not here:
        return None
    wide = 3.0 * here[0].reach((0.0, 0.0))
    near = intersect(local, cylinder(wide, -_STUB_MM, wide))
    body = next((b for b in near.components() if _holds(b, -_BESIDE_MM)), None)
    return None if body is None else body.transformed(joint.frame.matrix)


def _widths(region: Region) -> tuple[float, float]:
    low, high = region.bounds
    return float(high[0] - low[0]), float(high[1] - low[1])
