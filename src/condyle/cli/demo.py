"""The demo: the harbour diver, from nothing to a proved kit, in one call."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from condyle.cli.screen import Steps
from condyle.errors import Place, UsageError
from condyle.project.watch import StepTime

if TYPE_CHECKING:
    from condyle.project.pipeline import Result

SCULPT = "diver.stl"
KIT = "kit"


def run_demo(out: Path, triangles: int) -> tuple[Result, list[StepTime]]:
    """Write OUT/diver.stl, OUT/figure.toml and OUT/kit; the result and the seconds of every step.

    UsageError when OUT holds something else, or for a fineness that the diver cannot have.
    """
    _check_place(out)
    from condyle.demo.diver import diver
    from condyle.geometry.formats import stl_bytes
    from condyle.project.pipeline import make_kit
    from condyle.project.place import write_file
    from condyle.project.start import Begin, start

    with Steps(1) as watch, watch.step("sculpt"):
        mesh = diver(triangles)
        write_file(out / SCULPT, stl_bytes(mesh))
    times = list(watch.times)
    with Steps(4) as watch:
        begin = Begin(out / SCULPT, out, 150.0, unit="millimeter", name="harbour diver", replace=True)
        started = start(begin, watch)
    times += watch.times
    with Steps(14) as watch:
        result = make_kit(started.path, out / KIT, watch)
    return result, times + watch.times


def _check_place(out: Path) -> None:
    place = Place(file=str(out))
    if out.exists() and not out.is_dir():
        raise UsageError("out.not_a_folder", "this is a file", hint="give --out the name of a folder", place=place)
    if out.is_dir() and any(out.iterdir()) and not (out / SCULPT).is_file():
        hint = "give --out a new folder, or one that an earlier demo has made"
        raise UsageError("out.not_a_demo", "this folder holds something else", hint=hint, place=place)
