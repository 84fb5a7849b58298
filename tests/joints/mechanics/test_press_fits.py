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
    hoop = press.lame_mpa(20.0, 20.0, 30.0, pressure)[1]
    source = "Bhandari, Design of Machine Elements, example 22.6"
    published("hoop stress in the bore of a shrunk jacket", hoop, 100.0, unit="MPa", tolerance=1e-3, source=source)
    interference = press.interference_for_mm(pressure, 40.0, 60.0, 207_000.0, 0.3, bore_mm=20.0)
    assert 40.0 - 2.0 * interference == pytest.approx(39.968289, abs=1e-6)


def test_wall_by_birnie() -> None:
    # Bhandari, Example 22.5 (764/CH22/EX22.5): bore 100, 12 MPa, σ = 230/2.5 = 92 MPa, ν = 0.27; printed t = 7.285750 mm.
    wall = press.wall_mm(12.0, 100.0, 230.0 / 2.5, 0.27)
    assert wall == pytest.approx(7.285750, abs=5e-7)
    # What it solves: σ_hoop + ν p at the bore, by Lamé, is the permitted stress.
    hoop = press.lame_mpa(50.0, 50.0, 50.0 + wall, 12.0)[1]
    assert hoop + 0.27 * 12.0 == pytest.approx(92.0, rel=1e-12)
    assert press.wall_mm(80.0, 100.0, 92.0, 0.27) == math.inf


def test_steel_hub(published: Published) -> None:
    # Same material, solid shaft: p = Eδ(D²−d²)/(2dD²), δ diametral (roymech.co.uk, Cylinders). d = 50, D = 100, δ = 0.05:
    # 77.625 MPa, whatever ν.
    for poisson in (0.0, 0.292, 0.5):
        interference = 2.0 * press.interference_for_mm(77.625, 50.0, 100.0, 207_000.0, poisson)
        what = f"interference of a steel hub on a solid shaft at 77.625 MPa, Poisson's ratio {poisson:g}"
        source = "roymech.co.uk, Cylinders: p = Eδ(D² − d²)/(2dD²)"
        published(what, interference, 0.05, unit="mm", tolerance=5e-7, source=source)


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


@pytest.mark.parametrize(
    "call",
    [
        lambda: press.interference_for_mm(-1.0, 4.0, 8.0, 3500.0, 0.36),
        lambda: press.interference_for_mm(1.0, 4.0, 4.0, 3500.0, 0.36),
        lambda: press.interference_for_mm(1.0, 4.0, 8.0, 3500.0, 0.36, bore_mm=4.0),
        lambda: press.interference_for_mm(1.0, 4.0, 8.0, 3500.0, 0.51),
        lambda: press.interference_for_mm(1.0, 4.0, 8.0, math.inf, 0.36),
        lambda: press.lame_mpa(6.0, 3.0, 5.0, 1.0),
        lambda: press.lame_mpa(1.0, 0.0, 5.0, 1.0),
    ],
)
def test_nonsense_is_refused(call: object) -> None:
    with pytest.raises(UsageError, match="must be"):
        call()  # type: ignore[operator]
