"""Pins on a hinge whose holes are known from how they were drawn: gaps are differences of radii."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from smallkits import LYING, hinge_kit, kit_of

from condyle.figure.kit import Kit, Pin
from condyle.finding import Finding
from condyle.geometry.primitives import cylinder
from condyle.geometry.solid import subtract
from condyle.proof.bodies import make_bodies
from condyle.proof.pins import pins

# The outer hole is circumscribed with a chord error of 0.01 mm, so a gap may read larger by that and never smaller.
CHORD_MM = 0.011


def pinned(eye_mm: float, near_mm: float, far_mm: float, pin_mm: float = 0.5, way_mm: float = 9.0) -> Kit:
    """A hinge bored with holes of these radii, its pin (radius ``pin_mm``) from x = -3 to x = 3.5, mouth at +x."""
    made, _, _ = hinge_kit()
    upper, lower = (p.solid for p in made.parts)
    near = cylinder(near_mm, 1.0, way_mm, "outside").transformed(LYING)
    far = cylinder(far_mm, -3.0, 0.0, "outside").transformed(LYING)
    eye = cylinder(eye_mm, -5.0, 5.0, "outside").transformed(LYING)
    joint = replace(made.joints[0], pins=(Pin(2.0 * pin_mm, (-3.0, 0.0, 0.0), (3.5, 0.0, 0.0)),))
    kit, _, _ = kit_of({"upper": subtract(upper, [near, far]), "lower": subtract(lower, [eye])}, [joint])
    return kit


def told(kit: Kit) -> dict[str, Finding]:
    return {f.check: f for f in pins(kit, make_bodies(kit))}


def test_a_pin_that_is_tight_in_one_ear_and_free_in_the_eye_passes() -> None:
    found = told(pinned(eye_mm=0.6, near_mm=0.6, far_mm=0.5))
    assert found["fit.pin"].verdict == "pass" and found["fit.pin_turns"].verdict == "pass"
    assert found["fit.pin"].measured == pytest.approx(0.0, abs=CHORD_MM)
    assert 0.1 - 1e-6 <= (found["fit.pin_turns"].measured or 0.0) <= 0.1 + CHORD_MM


@pytest.mark.parametrize(("far_mm", "verdict"), [(0.55, "pass"), (0.45, "caution"), (0.35, "fail")])
def test_a_hole_too_narrow_is_found_with_its_overlap_and_place(far_mm: float, verdict: str) -> None:
    found = told(pinned(eye_mm=0.65, near_mm=0.65, far_mm=far_mm))["fit.pin"]
    assert found.verdict == verdict
    assert found.measured == pytest.approx(far_mm - 0.5, abs=CHORD_MM)
    if verdict != "pass":
        assert found.place is not None and found.place[0] < -1.0 and found.advice
        assert np.hypot(*found.place[1:]) == pytest.approx(0.5, abs=1e-6), "a place on the pin"


@pytest.mark.parametrize(("eye_mm", "verdict"), [(0.58, "pass"), (0.53, "caution"), (0.49, "fail")])
def test_an_eye_that_does_not_turn_is_found(eye_mm: float, verdict: str) -> None:
    # The ears are tighter still, so the eye is the part that turns.
    found = told(pinned(eye_mm=eye_mm, near_mm=0.48, far_mm=0.48))["fit.pin_turns"]
    assert found.verdict == verdict
    assert found.measured == pytest.approx(eye_mm - 0.5, abs=CHORD_MM)


def test_the_way_in_must_be_open_up_to_the_skin() -> None:
    """A hole that stops inside the ear leaves the pin no way to where it sits."""
    made = pinned(eye_mm=0.6, near_mm=0.6, far_mm=0.5, way_mm=3.2)
    found = told(made)["fit.pin"]
    assert found.verdict == "fail" and found.place is not None and found.place[0] > 3.0


def test_joints_without_pins_say_nothing() -> None:
    made, _, _ = hinge_kit(pinned=False)
    assert pins(made, make_bodies(made)) == []
