"""What ``condyle log`` does, on values: enter a job, show the cards and rates, gather a failed part's evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from condyle.build.estimate import Job
from condyle.build.triage import Company, History, Symptom, Triage, triage
from condyle.errors import UsageError
from condyle.project.bench_sheet import BenchSheet
from condyle.project.record.attempts import Attempt, Logged, LoggedJob, add_job, attempts, not_before_the_last
from condyle.project.record.cards import RouteCard, Step, route_cards, tick, ticks
from condyle.project.record.store import opened

AROUND = timedelta(days=3)
"""How near in time other attempts must be to speak of the printer's state: common practice, no source."""

SAME_WAY = 0.985
"""Cosine (10°) above which a part lay the same way."""


@dataclass(frozen=True)
class Entry:
    """What the maker says of one job. ``parts`` empty means every part of the build."""

    parts: tuple[str, ...]
    build: str | None
    how: Symptom | None
    at: datetime
    note: str = ""
    time_s: float | None = None
    mass_g: float | None = None
    settings: Mapping[str, str] | None = None
    only: bool = False


def enter(record: Path, sheet: BenchSheet, entry: Entry, *, now: bool = False) -> tuple[int, ...]:
    """Keep a job; returns the numbers of its attempts. UsageError for a part or build that the kit does not have.

    ``now`` tells that the entry's time is the clock's, not the maker's word.

    With a build named, the parts given are those that failed, and its others were printed, unless ``only``.
    """
    tried = _tried(sheet, entry)
    known = {name: part for name in tried if (part := sheet.part(name)) is not None}
    made = [
        Attempt(
            figure=sheet.figure,
            part=name,
            outcome="failed" if how else "printed",
            how=how,
            part_hash=known[name].hash,
            up=known[name].up,
            settings=dict(entry.settings or {}),
            note=entry.note if how or len(tried) == 1 else "",
        )
        for name, how in tried.items()
    ]
    layers = [(p.laid_mm3, p.layers) for p in known.values()]
    asked = None
    if all(laid is not None and n is not None for laid, n in layers):
        asked = Job(
            sum(laid or 0.0 for laid, _ in layers), max(n or 0 for _, n in layers), sum(n or 0 for _, n in layers)
        )
    with opened(record) as connection:
        at = not_before_the_last(connection, entry.at) if now else entry.at
        job = LoggedJob(sheet.printer, sheet.material, at, entry.build, entry.time_s, entry.mass_g, asked)
        return add_job(connection, job, made)


def _tried(sheet: BenchSheet, entry: Entry) -> dict[str, Symptom | None]:
    check_parts(sheet, entry.parts)
    if entry.build is None:
        if not entry.parts:
            raise UsageError("log.parts", "say which part, or which build with --build")
        return dict.fromkeys(entry.parts, entry.how)
    if entry.build not in sheet.builds:
        known = ", ".join(sheet.builds) or "none; they come with the next make"
        raise UsageError("log.build", f"the kit has no build {entry.build!r}", hint=f"its builds: {known}")
    plate = sheet.builds[entry.build]
    stray = [name for name in entry.parts if name not in plate]
    if stray:
        raise UsageError("log.parts", f"{stray[0]} is not on {entry.build}", hint=f"on it: {', '.join(plate)}")
    if not entry.parts or entry.how is None:
        return dict.fromkeys(entry.parts or plate, entry.how)
    others = () if entry.only else tuple(name for name in plate if name not in entry.parts)
    return {**dict.fromkeys(entry.parts, entry.how), **dict.fromkeys(others)}


def check_parts(sheet: BenchSheet, parts: Sequence[str]) -> None:
    """UsageError for a part that the kit does not have."""
    known = {p.name for p in sheet.parts}
    for name in parts:
        if name not in known:
            raise UsageError("log.part", f"the kit has no part {name!r}", hint=f"its parts: {', '.join(sorted(known))}")


def tick_parts(
    record: Path, sheet: BenchSheet, parts: Sequence[str], step: Step, at: datetime, *, done: bool, now: bool = False
) -> None:
    """Tick a step of some parts, all or none. ``now`` as in ``enter``."""
    check_parts(sheet, parts)
    with opened(record) as connection:
        at = not_before_the_last(connection, at) if now else at
        for name in parts:
            part = sheet.part(name)
            tick(connection, sheet.figure, name, step, at, done=done, part_hash=part.hash if part else None)


def cards(record: Path, sheet: BenchSheet) -> tuple[tuple[RouteCard, ...], tuple[Logged, ...]]:
    """The route cards of the last kit, and every attempt at this figure."""
    with opened(record) as connection:
        tried = attempts(connection, sheet.figure)
        said = ticks(connection, sheet.figure)
    return route_cards({p.name: p.hash for p in sheet.parts}, tried, said), tried


def why(record: Path, sheet: BenchSheet, part: str) -> tuple[Logged, Triage]:
    """The last failed attempt at a part, and what made it fail as far as can be told. UsageError where none failed."""
    check_parts(sheet, [part])
    with opened(record) as connection:
        everything = attempts(connection)
    failed = [e for e in everything if (e.attempt.figure, e.attempt.part) == (sheet.figure, part) and e.attempt.how]
    if not failed:
        hint = f'enter it: condyle log FIGURE {part} --failed "came loose"'
        raise UsageError("log.no_failure", f"no failed attempt at {part} is in the record", hint=hint)
    last = failed[-1]
    entry = sheet.part(part)
    same_body = entry is not None and last.attempt.part_hash in (None, entry.hash)
    measures = entry.measures if entry is not None and same_body and _lay_alike(last.attempt.up, entry.up) else {}
    how = last.attempt.how or "other"
    process = entry.stand.process if entry is not None and entry.stand is not None else "filament"
    return last, triage(how, measures, _company(last, everything), _history(last, everything), process)


def _company(last: Logged, everything: Sequence[Logged]) -> Company:
    """Other parts on the same plate; where it was alone, those on the same printer within days."""
    others = [
        e
        for e in everything
        if e.number != last.number and (e.attempt.figure, e.attempt.part) != (last.attempt.figure, last.attempt.part)
    ]
    near = [e for e in others if e.job.number == last.job.number]
    near = near or [e for e in others if e.job.printer == last.job.printer and abs(e.job.at - last.job.at) <= AROUND]
    return Company(len(near), sum(e.attempt.outcome == "failed" for e in near))


def _history(last: Logged, everything: Sequence[Logged]) -> History:
    mine = [
        e
        for e in everything
        if e.number != last.number
        and (e.attempt.figure, e.attempt.part) == (last.attempt.figure, last.attempt.part)
        and e.attempt.part_hash == last.attempt.part_hash
    ]
    alike = [e for e in mine if _lay_alike(e.attempt.up, last.attempt.up)]
    turned = [e for e in mine if e not in alike]
    elsewhere = [
        e
        for e in everything
        if e.job.printer == last.job.printer
        and e.job.number != last.job.number
        and abs(e.job.at - last.job.at) > AROUND
    ]
    return History(_count(alike), _count(turned), _count(elsewhere))


def _count(entries: Sequence[Logged]) -> tuple[int, int]:
    return len(entries), sum(e.attempt.outcome == "failed" for e in entries)


def _lay_alike(a: tuple[float, float, float] | None, b: tuple[float, float, float] | None) -> bool:
    if a is None or b is None:
        return True
    return sum(x * y for x, y in zip(a, b, strict=True)) >= SAME_WAY
