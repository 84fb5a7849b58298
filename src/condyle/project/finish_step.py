"""The step that plans what comes after printing: colours, smoothing, coats, the days, and how the kit goes together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from condyle.build.supports import Column
from condyle.figure.kit import Kit
from condyle.finish.coats import Coat, Mix
from condyle.finish.colours import Colour
from condyle.finish.cost import Bill, Colouring, bill, mixes
from condyle.finish.drawn import Drawn
from condyle.finish.schedule import Schedule, schedule
from condyle.finish.spares import Spare, spares
from condyle.finish.work import Amount, work_of
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid
from condyle.project.builds_step import Builds
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.finish_model import FinishTable
from condyle.project.part_keys import PartKeys, solid_bytes
from condyle.project.watch import Watch
from condyle.proof import Proof
from condyle.proof.finished import Finished, finished
from condyle.proof.print import PrintProof
from condyle.workshop.bench import Workshop

DAY_ONE = datetime(2001, 1, 1)
"""A Monday that stands for the first day of a plan without a date."""

DETAIL_SHARE = 0.15
"""Share of the seen area that takes detail paint: common practice, no source."""

MANY = 10


@dataclass(frozen=True)
class FinishPlan:
    """What to mix, the days, the price, and the answers of the proof. ``dated`` tells a plan with days of the calendar."""

    answers: Finished
    coats: tuple[Coat, ...]
    mixes: tuple[Mix, ...]
    plan: Schedule
    dated: bool
    colours: tuple[Colour, ...]
    bills: tuple[Bill, ...]
    spares: tuple[Spare, ...]


def measure_finish(
    table: FinishTable,
    kit: Kit,
    sculpt: Solid,
    proof: Proof,
    workshop: Workshop,
    printed: PrintProof,
    drawn: Drawn,
    inputs: Sequence[bytes],
    cache: Cache,
    watch: Watch,
) -> Finished:
    """What the finish asks of the kit, measured, and kept under all that goes into it."""
    coats = table.system
    ups = {name: p.orientation.chosen.direction for name, p in printed.parts.items()}
    contacts = {name: _contacts(p.columns) for name, p in printed.parts.items()}
    told = (
        to_bytes(coats),
        to_bytes(ups),
        to_bytes(contacts),
        to_bytes(tuple(table.painted_bearings)),
        to_bytes(drawn),
    )
    whole = key_of("finish", solid_bytes(sculpt), to_bytes((coats, workshop.printer, drawn))).encode()

    def finished_by(part: str) -> bytes:
        return whole + to_bytes((ups.get(part), contacts.get(part)))

    keep = PartKeys(kit, cache).keep("surface", finished_by)
    with watch.step("finish") as stored:
        answers, stored.value = cache.fetch(
            "finish",
            key_of("finish", *inputs, *told),
            lambda: finished(
                kit,
                sculpt,
                proof.joints,
                workshop,
                coats,
                ups,
                table.painted_bearings,
                drawn=drawn,
                contacts=contacts,
                keep=keep,
            ),
        )
    return answers


def printed_in(answers: Finished, printed_colours: Sequence[str]) -> dict[str, str]:
    """The parts that are of one printed colour, and which."""
    return {n: c for n, p in answers.parts.items() if (c := p.colours.plain) is not None and c in printed_colours}


def plan_finish(
    table: FinishTable,
    kit: Kit,
    answers: Finished,
    builds: Builds,
    drawn: Drawn,
    printed_colours: Sequence[str],
) -> FinishPlan:
    """Mixes, days and price. ``printed_colours`` are printed: a part of one such colour takes no base coat."""
    coats = table.system
    colourings = _colourings(answers, coats, drawn, printed_in(answers, printed_colours))
    plans = [p.sanding for p in answers.parts.values()]
    show = sum(p.show_mm2 for p in answers.parts.values())
    amount = Amount(
        prints=tuple((b.name, b.time.time_s / 3600.0) for b in builds.builds),
        parts=len(kit.parts),
        joints=sum(j.built for j in kit.joints),
        steps=len(answers.order.steps),
        fill_cm2=sum(p.fill_mm2 for p in plans) / 100.0,
        sand_h=sum(p.hours for p in plans),
        show_cm2=show / 100.0,
    )
    start = datetime.combine(date.fromisoformat(table.start), datetime.min.time()) if table.start else DAY_ONE
    plan = schedule(work_of(amount, coats), start, table.evening, table.printers)
    costs = [b.use.cost for b in builds.builds if b.use.cost is not None]
    bills = tuple(
        bill(
            n,
            amount,
            coats,
            colourings,
            sum(b.use.material_g for b in builds.builds),
            sum(costs) if costs else None,
            # Steps are saw teeth: filler lies half as deep as they are high, four times their Ra.
            sum(p.fill_mm2 * 2.0 * p.mean_ra_mm for p in plans),
            max((len(p.grits) for p in plans), default=0),
            table.prices,
            table.printers,
        )
        for n in (1, MANY)
    )
    return FinishPlan(
        answers, coats, mixes(colourings), plan, table.start is not None, drawn.colours, bills, spares(kit)
    )


def _contacts(columns: Sequence[Column]) -> FloatArray:
    return np.array([c.place for c in columns], dtype=np.float64).reshape(-1, 3)


def _colourings(
    answers: Finished, coats: Sequence[Coat], drawn: Drawn, printed: Mapping[str, str]
) -> tuple[Colouring, ...]:
    """Each coat with its colour and area: base coats by colour, the others over all that is seen."""
    show = sum(p.show_mm2 for p in answers.parts.values())
    out = []
    for coat in coats:
        if coat.role != "base":
            share = DETAIL_SHARE if coat.role == "detail" else 1.0
            name = "details" if coat.role == "detail" else coat.role
            out.append(Colouring(coat, name, share * show))
            continue
        for colour in drawn.colours:
            area = sum(
                p.colours.area_mm2.get(colour.name, 0.0)
                for n, p in answers.parts.items()
                if printed.get(n) != colour.name
            )
            if area > 0.0:
                out.append(Colouring(coat, colour.name, area))
    return tuple(out)
