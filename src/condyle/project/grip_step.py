"""Grips of a figure file: each hand bored and proved after the figure has been parted."""

from __future__ import annotations

import difflib
from dataclasses import replace

from condyle.errors import FigureFileError
from condyle.figure.kit import Kit
from condyle.figure.pieces.grip import Grip, with_grip
from condyle.figure.skeleton import Skeleton
from condyle.joints.stock import stock_of
from condyle.project.figure_file import FigureDocument
from condyle.proof.grip import grips
from condyle.workshop.bench import Workshop


def grips_of(document: FigureDocument) -> tuple[Grip, ...]:
    """What the file asks of hands, in its order."""
    return tuple(
        Grip(
            name,
            t.handle_mm,
            _point(t.point),
            _point(t.axis),
            None if t.opening is None else _point(t.opening),
            t.clearance_mm,
            t.mouth_mm,
        )
        for name, t in document.content.grips.items()
    )


def check_grips(document: FigureDocument, skeleton: Skeleton) -> None:
    """FigureFileError for a grip in a part that the figure cannot have."""
    known = [*(b.name for b in skeleton.bones), *document.content.pieces]
    for name in document.content.grips:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else "a grip is named by its hand: " + ", ".join(known)
            place = document.place("grips", name)
            raise FigureFileError("figure.grip", f"there is no part {name}", hint=hint, place=place)


def grip_all(kit: Kit, asked: tuple[Grip, ...], workshop: Workshop) -> Kit:
    """The kit with every grip cut and, on the solid that is left, proved."""
    for grip in asked:
        part = next((p for p in kit.parts if p.name == grip.part), None)
        shop = (part.workshop if part else None) or workshop
        stock = stock_of(shop)
        kit, cut = with_grip(kit, grip, shop.fits, stock)
        if cut is not None:
            kit = replace(kit, findings=(*kit.findings, *grips(kit.part(grip.part), cut, stock.wall_mm)))
    return kit


def _point(v: list[float]) -> tuple[float, float, float]:
    return v[0], v[1], v[2]
