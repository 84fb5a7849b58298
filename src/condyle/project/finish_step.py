"""The step that plans what comes after printing: smoothing, coats, the days, and how the kit goes together."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from condyle.figure.kit import Kit
from condyle.finish.coats import Coat, Mix, mix
from condyle.finish.schedule import Schedule, schedule, to_icalendar
from condyle.finish.work import Amount, work_of
from condyle.geometry.solid import Solid
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.finish_model import FinishTable
from condyle.project.watch import Watch
from condyle.proof import Proof
from condyle.proof.finished import Finished, finished
from condyle.workshop.bench import Workshop

DAY_ONE = datetime(2001, 1, 1)
"""A Monday that stands for the first day of a plan without a date."""

DETAIL_SHARE = 0.15
"""Share of the seen area that takes detail paint where no colours are drawn: common practice, no source."""


@dataclass(frozen=True)
class FinishPlan:
    """What to mix, the days, and the answers of the proof. ``dated`` tells a plan with days of the calendar."""

    answers: Finished
    coats: tuple[Coat, ...]
    mixes: tuple[Mix, ...]
    plan: Schedule
    dated: bool


def finish_kit(
    table: FinishTable,
    kit: Kit,
    sculpt: Solid,
    proof: Proof,
    workshop: Workshop,
    ups: Mapping[str, tuple[float, float, float]],
    prints: Sequence[tuple[str, float]],
    inputs: Sequence[bytes],
    cache: Cache,
    watch: Watch,
) -> FinishPlan:
    """The step itself; the measuring part is kept under all that goes into it."""
    coats = table.system
    key = key_of("finish", *inputs, to_bytes(coats), to_bytes(dict(ups)), to_bytes(tuple(table.painted_bearings)))
    with watch.step("finish") as stored:
        answers, stored.value = cache.fetch(
            "finish",
            key,
            lambda: finished(kit, sculpt, proof.joints, workshop, coats, ups, table.painted_bearings),
        )
        show = sum(p.show_mm2 for p in answers.parts.values())
        mixes = tuple(
            mix(
                c,
                table.colour if c.role in ("base", "detail") else c.role,
                show * (DETAIL_SHARE if c.role == "detail" else 1.0),
            )
            for c in coats
        )
        plans = [p.sanding for p in answers.parts.values()]
        amount = Amount(
            prints=tuple(prints),
            parts=len(kit.parts),
            joints=sum(j.built for j in kit.joints),
            steps=len(answers.order.steps),
            fill_cm2=sum(p.fill_mm2 for p in plans) / 100.0,
            sand_h=sum(p.hours for p in plans),
            show_cm2=show / 100.0,
        )
        start = datetime.combine(date.fromisoformat(table.start), datetime.min.time()) if table.start else DAY_ONE
        plan = schedule(work_of(amount, coats), start, table.evening, table.printers)
    return FinishPlan(answers, coats, mixes, plan, table.start is not None)


def finish_files(plan: FinishPlan, figure: str) -> dict[str, bytes]:
    """details/finish.json; and work.ics where the plan has dates."""
    files = {"details/finish.json": json.dumps(_document(plan), indent=1, sort_keys=True, allow_nan=False).encode()}
    if plan.dated:
        first = plan.plan.tasks[0].start if plan.plan.tasks else DAY_ONE
        files["work.ics"] = to_icalendar(plan.plan, figure, first)
    return files


def _document(plan: FinishPlan) -> dict[str, Any]:
    answers = plan.answers
    return {
        "schema": 1,
        "parts": [
            {
                "name": name,
                "show_mm2": p.show_mm2,
                "hidden_mm2": p.hidden_mm2,
                "bearing_mm2": p.bearing_mm2,
                "fill_mm2": p.sanding.fill_mm2,
                "mean_ra_um": 1000.0 * p.sanding.mean_ra_mm,
                "removed_mm": list(p.sanding.removed_mm),
                "grits": [{"grit": g, "minutes": m} for g, m in p.sanding.grits],
                "hours": p.sanding.hours,
                "hours_factor": p.sanding.factor,
                "support_scars_mm2": p.sanding.scars_mm2,
            }
            for name, p in answers.parts.items()
        ],
        "joints": [
            {"name": j.joint, "gap_mm": j.gap_mm, "left_mm": j.left_mm, "least_mm": j.least_mm, "masked": j.masked}
            for j in answers.joints
        ],
        "mixes": [
            {"coat": m.role, "colour": m.colour, "area_mm2": m.area_mm2, "paint_ml": m.paint_ml, "thinner_ml": m.thinner_ml, "sd_ml": m.sd_ml}
            for m in plan.mixes
        ],
        "assembly": [
            {
                "joint": s.mating.joint, "moves": s.mating.moves, "stays": s.mating.stays, "brings": list(s.brings),
                "onto": list(s.onto), "direction": list(s.mating.direction), "force_n": s.mating.force_n,
            }
            for s in answers.order.steps
        ],
        "schedule": [
            {
                "task": s.task.name,
                "hands_h": s.task.hands_h,
                "wait_h": s.task.wait_h,
                "after": list(s.task.after),
                "start_h": (s.start - plan.plan.tasks[0].start).total_seconds() / 3600.0,
                "critical": s.task.name in plan.plan.bound.path,
            }
            for s in plan.plan.tasks
        ],
    }  # fmt: skip
