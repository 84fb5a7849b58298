"""Sections read off finished parts, loads on them, and joints that let go before they break."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from condyle.build.faces import print_part
from condyle.figure.kit import Kit
from condyle.geometry.bvh import Bvh
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.resting import hull_corners
from condyle.geometry.solid import subtract, union
from condyle.joints.mechanics.release import drop_energy_nmm, equivalent_force_n
from condyle.proof.carry import CarryAsked, carry
from condyle.proof.last.judge import last_findings
from condyle.proof.last.loads import Wanted, loaded, strength_of
from condyle.proof.last.on_layers import loads_on_layers
from condyle.proof.last.scan import Scanner
from condyle.proof.last.second import key_of, opinions, second_opinion
from condyle.proof.mass import part_masses
from condyle.workshop.bench import load_workshop
from condyle.workshop.recipe import Recipe
from tests.proof.limbkits import joint, kit_of
from tests.proof.smallkits import LYING, ball_kit

FULL = Recipe(fill=1.0, coat_mm=0.0)
SIDEWAYS = (1.0, 0.0, 0.0)


def _limb_kit(*, retention: float | None = 12.0, neck: float = 1.6) -> Kit:
    """A block below a ball of 8 mm on a neck; the limb is a bar 6 × 4 mm that thins to 5 × 3 mm half way down."""
    parts = {
        "trunk": box((-12, -12, 4.5), (12, 12, 30)),
        "limb": union([
            sphere(4.0), cylinder(neck, -10.0, 0.0), box((-3, -2, -30), (3, 2, -8)), box((-2.5, -1.5, -50), (2.5, 1.5, -29)),
        ]),
    }  # fmt: skip
    ball = joint("shoulder", "ball", "trunk", "limb", (0, 0, 0), size=8.0, retention=retention, undercut=0.1)
    return kit_of(parts, [ball])


def test_neck_is_measured_on_the_solid() -> None:
    """The neck's own diameter, read off the written solid, whatever the joint says of its size."""
    kit, _, _ = ball_kit(radius=4.0, neck=1.6)
    scanner = Scanner(kit, load_workshop(), FULL)
    necks = {c.part: c for c in scanner.necks(kit.joints[0])}
    assert necks["lower"].round_mm == pytest.approx(3.2, rel=0.01)
    assert necks["lower"].bar.bending_mm3 == pytest.approx(math.pi * 3.2**3 / 32, rel=0.02)
    assert necks["lower"].notch > 1.2
    assert necks["upper"].round_mm > 6.0


def test_layers_across_the_neck_halve_its_strength() -> None:
    """PLA across layers: 22.8 of 43.7 MPa (doi 10.1089/3dp.2020.0109, abstract), as the material's card has it."""
    shop = load_workshop()
    kit, _, _ = ball_kit(radius=4.0, neck=1.6)
    upright, lying = (
        next(c for c in Scanner(kit, shop, FULL, {"lower": way}).necks(kit.joints[0]) if c.part == "lower")
        for way in ((0.0, 0.0, 1.0), SIDEWAYS)
    )
    assert upright.layers_deg == pytest.approx(0.0, abs=1e-6)
    assert lying.layers_deg == pytest.approx(90.0, abs=1e-6)
    assert upright.bending_nmm / lying.bending_nmm == pytest.approx(shop.material.across_layers.value)


def test_weakest_section_of_a_limb_is_found_where_it_is_thinnest() -> None:
    limbs = {limb.part: limb for limb in Scanner(_limb_kit(neck=3.0), load_workshop(), FULL).limbs()}
    weakest = limbs["limb"].weakest
    assert weakest.place[2] < -29.0
    assert weakest.bar.area_mm2 == pytest.approx(15.0, rel=0.05)
    # Obliquely bent, a corner of 5 × 3 mm bears 1/√(W₁⁻² + W₂⁻²).
    first, second = 5 * 9 / 6, 3 * 25 / 6
    assert weakest.bar.bending_mm3 == pytest.approx(1 / math.hypot(1 / first, 1 / second), rel=0.06)


def test_a_loose_inside_weakens_a_thick_limb() -> None:
    kit = kit_of(
        {"trunk": box((-12, -12, 1), (12, 12, 30)), "limb": box((-6, -6, -60), (6, 6, 0))},
        [joint("hip", "ball", "trunk", "limb", (0, 0, 0))],
    )
    shop = load_workshop()
    full, loose = (
        {limb.part: limb for limb in Scanner(kit, shop, r).limbs()}["limb"].weakest.bar.bending_mm3
        for r in (FULL, Recipe(lines=2, fill=0.0))
    )
    wall = 2 * shop.printer.line_mm.value
    hollow = 1.0 - (1.0 - 2 * wall / 12.0) ** 4
    assert loose / full == pytest.approx(hollow, rel=0.02)


