"""The snap-fit beam against design guides and against the beam equation integrated by another hand.

Guide A: *Snap-Fit Joints for Plastics – A Design Guide*, Bayer MaterialScience. Guide C: *Snap-Fit Design Manual*, BASF.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from condyle.errors import UsageError
from condyle.joints.mechanics import snap
from tests.published import Published

# Derived constants y = k·ε·l²/h by tip-to-root thickness; Guide A prints 0.67 (synectic.net/snap-fit-design) and 1.09
# (from memory) for the first and the sixth.
TAPER = {1.0: 0.6667, 0.9: 0.7210, 0.8: 0.7859, 0.7: 0.8648, 0.6: 0.9633, 0.5: 1.0904, 0.4: 1.2115, 0.3: 1.2684}


def bent_by_integration(tip_ratio: float) -> tuple[float, float]:
    """(k, peak strain over root strain) of a beam l = h = b = E = 1 from y'' = M/EI and a search along it."""

    def thickness(x: float) -> float:
        return 1.0 - (1.0 - tip_ratio) * x

    def curvature(x: float) -> float:
        return (1.0 - x) * 12.0 / thickness(x) ** 3

    def surface_strain(x: float) -> float:
        return 0.5 * thickness(x) * curvature(x)

    bent = solve_ivp(lambda x, y: [y[1], curvature(x)], (0.0, 1.0), [0.0, 0.0], rtol=1e-10, atol=1e-12)
    found = minimize_scalar(lambda x: -surface_strain(x), bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-10})
    peak = max(surface_strain(0.0), -float(found.fun))
    return float(bent.y[0, -1]) / peak, peak / surface_strain(0.0)


def test_printed_taper_constants(published: Published) -> None:
    guide = "Snap-Fit Joints for Plastics, a design guide"
    straight, half, narrow = snap.taper_multiplier(1.0), snap.taper_multiplier(0.5), snap.width_taper_multiplier(0.25)
    published("constant of a straight snap arm", straight, 0.67, tolerance=0.005, source=guide)
    memory = f"{guide} (from memory)"
    published("constant of an arm that thins to a half", half, 1.09, tolerance=0.005, source=memory)
    published("constant of an arm that narrows to a quarter", narrow, 0.86, tolerance=0.005, source=memory)


@pytest.mark.parametrize(("tip_ratio", "printed"), TAPER.items())
def test_taper_constants(tip_ratio: float, printed: float) -> None:
    assert snap.taper_multiplier(tip_ratio) == pytest.approx(printed, abs=5.1e-5)


@pytest.mark.parametrize("tip_ratio", [1.0, 0.999, 0.9, 0.76, 0.74, 0.5, 0.49, 0.4, 0.3, 0.15])
def test_taper_against_the_integrated_beam(tip_ratio: float) -> None:
    k, peak = bent_by_integration(tip_ratio)
    assert snap.taper_multiplier(tip_ratio) == pytest.approx(k, rel=1e-7)
    assert snap.strain_peak(tip_ratio) == pytest.approx(peak, rel=1e-9)


def test_peak_strain_leaves_the_root_below_half() -> None:
    # Derived: 1.042 times the root at r = 0.4, 1.190 at 0.3, the root itself from 0.5 on.
    assert [round(snap.strain_peak(r), 3) for r in (1.0, 0.5, 0.4, 0.3)] == [1.0, 1.0, 1.042, 1.19]


def test_width_taper_constant() -> None:
    # Guide A prints 0.86 for a width that falls to a quarter (from memory); derived 0.8552.
    assert snap.width_taper_multiplier(0.25) == pytest.approx(0.8552, abs=5e-5)
    assert snap.width_taper_multiplier(1.0) == pytest.approx(2 / 3, rel=1e-12)
    assert snap.width_taper_multiplier(0.9501) == pytest.approx(snap.width_taper_multiplier(0.9499), rel=1e-4)


def test_hook_tapered_to_half(published: Published) -> None:
    # Guide A, calculation example I (polycarbonate hook, answers from memory): h = 3.28 mm, P = 32.5 N, 1.80, W = 58.5 N.
    strain, length, width, undercut, friction = 0.02, 19.0, 9.5, 2.4, 0.6
    thickness = snap.deflection_mm(strain, length, undercut, tip_ratio=0.5)  # y and h change places in y·h = k·ε·l²
    source = "Snap-Fit Joints for Plastics, a design guide, example I (from memory)"
    published("root thickness of a tapered hook", thickness, 3.28, unit="mm", tolerance=0.005, source=source)
    force = snap.deflection_force_n(strain, width, 3.28, length, 1815.0, tip_ratio=0.5)
    published("force that bends it", force, 32.5, unit="N", tolerance=0.06, source=source)
    ratio, mating = snap.mating_force_n(1.0, 30.0, friction), snap.mating_force_n(force, 30.0, friction)
    published("push over bending force up a 30° ramp, µ 0.6", ratio, 1.80, tolerance=0.005, source=source)
    published("push that joins it", mating, 58.5, unit="N", tolerance=0.15, source=source)
    assert snap.strain(undercut, length, thickness, tip_ratio=0.5) == pytest.approx(strain, rel=1e-12)


def test_straight_hook_on_a_wall_that_gives(published: Published) -> None:
    # Guide C, improved cantilever formula with Q = 2.0 (inch, pound; answers from memory): 2.7 %, 9.8, 10.2 to 10.3.
    inch, pound_force, psi = 25.4, 4.4482216152605, 0.00689475729
    strain = snap.strain(0.090 * inch, 0.5 * inch, 0.1 * inch, wall_factor=2.0)
    source = "Snap-Fit Design Manual, improved cantilever formula (from memory)"
    published("strain of a hook on a wall that gives", 100 * strain, 2.7, unit="%", tolerance=0.005, source=source)
    force = snap.deflection_force_n(strain, 0.25 * inch, 0.1 * inch, 0.5 * inch, 435_000 * psi)
    published("force that bends this hook", force / pound_force, 9.8, unit="lbf", tolerance=0.05, source=source)
    assert 10.2 <= snap.mating_force_n(force, 35.0, 0.2) / pound_force <= 10.3


def test_optimal_taper_statement(published: Published) -> None:
    # Guide A p. 2: next to a beam that falls to 30 % of its thickness, one of constant section needs "17 % more material
    # and 46 % higher strain". Read as same length, width and stiffness (so k·peak/h³ alike): 17.1 % and 44.9 %.
    k, peak = snap.taper_multiplier(0.3), snap.strain_peak(0.3)
    straight_thickness = (snap.taper_multiplier(1.0) / (k * peak)) ** (1 / 3)
    more = 100 * (straight_thickness / (0.5 * (1.0 + 0.3)) - 1.0)
    source = "Snap-Fit Joints for Plastics, a design guide, p. 2"
    published("material that a straight arm needs more", more, 17.0, unit="%", tolerance=0.5, source=source)
    straight_strain = snap.strain(0.1, 10.0, straight_thickness)
    higher = 100 * (straight_strain / snap.strain(0.1, 10.0, 1.0, tip_ratio=0.3) - 1.0)
    published("strain that a straight arm has more", higher, 46.0, unit="%", tolerance=1.5, source=source)


def test_pull_that_no_longer_opens(published: Published) -> None:
    # firstratemold.com/how-to-design-snap-latches: µ 0.3 → 73°, µ 0.6 → 59°; exact 90° − atan µ = 73.30°, 59.04°.
    for friction, printed in ((0.3, 73.0), (0.6, 59.0)):
        limit = snap.separable_limit_deg(friction)
        what = f"steepest catch that a pull still opens, µ {friction:g}"
        published(what, limit, printed, unit="°", tolerance=0.5, source="firstratemold.com, how to design snap latches")
    assert snap.separable_limit_deg(0.3) == pytest.approx(73.30, abs=0.005)
    assert snap.separable_limit_deg(0.6) == pytest.approx(59.04, abs=0.005)
    assert snap.is_separable(73.29, 0.3) and not snap.is_separable(73.31, 0.3)
    assert math.isfinite(snap.separation_force_n(1.0, 73.29, 0.3))
    assert snap.separation_force_n(1.0, 73.31, 0.3) == math.inf
    assert snap.separation_force_n(1.0, 90.0, 0.0) == math.inf


def test_ramp_law_is_the_tangent_of_the_sum() -> None:
    # Guide A p. 14: W = P·tan(α + ρ), ρ = atan µ.
    for angle in (0.0, 10.0, 30.0, 45.0):
        both = math.tan(math.radians(angle) + math.atan(0.35))
        assert snap.mating_force_n(7.0, angle, 0.35) == pytest.approx(7.0 * both, rel=1e-12)


@given(st.floats(1e-4, 0.1), st.floats(1.0, 40.0), st.floats(0.3, 5.0), st.floats(0.1, 1.0))
def test_strain_undoes_deflection(strain: float, length: float, thickness: float, tip_ratio: float) -> None:
    y = snap.deflection_mm(strain, length, thickness, tip_ratio)
    assert snap.strain(y, length, thickness, tip_ratio) == pytest.approx(strain, rel=1e-12)


def test_any_section_agrees_with_the_rectangle() -> None:
    width, thickness, length, give, modulus = 3.0, 1.2, 6.0, 0.2, 2900.0
    finger = snap.rectangle_finger(width, thickness)
    strain = snap.section_strain(give, length, finger.fibre_mm)
    assert strain == pytest.approx(snap.strain(give, length, thickness), rel=1e-12)
    force = give * snap.section_stiffness_n_mm(finger.second_moment_mm4, length, modulus)
    assert force == pytest.approx(snap.deflection_force_n(strain, width, thickness, length, modulus), rel=1e-12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: snap.deflection_mm(-0.01, 10, 1),
        lambda: snap.deflection_mm(2.0, 10, 1),
        lambda: snap.deflection_mm(0.01, 0, 1),
        lambda: snap.deflection_mm(0.01, 10, math.nan),
        lambda: snap.deflection_mm(0.01, 10, 1, tip_ratio=0.0),
        lambda: snap.deflection_mm(0.01, 10, 1, tip_ratio=1.2),
        lambda: snap.strain(0.1, math.inf, 1),
        lambda: snap.deflection_force_n(0.01, 1, 1, 10, -5),
        lambda: snap.mating_force_n(1, 91, 0.3),
        lambda: snap.mating_force_n(1, 30, -0.1),
        lambda: snap.separable_limit_deg(9.0),
    ],
)
def test_nonsense_is_refused(call: object) -> None:
    with pytest.raises(UsageError) as caught:
        call()  # type: ignore[operator]
    assert caught.value.code == "mechanics.range" and "must be" in caught.value.message
