"""Joints in the shape that the printer leaves, and what is said of parts on the plate, on small kits made of primitives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import smallkits

from condyle.build.layers import layers_of
from condyle.build.process import rules_of
from condyle.finding import Finding
from condyle.geometry.primitives import box, sphere
from condyle.geometry.solid import subtract, union
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.print import prints
from condyle.proof.print_fit import PrintedFit, printed_fits
from condyle.workshop.bench import load_workshop
from condyle.workshop.fits import Fit, Fits

SHOP = load_workshop()
RULES = rules_of(SHOP.printer)
IDEAL = replace(RULES, line_mm=0.0, hole_error_mm=0.0, shaft_error_mm=0.0, first_layer_spread_mm=0.0, layer_mm=0.04)
UP = np.eye(3)
LAID = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])


def measured(kit, rules, turns, fits=SHOP.fits) -> tuple[list[PrintedFit], list[Finding]]:
    """The printed fits of a kit whose parts lie as told: rotations by part."""
    meetings = make_meetings(kit, make_bodies(kit))
    layers = {}
    for part in kit.parts:
        move = np.eye(4)
        move[:3, :3] = turns.get(part.name, UP)
        move[2, 3] = -part.mesh.transformed(move).bounds[0, 2]
        layers[part.name] = (layers_of(part.mesh.transformed(move), rules.layer_mm), move)
    _, fitted, findings = printed_fits(meetings, layers, {p.name: rules for p in kit.parts}, fits, workers=1)
    return fitted, findings


@pytest.mark.parametrize("clearance", [0.05, 0.12])
def test_an_ideal_process_leaves_the_drawn_gap(clearance):
    kit, _, _ = smallkits.ball_kit(clearance=clearance)
    (fit,), _ = measured(kit, IDEAL, {"lower": LAID})
    assert fit.gap_mm == pytest.approx(clearance, abs=0.012)
    assert fit.gap_mm == pytest.approx(fit.drawn_mm, abs=0.015)


def test_upright_bores_and_shafts_lose_what_the_card_says():
    # A stud in a bore, both upright: half of each error of a diameter, (0.15 + 0.05) / 2, comes off the gap per side.
    kit, _, _ = smallkits.swivel_kit(clearance=0.2)
    used = replace(RULES, hole_error_mm=-0.15, shaft_error_mm=0.05)
    (fit,), _ = measured(kit, used, {})
    assert fit.gap_mm == pytest.approx(0.2 - 0.1, abs=0.02)


def test_a_lying_stud_keeps_more_of_its_gap_than_an_upright_one():
    kit, _, _ = smallkits.swivel_kit(clearance=0.2)
    fine = replace(IDEAL, hole_error_mm=-0.15, shaft_error_mm=0.05)
    laid = {"lower": LAID, "upper": LAID}
    (ideal_up,), _ = measured(kit, IDEAL, {})
    (ideal_laid,), _ = measured(kit, IDEAL, laid)
    (up,), _ = measured(kit, fine, {})
    (lying,), _ = measured(kit, fine, laid)
    # Lying, outlines move sideways only: of a loss of 0.1 mm per side, the mean of |cos φ| over the round, 2/π, is left.
    assert ideal_up.gap_mm - up.gap_mm == pytest.approx(0.1, abs=0.01)
    assert ideal_laid.gap_mm - lying.gap_mm == pytest.approx(0.1 * 2.0 / np.pi, abs=0.012)


def test_thick_layers_leave_ridges_in_a_lying_bore():
    kit, _, _ = smallkits.swivel_kit(clearance=0.2)
    thick = replace(IDEAL, layer_mm=0.2)
    (up,), _ = measured(kit, thick, {})
    (lying,), _ = measured(kit, thick, {"lower": LAID, "upper": LAID})
    assert up.tight_mm == pytest.approx(up.gap_mm, abs=0.01)
    # Stairs of half a layer on both sides at worst.
    assert 0.05 < lying.gap_mm - lying.tight_mm < 0.2


def fits_of(low: float, high: float) -> Fits:
    middle = 0.5 * (low + high)
    return Fits({"swivel": {None: Fit(middle, low, high, 8, "measured here")}})


def test_a_joint_that_would_fuse_and_one_that_would_rattle_are_caught():
    # The range is given for the drawn clearance, 0.15 to 0.25; the kit draws 0.2 in its middle.
    right = fits_of(0.15, 0.25)

    def verdicts(rules, turns):
        kit, _, _ = smallkits.swivel_kit(clearance=0.2)
        _, findings = measured(kit, rules, turns, right)
        return {(f.check, f.verdict) for f in findings if f.check in ("print.fuses", "print.rattles")}

    assert verdicts(RULES, {}) == {("print.fuses", "pass")}
    # The bore stands mouth down, so that the first layer spreads into it: of layers as coarse as this, half of the bearing.
    wide = replace(RULES, first_layer_spread_mm=0.15, hole_sd_mm=0.01, shaft_sd_mm=0.01)
    flat = replace(wide, layer_mm=4.0)
    assert ("print.fuses", "fail") in verdicts(flat, {})
    # A printer whose calibration is far from the coupon's: the loss that the fit allows for is not there when it lies.
    sure = replace(RULES, hole_error_mm=-0.4, shaft_error_mm=0.2, hole_sd_mm=0.02, shaft_sd_mm=0.02)
    assert verdicts(sure, {"lower": LAID, "upper": LAID}) & {("print.rattles", "fail"), ("print.rattles", "caution")}


def test_findings_of_a_kit_name_their_parts_and_places():
    tall = union([box((-1.2, -1.2, 0), (1.2, 1.2, 60)), box((-6, -1.2, 58), (6, 1.2, 62))])
    kit, sculpt, _ = smallkits.kit_of({"pole": tall}, [])
    proof = prints(kit, sculpt, SHOP, pins={"pole": np.array([0.0, 0.0, 1.0])}, workers=1)
    by = {f.check: f for f in proof.findings}
    assert by["print.tip"].verdict == "caution" and by["print.tip"].measured < 8.0
    assert proof.parts["pole"].orientation.pinned
    free = prints(kit, sculpt, SHOP, workers=1)
    assert abs(free.parts["pole"].orientation.direction[2]) < 0.2
    by = {f.check: f for f in free.findings}
    assert by["print.tip"].verdict == by["print.islands"].verdict == "pass"
    assert all(f.subject == "pole" for f in free.findings)


def test_resin_is_asked_its_own_questions():
    shop = load_workshop("resin-150", "resin-stiff")
    hollow = subtract(box((-8, -8, 0), (8, 8, 16)), [sphere(5.0, "outside").translated((0, 0, 8))])
    kit, sculpt, _ = smallkits.kit_of({"block": hollow}, [])
    by = {f.check: f for f in prints(kit, sculpt, shop, workers=1).findings}
    assert by["print.trapped"].verdict == "fail"
    assert by["print.suction"].measured == pytest.approx(np.pi * 25.0, rel=0.05)
    assert {"print.peel", "print.shrink"} <= set(by) and "print.first_layer" not in by
