"""TOML files of ours with anything standing anywhere, as Hypothesis draws them."""

from __future__ import annotations

import re

import tomlkit
from hypothesis import strategies as st

NUMBERS = st.sampled_from(
    ["0", "-1", "1", "1e308", "-1e308", "nan", "inf", "-inf", "99999999999999999999", "0.0", "1e-300", "150", "2.5"]
)
ODDITIES = st.sampled_from(
    [
        "true", '""', '"x"', "[]", "[1, 2]", "[0.0, 0.0, 0.0]", "[nan, 1, 2]", "{}", "{ value = 1 }", "{ value = nan, sd = -1 }",
        "2027-01-04", '"../../etc/passwd"', '"/dev/zero"', '"\\u0000"', '"' + "a" * 300 + '"', "[[1, 2], [3]]", '["flex"]', "'\t'",
    ]
)  # fmt: skip
KEYS = st.sampled_from(
    ["", "x", "value", "joints", "schema", "kind", "size", "__class__", '"a b"', "ä", "fits.ball", "limits"]
)
VALUES = st.one_of(NUMBERS, ODDITIES, st.text(max_size=8).map(lambda t: tomlkit.string(t).as_string()))


@st.composite
def damaged(draw: st.DrawFn, text: str) -> str:
    """A file with some of its lines changed: values replaced, keys renamed, lines doubled, dropped, moved, or cut."""
    lines = text.splitlines()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, max(len(lines) - 1, 0)))
        line = lines[at] if lines else ""
        kind = draw(st.sampled_from(("value", "value", "value", "key", "double", "drop", "move", "cut", "head")))
        if kind == "value" and "=" in line:
            lines[at] = f"{line.split('=', 1)[0]}= {draw(VALUES)}"
        elif kind == "key" and "=" in line:
            lines[at] = f"{draw(KEYS)} ={line.split('=', 1)[1]}"
        elif kind == "double":
            lines.insert(at, line)
        elif kind == "drop" and lines:
            del lines[at]
        elif kind == "move" and lines:
            lines.insert(draw(st.integers(0, len(lines) - 1)), lines.pop(at))
        elif kind == "cut":
            lines[at:] = [line[: draw(st.integers(0, len(line)))]]
        elif kind == "head":
            lines.insert(at, f"[{re.sub(r'[^a-z.]', '', draw(st.text(max_size=6)))}{draw(KEYS)}]")
    return "\n".join(lines) + "\n"
