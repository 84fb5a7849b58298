"""Starter cards say what published sources say, and admit what nobody has published."""

from __future__ import annotations

from dataclasses import fields

import pytest

from condyle.errors import UsageError
from condyle.workshop.bench import KERF_MM, Workshop, load_workshop, starter_names
from condyle.workshop.fits import FIT_KINDS
from condyle.workshop.material import Material
from condyle.workshop.values import Measured
from tests.published import Published

PAIRS = [
    (printer, material)
    for printer in starter_names("printers")
    for material in starter_names("materials")
    if ("resin" in printer) == ("resin" in material)
]


def measured_of(thing: object) -> dict[str, Measured]:
    return {
        f.name: getattr(thing, f.name)
        for f in fields(thing)  # type: ignore[arg-type]
        if isinstance(getattr(thing, f.name), Measured)
    }


@pytest.fixture(scope="module")
def materials() -> dict[str, Material]:
    return {material: load_workshop(printer, material).material for printer, material in PAIRS}


def test_six_printers_by_process_and_plate() -> None:
    names = starter_names("printers")
    assert names == tuple(f"{process}-{side}" for process in ("filament", "resin") for side in (150, 200, 300))
    for name in names:
        printer = load_workshop(name, "resin-stiff" if "resin" in name else "pla").printer
        assert printer.plate_mm[:2] == (float(name[-3:]),) * 2
        assert printer.name.startswith(printer.process)


@pytest.mark.parametrize(("printer", "material"), PAIRS)
def test_every_number_has_a_doubt_and_a_source(printer: str, material: str) -> None:
    shop = load_workshop(printer, material)
    for name, number in {**measured_of(shop.printer), **measured_of(shop.material)}.items():
        assert number.sd > 0, name
        assert len(number.source) > 10, name
        known = number.source.startswith(("prior: ", "from memory", "doi ", "PMC", "Mazlan"))
        assert known, f"{name}: {number.source}"


def test_what_nobody_published_is_a_wide_prior(materials: dict[str, Material]) -> None:
    # No published value was found for the snap strain of PLA or the friction of PLA on itself.
    pla = materials["pla"]
    for number in (pla.strain_once, pla.strain_repeated, pla.friction):
        assert number.is_prior
        assert number.sd >= 0.25 * number.value


def test_polylactide_against_the_published_figures(published: Published, materials: dict[str, Material]) -> None:
    # doi 10.1089/3dp.2020.0109: across printed layers 22.8 MPa and 2.4 GPa, 47.8 % and 32.4 % less than filament.
    pla = materials["pla"]
    filament_strength, filament_modulus = 22.8 / (1 - 0.478), 2400 / (1 - 0.324)
    what = "PLA's card: strength across the layers over that along them"
    source = "doi 10.1089/3dp.2020.0109: 47.8 % less"
    published(what, pla.across_layers.value, 1 - 0.478, tolerance=0.005, source=source)
    assert 2400 < pla.modulus_mpa.value < filament_modulus
    assert abs(pla.yield_mpa.value - filament_strength) < pla.yield_mpa.sd
    # Bound from 0.7 of the yield strain, 55 MPa over 3300 MPa.
    assert pla.strain_once.value == pytest.approx(0.7 * 55 / 3300, abs=0.0005)


@pytest.mark.parametrize(
    ("name", "strength", "modulus"), [("abs", 35.3, 1443), ("pa12", 43, 1387), ("resin-ductile", 28, 1000)]
)
def test_declared_strengths(materials: dict[str, Material], name: str, strength: float, modulus: float) -> None:
    # PMC10406103 Table 2 (makers' values).
    assert materials[name].yield_mpa.value == strength
    assert materials[name].modulus_mpa.value == modulus


def test_repeated_strain_is_six_tenths(materials: dict[str, Material]) -> None:
    # Guide A (*Snap-Fit Joints for Plastics*, Bayer MaterialScience), Table 2, from memory: repeated use × 0.6.
    for material in materials.values():
        assert material.strain_repeated.value == pytest.approx(0.6 * material.strain_once.value, rel=1e-6)


@pytest.mark.parametrize("printer", ["filament-150", "resin-300"])
def test_starter_fits_are_priors_for_every_family(printer: str) -> None:
    shop = load_workshop(printer, "resin-stiff" if "resin" in printer else "petg")
    for kind in FIT_KINDS:
        for size in (3, 4.2, 6, 10):
            fit = shop.fits.get(kind, size)
            assert fit.n == 0 and fit.source.startswith("prior: ")
            assert fit.low_mm < fit.clearance_mm < fit.high_mm
            # 90 % of a normal distribution lies within 1.645 sd (any table of the normal distribution).
            assert fit.high_mm - fit.low_mm == pytest.approx(2 * 1.645 * fit.sd_mm, abs=0.002)


def test_starter_grips_squeeze_and_pegs_slide() -> None:
    """Small holes and fat shafts take (shaft − hole)/2 per side: then grips are interference and pegs come to about 0."""
    for printer, material in (("filament-200", "pla"), ("resin-200", "resin-stiff")):
        shop = load_workshop(printer, material)
        eaten = (shop.printer.shaft_error_mm.value - shop.printer.hole_error_mm.value) / 2
        grips = [shop.fits.get(kind, 6).clearance_mm - eaten for kind in FIT_KINDS if kind != "peg"]
        assert all(-0.2 < grip < 0 for grip in grips)
        assert abs(shop.fits.get("peg", 4).clearance_mm - eaten) < 0.03


def test_kerf_stays_open_under_two_coats_a_side() -> None:
    # Paint film 20 µm a coat on both faces (a typical figure, from memory).
    for process, kerf in KERF_MM.items():
        assert kerf >= 0.3, process
        assert kerf - 2 * 2 * 0.020 > 0.2
    shop: Workshop = load_workshop()
    assert shop.kerf_mm == KERF_MM["filament"]


def test_unknown_names_and_wrong_pairs() -> None:
    for call, code in [
        (lambda: load_workshop("filament-999"), "workshop.printers"),
        (lambda: load_workshop(material="unobtainium"), "workshop.materials"),
        (lambda: load_workshop("resin-200", "pla"), "workshop.process"),
        (lambda: load_workshop("../printers/filament-200"), "workshop.printers"),
    ]:
        with pytest.raises(UsageError) as caught:
            call()
        assert caught.value.code == code and caught.value.hint
