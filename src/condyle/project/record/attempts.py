"""Attempts: each time a part was printed or failed to print, with what is known of how it lay and what printed it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal, get_args

from condyle.errors import UsageError

Outcome = Literal["printed", "failed"]
How = Literal[
    "came loose", "loose strands", "layer shift", "stringing", "under-extrusion", "fused joint", "broken in removal",
    "missing region", "warped", "rough surface", "other",
]  # fmt: skip
HOWS: tuple[How, ...] = get_args(How)

_COLUMNS = (
    "id, figure, part, part_hash, at, outcome, how, printer, material, build, up_x, up_y, up_z, settings, time_s, "
    "predicted_s, mass_g, note"
)


@dataclass(frozen=True)
class Attempt:
    """One try at one part.

    at           when it ended, UTC, ISO 8601
    how          the way it failed, in the trade's words; None when it was printed
    build        the print job that it was part of: attempts of one job share its name and nearly its time
    up           the build direction in figure coordinates, or None when it was not told
    settings     whatever the maker wants to keep of the printer's settings, name to value
    time_s       how long the print took, as the maker read it; predicted_s what was foretold then
    mass_g       the part on the scale
    """

    figure: str
    part: str
    at: datetime
    outcome: Outcome
    printer: str
    material: str
    how: How | None = None
    part_hash: str | None = None
    build: str | None = None
    up: tuple[float, float, float] | None = None
    settings: Mapping[str, str] = field(default_factory=dict)
    time_s: float | None = None
    predicted_s: float | None = None
    mass_g: float | None = None
    note: str = ""
    number: int | None = None

    def __post_init__(self) -> None:
        if (self.how is None) == (self.outcome == "failed"):
            raise ValueError("a failed attempt says how, and only a failed one")
        if self.at.tzinfo is None:
            raise ValueError("the time of an attempt needs its zone")


def add_attempt(connection: sqlite3.Connection, attempt: Attempt) -> int:
    """Keep an attempt; returns its number."""
    up = attempt.up or (None, None, None)
    cursor = connection.execute(
        "INSERT INTO attempt (figure, part, part_hash, at, outcome, how, printer, material, build, up_x, up_y, up_z, "
        "settings, time_s, predicted_s, mass_g, note) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            attempt.figure,
            attempt.part,
            attempt.part_hash,
            _stamp(attempt.at),
            attempt.outcome,
            attempt.how,
            attempt.printer,
            attempt.material,
            attempt.build,
            *up,
            json.dumps(dict(attempt.settings), sort_keys=True, ensure_ascii=False),
            attempt.time_s,
            attempt.predicted_s,
            attempt.mass_g,
            attempt.note,
        ),
    )
    return int(cursor.lastrowid or 0)


def withdraw_attempt(connection: sqlite3.Connection, number: int, at: datetime) -> Attempt:
    """Take back what was entered by mistake: it stays in the file and counts no more. UsageError for no such number."""
    row = connection.execute(f"SELECT {_COLUMNS} FROM attempt WHERE id = ? AND withdrawn IS NULL", (number,)).fetchone()
    if row is None:
        hint = "the numbers stand in the first column of: condyle log FIGURE"
        raise UsageError("log.number", f"no attempt has the number {number}", hint=hint)
    connection.execute("UPDATE attempt SET withdrawn = ? WHERE id = ?", (_stamp(at), number))
    return _attempt(row)


def attempts(connection: sqlite3.Connection, figure: str | None = None) -> tuple[Attempt, ...]:
    """All attempts that stand, oldest first; of one figure, or of every figure in the record."""
    where, values = ("AND figure = ?", (figure,)) if figure is not None else ("", ())
    rows = connection.execute(
        f"SELECT {_COLUMNS} FROM attempt WHERE withdrawn IS NULL {where} ORDER BY at, id", values
    ).fetchall()
    return tuple(_attempt(row) for row in rows)


def _attempt(row: tuple[object, ...]) -> Attempt:
    (
        number, figure, part, part_hash, at, outcome, how, printer, material, build, x, y, z, settings, time_s,
        predicted_s, mass_g, note,
    ) = row  # fmt: skip
    return Attempt(
        figure=str(figure),
        part=str(part),
        at=datetime.fromisoformat(str(at)),
        outcome=outcome,  # type: ignore[arg-type]
        printer=str(printer),
        material=str(material),
        how=how,  # type: ignore[arg-type]
        part_hash=None if part_hash is None else str(part_hash),
        build=None if build is None else str(build),
        up=None if x is None else (float(str(x)), float(str(y)), float(str(z))),
        settings=json.loads(str(settings)),
        time_s=None if time_s is None else float(str(time_s)),
        predicted_s=None if predicted_s is None else float(str(predicted_s)),
        mass_g=None if mass_g is None else float(str(mass_g)),
        note=str(note),
        number=int(str(number)),
    )


def _stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")
