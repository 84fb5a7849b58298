"""Reading figure.toml: every mistake is a FigureFileError that names the file, the line and what to write instead."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args, get_origin

import tomlkit
from pydantic import BaseModel, ValidationError
from tomlkit.exceptions import TOMLKitError

from condyle.errors import FigureFileError, Place
from condyle.project.figure_model import LOWEST_MM, SCHEMA, TALLEST_MM, FigureFile
from condyle.workshop.toml_file import KeyPath, key_lines, parse_toml

MOST_BYTES = 4_000_000


@dataclass(frozen=True)
class FigureDocument:
    """A figure file as read: where it is, its text, what it says, and on which line it says what."""

    path: Path
    text: str
    content: FigureFile
    lines: dict[KeyPath, int]

    @property
    def folder(self) -> Path:
        return self.path.parent

    def place(self, *key: str | int) -> Place:
        """Where a key stands."""
        return Place(file=str(self.path), line=line_of(self.lines, key))

    def beside(self, name: str) -> Path:
        """A path written in the file, which is relative to the file's folder."""
        return self.folder / name


def read_figure(path: Path) -> FigureDocument:
    """The figure file at ``path``. FigureFileError when it is missing, no TOML, or says something unusable."""
    return parse_figure(path, read_text(path, "figure file"))


def read_text(path: Path, what: str) -> str:
    """A small UTF-8 text file of the maker's; FigureFileError for anything else."""
    place = Place(file=str(path))
    if path.is_dir():
        inside = path / "figure.toml"
        hint = f"write {inside}" if inside.is_file() else f"name the {what} itself"
        raise FigureFileError("figure.folder", f"this is a folder, not a {what}", hint=hint, place=place)
    try:
        if path.exists() and not path.is_file():  # a device or a pipe may never end
            hint = f"name the {what} itself"
            raise FigureFileError("figure.not_a_file", f"this is no file, and no {what}", hint=hint, place=place)
        with path.open("rb") as source:
            data = source.read(MOST_BYTES + 1)
    except FileNotFoundError:
        hint = "check the path, or make a figure file with: condyle start SCULPT --height 150 --out FOLDER"
        raise FigureFileError("figure.missing", f"there is no such {what}", hint=hint, place=place) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        hint = "check the path and the rights"
        raise FigureFileError(
            "figure.unreadable", f"the {what} cannot be read: {reason}", hint=hint, place=place
        ) from None
    if len(data) > MOST_BYTES:
        hint = f"a {what} is a short text; is this the right file?"
        raise FigureFileError("figure.too_long", f"more than {MOST_BYTES // 1_000_000} MB", hint=hint, place=place)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FigureFileError(
            "figure.not_text",
            f"this {what} is not UTF-8 text",
            hint="save it as UTF-8, or check that it is the right file",
            place=Place(file=str(path), line=line),
        ) from None


def parse_figure(path: Path, text: str) -> FigureDocument:
    """A figure file from its text; ``path`` is where it stands, for messages and relative paths."""
    plain = parse_toml(text, str(path))
    lines = key_lines(text)
    _check_schema(path, plain, lines)
    try:
        content = FigureFile.model_validate(plain)
    except ValidationError as error:
        raise _first_error(path, error, lines) from None
    return FigureDocument(path, text, content, lines)


def _check_schema(path: Path, plain: dict[str, Any], lines: dict[KeyPath, int]) -> None:
    """A file of a later schema gets one clear word instead of a row of unknown keys."""
    schema = plain.get("schema")
    if schema == SCHEMA and not isinstance(schema, bool):
        return
    place = Place(file=str(path), line=line_of(lines, ("schema",)))
    if schema is None:
        hint = f"write schema = {SCHEMA} on its first line; is this a figure file?"
        raise FigureFileError("figure.schema", "the key schema is missing", hint=hint, place=place)
    hint = f"this Condyle reads schema = {SCHEMA}"
    raise FigureFileError("figure.schema", f"schema = {schema!r} is not known here", hint=hint, place=place)