def test_finger_and_fall_on_a_bar() -> None:
    """M = F·arm to the limb's far corner, and no more than what levers the ball out; the fall by √(2kU)."""
    kit = _limb_kit()
    shop = load_workshop()
    scanner = Scanner(kit, shop, FULL)
    strength = strength_of(kit.joints[0], scanner.necks(kit.joints[0]))
    assert strength is not None and strength.release_nmm is not None
    # 12 N at half an opening of 8 − 2·0.1 mm.
    assert strength.release_nmm == pytest.approx(12.0 * 3.9)
    corners = {p.name: hull_corners(p.mesh.vertices) for p in kit.parts}
    masses = part_masses(kit, shop, FULL)
    tough = replace(strength, release_n=None, release_nmm=None)
    modulus = dict.fromkeys(corners, 2900.0)
    for told, capped in ((strength, True), (tough, False)):
        loads = loaded(kit, corners, masses, {"shoulder": told}, scanner.limbs(), modulus, Wanted(finger_n=2.0))
        neck = next(x for x in loads if x.cross.what == "neck")
        arm = math.dist((2.5, 1.5, -50.0), neck.cross.place)
        assert neck.arm_mm == pytest.approx(arm, rel=0.01)
        lever = math.dist((2.5, 1.5, -50.0), (0, 0, 0))
        force = min(2.0, 46.8 / lever) if capped else 2.0
        assert neck.finger_nmm == pytest.approx(force * arm, rel=0.01)
        assert neck.let_go == ("shoulder" if capped else None)
    stiffness = 3 * 2900.0 * neck.cross.bar.bending_mm3 * 0.5 * neck.cross.round_mm / arm**3
    energy = drop_energy_nmm(masses["limb"].printed.mass_g, 750.0)
    assert neck.drop_nmm == pytest.approx(equivalent_force_n(energy, stiffness) * arm, rel=0.01)


def test_pop_before_break_and_what_a_thicker_neck_costs() -> None:
    shop = load_workshop()
    found = {}
    for retention in (3.0, 60.0):
        kit = _limb_kit(retention=retention)
        scanner = Scanner(kit, shop, FULL)
        strength = strength_of(kit.joints[0], scanner.necks(kit.joints[0]))
        assert strength is not None and strength.bend_share is not None
        assert strength.bend_share == pytest.approx(retention * 3.9 / strength.bending.bending_nmm)
        findings = last_findings(kit, {"shoulder": strength}, [], shop, Wanted())
        found[retention] = {f.check: f for f in findings}
    assert found[3.0]["last.pop_bend"].verdict == "pass"
    tight = found[60.0]["last.pop_bend"]
    assert tight.verdict in ("caution", "fail") and tight.measured is not None and tight.measured > 0.5
    assert tight.advice


def test_a_swivel_is_guarded_by_the_ball_above_it() -> None:
    """Pressed at the end however hard, the limb leaves the shoulder at F = M/lever, and the swivel has then got F·arm."""
    upper = union([sphere(4.0), cylinder(1.6, -20.0, 0.0), cylinder(6.0, -20.0, -9.0), cylinder(2.0, -26.0, -19.0)])
    parts = {
        "trunk": box((-12, -12, 4.5), (12, 12, 30)),
        "upper": upper,
        "lower": subtract(cylinder(6.0, -60.0, -20.3), [cylinder(2.05, -27.0, -20.0, "outside")]),
    }
    ball = joint("shoulder", "ball", "trunk", "upper", (0, 0, 0), size=8.0, retention=12.0, undercut=0.1)
    turns = joint("biceps", "swivel", "upper", "lower", (0, 0, -20), size=4.0, retention=20.0, undercut=0.1)
    kit = kit_of(parts, [ball, turns])
    told = carry(kit, load_workshop(), (), {}, CarryAsked(recipe=FULL))
    swivel = told.strengths["biceps"]
    assert swivel.release_nmm is None and swivel.guard == "shoulder"
    place = swivel.bending.place
    end = max(kit.part("lower").mesh.vertices.tolist(), key=lambda v: math.dist(v, place))
    assert swivel.guarded_nmm == pytest.approx(12.0 * 3.9 / math.hypot(*end) * math.dist(end, place), rel=0.01)
    finding = next(f for f in told.findings if f.check == "last.pop_bend" and f.subject == "biceps")
    assert finding.measured == pytest.approx(swivel.guarded_nmm / swivel.bending.bending_nmm, abs=1e-3)
    assert "shoulder lets go" in finding.unit
    # Without such a ball it says that nothing does it.
    alone = carry(
        kit_of(parts, [replace(ball, undercut_mm=0.0), turns]), load_workshop(), (), {}, CarryAsked(recipe=FULL)
    )
    finding = next(f for f in alone.findings if f.check == "last.pop_bend" and f.subject == "biceps")
    assert (finding.verdict, finding.measured) == ("caution", None) and "no ball" in finding.advice


