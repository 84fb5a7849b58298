"""Strict reading of the maker's TOML: every complaint names the file and the line.

The standard library reads the values; it keeps no line numbers, so a small scanner walks the same text (known to be
valid by then) and notes where each key stands.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from condyle.errors import FigureFileError, Place

KeyPath = tuple[str | int, ...]
Model = TypeVar("Model", bound=BaseModel)

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_DECIMAL_COMMA = re.compile(r"=\s*[+-]?\d+,\d+\s*(#.*)?$")
# A key of very many parts takes the parser minutes; nobody nests a hundred tables.
_ENDLESS_KEY = re.compile(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){100}""")


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """The values of a TOML text; ``file`` is only named in errors.

    Raises FigureFileError (``toml.syntax``) with the line where the text stops making sense.
    """
    if endless := _ENDLESS_KEY.search(text):
        place = Place(file, text.count("\n", 0, endless.start()) + 1)
        hint = "is this the right file? nobody nests a hundred tables"
        raise FigureFileError("toml.syntax", "a key of more than a hundred parts", hint=hint, place=place)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"line (\d+)", str(error))
        line = int(found.group(1)) if found else text.count("\n") + 1
        reason = re.sub(r"\s*\(at .*\)$", "", str(error))
        hint = "a key stands once, text in quotes, and lists in square brackets"
        if line <= len(text.splitlines()) and _DECIMAL_COMMA.search(text.splitlines()[line - 1]):
            hint = "decimals are written with a point, as 3.82"
        raise FigureFileError(
            "toml.syntax", f"this is not valid TOML: {reason}", hint=hint, place=Place(file, line)
        ) from error
    except RecursionError as error:
        raise FigureFileError(
            "toml.syntax", "brackets nested far too deep", hint="is this the right file?", place=Place(file)
        ) from error


def read_checked(model: type[Model], text: str, file: str) -> Model:
    """Parse ``text`` and check it against a pydantic model; unknown keys are the model's to forbid.

    Raises FigureFileError: ``toml.unknown_key``, ``toml.missing_key`` or ``toml.value``, with file and line.
    """
    values = parse_toml(text, file)
    try:
        return model.model_validate(values)
    except ValidationError as error:
        raise _complaint(error, values, text, file) from error


def line_of(text: str, path: KeyPath) -> int | None:
    """The line (from 1) where the key ``path`` stands, or the nearest key above it that stands in the text."""
    lines = key_lines(text)
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


def _complaint(error: ValidationError, values: Mapping[str, Any], text: str, file: str) -> FigureFileError:
    found = error.errors(include_url=False)
    # An unknown key is the commonest slip and explains a missing one, so it is told first.
    first = min(found, key=lambda e: (e["type"] != "extra_forbidden", e["type"] == "missing"))
    path = _in_the_file(first["loc"], values, missing=first["type"] == "missing")
    name = ".".join(str(p) for p in path) or "the file"
    place = Place(file, line_of(text, path))
    others = {_in_the_file(e["loc"], values, missing=e["type"] == "missing") for e in found} - {path}
    more = f"{len(others)} more after this one" if others else ""
    if first["type"] == "extra_forbidden":
        return FigureFileError(
            "toml.unknown_key", f"unknown key {name}", hint=more or "check its spelling", place=place
        )
    if first["type"] == "missing":
        return FigureFileError("toml.missing_key", f"{name} is missing", hint=more or "add it", place=place)
    reason = re.sub(r"^(Value|Assertion) error, ", "", first["msg"])
    got = first.get("input")
    shown = "" if isinstance(got, Mapping) else f" (got {got!r:.60})"
    hint = next((words for start, words in _REMEDIES.items() if first["type"].startswith(start)), _ANY_REMEDY)
    hint = f"{hint}; {more}" if more else hint
    return FigureFileError("toml.value", f"{name!r:.60}".strip("'") + f": {reason}{shown}", hint=hint, place=place)


_REMEDIES = {
    "float": "write a number without quotes, with a decimal point",
    "int": "write a whole number without quotes",
    "finite": "write an ordinary number; leave the key out if you do not know it",
    "bool": "write true or false, without quotes",
    "string": "write text in quotes",
    "list": "write a list in square brackets, as [1.0, 2.0]",
    "tuple": "write a list in square brackets, as [1.0, 2.0]",
    "too_": "give as many values as the message says",
    "literal": "choose one of the words in the message",
    "model": "write a table, as { key = value }, or a header in square brackets with keys below it",
    "dict": "write a table, as { key = value }, or a header in square brackets with keys below it",
    "greater": "change it, or leave the key out",
    "less": "change it, or leave the key out",
}
_ANY_REMEDY = "change it, or leave the key out; all keys stand in docs/files.md"


