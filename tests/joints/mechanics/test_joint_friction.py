"""Friction torque: printed textbook answers, and the contact integrals done again by scipy."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import dblquad, quad

from condyle.errors import UsageError
from condyle.joints.mechanics import friction
from tests.published import Published


def test_disc_under_even_wear(published: Published) -> None:
    # V. B. Bhandari, *Design of Machine Elements*, Example 11.1 (FOSSEE/Scilab-TBC-Uploads, 764/CH11/EX11.1.b): printed
    # 15707.963 N, 235619.449 N·mm.
    force = friction.collar_force_n(1.0, 200.0, 100.0, law="wear")
    source = "Bhandari, Design of Machine Elements, example 11.1"
    published("force of a collar, even wear", force, 15707.963, unit="N", tolerance=5e-4, source=source)
    assert friction.collar_torque_nmm(force, 200.0, 100.0, 0.2, law="wear") == pytest.approx(235619.449, abs=5e-4)


def test_disc_under_even_pressure(published: Published) -> None:
    # Bhandari, Example 11.2 (764/CH11/EX11.2): printed 23561.945 N, 366519.143 N·mm.
    force = friction.collar_force_n(1.0, 200.0, 100.0)
    source = "Bhandari, Design of Machine Elements, example 11.2"
    published("force of a collar, even pressure", force, 23561.945, unit="N", tolerance=5e-4, source=source)
    assert friction.collar_torque_nmm(force, 200.0, 100.0, 0.2) == pytest.approx(366519.143, abs=5e-4)


def test_eight_discs(published: Published) -> None:
    # Bhandari, Example 11.8: d = 75, D = 150, µ = 0.1, p = 0.3, 8 surfaces, wear; printed 2650.719 N, 119282.346 N·mm.
    force = friction.collar_force_n(0.3, 150.0, 75.0, law="wear")
    torque = 8 * friction.collar_torque_nmm(force, 150.0, 75.0, 0.1, law="wear")
    source = "Bhandari, Design of Machine Elements, example 11.8"
    published("force on eight discs", force, 2650.719, unit="N", tolerance=5e-4, source=source)
    published("torque of eight discs", torque, 119282.346, unit="N·mm", tolerance=5e-4, source=source)


def test_small_joint_figures() -> None:
    # Derived (µ = 0.3, F = 10 N, R = 4): hemisphere 18.850, ring at 45° 12.000, band ±30° at 1 MPa 115.40 N·mm; an arm of
    # 4 g, 30 mm out and level 1.1768 N·mm; loose pin, 1 N on r = 2, 0.5747 N·mm.
    assert friction.hemisphere_torque_nmm(10.0, 4.0, 0.3) == pytest.approx(18.850, abs=5e-4)
    assert friction.ring_torque_nmm(10.0, 4.0, 45.0, 0.3) == pytest.approx(12.000, abs=5e-4)
    assert friction.band_torque_nmm(1.0, 4.0, 30.0, 0.3) == pytest.approx(115.40, abs=5e-3)
    assert friction.gravity_torque_nmm(4.0, 30.0) == pytest.approx(1.1768, abs=5e-5)
    assert friction.loose_pin_torque_nmm(1.0, 2.0, 0.3) == pytest.approx(0.5747, abs=5e-5)


def band_by_dblquad(half_deg: float, axis: tuple[float, float, float]) -> float:
    """∫ |axis × n| dA over a band of the unit sphere: the torque per µ·p·R³."""

    def arm(longitude: float, latitude: float) -> float:
        n = (
            math.cos(latitude) * math.cos(longitude),
            math.cos(latitude) * math.sin(longitude),
            math.sin(latitude),
        )
        along = sum(a * b for a, b in zip(axis, n, strict=True))
        return math.sqrt(max(0.0, 1.0 - along * along)) * math.cos(latitude)

    half = math.radians(half_deg)
    return 8.0 * float(dblquad(arm, 0.0, half, 0.0, math.pi / 2)[0])


@pytest.mark.parametrize("half_deg", [5.0, 30.0, 60.0, 90.0])
def test_band_by_numerical_integration(half_deg: float) -> None:
    p, r, mu = 0.7, 3.5, 0.35
    twist = mu * p * r**3 * band_by_dblquad(half_deg, (0.0, 0.0, 1.0))
    assert friction.band_torque_nmm(p, r, half_deg, mu) == pytest.approx(twist, rel=1e-7)
    swing = mu * p * r**3 * band_by_dblquad(half_deg, (1.0, 0.0, 0.0))
    assert friction.band_swing_torque_nmm(p, r, half_deg, mu) == pytest.approx(swing, rel=1e-3)


def test_a_whole_sphere_turns_alike_about_every_axis() -> None:
    twist = friction.band_torque_nmm(1.0, 4.0, 90.0, 0.3)
    assert friction.band_swing_torque_nmm(1.0, 4.0, 90.0, 0.3) == pytest.approx(twist, rel=1e-4)
    # Two hemispheres, each with p = F/(πR²): the hemispherical cup's formula twice.
    assert twist == pytest.approx(2 * friction.hemisphere_torque_nmm(math.pi * 16.0, 4.0, 0.3), rel=1e-12)


def test_hemisphere_about_its_axis_by_integration() -> None:
    # ∫ µ p (R sin φ) 2π R² sin φ dφ from 0 to 90°, p = F/(πR²).
    force, radius, mu = 10.0, 4.0, 0.3
    pressure = force / (math.pi * radius**2)
    total = quad(lambda a: mu * pressure * radius * math.sin(a) * 2 * math.pi * radius**2 * math.sin(a), 0, math.pi / 2)
    assert friction.hemisphere_torque_nmm(force, radius, mu) == pytest.approx(total[0], rel=1e-9)


def test_collar_by_integration() -> None:
    force, outer, inner, mu = 12.0, 9.0, 4.0, 0.25
    even = force / (math.pi / 4 * (outer**2 - inner**2))
    total = quad(lambda r: mu * even * r * 2 * math.pi * r, inner / 2, outer / 2)[0]
    assert friction.collar_torque_nmm(force, outer, inner, mu) == pytest.approx(total, rel=1e-9)


def test_band_pressure_carries_its_load() -> None:
    # The band's area is 4πR² sin θ (zone of a sphere).
    zone = quad(lambda a: 2 * math.pi * 9.0 * math.cos(a), -math.radians(25), math.radians(25))[0]
    assert friction.band_pressure_mpa(14.0, 3.0, 25.0) * zone == pytest.approx(14.0, rel=1e-9)


def test_thin_band_is_a_ring_of_normal_forces() -> None:
    # Normal force N on the equator, arm R: T = µNR about the axis, 2/π of it about a diameter (mean of |sin|).
    pressure = friction.band_pressure_mpa(10.0, 4.0, 0.5)
    assert friction.band_torque_nmm(pressure, 4.0, 0.5, 0.3) == pytest.approx(12.0, rel=1e-4)
    assert friction.band_swing_torque_nmm(pressure, 4.0, 0.5, 0.3) == pytest.approx(12.0 * 2 / math.pi, rel=2e-3)


def test_pressed_pin_by_integration() -> None:
    # T = ∫ µ p r dA over the pin's side: the form of DIN 7190.
    total = quad(lambda a: 0.3 * 2.0 * 1.5 * 1.5 * 6.0, 0, 2 * math.pi)[0]
    assert friction.pin_torque_nmm(2.0, 3.0, 6.0, 0.3) == pytest.approx(total, rel=1e-12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: friction.band_torque_nmm(1.0, 4.0, 91.0, 0.3),
        lambda: friction.band_torque_nmm(-1.0, 4.0, 30.0, 0.3),
        lambda: friction.ring_torque_nmm(1.0, 4.0, 90.0, 0.3),
        lambda: friction.collar_torque_nmm(1.0, 4.0, 5.0, 0.3),
        lambda: friction.collar_torque_nmm(1.0, 5.0, 4.0, 0.3, law="guess"),  # type: ignore[arg-type]
        lambda: friction.pin_torque_nmm(1.0, 0.0, 5.0, 0.3),
        lambda: friction.loose_pin_torque_nmm(math.nan, 2.0, 0.3),
        lambda: friction.gravity_torque_nmm(-1.0, 2.0),
    ],
)
def test_nonsense_is_refused(call: object) -> None:
    with pytest.raises(UsageError):
        call()  # type: ignore[operator]
