"""Letting go, falling, and what weeks and warmth leave of a grip."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.joints.mechanics.grip import torque_spread
from condyle.joints.mechanics.relaxation import kept_after, kept_warm
from condyle.joints.mechanics.release import (
    cantilever_energy_nmm,
    drop_energy_nmm,
    equivalent_force_n,
    pry_moment_nmm,
)


def test_prying_balances_moments_about_the_rim() -> None:
    """A lever: pull W at half the opening (derived)."""
    assert pry_moment_nmm(16.0, 7.5) == pytest.approx(60.0)


def test_drop_energy_and_the_force_that_stores_it() -> None:
    """U = m·g·h with standard gravity; F = √(2kU) stores U in a spring, ½F²/k (Shigley, from memory)."""
    energy = drop_energy_nmm(78.0, 750.0)
    assert energy == pytest.approx(0.078 * 9.80665 * 750.0)
    force = equivalent_force_n(energy, 30.0)
    assert 0.5 * force**2 / 30.0 == pytest.approx(energy)


def test_energy_of_a_cantilever_is_the_work_of_its_load() -> None:
    """Half of force times deflection, F·L³/3EI (Castigliano, derived)."""
    length, modulus, second = 30.0, 2900.0, 12.0
    force = 5.0
    work = 0.5 * force * force * length**3 / (3 * modulus * second)
    assert cantilever_energy_nmm(force * length, length, modulus, second) == pytest.approx(work)


def test_relaxation_is_even_in_the_logarithm_of_time() -> None:
    assert kept_after(30.0, 0.55) == pytest.approx(0.55)
    assert kept_after(0.0, 0.55) == 1.0
    first, second, third = (kept_after(d, 0.55) for d in (0.3, 3.0, 30.0))
    assert first - second == pytest.approx(second - third)
    assert kept_after(1e9, 0.1) == 0.0


def test_warmth_takes_stiffness_straight_from_room_to_the_stated_temperature() -> None:
    assert kept_warm(23.0, 0.8) == 1.0
    assert kept_warm(40.0, 0.8) == pytest.approx(0.8)
    assert kept_warm(10.0, 0.8) == 1.0
    assert kept_warm(60.0, 0.2) == 0.0


def test_spread_of_a_torque_against_random_trials() -> None:
    """The same product of a normal interference and a log-normal friction, drawn 400,000 times by numpy."""
    rng = np.random.default_rng(11)
    grip = np.maximum(rng.normal(0.04, 0.03, 400_000), 0.0)
    log_sd = math.sqrt(math.log1p(0.3**2))
    drawn = 12.0 / 0.04 * grip * np.exp(rng.normal(0.0, log_sd, 400_000))
    spread = torque_spread(12.0, 0.04, 0.03, 0.3)
    assert spread.value == 12.0
    assert spread.low == pytest.approx(np.quantile(drawn, 0.05), abs=0.15)
    assert spread.high == pytest.approx(np.quantile(drawn, 0.95), rel=0.03)


def test_a_gap_may_still_grip_but_surely_holds_nothing_as_drawn() -> None:
    spread = torque_spread(0.0, -0.02, 0.05, 0.3, slope_nmm_mm=100.0)
    assert spread.value == 0.0
    assert spread.low == 0.0
    assert spread.high > 3.0
