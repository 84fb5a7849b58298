"""Calliper readings, walls, tongues and hung masses against closed forms and simulated truths."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.workshop.calibration.readings import (
    first_layer_spread,
    mean_error,
    size_of_error,
    smallest_wall,
    sound_strain,
)
from condyle.workshop.calibration.records import FrictionRecord
from condyle.workshop.calibration.torque import CREEP_EXPONENT, friction_of, kept_share, thirty_days_from_one
from condyle.workshop.tolerance import accuracy_in_words
from condyle.workshop.values import Measured

DAY = "2026-11-25"
HOLES = Measured(-0.15, 0.1, "prior: x")


def test_mean_of_many_readings_is_their_mean_and_their_spread() -> None:
    rng = np.random.default_rng(4)
    read = rng.normal(-0.22, 0.05, 200)
    found, of_mean = mean_error(read, HOLES, DAY)
    assert found.value == pytest.approx(read.mean(), abs=0.003)
    assert of_mean == pytest.approx(read.std(ddof=1) / math.sqrt(200), rel=0.15)
    # What is told holds for the next hole: the scatter between holes, reading errors taken off.
    assert found.sd == pytest.approx(math.sqrt(read.std(ddof=1) ** 2 - 0.02**2), rel=0.15)
    assert accuracy_in_words(found.sd, 8.0) == "about IT13"  # ISO 286-1: 4 × 0.05 = 0.20 mm, IT13 is 0.22 mm at 6 to 10


def test_few_readings_leave_the_prior_its_say() -> None:
    one = mean_error([-0.45], HOLES, DAY)[0].value
    three = mean_error([-0.45, -0.44, -0.46], HOLES, DAY)[0].value
    assert -0.45 < three < one < -0.15


@pytest.mark.parametrize("true", [0.03, 0.10])
def test_size_of_an_error_that_is_zero_on_average(true: float) -> None:
    read = np.random.default_rng(2).normal(0.0, math.hypot(true, 0.02), 300)
    assert size_of_error(read, Measured(0.06, 0.03, "prior: x"), DAY).value == pytest.approx(true, rel=0.12)


def test_first_layer_spreads_by_half_the_difference() -> None:
    found = first_layer_spread(14.40, 14.00, Measured(0.15, 0.07, "prior: x"), DAY)
    assert 0.15 < found.value < 0.20 and found.value == pytest.approx(0.20, abs=0.01)
    assert first_layer_spread(13.9, 14.1, Measured(0.02, 0.07, "prior: x"), DAY).value == 0.0


def test_the_smallest_wall_lies_between_those_that_failed_and_those_that_stood() -> None:
    walls = [0.3, 0.4, 0.5, 0.6, 0.7, 0.8]
    found = smallest_wall(walls * 4, [w > 0.45 for w in walls] * 4, Measured(0.8, 0.1, "prior: x"), DAY)
    assert 0.40 < found.value < 0.62
    assert found.value < smallest_wall(walls[:3], [False] * 3, Measured(0.8, 0.1, "prior: x"), DAY).value


def test_sound_strain_from_simulated_tongues() -> None:
    """Tongues that mark at a log-normal strain of median 2 % and 15 % spread: 95 % stay sound below 2 %·exp(−1.645·0.15)."""
    rng = np.random.default_rng(9)
    strain = np.tile(np.geomspace(0.008, 0.05, 10), 40)
    sound = strain < 0.02 * np.exp(rng.normal(0, 0.15, len(strain)))
    safe, half = sound_strain(strain.tolist(), sound.tolist(), 0.012, DAY)
    assert half.value == pytest.approx(0.02, rel=0.06)
    assert safe.value == pytest.approx(0.02 * math.exp(-1.645 * 0.15), rel=0.1)
    assert safe.sd < 0.1 * safe.value


def hung(mark: str, drawn: float, torque: float, when: str = "new", play: float = 0.06) -> FrictionRecord:
    return FrictionRecord(material="pla", date=DAY, size_mm=6.0, mark=mark, drawn_mm=drawn, nmm_per_mm=1800.0, when=when,
                          held_nmm=torque * (1 - play), sank_nmm=torque * (1 + play))  # type: ignore[arg-type]  # fmt: skip


@pytest.mark.parametrize("eats", [0.05, 0.13])
def test_friction_from_the_slope_whatever_the_printer_eats(eats: float) -> None:
    """T = µ·K·(e − c): three clearances give µ by their slope, also where the printer is not the one expected."""
    mu, card = 0.22, Measured(0.35, 0.1, "prior: x")
    records = [hung("ABC"[k], c, mu * 1800.0 * (eats - c)) for k, c in enumerate((-0.15, -0.09, -0.03))]
    found, e, odd = friction_of(records * 4, card, (0.10, 0.05), DAY)
    assert found.value == pytest.approx(mu, rel=0.15)
    assert abs(found.value - mu) < 2.5 * found.sd
    assert e == pytest.approx(eats, abs=0.04) and not odd
    # One clearance cannot tell µ from e: the doubt stays wide.
    alone, _, _ = friction_of([records[1]] * 4, card, (0.10, 0.05), DAY)
    assert alone.sd > found.sd


def test_a_mass_in_another_unit_is_told() -> None:
    """One of three torques thirty times too high: its mark is named, and the other two keep the say."""
    card = Measured(0.35, 0.1, "prior: x")
    good = [hung("ABC"[k], c, 0.3 * 1800.0 * (0.1 - c)) for k, c in enumerate((-0.15, -0.09, -0.03))]
    spoilt = [good[0], good[1], hung("C", -0.03, 30 * 0.3 * 1800.0 * 0.13)]
    found, _, odd = friction_of(spoilt, card, (0.10, 0.05), DAY)
    assert odd == ("C",) and found.value == pytest.approx(0.3, abs=0.08)


def test_an_arm_that_only_sank_bounds_friction_from_above() -> None:
    card = Measured(0.35, 0.1, "prior: x")
    sank = FrictionRecord(material="pla", date=DAY, size_mm=6.0, mark="A", drawn_mm=-0.06, nmm_per_mm=1800.0, when="new",
                          sank_nmm=50.0)  # fmt: skip
    assert friction_of([sank], card, (0.10, 0.03), DAY)[0].value < 0.31


def test_what_is_kept_compares_each_joint_with_itself() -> None:
    prior = Measured(0.8, 0.15, "prior: x")
    records = [hung(m, -0.06, t) for m, t in zip("ABC", (20.0, 40.0, 60.0), strict=True)]
    records += [hung(m, -0.06, 0.5 * t, "after 50 movements") for m, t in zip("ABC", (20.0, 40.0, 60.0), strict=True)]
    found = kept_share(records, "after 50 movements", prior, DAY)
    assert found is not None and 0.5 < found.value < 0.65 and found.sd < prior.sd
    assert kept_share(records, "after 24 h", prior, DAY) is None
    assert kept_share(records[3:], "after 50 movements", prior, DAY) is None  # nothing new to compare with


def test_thirty_days_are_foretold_by_the_power_law() -> None:
    # Findley's law (from memory): strain or loss grows as t^n, n 0.1 to 0.3 for glassy plastics.
    found = thirty_days_from_one(Measured(0.9, 0.03, "measured"))
    assert found.value == pytest.approx(1 - 0.1 * 30**CREEP_EXPONENT, abs=5e-4)
    assert found.sd > 0.03 * 30**CREEP_EXPONENT
