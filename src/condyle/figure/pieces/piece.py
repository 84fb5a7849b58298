"""One piece of a sculpt, and what the maker asks of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from condyle.finding import Point
from condyle.geometry.solid import Solid

How = Literal["fused", "pegged", "carried"]
Yields = Literal["carrier", "piece"]
On = Literal["swivel", "ball", "strap"]


@dataclass(frozen=True, eq=False)
class Piece:
    """A mesh that belongs to a bone: a belt, a shoulder plate, a helmet, a pouch.

    solid         figure coordinates, where the sculptor put it; it may run into the body
    how           fused: one with the body; pegged: a part of its own in a seat, on a keyed peg where one has room;
                  carried: a part of its own on a joint of its own
    clearance_mm  per side, between the piece and its seat; None takes the workshop's fit for pegs
    yields        which of the two gives way where they overlap; None lets the way in decide
    way           direction in which the piece comes off, figure coordinates; None finds one
    peg_mm        size of the peg or of the carrying joint; None takes the largest that has room, 0 wants none
    on            what a carried piece hangs on: a swivel turns about the way in, a ball tilts as well, a strap is a flat
                  tongue that hangs loose in a slot
    tilt_deg      how far a ball is to tilt to every side; the seat is widened for it
    """

    name: str
    bone: str
    solid: Solid
    how: How = "pegged"
    clearance_mm: float | None = None
    yields: Yields | None = None
    way: Point | None = None
    peg_mm: float | None = None
    on: On = "swivel"
    tilt_deg: float = 10.0
