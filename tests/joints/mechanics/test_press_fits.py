"""Press fits against textbook examples with printed answers and against Lamé's equation solved numerically."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import solve_bvp

from condyle.errors import UsageError
from condyle.joints.mechanics import press
from tests.published import Published


def test_jacket_shrunk_on_a_tube(published: Published) -> None:
    # V. B. Bhandari, *Design of Machine Elements*, Example 22.6 (FOSSEE/Scilab-TBC-Uploads, 764/CH22/EX22.6): tube 20/40,
    # jacket 60 mm, σ = 100 MPa, E = 207 GPa → 38.4615 MPa; printed inner diameter of the jacket 39.968289 mm.
    pressure = 38.4615
    hoop = press.hub_hoop_mpa(pressure, 40.0, 60.0)
    source = "Bhandari, Design of Machine Elements, example 22.6"
    published("hoop stress in the bore of a shrunk jacket", hoop, 100.0, unit="MPa", tolerance=1e-3, source=source)
    interference = press.interference_for_mm(pressure, 40.0, 60.0, 207_000.0, 0.3, bore_mm=20.0)
    assert 40.0 - 2.0 * interference == pytest.approx(39.968289, abs=1e-6)
    back = press.pressure_mpa(interference, 40.0, 60.0, 207_000.0, 0.3, bore_mm=20.0)
    assert back == pytest.approx(pressure, rel=1e-12)


def test_wall_by_birnie() -> None:
    # Bhandari, Example 22.5 (764/CH22/EX22.5): bore 100, 12 MPa, σ = 230/2.5 = 92 MPa, ν = 0.27; printed t = 7.285750 mm.
    wall = press.wall_mm(12.0, 100.0, 230.0 / 2.5, 0.27)
    assert wall == pytest.approx(7.285750, abs=5e-7)
    assert press.hub_strain(12.0, 100.0, 100.0 + 2 * wall, 1.0, 0.27) == pytest.approx(92.0, rel=1e-12)
    assert press.wall_mm(80.0, 100.0, 92.0, 0.27) == math.inf


def test_steel_hub(published: Published) -> None:
    # Same material, solid shaft: p = Eδ(D²−d²)/(2dD²), δ diametral (roymech.co.uk, Cylinders). d = 50, D = 100, δ = 0.05:
    # 77.625 MPa, whatever ν.
    for poisson in (0.0, 0.292, 0.5):
        pressure = press.pressure_mpa(0.025, 50.0, 100.0, 207_000.0, poisson)
        what = f"pressure of a steel hub on a solid shaft, Poisson's ratio {poisson:g}"
        source = "roymech.co.uk, Cylinders: p = Eδ(D² − d²)/(2dD²)"
        published(what, pressure, 77.625, unit="MPa", tolerance=5e-4, source=source)


def test_plastic_peg() -> None:
    # Worked through from the same formulas: d = 4, D = 8, E = 3500, ν = 0.36, δ = 0.05 diametral, L = 5, µ = 0.3 →
    # 16.406 MPa, 309.3 N, 618.5 N·mm, hoop 27.34 MPa, bore strain 0.95 %.
    pressure = press.pressure_mpa(0.025, 4.0, 8.0, 3500.0, 0.36)
    assert pressure == pytest.approx(16.406, abs=5e-4)
    assert press.push_force_n(pressure, 4.0, 5.0, 0.3) == pytest.approx(309.3, abs=0.06)
    assert press.slip_torque_nmm(pressure, 4.0, 5.0, 0.3) == pytest.approx(618.5, abs=0.06)
    assert press.hub_hoop_mpa(pressure, 4.0, 8.0) == pytest.approx(27.34, abs=0.005)
    assert press.hub_strain(pressure, 4.0, 8.0, 3500.0, 0.36) == pytest.approx(0.0095, abs=5e-6)


def test_stresses_against_equilibrium_solved_numerically() -> None:
    # Axisymmetric plane stress: u'' + u'/r − u/r² = 0 with σ_r = −12 at r = 3 and −2 at r = 5, solved by collocation.
    modulus, poisson, inside, outside = 3000.0, 0.36, 12.0, 2.0
    stiff = modulus / (1 - poisson**2)

    def radial(u: float, slope: float, r: float) -> float:
        return stiff * (slope + poisson * u / r)

    solved = solve_bvp(
        lambda r, y: [y[1], y[0] / r**2 - y[1] / r],
        lambda a, b: [radial(a[0], a[1], 3.0) + inside, radial(b[0], b[1], 5.0) + outside],
        [3.0, 4.0, 5.0],
        [[0.01, 0.01, 0.01], [0.0, 0.0, 0.0]],
        tol=1e-9,
    )
    for r in (3.0, 3.7, 5.0):
        u, slope = solved.sol(r)
        got = press.lame_mpa(r, 3.0, 5.0, inside, outside)
        assert got[0] == pytest.approx(radial(u, slope, r), abs=1e-5)
        assert got[1] == pytest.approx(stiff * (u / r + poisson * slope), abs=1e-5)


def test_solid_cylinder_is_pressed_evenly() -> None:
    assert press.lame_mpa(0.0, 0.0, 2.0, 0.0, 5.0) == (-5.0, -5.0)


def test_a_soft_hub_takes_the_strain() -> None:
    # A metal pin in plastic: K_s vanishes, so the bore's hoop strain is δ/R (compatibility, derived).
    pressure = press.pressure_mpa(0.02, 4.0, 8.0, 2900.0, 0.36, shaft_modulus_mpa=200_000.0, shaft_poisson=0.3)
    assert press.hub_strain(pressure, 4.0, 8.0, 2900.0, 0.36) == pytest.approx(0.02 / 2.0, rel=0.01)


@pytest.mark.parametrize(
    "call",
    [
        lambda: press.pressure_mpa(-0.01, 4.0, 8.0, 3500.0, 0.36),
        lambda: press.pressure_mpa(0.01, 4.0, 4.0, 3500.0, 0.36),
        lambda: press.pressure_mpa(0.01, 4.0, 8.0, 3500.0, 0.36, bore_mm=4.0),
        lambda: press.pressure_mpa(0.01, 4.0, 8.0, 3500.0, 0.51),
        lambda: press.pressure_mpa(0.01, 4.0, 8.0, math.inf, 0.36),
        lambda: press.lame_mpa(6.0, 3.0, 5.0, 1.0),
        lambda: press.lame_mpa(1.0, 0.0, 5.0, 1.0),
    ],
)
def test_nonsense_is_refused(call: object) -> None:
    with pytest.raises(UsageError, match="must be"):
        call()  # type: ignore[operator]
