"""All that is told of a kit's motion beyond each axis alone: maps of balls, coupled ranges, printed ends, openings of hinges."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.skeleton import Motion
from condyle.finding import Finding
from condyle.geometry.bvh import Bvh
from condyle.geometry.solid import Solid
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import End
from condyle.proof.move_coupled import Coupled, coupled_ranges
from condyle.proof.move_gaps import Opening, gap_findings, openings
from condyle.proof.move_map import ReachMap, reach_maps
from condyle.proof.move_printed import PrintedEnd, printed_ranges
from condyle.proof.move_single import SingleHinge, single_hinge
from condyle.workshop.bench import Workshop

Ends = Mapping[str, Mapping[Motion, tuple[End, End]]]


@dataclass(frozen=True)
class MotionProof:
    """By joint: what each module of that name measures. ``singles`` holds double hinges tried as single ones, None where a
    single one finds no room."""

    maps: dict[str, ReachMap]
    coupled: tuple[Coupled, ...]
    printed: dict[str, dict[Motion, tuple[PrintedEnd, PrintedEnd]]]
    openings: dict[str, tuple[Opening, ...]]
    singles: dict[str, SingleHinge | None]
    findings: tuple[Finding, ...]


def prove_motion(kit: Kit, sculpt: Solid, workshop: Workshop, ends: Ends, *, workers: int = 2) -> MotionProof:
    """Everything, on the solids as written. ``ends`` are those of the ranges (kit.py); ``sculpt`` is the clean sculpt."""
    bodies = make_bodies(kit)
    meetings = make_meetings(kit, bodies)
    skin = Bvh(sculpt.mesh)
    kerf = workshop.kerf_mm
    reached = {name: {m: (low.deg, high.deg) for m, (low, high) in by.items()} for name, by in ends.items()}
    hinges = [
        j for j in kit.joints
        if j.built and j.axles and tuple(j.seated.axes) == ("flex",) and "flex" in reached.get(j.name, {})
    ]  # fmt: skip

    def shown(joint: BuiltJoint) -> tuple[Opening, ...]:
        return openings(joint, bodies, skin, reached[joint.name]["flex"])

    with ThreadPoolExecutor(workers) as pool:
        seen = dict(zip((j.name for j in hinges), pool.map(shown, hinges), strict=True))
    return MotionProof(
        maps=reach_maps(kit, bodies, meetings, skin, kerf, workers=workers),
        coupled=coupled_ranges(kit, bodies, meetings, skin, kerf, reached, workers=workers),
        printed=printed_ranges(kit, bodies, meetings, skin, workshop, ends, workers=workers),
        openings=seen,
        singles={j.name: single_hinge(j, sculpt, workshop) for j in hinges if len(j.axles) == 2},
        findings=tuple(f for j in hinges for f in gap_findings(j.name, seen[j.name], linked=len(j.axles) == 2)),
    )
