"""What the worker does: begin a figure, find its joints again, make its kit, and lighten meshes for the screen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from condyle.atlas.history import revision
from condyle.atlas.live import Live, Share, follow, made_live, sizes, take_up
from condyle.atlas.trial import Trial, made_ready, tried
from condyle.atlas.worker import Order
from condyle.errors import FigureFileError
from condyle.project.figure_file import read_text
from condyle.project.pipeline import make_kit, open_figure, take_in_sculpt
from condyle.project.place import scene_path, write_file
from condyle.project.scene_step import keep_sculpt
from condyle.project.start import Begin, seat_again, start
from condyle.project.watch import Watch


def perform(order: Order, watch: Watch, share: Share = lambda kind, value: None) -> dict[str, Any]:
    """Do a job; returns what the page needs to know of its end. CondyleError for what the maker can mend.

    What is found on the way goes to ``share``.
    """
    if order.kind in ("ready", "sizes", "follow"):
        return _live(order, watch, share)
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
        make_kit(order.figure, order.kit, watch)
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


_LIVE: list[Live] = []
"""The figure whose joints are moved by hand: this process answers one figure's page."""


def _live(order: Order, watch: Watch, share: Share) -> dict[str, Any]:
    if not _LIVE:
        _LIVE.append(made_live(order.figure, watch, order.more.get("base")))
    (live,) = _LIVE

    def told(kind: str, value: Any) -> None:
        if kind == "scene":
            write_file(scene_path(order.figure, "live"), value)
            share("scene", None)
        else:
            share("live", {"revision": revision(live.document.text), "measured": dict(live.measured)})

    try:
        if order.kind == "ready":
            follow(live, order.figure, watch, told)  # the file may have moved on since the kit was made
            take_up(live, order.more["joint"], watch)
            share("sizes", sizes(live, order.more["joint"], live.asked[order.more["joint"]][0].frame.origin.tolist()))
        elif order.kind == "sizes":
            share("sizes", sizes(live, order.more["joint"], order.more["centre"]))
        else:
            follow(live, order.figure, watch, told)
    except Exception as error:
        # What the file says wrongly is refused before anything is cut; after all else the figure is made ready anew.
        if not isinstance(error, FigureFileError):
            _LIVE.clear()
        raise
    return {"revision": revision(live.document.text), "measured": dict(live.measured)}


def _look(order: Order, watch: Watch) -> None:
    """The cleaned sculpt, light, for the screen."""
    opened = open_figure(order.figure)
    taken = take_in_sculpt(opened, watch)
    keep_sculpt(order.figure, taken.intake.solid.mesh)