def test_an_insert_is_the_sacrifice() -> None:
    """A stud of its own that breaks before the socket lets go is replaced; the same neck in the limb itself is not."""
    kit = _limb_kit(retention=60.0)
    solids = {p.name: p.solid for p in kit.parts}
    own = {"trunk": solids["trunk"], "shoulder_stud": solids["limb"]}
    moved = joint("shoulder", "ball", "trunk", "shoulder_stud", (0, 0, 0), size=8.0, retention=60.0, undercut=0.1)
    shop = load_workshop()
    found = []
    for each in (kit, kit_of(own, [moved])):
        strength = strength_of(each.joints[0], Scanner(each, shop, FULL).necks(each.joints[0]))
        assert strength is not None
        told = {f.check: f for f in last_findings(each, {"shoulder": strength}, [], shop, Wanted())}
        found.append(told["last.pop_bend"])
    assert found[0].measured == found[1].measured
    # The socket's side is far stronger; that the stud breaks before it lets go is told, with what to do.
    assert found[0].verdict in ("caution", "fail") and "sacrifice" not in found[0].unit
    assert found[1].verdict == "caution" and "sacrifice" in found[1].unit and "spare" in found[1].advice


def test_pinned_joints_say_that_they_do_not_pop() -> None:
    kit = _limb_kit()
    pinned = replace(kit.joints[0], pin_mm=(1.0, 8.0), undercut_mm=0.0)
    shop = load_workshop()
    strength = strength_of(pinned, Scanner(kit, shop, FULL).necks(pinned))
    assert strength is not None and strength.release_n is None
    findings = last_findings(
        kit_of({p.name: p.solid for p in kit.parts}, [pinned]), {"shoulder": strength}, [], shop, Wanted()
    )
    told = next(f for f in findings if f.check == "last.no_pop")
    assert told.verdict == "pass" and "pinned" in told.unit


def test_small_parts_are_pushed_on_with_fingertips() -> None:
    """20 N for hands and other small parts (common practice, no source)."""
    parts = {"trunk": box((-12, -12, 4.5), (12, 12, 30)), "hand": union([sphere(3.0), box((-4, -2, -16), (4, 2, -2))])}
    shop = load_workshop()
    verdicts = []
    for push in (15.0, 30.0):
        kit = kit_of(parts, [joint("wrist", "ball", "trunk", "hand", (0, 0, 0), retention=push, undercut=0.1)])
        verdicts += [f.verdict for f in last_findings(kit, {}, [], shop, Wanted()) if f.check == "last.small_push"]
    assert verdicts == ["pass", "caution"]


def test_second_opinion_agrees_with_the_beam_on_a_plain_rod() -> None:
    """No shoulder, no notch: the solved stress is the beam's M/W within 6 % (round corners moved onto the surface)."""
    kit, _, _ = ball_kit(radius=4.0, neck=1.6)
    scanner = Scanner(kit, load_workshop(), FULL)
    cross = next(c for c in scanner.necks(kit.joints[0]) if c.part == "lower")
    # Look far down the neck, away from the ball.
    plain = replace(cross, place=(0.0, 0.0, -15.0), notch=1.0)
    mesh = kit.part("lower").mesh
    opinion = second_opinion(plain, mesh, Bvh(mesh), 2900.0, 0.36)
    assert opinion is not None
    assert opinion.stress_ratio == pytest.approx(1.0, abs=0.06)
    told = replace(plain, opinion=opinion)
    assert not told.stubby and not told.solve_counts
    assert told.bending_nmm == plain.bending_nmm
    assert told.solved_nmm == pytest.approx(plain.bending_nmm, rel=0.06)


