"""Every input that once failed is answered, and its story is told."""

from __future__ import annotations

import re

import pytest

from tests.fuzz.targets import CORPUS, TARGETS

ENTRIES = sorted(p for p in CORPUS.glob("*/*") if p.is_file())
STORIES = re.findall(
    r"^\| `([^`]+)` \| (.+) \| (.+) \|$", (CORPUS / "README.md").read_text(encoding="utf-8"), re.MULTILINE
)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_an_input_that_once_failed_is_answered(entry: object) -> None:
    TARGETS[entry.parent.name].answer(entry.read_bytes())  # type: ignore[attr-defined]


def test_each_has_its_story() -> None:
    assert sorted(name for name, *_ in STORIES) == [p.relative_to(CORPUS).as_posix() for p in ENTRIES]


@pytest.mark.parametrize("name", TARGETS)
def test_each_target_answers_its_seeds_with_what_they_hold(name: str) -> None:
    seeds = TARGETS[name].seeds()
    assert seeds
    for seed in seeds:
        TARGETS[name].answer(seed)
