"""The torque of a detent against energy and against a numeric climb along its circle."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from condyle.errors import UsageError
from condyle.joints.mechanics.detent import cap_radius_mm, climb_torque_nmm

STIFF, ARM = 60.0, 3.2


def height_of(rim: float, high: float, u: np.ndarray) -> np.ndarray:
    """How far a cap lifts an edge that stands ``u`` from its middle: the circle through rim and top (Euclid III)."""
    ball = 0.5 * (rim * rim / high + high)
    return np.asarray(np.sqrt(ball**2 - u**2) - np.sqrt(ball**2 - rim**2))


@given(rim=st.floats(0.4, 0.8), share=st.floats(0.2, 0.9))
def test_cap_passes_through_rim_and_top(rim: float, share: float) -> None:
    ball = cap_radius_mm(rim, share * rim)
    assert math.hypot(rim, ball - share * rim) == pytest.approx(ball)


@given(rim=st.floats(0.4, 0.8), share=st.floats(0.15, 0.4), squeeze=st.floats(0.0, 0.1))
def test_without_friction_the_climb_stores_what_the_leaf_holds(rim: float, share: float, squeeze: float) -> None:
    """Conservation of energy: the work of the torque is ½k((g+h)² − g²), so its greatest is no less than the mean of it,
    and it is the greatest of F·dy/ds found by differences along the way."""
    high = share * rim
    most = climb_torque_nmm(STIFF, squeeze, rim, high, 0.0, ARM)
    stored = 0.5 * STIFF * ((squeeze + high) ** 2 - squeeze**2)
    assert most * (rim / ARM) >= stored * (1.0 - 1e-9)
    u = np.linspace(rim, 0.0, 4001)
    y = height_of(rim, high, u)
    force = STIFF * (squeeze + 0.5 * (y[1:] + y[:-1])) * np.diff(y) / (u[:-1] - u[1:])
    assert most == pytest.approx(float(force.max()) * ARM, rel=5e-3)
    assert float((force * (u[:-1] - u[1:])).sum()) == pytest.approx(stored, rel=1e-4)


def test_friction_makes_it_harder() -> None:
    torque = [climb_torque_nmm(STIFF, 0.04, 0.6, 0.24, mu, ARM) for mu in (0.0, 0.2, 0.4)]
    assert torque[0] < torque[1] < torque[2]


def test_no_bump_without_a_height() -> None:
    with pytest.raises(UsageError):
        climb_torque_nmm(STIFF, 0.0, 0.6, 0.0, 0.3, ARM)