def test_second_opinion_finds_the_shoulder_that_a_beam_does_not_see() -> None:
    kit = kit_of(
        {"trunk": box((-9, -9, 30), (9, 9, 40)), "limb": union([cylinder(4.5, -9.0, 0.0), cylinder(1.6, 0.0, 12.0)])},
        [joint("peg", "ball", "trunk", "limb", (0, 0, 12), size=4.0)],
    )
    mesh = kit.part("limb").mesh
    cross = next(c for c in Scanner(kit, load_workshop(), FULL).necks(kit.joints[0]) if c.part == "limb")
    at_shoulder = replace(cross, place=(0.0, 0.0, 0.8), normal=np.array([0.0, 0.0, -1.0]))
    opinion = second_opinion(at_shoulder, mesh, Bvh(mesh), 2900.0, 0.36)
    assert opinion is not None
    assert 1.05 < opinion.stress_ratio < 2.0
    assert replace(at_shoulder, opinion=opinion).solved_nmm == pytest.approx(
        at_shoulder.beam_nmm / opinion.stress_ratio
    )


def _stubby_kit() -> Kit:
    """A neck of 3 mm that is 2 mm long, between a ball of 8 mm and a block, in a limb of 50 mm."""
    limb = union([sphere(4.0), cylinder(1.5, -6.0, 0.0), box((-6, -6, -50), (6, 6, -5.0))])
    parts = {"trunk": box((-12, -12, 4.5), (12, 12, 30)), "limb": limb}
    return kit_of(parts, [joint("shoulder", "ball", "trunk", "limb", (0, 0, 0), size=8.0, retention=8.0, undercut=0.1)])


def test_where_a_neck_is_too_short_for_a_beam_the_solve_judges_finger_fall_and_pop() -> None:
    kit, shop = _stubby_kit(), load_workshop()
    told = carry(kit, shop, (), {}, CarryAsked(recipe=FULL))
    cross = told.strengths["shoulder"].bending
    assert cross.stubby and cross.opinion is not None and cross.solve_counts
    assert cross.bending_nmm == pytest.approx(cross.beam_nmm / cross.opinion.stress_ratio)
    assert abs(cross.opinion.stress_ratio - 1.0) > 0.01
    load = next(x for x in told.loads if x.cross.what == "neck")
    assert load.safety == pytest.approx(cross.bending_nmm / load.finger_nmm)
    assert load.drop_safety == pytest.approx(cross.bending_nmm / load.drop_nmm)
    share = next(f for f in told.findings if f.check == "last.pop_bend")
    assert share.measured == pytest.approx(8.0 * 3.9 / cross.bending_nmm, abs=1e-3)
    second = next(f for f in told.findings if f.check == "last.second_opinion")
    assert "used instead: too short for a beam" in second.unit
    finger = next(f for f in told.findings if f.check == "last.finger" and f.subject == "shoulder/limb")
    assert (finger.advice == "") == (finger.verdict == "pass")
    if finger.advice:
        assert "by an elastic solve" in finger.advice


@pytest.mark.parametrize(("other", "alike"), [(1.5, True), (1.6, False)])
def test_left_and_right_are_solved_once_where_they_are_alike(other: float, alike: bool) -> None:
    parts, joints = {"trunk": box((-12, -40, 4.5), (12, 40, 30))}, []
    for side, y, neck in (("left", 20.0, 1.5), ("right", -20.0, other)):
        leg = union([sphere(4.0), cylinder(neck, -6.0, 0.0), box((-6, -6, -50), (6, 6, -5.0))])
        parts[f"leg_{side}"] = leg.translated((0.0, y, 0.0))
        joints.append(
            joint(f"hip_{side}", "ball", "trunk", f"leg_{side}", (0, y, 0), size=8.0, retention=8.0, undercut=0.1)
        )
    kit, shop = kit_of(parts, joints), load_workshop()
    scanner = Scanner(kit, shop, FULL)
    necks = [next(c for c in scanner.necks(j) if c.part == j.axles[0].moves) for j in kit.joints]
    told = opinions(necks, kit, shop)
    left, right = (told[key_of(c)] for c in necks)
    assert left.at == "" and right.at == ("hip_left" if alike else "")
    assert right.stress_ratio == pytest.approx(left.stress_ratio, rel=1e-9 if alike else 0.3)


def test_a_loose_inside_is_the_beams_to_say_and_the_shape_the_solves() -> None:
    """The same stress ratio for a limb filled a little and filled up: the solve is of the outer shape alone."""
    kit = kit_of(
        {"trunk": box((-12, -12, 1), (12, 12, 30)), "limb": union([box((-6, -6, -60), (6, 6, 0)), sphere(9.0)])},
        [joint("hip", "ball", "trunk", "limb", (0, 0, 0))],
    )
    shop = load_workshop()
    full, loose = (
        {limb.part: limb for limb in Scanner(kit, shop, r).limbs()}["limb"].weakest
        for r in (FULL, Recipe(lines=2, fill=0.0))
    )
    assert loose.whole_mm3 == pytest.approx(full.bar.bending_mm3) and loose.bar.bending_mm3 < 0.6 * loose.whole_mm3
    mesh = kit.part("limb").mesh
    first, second = (second_opinion(c, mesh, Bvh(mesh), 2900.0, 0.36) for c in (full, loose))
    assert first is not None and first == second


