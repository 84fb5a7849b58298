"""The same figure, the same bytes: another process, other hash seeds, one core or all, a steady clock or one that jumps."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.figures import bar_figure, tree

pytestmark = pytest.mark.slow

ALONE = {
    "PYTHONHASHSEED": "1",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "NUMBA_NUM_THREADS": "1",
    "TZ": "Asia/Tokyo",
}
TOGETHER = {"PYTHONHASHSEED": "77", "LC_ALL": "C.UTF-8", "TZ": "America/Lima"}
MAKE = """
import os, sys
if {alone} and hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, [min(os.sched_getaffinity(0))])
if not {alone}:
    {jumps}
from condyle.cli.main import main
sys.exit(main(["make", sys.argv[1], "--out", sys.argv[2]]))
"""
# The clock jumps by years between any two looks, and so do the dates of the figure's and the cache's files.
JUMPS = """
    import random, threading, time
    from pathlib import Path
    leap, pause = random.Random(7), time.sleep
    time.time = lambda: leap.uniform(0.0, 4.0e9)
    time.time_ns = lambda: int(1e9 * time.time())
    def shift():
        while True:
            for path in Path(sys.argv[1]).parent.rglob("*"):
                try:
                    os.utime(path, (time.time(), time.time()))
                except OSError:
                    continue
            pause(0.02)
    threading.Thread(target=shift, daemon=True).start()
"""


def made(figure: Path, kit: Path, surroundings: dict[str, str]) -> dict[str, bytes]:
    """The files of a kit that a process of its own makes; the figure is one that nothing is kept of."""
    code = MAKE.format(alone=surroundings is ALONE, jumps=JUMPS.strip())
    run = subprocess.run(
        [sys.executable, "-c", code, str(figure), str(kit)], env=os.environ | surroundings, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert run.returncode in (0, 1), run.stderr
    return tree(kit)


def test_every_file_of_a_kit_is_the_same_to_the_byte(tmp_path: Path) -> None:
    one = made(bar_figure(tmp_path / "here"), tmp_path / "kit-here", ALONE)
    other = made(bar_figure(tmp_path / "there"), tmp_path / "kit-there", TOGETHER)
    assert sorted(one) == sorted(other)
    assert [name for name in one if one[name] != other[name]] == []
    # What the jumping clock left in the cache is still good: asked again, nothing differs.
    again = made(tmp_path / "there" / "figure.toml", tmp_path / "kit-again", ALONE)
    assert [name for name in one if one[name] != again.get(name)] == []
    hashes = json.loads(one["proof.json"])["hashes"]
    assert set(hashes) >= {"inputs", "figure", "sculpt", "skeleton", "workshop", "parts"}


@pytest.mark.skipif(not os.environ.get("CONDYLE_WHOLE_DEMO"), reason="ten minutes: set CONDYLE_WHOLE_DEMO=1 to run it")
def test_the_whole_demo_is_the_same_to_the_byte_on_one_core_as_on_all(tmp_path: Path) -> None:
    """Eighteen joints, poses, trials, plates and the book, of a coarse diver; both runs at once, one of them on one core."""
    runs = []
    for surroundings in (ALONE, TOGETHER):
        home = tmp_path / surroundings["PYTHONHASHSEED"]
        home.mkdir()
        code = MAKE.format(alone=surroundings is ALONE, jumps="pass")
        code = code.replace(
            '["make", sys.argv[1], "--out", sys.argv[2]]', '["demo", "--out", "demo", "--triangles", "20000"]'
        )
        run = subprocess.Popen([sys.executable, "-c", code], cwd=home, env=os.environ | surroundings,
                               stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)  # fmt: skip
        runs.append((home, run))
    for _, run in runs:
        _, err = run.communicate()
        assert run.returncode in (0, 1), err
    one, other = (tree(home / "demo") for home, _ in runs)
    assert "kit/book.pdf" in one
    assert sorted(one) == sorted(other)
    assert [name for name in one if one[name] != other[name]] == []
