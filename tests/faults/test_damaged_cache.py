"""A cache whose entries are damaged anyhow, or dated anyhow: read as they were put in, or made again; never anything else."""

from __future__ import annotations

import os
import random
from pathlib import Path

import numpy as np
import pytest

from condyle.finding import Finding
from condyle.project.cache import KEPT_PER_STEP, Cache
from condyle.project.codec import to_bytes

VALUE = {"number": 1.5, "words": ("a", "b"), "array": np.arange(6.0), "finding": Finding("a.b", "c", "pass", 1.0)}
DAMAGES = 4000


def damaged(whole: bytes, dice: random.Random) -> bytes:
    """Some bytes changed, a stretch dropped or doubled, or cut short."""
    data = bytearray(whole)
    at = dice.randrange(len(data))
    way = dice.randrange(5)
    if way < 2:
        data[at] = dice.randrange(256)
    elif way == 2:
        data[at : at + 4] = dice.choice((b"\xff" * 4, b"\0" * 4, b"\1\0\0\0"))
    elif way == 3:
        del data[at : at + dice.randrange(1, 40)]
    else:
        del data[at:]
    return bytes(data)


def test_every_damage_is_passed_over_or_harmless(tmp_path: Path) -> None:
    cache, dice = Cache(tmp_path), random.Random(3)
    cache.fetch("step", "key", lambda: VALUE)
    entry = tmp_path / "step" / "key"
    whole = entry.read_bytes()
    assert whole == to_bytes(VALUE)
    again = 0
    for _ in range(DAMAGES):
        entry.write_bytes(damaged(whole, dice))
        value, stored = cache.fetch("step", "key", lambda: VALUE)
        assert to_bytes(value) == whole
        again += not stored
    assert again > DAMAGES / 2, "most damage is seen"


@pytest.mark.parametrize("year_s", [0, 4_000_000_000], ids=["set back", "set forward and back again"])
def test_a_clock_that_jumps_changes_no_order(tmp_path: Path, year_s: int) -> None:
    """What was used last stays, whatever the files' dates say: here all earlier ones are of 1970, or of 2096."""
    cache = Cache(tmp_path)
    for number in range(KEPT_PER_STEP):
        cache.fetch("step", f"old{number}", lambda n=number: n)  # type: ignore[misc]
        os.utime(tmp_path / "step" / f"old{number}", (year_s + number, year_s + number))
    assert cache.fetch("step", "old0", lambda: -1) == (0, True)
    for number in range(KEPT_PER_STEP - 1):
        cache.fetch("step", f"new{number}", lambda n=number: n)  # type: ignore[misc]
    left = {p.name for p in (tmp_path / "step").iterdir()}
    assert left == {"old0", *(f"new{n}" for n in range(KEPT_PER_STEP - 1))}
