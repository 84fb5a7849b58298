"""The page of findings names every check that the sources make, and no other."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
CODE = re.compile(r"[a-z]+\.[a-z_]+")
BY_NAME = {
    "grip.": {"gap", "ring", "mouth", "way"},
    "intake.": {"up", "facing", "rebuilt", "hole", "hollow", "inner_shell", "pinch"},
    "move.": {"flex", "abduct", "twist"},
    "piece.": {"peg", "swivel", "ball", "strap"},
    "stand.": {"ballast", "magnet"},
}
"""Checks whose second word is put in by what they are about."""


def listed() -> set[str]:
    page = (ROOT / "docs" / "findings.md").read_text("utf-8")
    rows = [line.split("|")[1] for line in page.splitlines() if line.startswith("| `")]
    return set(re.findall(r"`([^`]+)`", " ".join(rows)))


def made() -> tuple[set[str], set[str]]:
    """Checks written out as the first argument of a Finding; and the beginnings of those that are put together."""
    whole, begun = set(), set()
    for path in (ROOT / "src" / "condyle").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding" and node.args:
                if isinstance(node.args[0], ast.Constant):
                    whole.add(node.args[0].value)
                elif isinstance(node.args[0], ast.JoinedStr):
                    begun.add(node.args[0].values[0].value)
    return whole, begun


def strings() -> str:
    return "\n".join(p.read_text("utf-8") for p in (ROOT / "src" / "condyle").rglob("*.py"))


def test_every_check_that_is_made_is_on_the_page() -> None:
    whole, begun = made()
    assert len(whole) > 80 and begun <= set(BY_NAME)
    put_together = {begin + end for begin, ends in BY_NAME.items() for end in ends}
    assert sorted((whole | put_together) - listed()) == []


def test_every_check_on_the_page_is_made() -> None:
    sources = strings()
    put_together = {begin + end for begin, ends in BY_NAME.items() for end in ends}
    assert all(CODE.fullmatch(check) for check in listed())
    assert sorted(c for c in listed() - put_together if f'"{c}"' not in sources) == []