def _in_the_file(loc: KeyPath, values: Mapping[str, Any], *, missing: bool) -> KeyPath:
    """A place as the maker knows it: the checker's own words for the choices that it tried are left out."""
    path: list[str | int] = []
    here: Any = values
    for index, part in enumerate(loc):
        if isinstance(here, Mapping) and part in here:
            path.append(part)
            here = here[part]
        elif isinstance(here, list) and isinstance(part, int):
            path.append(part)
            here = here[part] if part < len(here) else None
        elif missing and index == len(loc) - 1:
            path.append(part)
    return tuple(path)


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line of every table header and key of a *valid* TOML text, by full path; keys inside inline tables aside."""
    lines: dict[KeyPath, int] = {}
    prefix: KeyPath = ()
    array_sizes: dict[KeyPath, int] = {}
    at, line, counted = 0, 1, 0
    while at < len(text):
        if text[at].isspace():
            at += 1
            continue
        if text[at] == "#":
            at = _line_end(text, at)
            continue
        line += text.count("\n", counted, at)
        counted = at
        if text[at] == "[":
            double = text.startswith("[[", at)
            parts, stop = _dotted_key(text, at + (2 if double else 1))
            prefix = _through_arrays(parts, array_sizes, whole=not double)
            if double:
                array_sizes[prefix] = array_sizes.get(prefix, 0) + 1
                prefix = (*prefix, array_sizes[prefix] - 1)
            # [a.b.c] also brings a and a.b into being, if nothing did before.
            for size in range(1, len(prefix) + 1):
                lines.setdefault(prefix[:size], line)
            at = _line_end(text, stop)
        else:
            parts, stop = _dotted_key(text, at)
            for size in range(1, len(parts) + 1):
                lines.setdefault((*prefix, *parts[:size]), line)
            at = _value_end(text, stop + 1)
    return lines


def _through_arrays(parts: list[str], array_sizes: Mapping[KeyPath, int], *, whole: bool) -> KeyPath:
    """``[a.b]`` below ``[[a]]`` means the last element of a."""
    path: KeyPath = ()
    for index, part in enumerate(parts):
        path = (*path, part)
        if path in array_sizes and (whole or index < len(parts) - 1):
            path = (*path, array_sizes[path] - 1)
    return path


def _line_end(text: str, at: int) -> int:
    stop = text.find("\n", at)
    return len(text) if stop < 0 else stop


def _dotted_key(text: str, at: int) -> tuple[list[str], int]:
    """Parts of the key that starts at ``at``, and the index of the ``=`` or ``]`` after it."""
    parts: list[str] = []
    while at < len(text) and text[at] not in "=]\n":
        if text[at] in "\"'":
            stop = _string_end(text, at)
            parts.append(str(tomllib.loads("k = " + text[at:stop])["k"]))
            at = stop
        elif bare := _BARE.match(text, at):
            parts.append(bare.group())
            at = bare.end()
        else:
            at += 1
    return parts, at


def _string_end(text: str, at: int) -> int:
    """The index after the string that opens at ``at``."""
    quote = text[at] * 3 if text.startswith(text[at] * 3, at) else text[at]
    at += len(quote)
    while at < len(text) and not text.startswith(quote, at):
        at += 2 if text[at] == "\\" and quote[0] == '"' else 1
    at += len(quote)
    # A multi-line string may close with up to two quotes of its own before the three.
    while len(quote) == 3 and at < len(text) and text[at] == quote[0]:
        at += 1
    return at


def _value_end(text: str, at: int) -> int:
    """The index of the end of the value that begins at ``at``: a line end outside all brackets and strings."""
    depth = 0
    while at < len(text):
        here = text[at]
        if here in "\"'":
            at = _string_end(text, at)
            continue
        if here == "#":
            at = _line_end(text, at)
            continue
        if here == "\n" and depth <= 0:
            return at
        depth += (here in "[{") - (here in "]}")
        at += 1
    return at
