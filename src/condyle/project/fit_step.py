"""The step that lets the planned build orientation decide which measurement of a fit counts, before anything is cut for good."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from condyle.figure.kit import Kit
from condyle.figure.wishes import JointWish
from condyle.proof.planned import planned_fit
from condyle.proof.print import PrintProof
from condyle.workshop.bench import Workshop
from condyle.workshop.fits import Fit, Fits

_SAME_MM = 0.0005


def several_fits(kit: Kit, workshop: Workshop, asked: Mapping[str, JointWish]) -> bool:
    """Whether any joint's size was felt under more than one set of conditions, so that there is something to choose."""
    return any(
        fit is not None and bool(fit.also)
        for joint in kit.joints
        if joint.built and joint.size_mm is not None
        for fit in [_known(workshop.fits, joint.seated.spec.kind, joint.size_mm)]
        if asked.get(joint.name, JointWish()).clearance_mm is None
    )


def with_planned_wishes(
    kit: Kit, printed: PrintProof, workshop: Workshop, asked: Mapping[str, JointWish]
) -> dict[str, JointWish]:
    """The wishes, with the fit that counts in place of the workshop's where that asks for another clearance.

    Of a joint that keeps its size; where parting takes another one, the workshop's own fit serves.
    """
    out = dict(asked)
    for joint in kit.joints:
        wish = asked.get(joint.name, JointWish())
        fit = planned_fit(joint, printed, workshop, wish)
        if fit is None or wish.clearance_mm is not None or wish.fits is not None or joint.size_mm is None:
            continue
        kind = joint.seated.spec.kind
        if abs(fit.clearance_mm - workshop.fits.get(kind, joint.size_mm).clearance_mm) > _SAME_MM:
            out[joint.name] = replace(wish, fits=workshop.fits.overridden_by(Fits({kind: {joint.size_mm: fit}})))
    return out


def _known(fits: Fits, kind: str, size_mm: float) -> Fit | None:
    return fits.get(kind, size_mm) if kind in fits.by_kind else None
