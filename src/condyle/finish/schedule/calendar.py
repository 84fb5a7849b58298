"""A plan as iCalendar (RFC 5545), in floating local time: it stands at the same hours in any calendar program."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import datetime

from condyle.finish.schedule.plan import Schedule

_LINE_OCTETS = 75


def to_icalendar(plan: Schedule, figure: str, stamp: datetime) -> bytes:
    """One event for each stretch of hands, and one for the end of each wait of an hour or more. Same plan, same bytes.

    ``stamp`` is the moment that the calendar says it was made (RFC 5545, 3.8.7.2): an argument, since nothing here asks
    a clock. It must be in UTC or without a zone, which is taken as UTC.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Condyle//Order of work//EN", "CALSCALE:GREGORIAN"]
    for scheduled in plan.tasks:
        task = scheduled.task
        count = len(scheduled.stretches)
        for number, (begin, end) in enumerate(scheduled.stretches, start=1):
            part = f" ({number} of {count})" if count > 1 else ""
            if end > begin:
                lines += _event(
                    figure, f"{task.name}{part}", begin, end, stamp, _words(task.goes_wrong, scheduled.missed)
                )
        if task.wait_h >= 1.0:
            begin = scheduled.stretches[-1][1]
            lines += _event(
                figure, f"{task.name}: by itself", begin, scheduled.done, stamp, "Nothing to do.", busy=False
            )
    lines.append("END:VCALENDAR")
    return b"".join(line + b"\r\n" for text in lines for line in _folded(text))


def _words(goes_wrong: str, missed: tuple[str, ...]) -> str:
    scuff = f"The window after {', '.join(missed)} is over: scuff the surface first. " if missed else ""
    return scuff + (f"What can go wrong: {goes_wrong}" if goes_wrong else "")


def _event(
    figure: str, title: str, begin: datetime, end: datetime, stamp: datetime, words: str, *, busy: bool = True
) -> list[str]:
    name = hashlib.blake2b(f"{figure}\n{title}\n{begin.isoformat()}".encode(), digest_size=12).hexdigest()
    lines = [
        "BEGIN:VEVENT",
        f"UID:{name}@condyle.invalid",
        f"DTSTAMP:{stamp:%Y%m%dT%H%M%S}Z",
        f"DTSTART:{begin:%Y%m%dT%H%M%S}",
        f"DTEND:{end:%Y%m%dT%H%M%S}",
        f"SUMMARY:{_escaped(f'{figure}: {title}')}",
        f"TRANSP:{'OPAQUE' if busy else 'TRANSPARENT'}",
    ]
    if words:
        lines.append(f"DESCRIPTION:{_escaped(words)}")
    return [*lines, "END:VEVENT"]


def _escaped(text: str) -> str:
    """RFC 5545, 3.3.11."""
    for mark in ("\\", ";", ","):
        text = text.replace(mark, "\\" + mark)
    return text.replace("\r", "").replace("\n", "\\n")


def _folded(text: str) -> Iterator[bytes]:
    """RFC 5545, 3.1: lines of at most 75 octets, never cut within a character."""
    line = b""
    for character in text:
        octets = character.encode()
        if len(line) + len(octets) > _LINE_OCTETS:
            yield line
            line = b" "
        line += octets
    yield line