def test_section_loads_are_the_fingers_own_and_reach_forks_and_pins() -> None:
    """σ = M·K/W at the neck with M = F·arm or what levers the ball out, and F·K/A beside a pin; each in its own part."""
    kit, shop = _limb_kit(), load_workshop()
    sections = Scanner(kit, shop, FULL).sections()
    pried = next(n for n in loads_on_layers(kit, sections, Wanted(finger_n=1e-3)) if n.part == "limb")
    cross = next(c for c in sections.necks["shoulder"] if c.part == "limb")
    assert pried.stress_mpa == pytest.approx(12.0 * 3.9 * 32.0 / (math.pi * 3.2**3) * cross.notch, rel=0.03)
    # Where nothing levers it out, the finger's own moment counts.
    kit = _limb_kit(retention=None)
    sections = Scanner(kit, shop, FULL).sections()
    told = {(n.joint, n.part): n for n in loads_on_layers(kit, sections, Wanted(finger_n=0.1))}
    neck = told["shoulder", "limb"]
    arm = math.dist((2.5, 1.5, -50.0), neck.place)
    bent = 0.1 * arm * 32.0 / (math.pi * 3.2**3)
    cross = next(c for c in sections.necks["shoulder"] if c.part == "limb")
    assert neck.stress_mpa == pytest.approx(bent * cross.notch, rel=0.03)
    assert abs(neck.axis[2]) == pytest.approx(1.0)
    part = print_part(kit.part("limb"), kit.joints, None, tuple(told.values()))
    assert [n.stress_mpa for n in part.necks] == [neck.stress_mpa]
    pinned = replace(kit.joints[0], pin_mm=(1.0, 8.0), undercut_mm=0.0, retention_n=90.0)
    hung = kit_of({p.name: p.solid for p in kit.parts}, [pinned])
    sections = Scanner(hung, shop, FULL).sections()
    eye = next(c for c in sections.eyes["shoulder"] if c.part == "limb")
    torn = next(n for n in loads_on_layers(hung, sections, Wanted(finger_n=1e-6, tug_n=20.0)) if n.part == "limb")
    assert torn.stress_mpa == pytest.approx(20.0 * eye.notch / eye.bar.area_mm2)


def test_eye_beside_the_pin_is_the_net_section() -> None:
    """A tongue 6 mm wide and 3 mm thick with a pin of 2 mm: (6 − 2)·3 mm² net, torn at σ·A/K with Heywood's K for a hole."""
    tongue = subtract(
        union([cylinder(3.0, -1.5, 1.5).transformed(LYING), box((-1.5, -3.0, -30.0), (1.5, 3.0, 0.0))]),
        [cylinder(1.0, -5.0, 5.0, "outside").transformed(LYING)],
    )
    shop = load_workshop()
    hinge = replace(
        joint("elbow", "hinge", "trunk", "limb", (0, 0, 0), x=(1, 0, 0), retention=150.0),
        pin_mm=(2.0, 9.0),
        undercut_mm=0.0,
    )
    kit = kit_of({"trunk": box((-9, -9, 5), (9, 9, 30)), "limb": tongue}, [hinge])
    scanner = Scanner(kit, shop, FULL, {"limb": SIDEWAYS})
    eye = next(c for c in scanner.eyes(hinge) if c.part == "limb")
    assert eye.bar.area_mm2 == pytest.approx(12.0, rel=0.01)
    strength = strength_of(hinge, scanner.necks(hinge), scanner.eyes(hinge))
    assert strength is not None and strength.eye is not None
    felt = 1.0 + min(1.0, shop.material.notch.value) * (1.0 + (1.0 - 2.0 / 6.0) ** 3)
    assert strength.eye.tension_n == pytest.approx(shop.material.yield_mpa.value * 12.0 / felt, rel=0.02)
    told = {f.check: f for f in last_findings(kit, {"elbow": strength}, [], shop, Wanted())}
    assert told["last.pin"].measured == pytest.approx(min(150.0, strength.eye.tension_n) / 20.0, abs=1e-3)
