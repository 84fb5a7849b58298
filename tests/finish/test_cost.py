"""The bill of one figure and of ten, held against sums by hand."""

from __future__ import annotations

import pytest

from condyle.finish.coats import CUP_ML, STARTER
from condyle.finish.cost import Colouring, Prices, bill, mixes
from condyle.finish.softening import water_c
from condyle.finish.work import Amount

AMOUNT = Amount((("build-01", 4.0), ("build-02", 2.0)), 10, 9, 9, 50.0, 1.5, 250.0)
COLOURINGS = (Colouring(STARTER[0], "primer", 25000.0), Colouring(STARTER[1], "red", 25000.0))


def made(figures: int) -> object:
    prices = Prices(paint_ml=0.5, sheet=0.2, hour=10.0)
    return bill(figures, AMOUNT, STARTER, COLOURINGS, 80.0, 2.0, 600.0, 3, prices)


def test_one_and_ten() -> None:
    one, ten = made(1), made(10)
    assert (one.plates, ten.plates) == (2, 20)
    assert (one.print_h, ten.print_h) == (6.0, 60.0)
    assert ten.material_g == pytest.approx(10 * one.material_g)
    # Only the cups' rests are shared: paint of ten is ten times that of one, less nine rests of each mix.
    rests = sum(CUP_ML / (1.0 + c.coat.thinner) for c in COLOURINGS)
    assert ten.paint_ml == pytest.approx(10 * one.paint_ml - 9 * rests)
    assert one.hands_h < ten.hands_h < 10 * one.hands_h
    assert one.cost == pytest.approx(2.0 + 0.5 * one.paint_ml + 0.2 * one.sheets)
    assert one.work_cost == pytest.approx(10.0 * one.hands_h)


def test_paint_of_one_by_the_spreading_rate() -> None:
    # 0.025 m² at 2 × 18 µm dry, 35 % solids, 35 % transfer: A·DFT/(10·VS%·TE) litres, as the coatings trade has it.
    primer = mixes(COLOURINGS)[0]
    assert primer.paint_ml == pytest.approx(1000 * 0.025 * 36.0 / (10 * 35 * 0.35) + CUP_ML)


def test_without_prices_nothing_is_said_of_money() -> None:
    told = bill(1, AMOUNT, STARTER, COLOURINGS, 80.0, None, 600.0, 3, Prices())
    assert told.cost is None
    assert told.work_cost is None


def test_warm_water_stays_below_softening_and_scalding() -> None:
    assert water_c("pla") == pytest.approx(48.0)  # glass transition near 58 °C, from memory
    assert water_c("abs") == 50.0
    assert water_c("something else") is None
    with pytest.raises(ValueError, match="one figure or more"):
        made(0)
