"""Propagated doubt against closed forms and against seeded draws."""

from __future__ import annotations

import math

import numpy as np
import pytest

from condyle.errors import UsageError
from condyle.joints.mechanics import friction, snap
from condyle.joints.mechanics.spread import first_order
from condyle.workshop.values import Measured


def test_product_adds_relative_variances() -> None:
    # JCGM 100:2008 (GUM) §5.1.6, from memory: for a product, relative variances add with the squared exponents.
    value, sd = first_order(lambda p, r: p * r**3, Measured(2.0, 0.02, "x"), Measured(4.0, 0.04, "x"))
    assert value == 128.0
    assert sd / value == pytest.approx(math.hypot(0.01, 3 * 0.01), rel=1e-4)


def test_friction_band_against_draws() -> None:
    pressure, mu = Measured(0.5, 0.03, "x"), Measured(0.35, 0.03, "x")
    value, sd = first_order(lambda p, f: friction.band_torque_nmm(p, 3.0, 30.0, f), pressure, mu)
    rng = np.random.default_rng(7)
    draws = [
        friction.band_torque_nmm(float(p), 3.0, 30.0, float(f))
        for p, f in zip(rng.normal(0.5, 0.03, 20_000), rng.normal(0.35, 0.03, 20_000), strict=True)
    ]
    assert value == pytest.approx(float(np.mean(draws)), rel=0.01)
    assert sd == pytest.approx(float(np.std(draws)), rel=0.02)


def test_certain_inputs_and_edges() -> None:
    assert first_order(lambda x: 2 * x, Measured(3.0, 0.0, "x")) == (6.0, 0.0)
    # A tip ratio of exactly 1 can only be lowered: one side is used.
    _, sd = first_order(snap.taper_multiplier, Measured(1.0, 0.01, "x"))
    assert sd == pytest.approx(0.005, rel=0.02)  # slope of k at r = 1 is −2·1/4: J = Σ aⁿ/(n+3)


def test_a_call_that_makes_no_sense_stays_an_error() -> None:
    with pytest.raises(UsageError):
        first_order(snap.taper_multiplier, Measured(1.5, 0.01, "x"))
