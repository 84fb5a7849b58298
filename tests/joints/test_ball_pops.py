"""Small balls that let go before they break: thick necks, long fingers, gentle lips, and what bursts the seat of a stud.

Strength of a round bar and the notch of a shouldered one: J. E. Shigley, R. L. Norton (from memory); thick cylinders: Lamé,
in S. Timoshenko, *Strength of Materials*, part II (from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from condyle.geometry.solid import overlap
from condyle.joints import ball, insert
from condyle.joints.mechanics.levered import burst_nmm, end_pressure_mpa
from tests.joints.blocks import Pair, finished, judged, level, pieces, stock

PLA = stock()
KERF = 0.35
LIMB_MM = 5.5
HELD_N = 8.0  # common practice, no source


def made(shape: ball.BallShape, clearance: float, limb: float = LIMB_MM) -> Pair:
    cut = ball.Cut("sphere", max(ball.smallest_cut_mm(shape, PLA), 1.05 * limb), KERF)
    return finished(ball.design(shape, cut, clearance, limb - PLA.wall_mm, cut.radius_mm + 0.3, PLA), limb)


def neck_mm(pair: Pair, size: float) -> float:
    heights = np.arange(-0.5 * size, -0.7 * size, -0.05)
    return 2.0 * min(float(level(pair.cup, z, np.arange(0.0, 360.0, 30.0)).min()) for z in heights)


def test_four_millimetres_in_long_fingers_let_go_at_half_of_what_breaks_the_neck() -> None:
    """Neck and opening read off the solids: M = W·d/2 against σ·π·d³/(32·K), K with Norton's fit for the step D/d of 1.2
    to 1.5, whichever is nearer."""
    shape = ball.fingered(4.0, -0.02, PLA)
    assert shape is not None and shape.bore > 0.0 and shape.fingers == 4
    pair = made(shape, -0.02)
    neck = neck_mm(pair, 4.0)
    assert ball.MOST_NECK_RATIO * 4.0 < neck + 0.02 < ball.WIDEST_NECK_RATIO * 4.0 + 0.04
    assert pair.design.retention_n is not None and pair.design.retention_n >= HELD_N
    far, power = (0.97098, -0.21796) if 4.0 / neck < math.sqrt(1.2 * 1.5) else (0.93836, -0.25759)
    notch = 1.0 + PLA.notch * (far * (0.5 * PLA.line_mm / neck) ** power - 1.0)
    breaks = PLA.across_mpa * math.pi * neck**3 / 32.0 / notch
    pried = pair.design.retention_n * (2.0 - shape.undercut)
    assert pried <= 0.5 * breaks * 1.02
    assert pried / breaks == pytest.approx(shape.pop_share, rel=0.03)
    # Without any of it the same ball in jaws breaks first.
    before = ball.shape(4.0, "split", -0.02, LIMB_MM, PLA, protect=False)
    assert before is not None and before.pop_share > 1.0


def test_long_fingers_stand_free_around_a_ball_that_turns_in_them() -> None:
    shape = ball.fingered(4.0, -0.02, PLA)
    assert shape is not None
    loose = replace(shape, ball=shape.seat - 0.05)
    pair = made(loose, -0.02)
    judged(pair.knuckle)
    judged(pair.cup)
    assert overlap(pair.cup, pair.knuckle) is None
    # Level with the ball's middle: four fingers inside, one ring around them.
    assert len(pieces(pair.knuckle, 0.0)) == 5
    assert len(pieces(pair.knuckle, shape.top_z + 0.2)) == 1
    needs = ball.needs(shape, ball.Cut("sphere", 5.0, KERF), PLA)
    assert max(n.z1 for n in needs) >= shape.top_z + 0.6 * PLA.wall_mm


def test_a_lip_is_lowered_no_further_than_a_printer_and_a_hand_can_tell() -> None:
    gentle = ball.shape(4.0, "split", -0.02, 2.6, PLA, 1.8)
    strong = ball.shape(4.0, "split", -0.02, 2.6, PLA, 1.8, protect=False)
    assert gentle is not None and strong is not None
    assert gentle.lip_deg < strong.lip_deg and gentle.pop_share <= 0.5 < strong.pop_share
    for limb in (2.2, 2.6, 3.0, 3.5, 4.0):
        for jaw in ball.JAWS:
            one = ball.shape(4.0, "split", -0.02, limb, PLA, jaw)
            other = ball.shape(4.0, "split", -0.02, limb, PLA, jaw, protect=False)
            if one is None or other is None or one.lip_deg == other.lip_deg:
                continue
            assert one.pop_share <= 0.5 and one.passing_n >= HELD_N and one.undercut >= 0.1


def test_a_stud_printed_lying_is_as_thin_as_its_lines_allow() -> None:
    """Along its lines a part bears 1/share of what it bears across its layers, so its neck may be thinner by the cube root."""
    shape = ball.shape(5.0, "slit", -0.03, 0.0, PLA)
    assert shape is not None
    own = ball.as_insert(shape, PLA)
    assert own.neck < shape.neck and own.pop_share <= 0.5
    across = PLA.across_mpa / PLA.yield_mpa
    thinner = shape.neck * (across * shape.pop_share / own.pop_share) ** (1.0 / 3.0)
    assert own.neck == pytest.approx(thinner, rel=0.03)
    stiff = ball.shape(3.5, "split", -0.01, 4.5, PLA)
    assert stiff is not None
    # What breaks in any case is thin, so that it lets little through.
    assert ball.as_insert(stiff, PLA).neck == pytest.approx(0.5 * ball.NECK_RATIO * 3.5)


def test_a_levered_peg_presses_most_at_its_ends_and_splits_its_wall_by_lame() -> None:
    """The pressure's own moment, summed over the length, is the moment; a thin wall splits at p·r/t (boiler formula)."""
    moment, d, length = 30.0, 3.0, 4.0
    peak = end_pressure_mpa(moment, d, length)
    z = np.linspace(-0.5 * length, 0.5 * length, 4001)
    assert float(np.trapezoid(2.0 * peak * z / length * d * z, z)) == pytest.approx(moment, rel=1e-5)
    thin = burst_nmm(d, length, 0.01, 20.0)
    assert 20.0 * 0.01 / (0.5 * d) * d * length**2 / 6.0 == pytest.approx(thin, rel=0.01)
    # Timoshenko's example of a cylinder twice as wide as its bore: 5/3 of the pressure at the bore.
    assert burst_nmm(d, length, 1.5, 20.0) == pytest.approx(20.0 * 3.0 / 5.0 * d * length**2 / 6.0, rel=1e-9)


