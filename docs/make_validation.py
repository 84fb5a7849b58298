"""Write docs/validation.md from the tests: every published answer that they ask for, and what was computed.

    python docs/make_validation.py [PAGE]

Only the tests that ask for the fixture ``published`` are run. The page is not written when one of them fails.
"""

from __future__ import annotations

import contextlib
import io
import math
import sys
from collections.abc import Iterable
from itertools import groupby
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.published import KEPT, Row  # noqa: E402

PAGE = ROOT / "docs" / "validation.md"
ABOUT = """\
# Numbers and where they come from

This page is written by `python docs/make_validation.py` out of the tests: each row is a number that comes from somebody
else, and what Condyle computes for the same question. The tests fail where the two differ by more than the tolerance, and
one of them fails where this page is not what they compute.

What it says: the formulas and the fitting are put into code as their sources have them. What it does not say: that a printed
part behaves so. That is measured on your bench, by coupons ([your printer](guides/my-printer.md)); until then the properties
of printers and materials are priors, and every finding says so.

{count} numbers: {printed} against a source that was read, {memory} against one that was remembered and could not be looked up
(*from memory*), {closed} against a closed form or a sum done by hand. They are a part of the checks: the other tests
hold results to a second method (another library, brute force, a simulated truth), which gives no printed number to show.

Some rows compute nothing: ranges of joints, tolerance grades and a card's value are tables, and the check is that they were
copied right.

Digits are shown to the tolerance. The difference is the computed number less the source's.
"""


class Collector:
    """A plugin of pytest: keeps only the tests that ask for published answers, and takes the answers at the end."""

    def __init__(self) -> None:
        self.rows: list[Row] = []

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = [i for i in items if "published" in getattr(i, "fixturenames", ())]

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        self.rows = session.config.stash.get(KEPT, [])


def files() -> list[Path]:
    """The test files that ask for published answers; selfcheck's first, it is what a maker can run."""
    found = sorted(p for p in (ROOT / "tests").rglob("test_*.py") if "published: Published" in p.read_text("utf-8"))
    return sorted(found, key=lambda p: p.name != "test_selfcheck_examples.py")


def rows_of(paths: Iterable[Path]) -> list[Row]:
    """Run them in this process. SystemExit where a test fails."""
    collector, said = Collector(), io.StringIO()
    with contextlib.redirect_stdout(said):
        code = pytest.main([f"--rootdir={ROOT}", "-p", "no:cacheprovider", *map(str, paths)], plugins=[collector])
    if code != 0:
        raise SystemExit(f"{said.getvalue()}\nthe page is not written: its tests do not pass")
    return collector.rows


def digits(tolerance: float) -> int:
    """Decimals in which a number of this tolerance is told."""
    return 0 if tolerance == 0 else max(0, math.ceil(-math.log10(tolerance) - 1e-9))


def kind(source: str) -> str:
    """How the source was used: ``memory``, ``closed`` or ``printed``."""
    if "from memory" in source:
        return "memory"
    return "closed" if any(w in source for w in ("closed form", "by hand", "Euclid", "exact")) else "printed"


def line(row: Row) -> str:
    places = digits(row.tolerance)
    printed, computed = f"{row.printed:.{places}f}", f"{row.computed:.{places}f}"
    off = float(computed) - float(printed)
    told = f"{off:+.{places}f}" if off else "0"
    tolerance = "0" if row.tolerance == 0 else f"{row.tolerance:.2g}"
    cells = (row.what, row.unit, printed, computed, told, tolerance, row.source)
    return "| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |"


def page(rows: list[Row]) -> str:
    """The whole page, a section a test file."""
    kinds = [kind(r.source) for r in rows]
    parts = [ABOUT.format(count=len(rows), **{k: kinds.count(k) for k in ("printed", "memory", "closed")})]
    for path, group in groupby(rows, key=lambda r: r.place.split("::")[0]):
        title = (ROOT / path).read_text("utf-8").split('"""')[1].strip().splitlines()[0].rstrip(".")
        head = (
            "| what | unit | source says | computed | difference | tolerance | source |\n|---|---|--:|--:|--:|--:|---|"
        )
        parts.append(f"## {title}\n\n[`{path}`](../{path})\n\n{head}\n" + "\n".join(line(r) for r in group) + "\n")
    return "\n".join(parts)


if __name__ == "__main__":
    place = Path(sys.argv[1]) if len(sys.argv) > 1 else PAGE
    place.write_text(page(rows_of(files())), encoding="utf-8")
    print(place)
