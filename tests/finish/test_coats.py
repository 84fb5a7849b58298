"""Paint arithmetic against printed examples of the coatings trade (spreading rates and wet film from volume solids)."""

from __future__ import annotations

import pytest

from condyle.finish.coats import (
    CUP_ML,
    STARTER,
    Film,
    clearance_left_mm,
    coverage_m2_l,
    film,
    kerf_left_mm,
    mix,
    paint_ml,
    wet_film_um,
)
from tests.published import Published


def test_wet_film_and_coverage_of_the_printed_examples(published: Published) -> None:
    # surfacetechonline.com, technical terms: VS 60 %, DFT 100 µm -> WFT 167 µm, 6.0 m²/l; VS 65 %, 125 µm -> 5.2 m²/l
    source = "surfacetechonline.com, technical terms"
    wet = wet_film_um(100.0, 0.60)
    published("wet film for 100 µm dry at 60 % solids", wet, 167.0, unit="µm", tolerance=0.5, source=source)
    for dry, solids, printed in ((100.0, 0.60, 6.0), (125.0, 0.65, 5.2)):
        what = f"spreading rate of {dry:g} µm dry at {100 * solids:g} % solids"
        published(what, coverage_m2_l(dry, solids), printed, unit="m²/l", tolerance=0.05, source=source)
    # promain.co.uk: VS 28 %, 18 µm -> 15.55 m²/l
    thin = coverage_m2_l(18.0, 0.28)
    published(
        "spreading rate of 18 µm dry at 28 % solids", thin, 15.55, unit="m²/l", tolerance=0.01, source="promain.co.uk"
    )
    # paintcenter.org, journal of July 2010: VS 30 %, 10 µm -> 30 m²/l
    source = "paintcenter.org, journal of July 2010"
    thinner = coverage_m2_l(10.0, 0.30)
    published("spreading rate of 10 µm dry at 30 % solids", thinner, 30.0, unit="m²/l", tolerance=0.05, source=source)


def test_square_feet_of_a_gallon(published: Published) -> None:
    # scribd 343849341: VS 65 %, 5 mil -> 208.52 ft²/gal; 1 mil = 25.4 µm, 1 US gal = 3.785412 l, 1 ft² = 0.09290304 m²
    feet = coverage_m2_l(5 * 25.4, 0.65) * 3.785412 / 0.09290304
    source = "scribd.com 343849341"
    published("spreading rate of 5 mil at 65 % solids", feet, 208.52, unit="ft²/gal", tolerance=0.04, source=source)


def test_paint_for_a_figure():
    # From the same formulas by hand: 250 cm², 20 µm, VS 40 %: 1.25 ml on the part, 4.17 ml sprayed at 30 % transfer
    assert paint_ml(25_000.0, 20.0, 0.40, 1.0) == pytest.approx(1.25)
    assert paint_ml(25_000.0, 20.0, 0.40, 0.30) == pytest.approx(4.1667, abs=1e-4)


def test_a_pin_and_its_hole_lose_two_films_each():
    # 20 µm on pin and hole take 0.08 mm from the diametral clearance: 0.04 mm radially
    assert clearance_left_mm(0.10, Film(0.020, 0.0), 2) == pytest.approx(0.10 - 0.04)
    assert clearance_left_mm(0.10, Film(0.020, 0.0), 0) == 0.10
    assert kerf_left_mm(0.35, Film(0.100, 0.0)) == pytest.approx((0.15, 0.15))


def test_the_starter_system_lies_within_its_prior():
    system = film(STARTER)
    # Prior for a whole hobby system on one face: 0.08 to 0.15 mm. Common practice, no source.
    assert 0.08 <= system.mm <= 0.15
    assert system.mm - 1.645 * system.sd_mm > 0.07
    assert system.high_mm < 0.16


def test_a_mix_holds_paint_thinner_and_what_stays_in_the_cup():
    base = STARTER[1]
    small, large = mix(base, "canvas", 10_000.0), mix(base, "canvas", 30_000.0)
    assert small.thinner_ml == pytest.approx(small.paint_ml * base.thinner)
    cup = CUP_ML / (1 + base.thinner)
    assert large.paint_ml - cup == pytest.approx(3 * (small.paint_ml - cup))
    assert large.sd_ml > small.sd_ml > 0


@pytest.mark.parametrize("share", [0.0, -0.1, 1.2])
def test_shares_that_cannot_be_are_refused(share):
    with pytest.raises(ValueError):
        coverage_m2_l(10.0, share)
