"""The clearance ladder: one real joint at several drawn clearances, its sockets on one bar, each stud on a foot of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, intersect, union
from condyle.joints.coupons.halves import BUILD, Halves, halves
from condyle.joints.stock import Stock, stock_of
from condyle.workshop.bench import Workshop
from condyle.workshop.coupons.lettering import Hand, hand_for, raised, width_mm
from condyle.workshop.coupons.plate import SIDE_MM, Piece, laid_out
from condyle.workshop.fits import FitKind

_BAR_MM = 1.6
_ROOM_MM = 0.8  # between posts, and from a label to an edge
_PIN_TO_BACK = np.array([[0, -1, 0, 0], [1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], dtype=np.float64)

CODES: dict[FitKind, str] = {"ball": "B", "hinge": "H", "swivel": "S", "double_hinge": "D", "peg": "P"}


@dataclass(frozen=True, eq=False)
class Ladder:
    """A printed ladder: what stands on the plate, and what was drawn. Joint k is marked k + 1.

    build      how the joints stand on the plate
    socket     of a ball: which kind of socket
    pin_mm     diameter and length of the loose pins, where the family has them
    hold_nmm   computed friction torque at each clearance, for the material as its card has it
    """

    kind: FitKind
    size_mm: float
    drawn_mm: tuple[float, ...]
    pieces: tuple[Piece, ...]
    build: str
    socket: str
    pin_mm: tuple[float, float] | None
    hold_nmm: tuple[float, ...]


def ladder_coupon(kind: FitKind, size_mm: float, drawn_mm: Sequence[float], workshop: Workshop) -> Ladder:
    """The plate of a ladder, at most 9 joints.

    Raises UsageError for a size outside the series, a joint that this material cannot make, or what fits no plate.
    """
    stock, hand = stock_of(workshop), hand_for(workshop.printer)
    overhang = workshop.printer.overhang_deg.value
    made = halves(kind, size_mm, drawn_mm, stock, overhang, workshop.kerf_mm)
    pieces: list[Piece] = []
    if kind == "double_hinge":
        pieces += [Piece(f"link-{k + 1}", _marked_link(m, str(k + 1), hand)) for k, m in enumerate(made)]
    else:
        pieces += _bars(made, f"{CODES[kind]}{size_mm:g}", hand, stock)
    for k, m in enumerate(made):
        for n, straight in enumerate(m.studs):
            # A tongue swings along the bar: its foot reaches out to the front, away from the neighbours.
            turned = kind in ("hinge", "double_hinge")
            stud = straight.transformed(_PIN_TO_BACK) if turned else straight
            reach = float(m.post.bounds[1, 0 if turned else 1])
            name = f"stud-{k + 1}" + ("ab"[n] if len(m.studs) > 1 else "")
            pieces.append(Piece(name, footed(stud, m.slab_mm, str(k + 1), hand, reach)))
    first = made[0].design
    return Ladder(
        kind=kind,
        size_mm=size_mm,
        drawn_mm=tuple(drawn_mm),
        pieces=laid_out(pieces),
        build=BUILD[kind],
        socket=first.socket,
        pin_mm=first.pin_mm,
        hold_nmm=tuple(m.design.hold_nmm or 0.0 for m in made),
    )


def footed(stud: Solid, slab_mm: float, label: str, hand: Hand, post_mm: float) -> Solid:
    """A stud on a slab that is a handle. Its mark stands in front, clear of a post that reaches ``post_mm`` that way."""
    at = intersect(stud, box((-60.0, -60.0, -60.0), (60.0, 60.0, 0.0)), "root").bounds
    across, deep = (0.5 * float(v) for v in (at[1] - at[0])[:2])
    # No wider than need be along the bar, so that a swinging foot clears the neighbours' sockets.
    half = max(across, 0.5 * width_mm(label, hand), 1.8) + 0.3
    back, front = max(deep, 1.8) + _ROOM_MM, max(deep, post_mm) + 0.3
    slab = box((-half, -front - hand.capital_mm - 0.5 * _ROOM_MM, -slab_mm), (half, back, 0.0))
    kept = intersect(stud, box((-60.0, -60.0, -slab_mm), (60.0, 60.0, 120.0)), "stud")
    mark = raised(label, hand, (0.0, -front - 0.5 * hand.capital_mm, 0.0))
    return union([slab, kept, mark], "stud on its foot").translated((0.0, 0.0, slab_mm))


def _bars(made: Sequence[Halves], code: str, hand: Hand, stock: Stock) -> list[Piece]:
    """Posts in a row on bars, each with its mark in front; the first place of a bar bears the coupon's name."""
    posts = [m.post.transformed(_PIN_TO_BACK) if m.kind == "hinge" else m.post for m in made]
    half_x = max(float(post.bounds[1, 0]) for post in posts)
    half_y = max(float(post.bounds[1, 1]) for post in posts)
    swing_mm = 0.25 * made[0].size_mm if made[0].kind == "hinge" else 0.0  # room for feet that swing along the bar
    pitch = max(2.0 * half_x, max(width_mm(str(k + 1), hand) for k in range(len(made)))) + 2.0 * _ROOM_MM + swing_mm
    name_width = width_mm(code, hand) + 2.0 * _ROOM_MM
    room = int((SIDE_MM - name_width) // pitch)
    rows = -(-len(made) // room)
    share = -(-len(made) // rows)
    front, back = -half_y - hand.capital_mm - 2.0 * _ROOM_MM, half_y + _ROOM_MM
    bars: list[Piece] = []
    # A hinge's pin goes in from behind, where no neighbour stands in its way.
    for row in range(rows):
        mine = list(enumerate(posts))[row * share : (row + 1) * share]
        length = name_width + pitch * len(mine)
        solids = [box((-name_width, front, 0.0), (length - name_width, back, _BAR_MM))]
        solids.append(raised(code, hand, (-0.5 * name_width, 0.5 * (front + back), _BAR_MM)))
        for place, (k, post) in enumerate(mine):
            x = (place + 0.5) * pitch
            solids.append(post.translated((x, 0.0, _BAR_MM - 0.2)))
            solids.append(raised(str(k + 1), hand, (x, -half_y - _ROOM_MM - 0.5 * hand.capital_mm, _BAR_MM)))
        bars.append(Piece("sockets" + ("" if rows == 1 else f"-{row + 1}"), union(solids, "bar of sockets")))
    return bars


def _marked_link(m: Halves, label: str, hand: Hand) -> Solid:
    """A link with its mark on a tab at its side, as low as a few layers, so that it does not stiffen an ear."""
    x = float(m.post.bounds[0, 0])
    wide = max(width_mm(label, hand), 2.0) + 2.0 * _ROOM_MM
    half = 0.5 * hand.capital_mm + _ROOM_MM
    tab = box((x - wide, -half, 0.0), (x + 0.3, half, 0.8))
    return union([m.post, tab, raised(label, hand, (x - 0.5 * wide, 0.0, 0.8))], "marked link")
