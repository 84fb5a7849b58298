"""On which line of a TOML text each key stands, so that an error can say so.

TOML parsers drop the positions. This scanner only looks for table headers and for the starts of ``key = value``
statements; the text has been parsed before, so it need not check anything. Keys inside an inline table or an array are
on the line of their statement.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

KeyPath = tuple[str | int, ...]

_KEY = re.compile(r"""\s*(?:"((?:[^"\\]|\\.)*)"|'([^']*)'|([A-Za-z0-9_-]+))\s*""")


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line numbers (from 1) of every table header and key; ``[[name]]`` tables are counted: ("poses", 0, "name")."""
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    at = 0
    while at < len(text):
        at = _skip_blank(text, at)
        if at >= len(text):
            break
        line = text.count("\n", 0, at) + 1
        if text[at] == "[":
            many = text.startswith("[[", at)
            names, at = _dotted(text, at + (2 if many else 1))
            table = _resolved(names, counts)
            if many:
                counts[table] = counts.get(table, -1) + 1
                lines.setdefault(table, line)
                table = (*table, counts[table])
            lines.setdefault(table, line)
            at = _line_end(text, at)
        else:
            names, at = _dotted(text, at)
            for depth in range(1, len(names) + 1):
                lines.setdefault((*table, *names[:depth]), line)
            at = _value_end(text, at + 1)
    return lines


def line_of(lines: dict[KeyPath, int], path: Sequence[str | int]) -> int | None:
    """The line of a key, or of the nearest thing around it that has one."""
    for length in range(len(path), 0, -1):
        found = lines.get(tuple(path[:length]))
        if found is not None:
            return found
    return None


def _resolved(names: list[str], counts: dict[KeyPath, int]) -> KeyPath:
    """A header's full path: below ``[[poses]]``, ``[poses.joints]`` belongs to the last pose."""
    path: KeyPath = ()
    for depth, name in enumerate(names):
        path = (*path, name)
        if depth < len(names) - 1 and path in counts:
            path = (*path, counts[path])
    return path


def _dotted(text: str, at: int) -> tuple[list[str], int]:
    names: list[str] = []
    while True:
        match = _KEY.match(text, at)
        if match is None:
            return names, at
        names.append(next(g for g in match.groups() if g is not None))
        at = match.end()
        if not text.startswith(".", at):
            return names, at
        at += 1


def _skip_blank(text: str, at: int) -> int:
    while at < len(text):
        if text[at] == "#":
            at = _line_end(text, at)
        elif text[at].isspace() or text[at] == "\ufeff":
            at += 1
        else:
            break
    return at


def _line_end(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end


def _value_end(text: str, at: int) -> int:
    """Past the value that starts at ``at``: the first line end outside strings and brackets."""
    depth = 0
    while at < len(text):
        char = text[at]
        if char == "\n" and depth == 0:
            return at
        if char == "#":
            at = _line_end(text, at)
            continue
        if char in "[{":
            depth += 1
        elif char in "]}":
            depth -= 1
        elif char in "\"'":
            at = _string_end(text, at)
            continue
        at += 1
    return at


def _string_end(text: str, at: int) -> int:
    quote = text[at]
    mark = quote * 3 if text.startswith(quote * 3, at) else quote
    at += len(mark)
    while at < len(text):
        if text[at] == "\\" and quote == '"':
            at += 2
        elif text.startswith(mark, at):
            at += len(mark)
            # A text may end in up to two quotes of its own before the closing three.
            while len(mark) == 3 and text.startswith(quote, at):
                at += 1
            return at
        else:
            at += 1
    return at
