"""``condyle log``: what happened at the bench, what is still to print, and what made a print fail."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from cyclopts import Parameter

from condyle.cli.commands import FigurePath

if TYPE_CHECKING:
    from datetime import datetime

    from condyle.build.triage import Triage
    from condyle.project.bench_sheet import BenchSheet
    from condyle.project.record.attempts import Logged
    from condyle.project.record.cards import RouteCard

SOUND = 0

Failure = Literal[
    "came loose", "loose strands", "layer shift", "stringing", "under-extrusion", "fused joint", "broken in removal",
    "missing region", "warped", "rough surface", "stuck to the film", "torn off supports", "layers parted",
    "cracked after curing", "other",
]  # fmt: skip
Stage = Literal["cleaned", "dry fitted", "sanded", "primed", "painted", "sealed", "assembled"]


def log(
    figure: FigurePath,
    /,
    *parts: Annotated[str, Parameter(help="Parts that this is about.")],
    printed: Annotated[bool, Parameter(negative=(), help="They came out well.")] = False,
    failed: Annotated[Failure | None, Parameter(help="They failed, and how.")] = None,
    build: Annotated[str | None, Parameter(help="The plate they were on; its other parts came out well.")] = None,
    only: Annotated[bool, Parameter(negative=(), help="Say nothing of the plate's other parts.")] = False,
    time: Annotated[str | None, Parameter(help="How long the job took, as HOURS:MINUTES.")] = None,
    mass: Annotated[float | None, Parameter(help="What the job weighed, in g, supports included.")] = None,
    when: Annotated[str | None, Parameter(help="When it ended, as 2031-05-04T18:30; else now.")] = None,
    note: Annotated[str, Parameter(show_default=False, help="A few words of yours.")] = "",
    setting: Annotated[
        tuple[str, ...], Parameter(negative=(), show_default=False, help="A printer setting to keep: NAME=VALUE.")
    ] = (),
    tick: Annotated[Stage | None, Parameter(help="Tick a step of the route cards for these parts.")] = None,
    clear: Annotated[Stage | None, Parameter(help="Clear a step again.")] = None,
    why: Annotated[str | None, Parameter(help="What made the last failed attempt at this part fail.")] = None,
    gather: Annotated[
        Path | None, Parameter(help="Nest these parts, or all to print again, on plates in this kit's builds.")
    ] = None,
    withdraw: Annotated[int | None, Parameter(help="Take back an attempt, by its number.")] = None,
    every: Annotated[bool, Parameter(name="--all", negative=(), help="Show every attempt and all rates.")] = False,
    json: Annotated[bool, Parameter(name="--json", negative=(), help="The answer as JSON, alone.")] = False,
) -> int:
    """Record each attempt at each part; show the route cards; find out why a print failed."""
    from condyle.project.figure_file import read_figure

    read_figure(figure)  # what is wrong with it is told before all else is loaded
    from datetime import UTC, datetime

    from condyle.errors import UsageError
    from condyle.project.bench_sheet import read_sheet
    from condyle.project.record.desk import Entry, cards, enter, tick_parts
    from condyle.project.record.desk import why as ask_why
    from condyle.project.record.place import record_path

    once = (failed, tick, clear, why, gather, withdraw)
    asked = [printed, *(x is not None for x in once)]
    if sum(asked) > 1:
        hint = "one of --printed, --failed, --tick, --clear, --why, --gather, --withdraw at a time"
        raise UsageError("log.one_thing", "this asks for several things at once", hint=hint)
    record = record_path(figure)
    sheet = read_sheet(figure)
    if why is not None:
        return _show_why(*ask_why(record, sheet, why), json=json)
    if gather is not None:
        from condyle.cli.again import gather_parts

        return gather_parts(figure, gather, parts, json=json)
    if withdraw is not None:
        return _withdraw(record, withdraw, datetime.now(UTC))
    if tick is not None or clear is not None:
        step = tick or clear
        assert step is not None
        tick_parts(record, sheet, parts, step, _moment(when), done=tick is not None, now=when is None)
    elif printed or failed is not None:
        entry = Entry(
            parts, build, failed, _moment(when), note, _seconds(time), _grams(mass), _settings(setting), only=only
        )
        enter(record, sheet, entry, now=when is None)
    elif parts or build or time or mass or note:
        raise UsageError("log.outcome", "say how it went: --printed, or --failed and how")
    return _show_cards(*cards(record, sheet), sheet, every=every, json=json)


def _moment(text: str | None) -> datetime:
    from datetime import UTC, datetime

    from condyle.errors import UsageError

    if text is None:
        return datetime.now(UTC)
    try:
        return datetime.fromisoformat(text).astimezone(UTC)
    except ValueError:
        raise UsageError("log.when", f"no time: {text!r}", hint="write it as 2031-05-04T18:30") from None


def _seconds(text: str | None) -> float | None:
    import re

    from condyle.errors import UsageError

    if text is None:
        return None
    match = re.fullmatch(r"(\d{1,3}):([0-5]\d)", text.strip())
    if match is None or text.strip().lstrip("0:") == "":
        raise UsageError("log.time", f"no length of time: {text!r}", hint="write hours and minutes, as 5:10")
    return 3600.0 * int(match[1]) + 60.0 * int(match[2])


def _grams(mass: float | None) -> float | None:
    from condyle.errors import UsageError

    if mass is not None and not 0.0 < mass < 100_000.0:
        raise UsageError("log.mass", f"no mass in grams: {mass:g}")
    return mass


def _settings(given: tuple[str, ...]) -> dict[str, str]:
    from condyle.errors import UsageError

    kept = {}
    for text in given:
        name, equals, value = text.partition("=")
        if not (equals and name.strip() and value.strip()):
            raise UsageError("log.setting", f"no setting: {text!r}", hint="write it as NAME=VALUE")
        kept[name.strip()] = value.strip()
    return kept


def _withdraw(record: Path, number: int, at: datetime) -> int:
    from condyle.cli.screen import to_screen
    from condyle.project.record.attempts import withdraw_attempt
    from condyle.project.record.store import opened

    with opened(record) as connection:
        taken = withdraw_attempt(connection, number, at)
    to_screen().print(f"Taken back: {number}, {taken.attempt.part}, {_outcome(taken)}", markup=False)
    return SOUND


def _outcome(entry: Logged) -> str:
    return entry.attempt.how or "printed"


def _show_cards(
    cards: tuple[RouteCard, ...], tried: tuple[Logged, ...], sheet: BenchSheet, *, every: bool, json: bool
) -> int:
    from condyle.project.record.cards import STEPS, reprint_queue

    if json:
        print_json(
            {
                "figure": sheet.figure,
                "cards": [
                    {"part": c.part, "state": c.state, "tries": c.tries, "failures": c.failures, "done": list(c.ticked)}
                    for c in cards
                ],
                "print_again": [c.part for c in reprint_queue(cards)],
            }
        )
        return SOUND
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    from condyle.cli.screen import to_screen

    screen = to_screen()
    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for head in ("part", "print", "tries", "failed", *STEPS):
        table.add_column(head, justify="right" if head in ("tries", "failed") else "left")
    for card in cards:
        marks = ["done" if step in card.ticked else "" for step in STEPS]
        table.add_row(card.part, card.state, str(card.tries or ""), str(card.failures or ""), *marks)
    screen.print(table)
    queue = reprint_queue(cards)
    ready = sum(c.state == "printed" for c in cards)
    again = f"; to print again: {', '.join(c.part for c in queue)}" if queue else ""
    screen.print(f"{ready} of {len(cards)} parts printed{again}", markup=False, soft_wrap=True)
    if every:
        _show_attempts(tried)
        _show_rates(tried)
    return SOUND


def _show_attempts(tried: tuple[Logged, ...]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    from condyle.cli.screen import to_screen

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for head in ("number", "ended (UTC)", "part", "outcome", "build", "printer", "note"):
        table.add_column(head, overflow="fold")
    for e in tried:
        at = e.job.at.strftime("%Y-%m-%d %H:%M")
        cells = (str(e.number), at, e.attempt.part, _outcome(e), e.job.build or "", e.job.printer, e.attempt.note)
        table.add_row(*(Text(c) for c in cells))
    to_screen().print(table)


def _show_rates(tried: tuple[Logged, ...]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    from condyle.cli.screen import to_screen
    from condyle.project.record.rates import by_material, by_orientation, by_part, rates

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for head in ("came out well", "of", "share", "nine in ten sure between", "by"):
        table.add_column(head, justify="left" if head == "by" else "right")
    for group in (by_material, by_part, by_orientation):
        for rate in rates(tried, group):
            between = f"{rate.low:.0%} and {rate.high:.0%}"
            table.add_row(str(rate.successes), str(rate.attempts), f"{rate.share:.0%}", between, rate.group)
    to_screen().print(table)


def _show_why(last: Logged, found: Triage, *, json: bool) -> int:
    if json:
        print_json(
            {
                "part": last.attempt.part,
                "how": last.attempt.how,
                "answer": found.answer,
                "suspects": [
                    {
                        "cause": s.cause, "words": s.words, "lies": s.lies, "weight": round(s.share, 4),
                        "evidence": list(s.evidence), "inspect": s.inspect,
                    }
                    for s in found.suspects
                ],
                "not_measured": list(found.not_measured),
            }
        )  # fmt: skip
        return SOUND
    from condyle.build.triage import CAUSES
    from condyle.cli.screen import to_screen

    screen = to_screen()
    at = last.job.at.strftime("%Y-%m-%d")
    screen.print(f"{last.attempt.part}, {at}: {last.attempt.how}", markup=False)
    where = {"part": "It lies in the file", "printer": "It lies in the printer", "hand": "It lies in the handling"}
    if found.answer is None:
        screen.print("It cannot be told from what is known. The suspects, the likeliest first:")
    else:
        screen.print(f"{where[CAUSES[found.answer].lies]}: {CAUSES[found.answer].words}.", markup=False, soft_wrap=True)
    for number, suspect in enumerate(found.suspects[:4], start=1):
        screen.print(f"{number}. {suspect.words} ({suspect.lies}, weight {suspect.share:.0%})", markup=False)
        for line in suspect.evidence:
            screen.print(f"     seen   {line}", markup=False, soft_wrap=True)
        screen.print(f"     look   {suspect.inspect}", markup=False, soft_wrap=True)
    if found.not_measured:
        words = "; ".join(CAUSES[c].words for c in found.not_measured)
        screen.print(f"Not measured: {words}.", markup=False, soft_wrap=True)
    screen.print("Weights rank the suspects by common practice; they are no measured frequencies.")
    return SOUND


def print_json(value: dict[str, Any]) -> None:
    """An answer as JSON, alone on standard output."""
    import json

    sys.stdout.write(json.dumps(value, indent=1, ensure_ascii=False) + "\n")
