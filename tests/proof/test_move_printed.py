"""Printed ranges: the closed form of an arm on a flat stop, at the gap that the printer's errors close."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from smallkits import hinge_kit, swivel_kit

from condyle.geometry.bvh import Bvh
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.move import ranges
from condyle.proof.move_printed import PrintedEnd, growth, printed_ranges
from condyle.workshop.bench import Workshop, load_workshop
from condyle.workshop.values import Measured

SHOP = load_workshop()


def shop(*, shaft: float, hole: float, sd: float = 0.1, length: float = 0.0) -> Workshop:
    def told(value: float, by: float = sd) -> Measured:
        return Measured(value, by, "test")

    printer = replace(SHOP.printer, shaft_error_mm=told(shaft), hole_error_mm=told(hole), xy_error_mm=told(length, 0.0))
    return replace(SHOP, printer=printer)


def ends(made: tuple, workshop: Workshop, motion: str) -> tuple[PrintedEnd, PrintedEnd]:  # type: ignore[type-arg]
    kit, sculpt, _ = made
    bodies = make_bodies(kit)
    meetings, skin = make_meetings(kit, bodies), Bvh(sculpt.mesh)
    found = ranges(kit, bodies, meetings, skin, workshop.kerf_mm, workers=1)
    reached = {n: {m: (r.low, r.high) for m, r in by.items()} for n, by in found.items()}
    (by_motion,) = printed_ranges(kit, bodies, meetings, skin, workshop, reached, workers=1).values()
    return by_motion[motion]  # type: ignore[index]


def stop_deg(gap: float) -> float:
    # As in test_proof_move: the arm's front face, 1 mm ahead of its middle plane, meets an edge at (6, −15).
    return math.degrees(math.atan2(6, 15) - math.asin((1.0 + gap) / math.hypot(6, 15)))


def test_printed_faces_touch_where_the_drawn_gap_is_what_they_grow_by() -> None:
    # Shaft +0.05, hole −0.15 mm in diameter: half of either, 0.10 mm together.
    low, high = ends(hinge_kit(clearance=0.3), shop(shaft=0.05, hole=-0.15), "flex")
    assert high.growth_mm == pytest.approx(0.10)
    assert high.deg == pytest.approx(stop_deg(0.10), abs=0.05)
    # Nothing stops it the other way within the search.
    assert low == PrintedEnd(-10.0, None)


def test_faces_that_shrink_let_it_go_on_and_faces_that_grow_hold_it_back() -> None:
    made = hinge_kit(clearance=0.3)
    shrunk = ends(made, shop(shaft=-0.2, hole=0.2), "flex")[1]
    plain = ends(made, shop(shaft=0.0, hole=0.0), "flex")[1]
    grown = ends(made, shop(shaft=0.2, hole=-0.3), "flex")[1]
    assert shrunk.deg == pytest.approx(stop_deg(-0.2), abs=0.15)
    assert plain.deg == pytest.approx(stop_deg(0.0), abs=0.08)
    assert grown.deg == pytest.approx(stop_deg(0.25), abs=0.05)


def test_the_doubt_is_the_errors_times_what_a_millimetre_is_worth_there() -> None:
    high = ends(hinge_kit(clearance=0.3), shop(shaft=0.05, hole=-0.15, sd=0.08, length=0.06), "flex")[1]
    # Independent: both halves of 0.08 mm, half a length's error on either side, and play of 0.3 − 0.1 mm taken as even.
    sd = math.sqrt(2 * 0.04**2 + 2 * 0.03**2 + 0.2**2 / 3)
    worth = math.degrees(1.0 / math.sqrt(6**2 + 15**2 - 1.1**2))
    assert high.doubt_deg == pytest.approx(1.645 * sd * worth, rel=0.1)


def test_two_skins_grow_as_two_outer_faces_and_a_tight_bearing_has_no_play() -> None:
    a = shop(shaft=0.1, hole=-0.3, sd=0.0)
    assert growth(a, a, hollow=False, clearance_mm=-0.05).mm == pytest.approx(0.1)
    assert growth(a, a, hollow=False, clearance_mm=-0.05).sd_mm == 0.0
    assert growth(a, a, hollow=True, clearance_mm=None).mm == pytest.approx(0.2)


def test_a_turn_without_end_has_no_doubt() -> None:
    low, high = ends(swivel_kit(), shop(shaft=0.05, hole=-0.15), "twist")
    assert (low, high) == (PrintedEnd(-100.0, None), PrintedEnd(100.0, None))