def test_the_longer_a_stud_the_less_of_its_seat_is_asked() -> None:
    shape = ball.shape(3.5, "slit", -0.01, 0.0, PLA, depth=0.8)
    assert shape is not None
    cut = ball.Cut("sphere", 5.0, KERF)
    rooms = insert.stud_rooms(ball.as_insert(shape, PLA), cut, 0.05, PLA)
    shares = [r.share for r in rooms]
    assert shares == sorted(shares) and [r.length for r in rooms] == list(insert.LENGTHS)
    assert shares[0] / shares[-1] == pytest.approx((rooms[-1].length / rooms[0].length) ** 2, rel=1e-6)
    assert all(r.need.z0 < -cut.cup_mm - 2.0 * insert.stud_peg_mm(ball.as_insert(shape, PLA)) * r.length for r in rooms)


def test_a_surer_neck_leaves_room_for_what_a_beam_does_not_know() -> None:
    """M = W·d/2 against σ·π·d³/(32·K) as above, with Norton's K for a step of up to a third (from memory)."""
    for size, clearance in ((7.0, -0.03), (8.0, -0.04), (10.0, -0.04)):
        plain = ball.shape(size, "slit", clearance, 0.0, PLA)
        assert plain is not None and plain.pop_share > 0.36
        necks = ball.surer(plain, PLA)
        assert [n.neck for n in necks] == sorted((n.neck for n in necks), reverse=True)
        thick = necks[0]
        assert plain.neck < thick.neck <= 0.5 * ball.WIDEST_NECK_RATIO * size + 1e-9
        assert replace(thick, neck=plain.neck, pop_share=plain.pop_share) == plain
        d = 2.0 * thick.neck
        notch = 1.0 + PLA.notch * (0.93836 * (0.5 * PLA.line_mm / d) ** -0.25759 - 1.0)
        breaks = PLA.across_mpa * math.pi * d**3 / 32.0 / notch
        assert thick.passing_n * (thick.ball - thick.undercut) / breaks == pytest.approx(thick.pop_share, rel=0.05)
        assert thick.pop_share <= 0.35
        assert not ball.surer(thick, PLA)
