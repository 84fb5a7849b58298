"""Files of the finish: details/finish.json, masks/*.stl, work.csv, and work.ics where the plan has dates."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict
from typing import Any

from condyle.finish.schedule import to_icalendar
from condyle.geometry.formats import stl_bytes
from condyle.project.finish_step import DAY_ONE, FinishPlan


def finish_files(plan: FinishPlan, figure: str) -> dict[str, bytes]:
    """All of them by name."""
    files = {"details/finish.json": json.dumps(_document(plan), indent=1, sort_keys=True, allow_nan=False).encode()}
    files["work.csv"] = _table(plan)
    for name, solid in plan.answers.masks.solids().items():
        files[f"masks/{name}"] = stl_bytes(solid.mesh)
    if plan.dated:
        first = plan.plan.tasks[0].start if plan.plan.tasks else DAY_ONE
        files["work.ics"] = to_icalendar(plan.plan, figure, first)
    return files


def _table(plan: FinishPlan) -> bytes:
    """The order of work as a table for a spreadsheet (RFC 4180): one row a task."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\r\n")
    rows.writerow(["task", "begins", "hands_h", "wait_h", "done", "after", "decides_the_end", "what_can_go_wrong"])
    first = plan.plan.tasks[0].start.date() if plan.plan.tasks else DAY_ONE.date()
    for s in plan.plan.tasks:

        def when(at: Any) -> str:
            return f"{at:%Y-%m-%d %H:%M}" if plan.dated else f"day {(at.date() - first).days + 1} {at:%H:%M}"

        rows.writerow(
            [
                s.task.name, when(s.start), f"{s.task.hands_h:.2f}", f"{s.task.wait_h:.2f}", when(s.done),
                "; ".join(s.task.after), "yes" if s.task.name in plan.plan.bound.path else "", s.task.goes_wrong,
            ]
        )  # fmt: skip
    return out.getvalue().encode()


def _document(plan: FinishPlan) -> dict[str, Any]:
    answers = plan.answers
    return {
        "schema": 2,
        "colours": [{"name": c.name, "rgb": list(c.rgb)} for c in plan.colours],
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
                "lost_detail": [asdict(d) for d in p.lost],
                "colours_mm2": dict(p.colours.area_mm2),
                "borders": [{"between": list(k), "mm": v} for k, v in p.colours.borders_mm.items()],
                "splits": [asdict(s) for s in p.colours.splits],
                "one_colour": p.colours.plain,
                "held_by": held.joint if (held := answers.masks.holders.get(name)) else None,
            }
            for name, p in answers.parts.items()
        ],
        "joints": [
            {"name": j.joint, "gap_mm": j.gap_mm, "left_mm": j.left_mm, "least_mm": j.least_mm, "masked": j.masked}
            for j in answers.joints
        ],
        "masks": [
            {"part": m.part, "joint": m.joint, "form": m.form, "file": m.file or None} for m in answers.masks.masks
        ],
        "masks_to_print": answers.masks.counts(),
        "mixes": [
            {"coat": m.role, "colour": m.colour, "area_mm2": m.area_mm2, "paint_ml": m.paint_ml, "thinner_ml": m.thinner_ml, "sd_ml": m.sd_ml}
            for m in plan.mixes
        ],
        "assembly": [
            {
                "joint": s.mating.joint, "moves": s.mating.moves, "stays": s.mating.stays, "brings": list(s.brings),
                "onto": list(s.onto), "direction": list(s.mating.direction), "force_n": s.mating.force_n, "turn_deg": s.turn_deg,
            }
            for s in answers.order.steps
        ],
        "spares": [asdict(s) for s in plan.spares],
        "bills": [asdict(b) for b in plan.bills],
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
