"""A sculpt that has no room in the free memory is refused before work begins, with what would fit."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from condyle.errors import SculptError
from condyle.project import memory
from condyle.project.memory import check_room, free_mib, needed_mib


def test_a_sculpt_that_fits_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "free_mib", lambda: needed_mib(300_000))
    check_room(300_000, Path("a.stl"))


def test_one_that_does_not_is_refused_with_the_size_that_would(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "free_mib", lambda: needed_mib(1_000_000))
    with pytest.raises(SculptError, match="4,000,000 triangles") as caught:
        check_room(4_000_000, Path("big.stl"))
    assert caught.value.code == "sculpt.memory"
    assert caught.value.place.file == "big.stl"
    assert "1,000,000" in caught.value.hint


def test_with_hardly_any_memory_no_size_is_promised(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "free_mib", lambda: 100.0)
    with pytest.raises(SculptError) as caught:
        check_room(10, Path("a.stl"))
    assert "triangles" not in caught.value.hint


def test_where_the_system_does_not_tell_nothing_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(memory, "free_mib", lambda: None)
    check_room(20_000_000, Path("a.stl"))


def test_this_machine_tells_what_the_system_tells() -> None:
    """``MemAvailable`` never exceeds what the machine has (os.sysconf, an independent count of pages)."""
    free = free_mib()
    assert free is not None
    assert 0 < free <= os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1024**2
