"""What the worker does: begin a figure, find its joints again, make its kit, and lighten meshes for the screen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from condyle.atlas.light import figure_scene, sculpt_scene
from condyle.atlas.scenes import scene_path
from condyle.atlas.trial import Trial, made_ready, tried
from condyle.atlas.worker import Order
from condyle.project.figure_file import read_text
from condyle.project.pipeline import make_kit, open_figure, take_in_sculpt
from condyle.project.place import write_file
from condyle.project.start import Begin, seat_again, start
from condyle.project.watch import Watch


def perform(order: Order, watch: Watch) -> dict[str, Any]:
    """Do a job; returns what the page needs to know of its end. CondyleError for what the maker can mend."""
    if order.kind == "start":
        more = order.more
        begin = Begin(
            sculpt=Path(more["sculpt"]),
            out=order.figure.parent,
            height_mm=float(more["height_mm"]),
            skeleton=more.get("skeleton") or "upright",
            up=more.get("up"),
            facing=more.get("facing"),
            unit=more.get("unit"),
            replace=True,
        )
        start(begin, watch)
        _look(order, watch)
        return {"stage": "seated"}
    if order.kind == "seat":
        seat_again(order.figure, watch)
        return {"stage": "seated"}
    if order.kind == "make":
        _READY.clear()
        result = make_kit(order.figure, order.kit, watch)
        write_file(scene_path(order.figure, "figure"), figure_scene(result.kit))
        return {"stage": "made"}
    if order.kind == "pose":
        return {"stage": "made", "trial": tried(_trial(order, watch), order.more["joints"])}
    _look(order, watch)
    return {"stage": "seated"}


_READY: list[Trial] = []
"""The kit that was tried last: this process answers one figure's page, and readying a kit takes seconds."""


def _trial(order: Order, watch: Watch) -> Trial:
    text = read_text(order.figure, "figure file")
    if not _READY or _READY[0].text != text:
        _READY[:] = [made_ready(order.figure, order.kit, watch)]
    return _READY[0]


def _look(order: Order, watch: Watch) -> None:
    """The cleaned sculpt, light, for the screen."""
    opened = open_figure(order.figure)
    taken = take_in_sculpt(opened, watch)
    write_file(scene_path(order.figure, "sculpt"), sculpt_scene(taken.intake.solid.mesh))
