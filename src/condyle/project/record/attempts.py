"""Attempts: each time a part was printed or failed to print, as part of a print job, with how it lay."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

from condyle.build.estimate import Job
from condyle.build.triage import Symptom
from condyle.errors import UsageError

Outcome = Literal["printed", "failed"]


@dataclass(frozen=True)
class LoggedJob:
    """One run of a printer.

    build   the name of the plate it printed, such as build-01; None for parts printed by themselves
    at      when it ended
    time_s  how long it took, as the maker read it; mass_g what was on the scale, supports included
    asked   what it was to lay down, for sharpening the estimates; None when not known
    """

    printer: str
    material: str
    at: datetime
    build: str | None = None
    time_s: float | None = None
    mass_g: float | None = None
    asked: Job | None = None
    number: int | None = None

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("the time of a job needs its zone")


@dataclass(frozen=True)
class Attempt:
    """One try at one part, in a job.

    how       the way it failed, in the trade's words; None when it was printed
    up        the build direction in figure coordinates, or None when it was not told
    settings  whatever the maker wants to keep of the printer's settings, name to value
    """

    figure: str
    part: str
    outcome: Outcome
    how: Symptom | None = None
    part_hash: str | None = None
    up: tuple[float, float, float] | None = None
    settings: Mapping[str, str] = field(default_factory=dict)
    note: str = ""

    def __post_init__(self) -> None:
        if (self.how is None) == (self.outcome == "failed"):
            raise ValueError("a failed attempt says how, and only a failed one")


@dataclass(frozen=True)
class Logged:
    """An attempt as it stands in the record, with its job."""

    number: int
    attempt: Attempt
    job: LoggedJob


def add_job(connection: sqlite3.Connection, job: LoggedJob, tried: Sequence[Attempt]) -> tuple[int, ...]:
    """Keep a job and its attempts; returns the attempts' numbers."""
    asked = (job.asked.laid_mm3, job.asked.layers, job.asked.part_layers) if job.asked else (None, None, None)
    row = (job.build, job.printer, job.material, _stamp(job.at), job.time_s, job.mass_g, *asked)
    cursor = connection.execute(
        "INSERT INTO job (build, printer, material, at, time_s, mass_g, laid_mm3, layers, part_layers) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        row,
    )
    return tuple(_add(connection, int(cursor.lastrowid or 0), job.at, attempt) for attempt in tried)


def _add(connection: sqlite3.Connection, job: int, at: datetime, attempt: Attempt) -> int:
    settings = json.dumps(dict(attempt.settings), sort_keys=True, ensure_ascii=False)
    up = attempt.up or (None, None, None)
    row = (
        job, attempt.figure, attempt.part, attempt.part_hash, _stamp(at), attempt.outcome, attempt.how, *up, settings,
        attempt.note,
    )  # fmt: skip
    cursor = connection.execute(
        "INSERT INTO attempt (job, figure, part, part_hash, at, outcome, how, up_x, up_y, up_z, settings, note) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        row,
    )
    return int(cursor.lastrowid or 0)


def withdraw_attempt(connection: sqlite3.Connection, number: int, at: datetime) -> Logged:
    """Take back what was entered by mistake: it stays in the file and counts no more. UsageError for no such number.

    A job whose attempts are all withdrawn counts no more either.
    """
    found = [entry for entry in attempts(connection) if entry.number == number]
    if not found:
        hint = "the numbers stand in the first column of: condyle log FIGURE --all"
        raise UsageError("log.number", f"no attempt has the number {number}", hint=hint)
    connection.execute("UPDATE attempt SET withdrawn = ? WHERE id = ?", (_stamp(at), number))
    connection.execute(
        "UPDATE job SET withdrawn = ? WHERE id = ? "
        "AND NOT EXISTS (SELECT 1 FROM attempt WHERE attempt.job = job.id AND attempt.withdrawn IS NULL)",
        (_stamp(at), found[0].job.number),
    )
    return found[0]


def attempts(connection: sqlite3.Connection, figure: str | None = None) -> tuple[Logged, ...]:
    """All attempts that stand, oldest first; of one figure, or of every figure in the record."""
    where, values = ("AND figure = ?", (figure,)) if figure is not None else ("", ())
    of_job = {job.number: job for job in jobs(connection)}
    rows = connection.execute(
        "SELECT id, job, figure, part, outcome, how, part_hash, up_x, up_y, up_z, settings, note FROM attempt "
        f"WHERE withdrawn IS NULL {where} ORDER BY at, id",
        values,
    ).fetchall()
    return tuple(
        Logged(
            number,
            Attempt(
                figure, part, outcome, how, part_hash, None if x is None else (x, y, z), json.loads(settings), note
            ),
            of_job[job],
        )
        for number, job, figure, part, outcome, how, part_hash, x, y, z, settings, note in rows
    )


def jobs(connection: sqlite3.Connection) -> tuple[LoggedJob, ...]:
    """All jobs that stand, oldest first."""
    rows = connection.execute(
        "SELECT id, build, printer, material, at, time_s, mass_g, laid_mm3, layers, part_layers FROM job "
        "WHERE withdrawn IS NULL ORDER BY at, id"
    ).fetchall()
    return tuple(
        LoggedJob(
            printer, material, datetime.fromisoformat(at), build, time_s, mass_g,
            None if laid is None else Job(laid, layers, part_layers), number,
        )
        for number, build, printer, material, at, time_s, mass_g, laid, layers, part_layers in rows
    )  # fmt: skip


def not_before_the_last(connection: sqlite3.Connection, at: datetime) -> datetime:
    """A clock's time, or that of the newest entry where the clock was set back behind it: what is entered later comes later."""
    rows = connection.execute("SELECT max(at) FROM job UNION ALL SELECT max(at) FROM tick").fetchall()
    return max([at, *(datetime.fromisoformat(last) for (last,) in rows if last is not None)])


def _stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")
