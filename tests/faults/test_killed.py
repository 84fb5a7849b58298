"""Killed at any moment, a run leaves the last good kit whole, and the next one goes on from what was kept."""

from __future__ import annotations

import os
import random
import signal
import sys
import time
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest

from condyle.project.pipeline import make_kit
from condyle.project.watch import Watch
from tests.cli.figures import bar_figure, tree

MOMENTS_IN_WORK, MOMENTS_IN_WRITING = 14, 36

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="forks")]


def run(figure: Path, kit: Path) -> None:
    make_kit(figure, kit, Watch())


def forked(figure: Path, kit: Path) -> BaseProcess:
    """A run in a process of its own, from a server that has imported everything and begun no thread."""
    context = get_context("forkserver")
    context.set_forkserver_preload(["condyle.project.pipeline", "tests.faults.test_killed"])
    child = context.Process(target=run, args=(figure, kit))
    child.start()
    return child


def seconds_of(figure: Path, kit: Path) -> float:
    begin = time.perf_counter()
    child = forked(figure, kit)
    child.join()
    assert child.exitcode == 0
    return time.perf_counter() - begin


def killed_after(figure: Path, kit: Path, seconds: float) -> bool:
    """Whether the run was still going when it was killed."""
    child = forked(figure, kit)
    child.join(seconds)
    still = child.is_alive()
    if still and child.pid is not None:
        os.kill(child.pid, signal.SIGKILL)
    child.join()
    return still


def with_height(figure: Path, height: float) -> None:
    """A figure of another height is another figure: nothing of it is kept yet."""
    text = figure.read_text()
    start = text.index("height_mm")
    figure.write_text(text[:start] + f"height_mm = {height:.4f}" + text[text.index("\n", start) :])


def test_fifty_kills_leave_a_whole_kit_each_time(tmp_path: Path) -> None:
    figure, kit = bar_figure(tmp_path / "bar"), tmp_path / "kit"
    whole = seconds_of(figure, kit)
    good = tree(kit)
    names = set(good)
    short = seconds_of(figure, kit)
    dice = random.Random(5)
    hit = 0
    for _ in range(MOMENTS_IN_WRITING):
        hit += killed_after(figure, kit, dice.uniform(0.0, short))
        assert tree(kit) == good
    for moment in range(MOMENTS_IN_WORK):
        with_height(figure, 69.0 - moment / 100)
        killed = killed_after(figure, kit, dice.uniform(0.0, 0.8 * whole))
        assert killed or tree(kit) != good, "a run that ends has written its own kit"
        good = tree(kit)
        assert set(good) == names
        hit += killed
    assert hit >= 25, "most runs ended before they were killed"


def test_after_a_kill_the_next_run_goes_on_and_ends_the_same(tmp_path: Path) -> None:
    figure, kit = bar_figure(tmp_path / "bar"), tmp_path / "kit"
    kept = tmp_path / "bar" / ".condyle" / "cache" / "part"
    child = forked(figure, kit)
    while child.is_alive() and not (kept.is_dir() and any(not p.name.startswith(".") for p in kept.iterdir())):
        time.sleep(0.01)
    assert child.is_alive()
    assert child.pid is not None
    os.kill(child.pid, signal.SIGKILL)
    child.join()
    assert not kit.exists()
    watch = Watch()
    make_kit(figure, kit, watch)
    assert {t.step for t in watch.times if t.stored} >= {"intake", "part"}
    make_kit(bar_figure(tmp_path / "other"), tmp_path / "afresh", Watch())
    assert tree(kit) == tree(tmp_path / "afresh")
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")], "something half made was left"


def test_two_runs_at_once_both_end_with_the_same_whole_kit(tmp_path: Path) -> None:
    figure, kit = bar_figure(tmp_path / "bar"), tmp_path / "kit"
    children = [forked(figure, kit) for _ in range(2)]
    for child in children:
        child.join()
    assert [c.exitcode for c in children] == [0, 0]
    run(figure, tmp_path / "alone")
    assert tree(kit) == tree(tmp_path / "alone")