def _first_error(path: Path, error: ValidationError, lines: dict[KeyPath, int]) -> FigureFileError:
    """The mistake that stands first in the file, in our words."""
    problems = []
    for item in error.errors(include_url=False):
        key = _key_of(item["loc"])
        problems.append((item["type"] == "missing", line_of(lines, key) or 0, key, item))
    # A misspelt key is both unknown and missing; the line with the slip is the one to show.
    problems.sort(key=lambda p: (p[0], p[1], str(p[2])))
    _, line, key, item = problems[0]
    code, message, hint = _say(key, item)
    if len(problems) > 1:
        hint += f" ({len(problems) - 1} more after this one)"
    return FigureFileError(code, message, hint=hint, place=Place(file=str(path), line=line or None))


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int | None:
    """The line of a key, or of the nearest thing around it that has one."""
    return next((lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in lines), None)


def _key_of(loc: tuple[str | int, ...]) -> KeyPath:
    """pydantic's way to a value, without its own tags."""
    return tuple("schema" if part == "schema_" else part for part in loc)


def dotted(key: KeyPath) -> str:
    """A key as a maker reads it: ``joints.neck.centre``, a list's element as ``[1]``."""
    words = ""
    for part in key:
        words += f"[{part}]" if isinstance(part, int) else (f".{part}" if words else str(part))
    return words


def _say(key: KeyPath, item: Any) -> tuple[str, str, str]:
    name, kind, context = dotted(key), item["type"], item.get("ctx", {})
    if kind == "extra_forbidden":
        return "toml.unknown_key", f"unknown key {name}", _suggestion(key)
    if kind == "missing":
        return "toml.missing_key", f"{name} is missing", f"add {name}"
    if kind == "value_error":
        return "toml.value", str(context.get("error", item["msg"])), "mend it there"
    if key[-1:] == ("height_mm",) and kind in ("greater_than_equal", "less_than_equal"):
        told = f"height_mm = {item['input']:g} is no height for a figure"
        return "figure.height", told, f"the height is in mm, from {LOWEST_MM:g} to {TALLEST_MM:g}; 150 is usual"
    return (
        "toml.value",
        f"{name}: {_wanted(kind, context, item['msg'])}",
        f"mend it there; it says {_shown(item['input'])}",
    )


_TYPES = {
    "float_type": "needs a number",
    "int_type": "needs a whole number",
    "string_type": 'needs text in "quotes"',
    "list_type": "needs a list in [brackets]",
    "dict_type": "needs a table of keys",
    "model_type": "needs a table of keys",
    "finite_number": "needs a finite number",
    "string_too_short": "must not be empty",
    "string_pattern_mismatch": "must read blake2b: and 40 hexadecimal digits",
}


def _wanted(kind: str, context: dict[str, Any], fallback: str) -> str:
    if kind in _TYPES:
        return _TYPES[kind]
    if kind == "literal_error":
        return f"must be {context['expected']}"
    if kind in ("too_short", "too_long"):
        bound = context.get("min_length", context.get("max_length"))
        return f"needs {bound} values, it has {context.get('actual_length')}"
    words = {"greater_than": "gt", "greater_than_equal": "ge", "less_than": "lt", "less_than_equal": "le"}
    if kind in words:
        return f"must be {kind.replace('_', ' ')} {context[words[kind]]:g}".replace("than equal", "than or equal to")
    return fallback[:1].lower() + fallback[1:]


def _shown(value: object) -> str:
    try:
        text = str(tomlkit.item(value).as_string())
    except (TOMLKitError, ValueError):
        text = repr(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _suggestion(key: KeyPath) -> str:
    known = _known_keys(key[:-1])
    near = difflib.get_close_matches(str(key[-1]), known, n=1, cutoff=0.5)
    if near:
        return f"did you mean {near[0]}?"
    return "known here: " + ", ".join(known)


def _known_keys(path: KeyPath) -> list[str]:
    """The keys that the table at ``path`` may have, found by walking down the model."""
    kind: Any = FigureFile
    for part in path:
        if get_origin(kind) is dict:
            kind = get_args(kind)[1]
            continue
        fields = _fields(kind)
        kind = next((a for a in fields.get(str(part), ()) if get_origin(a) is dict or _fields(a)), None)
    return list(_fields(kind))


def _fields(kind: Any) -> dict[str, tuple[Any, ...]]:
    """A table's keys with the types that each may have; nothing for what is no table."""
    if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
        return {}
    return {
        field.alias or name: (field.annotation, *get_args(field.annotation))
        for name, field in kind.model_fields.items()
    }
