"""Route cards: how far each part has come on its way through the workshop, and what has to be printed again."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal, get_args

from condyle.project.record.attempts import Logged

Step = Literal["cleaned", "dry fitted", "sanded", "primed", "painted", "sealed", "assembled"]
STEPS: tuple[Step, ...] = get_args(Step)
State = Literal["to print", "printed", "print again", "changed since"]


@dataclass(frozen=True)
class RouteCard:
    """Where one part stands.

    state   to print: never tried; print again: the last try failed; changed since: the printed one is of an older
            shape; printed
    ticked  the steps after printing that are done, in their order
    """

    part: str
    state: State
    tries: int
    failures: int
    ticked: tuple[Step, ...]
    last: Logged | None = None


def tick(
    connection: sqlite3.Connection, figure: str, part: str, step: Step, at: datetime, *, done: bool = True,
    part_hash: str | None = None,
) -> None:  # fmt: skip
    """Tick a step of a part, or clear it again."""
    connection.execute(
        "INSERT INTO tick (figure, part, part_hash, step, done, at) VALUES (?, ?, ?, ?, ?, ?)",
        (figure, part, part_hash, step, int(done), at.astimezone(UTC).isoformat(timespec="seconds")),
    )


def ticks(connection: sqlite3.Connection, figure: str) -> dict[str, dict[str, tuple[bool, datetime]]]:
    """By part and step, the latest word and when it was said."""
    rows = connection.execute(
        "SELECT part, step, done, at FROM tick WHERE figure = ? ORDER BY id", (figure,)
    ).fetchall()
    latest: dict[str, dict[str, tuple[bool, datetime]]] = {}
    for part, step, done, at in rows:
        latest.setdefault(part, {})[step] = (bool(done), datetime.fromisoformat(at))
    return latest


def route_cards(
    parts: Mapping[str, str | None],
    tried: Iterable[Logged],
    ticked: Mapping[str, Mapping[str, tuple[bool, datetime]]],
) -> tuple[RouteCard, ...]:
    """The cards of ``parts`` (name to content hash, None when unknown), in the order given.

    A good print stands for its part however often a later try at a spare failed; ticks from before the print that
    stands do not count, since they were another body's.
    """
    of: dict[str, list[Logged]] = {name: [] for name in parts}
    for entry in tried:
        if entry.attempt.part in of:
            of[entry.attempt.part].append(entry)
    return tuple(_card(name, made, of[name], ticked.get(name, {})) for name, made in parts.items())


def _card(
    part: str, content: str | None, tried: list[Logged], ticked: Mapping[str, tuple[bool, datetime]]
) -> RouteCard:
    good = [e for e in tried if e.attempt.outcome == "printed"]
    fits = [e for e in good if content is None or e.attempt.part_hash in (None, content)]
    state: State
    if fits:
        state = "printed"
    elif good:
        state = "changed since"
    else:
        state = "print again" if tried else "to print"
    since = fits[0].job.at if fits else None
    done = tuple(s for s in STEPS if s in ticked and ticked[s][0] and since is not None and ticked[s][1] >= since)
    return RouteCard(part, state, len(tried), len(tried) - len(good), done, tried[-1] if tried else None)


def reprint_queue(cards: Iterable[RouteCard]) -> tuple[RouteCard, ...]:
    """What has to go on a plate again: failed parts, then those whose shape has changed since."""
    order = ("print again", "changed since")
    return tuple(c for state in order for c in cards if c.state == state)
