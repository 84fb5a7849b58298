"""The line scanner against the TOML specification's own shapes, and against the parser for every key."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from condyle.errors import FigureFileError
from condyle.workshop.toml_file import KeyPath, key_lines, line_of, parse_toml

# Shapes from the TOML 1.0 specification (toml.io/en/v1.0.0): dotted and quoted keys, multi-line strings with brackets, quotes and
# key-like lines inside, arrays over several lines with comments, tables below arrays of tables.
TEXT = '''# comment [not.a.table]
title = "a # no comment = [x]"
"quoted key".'inner one' = 1
a.b.c = 2
long = """
[fake]
key = 1
\\"""\\"
""""
raw = \'\'\'
d = "
\'\'\'
list = [
  1, # ] tricky
  { x = 1 },
]
[one."two.three"] # after
deep = { x = 1, y = [2] }
[[crew]]
name = "diver"
[crew.tools]
lamp = true
[[crew]]
name = "dog"
[[crew.toys]]
kind = "ball"
[[crew.toys]]
kind = "rope"
'''

EXPECTED: dict[KeyPath, int] = {
    ("title",): 2,
    ("quoted key", "inner one"): 3,
    ("a", "b", "c"): 4,
    ("long",): 5,
    ("raw",): 10,
    ("list",): 13,
    ("one", "two.three"): 17,
    ("one", "two.three", "deep"): 18,
    ("crew", 0): 19,
    ("crew", 0, "tools", "lamp"): 22,
    ("crew", 1): 23,
    ("crew", 1, "toys", 0, "kind"): 26,
    ("crew", 1, "toys", 1, "kind"): 28,
}


def leaves(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    if isinstance(value, dict) and value:
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        for index, inner in enumerate(value):
            yield from leaves(inner, (*path, index))
    else:
        yield path


@pytest.mark.parametrize(("path", "line"), EXPECTED.items())
def test_lines_of_keys(path: KeyPath, line: int) -> None:
    assert key_lines(TEXT)[path] == line


def test_every_key_that_the_parser_sees_has_a_line() -> None:
    for path in leaves(tomllib.loads(TEXT)):
        assert line_of(TEXT, path) is not None, path


def test_nothing_else_is_taken_for_a_key() -> None:
    assert not any("fake" in path or "key" in path or "d" in path for path in key_lines(TEXT))


def test_a_key_that_stands_nowhere_falls_back_to_its_table() -> None:
    assert line_of(TEXT, ("crew", 1, "boots")) == 23
    assert line_of(TEXT, ("nowhere",)) is None


@given(st.text(max_size=80))
def test_any_text_parses_or_is_a_clear_error(text: str) -> None:
    try:
        values = parse_toml(text, "f.toml")
    except FigureFileError as error:
        assert error.code == "toml.syntax" and error.place.file == "f.toml"
        return
    for path in leaves(values):
        assert not path or line_of(text, path) is not None


@pytest.mark.parametrize(
    ("text", "line"), [("a = 1\nb = \n", 2), ("a = 1\n\na = 2\n", 3), ('a = "x\n', 1), ("[a\n", 1)]
)
def test_syntax_errors_name_the_line(text: str, line: int) -> None:
    with pytest.raises(FigureFileError) as caught:
        parse_toml(text, "f.toml")
    assert caught.value.place.line == line


@pytest.mark.parametrize("text", ["a = " + "[" * 100_000, "a." * 50_000 + "a = 1", "'a' . " * 50_000 + "a = 1"])
def test_nesting_without_end(text: str) -> None:
    with pytest.raises(FigureFileError) as caught:
        parse_toml("\n" + text, "f.toml")
    assert caught.value.code == "toml.syntax"
