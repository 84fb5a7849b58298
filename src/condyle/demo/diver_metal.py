"""The diver's copper and brass: the round helmet with its windows and the corselet that it is bolted to."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

from numba import njit

from condyle.demo.clay import bell, box, drum, ellipsoid, noise, ramp, ring, rivet, round_cone, soft_max, soft_min

CANVAS, COPPER, BRASS, GLASS, LEATHER, LEAD, RUBBER = range(7)
"""What a place of the figure is made of: for pictures only."""

HELMET_MIDDLE_Z = 132.6


@njit(cache=True)
def _turned_rivets(radial, angle, count, at_radius, radius, height):
    """Height of the nearest of ``count`` rivets on a circle."""
    pitch = 2.0 * math.pi / count
    off = angle - pitch * math.floor(angle / pitch + 0.5)
    return rivet(math.sqrt((off * at_radius) ** 2 + (radial - at_radius) ** 2), radius, height)


@njit(cache=True)
def _window(d, made_of, a, u, v, reach, size, bars):
    """Add a window to the helmet: a pipe along a, out to ``reach``, with rim, rivets, glass and a guard of bars.

    The bars stand on the glass, so that nothing can be seen, or cut, behind them.
    """
    radial = math.sqrt(u * u + v * v)
    if radial > size + 5.0 or a < 4.0:
        return d, made_of
    angle = math.atan2(v, u)
    # The flange under the pipe is raised out of the dome itself: nothing to undercut.
    flange = 1.0 - ramp(radial, size + 0.8, size + 1.25)
    d -= 0.45 * flange + _turned_rivets(radial, angle, 12, size + 0.5, 0.55, 0.4)
    pipe = drum(radial, a - reach + 4.0, size - 0.2, 4.0, 0.4)
    rim = ring(radial, (a - reach) * 0.85, size - 0.45, 1.15)
    if flange > 0.5 and a > 8.0:
        made_of = BRASS
    d = soft_min(soft_min(d, pipe, 1.0), rim, 0.4)
    clear = size - 1.5
    pane = reach - 0.9 + 0.6 * (1.0 - (radial / clear) ** 2)
    hole = soft_max(radial - clear, pane - a, 0.6)
    if -hole > d:
        made_of = GLASS
    d = soft_max(d, -hole, 0.4)
    thick = 0.16 * size**0.75
    if bars == 0:
        across = min(abs(u), abs(v))
    elif bars == 1:
        across = min(abs(abs(u) - clear * 0.36), abs(v))
    else:
        across = abs(v)
    level = a - reach - 0.15
    bar = math.sqrt(across * across + max(level, 0.0) ** 2) - thick
    bar = max(max(bar, radial - clear - 0.6), reach - 3.0 - a)
    if bar < d:
        made_of = BRASS
    return soft_min(d, bar, 0.3), made_of


@njit(cache=True)
def helmet(x, y, z):
    """Distance and what it is made of."""
    px, pz, ay = x - 1.0, z - HELMET_MIDDLE_Z, abs(y)
    d = ellipsoid(px, y, pz, 16.4, 15.7, 16.0)
    if d > 9.0:
        return d - 4.0, COPPER
    made_of = COPPER
    d -= 0.10 * noise(px * 0.33 + 5.0, y * 0.33, pz * 0.33)
    # The dome is beaten from two halves: a lap runs over the crown and round the brow.
    d -= 0.22 * bell(px + 2.2, 0.7) * ramp(pz, -6.0, 0.0)
    around = math.sqrt((px + 0.5) ** 2 + y * y)
    angle = math.atan2(y, px + 0.5)
    neck = drum(around, z - 121.2, 12.2, 3.6, 0.4)
    d = soft_min(d, neck, 2.6)
    for height, major, minor in ((122.9, 12.5, 0.75), (124.3, 12.8, 0.5)):
        bead = ring(around, z - height, major, minor)
        if bead < d:
            made_of = BRASS
        d = soft_min(d, bead, 0.4)
    flange = drum(around, z - 120.1, 13.7, 1.25, 0.35)
    # Lugs that lock the bonnet to the corselet: four, a quarter turn apart, square to the eye.
    quarter = math.pi / 2.0
    off = angle - quarter * math.floor(angle / quarter) - quarter / 2.0
    lug = box(off * 13.5, around - 13.9, z - 120.1, 2.3, 1.1, 1.25, 0.4)
    flange = soft_min(flange, lug, 0.3)
    if flange < d:
        made_of = BRASS
    d = soft_min(d, flange, 0.4)
    # Windows: front, the two sides, and one to look up through.
    d, made_of = _window(d, made_of, px, y, pz - 0.5, 17.8, 8.2, 1)
    d, made_of = _window(d, made_of, 0.17 * px + 0.985 * ay, 0.985 * px - 0.17 * ay, pz, 16.7, 6.0, 0)
    d, made_of = _window(d, made_of, 0.58 * px + 0.8146 * pz, y, 0.8146 * px - 0.58 * pz, 16.8, 4.6, 2)
    # The front window's hinge and its wing screw.
    hinge = box(px - 15.6, ay - 9.4, pz - 0.5, 1.5, 1.2, 2.4, 0.5)
    screw = round_cone(px, y, pz, 15.7, -9.7, 1.2, 1.0, 17.3, -10.9, 2.6, 1.0)
    hinge = soft_min(hinge, screw, 0.4)
    # Boss on the crown.
    boss = soft_min(
        drum(math.sqrt(px * px + y * y), z - 148.6, 2.4, 0.9, 0.3),
        drum(math.sqrt(px * px + y * y), z - 149.0, 1.4, 1.0, 0.4),
        0.3,
    )
    # Goosenecks behind for air and telephone, each with a nut; the exhaust with its knob low on the right cheek.
    neck_a = round_cone(px, ay, pz, -11.0, 6.3, 5.0, 2.1, -17.0, 8.8, 5.6, 1.9)
    neck_b = round_cone(px, ay, pz, -17.0, 8.8, 5.6, 1.9, -18.2, 9.2, 0.6, 1.75)
    nut_off = math.sqrt((px + 18.1) ** 2 + (ay - 9.15) ** 2)
    nut = drum(nut_off, pz - 1.6, 2.5, 1.0, 0.3)
    seat_a = (px + 14.2) * -0.905 + (ay - 7.7) * 0.38 + (pz - 5.3) * 0.1
    seat_off = math.sqrt(max((px + 14.2) ** 2 + (ay - 7.7) ** 2 + (pz - 5.3) ** 2 - seat_a * seat_a, 0.0))
    seat = drum(seat_off, seat_a, 3.0, 1.0, 0.4)
    pipes = soft_min(soft_min(soft_min(neck_a, neck_b, 0.5), nut, 0.3), seat, 0.4)
    va = 0.60 * px - 0.66 * y - 0.452 * pz
    vr = math.sqrt(max(px * px + y * y + pz * pz - va * va, 0.0))
    vent_angle = math.atan2(0.74 * px + 0.67 * y, pz)
    valve = drum(vr, va - 16.2, 2.7, 1.3, 0.3)
    knob = drum(vr, va - 18.2, 2.0 + 0.14 * math.cos(vent_angle * 10.0), 0.9, 0.35)
    valve = soft_min(valve, knob, 0.3)
    fittings = min(min(hinge, boss), min(pipes, valve))
    if fittings < d:
        made_of = BRASS
    return soft_min(d, fittings, 0.4), made_of


@njit(cache=True)
def corselet(x, y, z):
    """Distance and what it is made of."""
    ay = abs(y)
    body = ellipsoid(x - 0.3, y, z - 103.0, 16.0, 25.5, 13.0)
    if body > 9.0:
        return body - 3.0, COPPER
    around = math.sqrt((x - 0.5) ** 2 + y * y)
    angle = math.atan2(y, x - 0.5)
    body -= 0.10 * noise(x * 0.3, y * 0.3 + 9.0, z * 0.3)
    body = soft_min(body, round_cone(x, y, z, 0.5, 0.0, 106.0, 14.0, 0.5, 0.0, 114.6, 9.0), 3.0)
    # The edge is low on breast and back and climbs over the shoulders.
    low = 96.2 - 1.2 * ramp(x, -6.0, 6.0)
    rise = 0.0315
    edge = (low + rise * ay * ay - z) / math.sqrt(1.0 + (2.0 * rise * ay) ** 2)
    # Straps along the edge, held down by studs with nuts.
    strap = ramp(edge, -4.3, -3.9) * (1.0 - ramp(edge, -0.7, -0.3))
    made_of = COPPER
    if strap > 0.5:
        made_of = BRASS
    pitch = 2.0 * math.pi / 14.0
    off = (angle / pitch - math.floor(angle / pitch)) - 0.5
    off = math.sqrt((off * pitch * around) ** 2 + (edge + 2.2) ** 2)
    stud = rivet(off, 1.5, 0.75) + rivet(off, 0.8, 0.7)
    # Laps between the lengths of strap.
    lap = angle / (math.pi / 2.0) - math.floor(angle / (math.pi / 2.0) + 0.5)
    body -= strap * (0.55 - 0.35 * bell(lap * (math.pi / 2.0) * around, 0.35)) + stud
    d = soft_max(body, edge, 0.7)
    collar = drum(around, z - 114.6, 11.7, 3.0, 0.4)
    d = soft_min(d, collar, 2.4)
    flange = drum(around, z - 116.85, 13.4, 0.85, 0.35)
    quarter = math.pi / 2.0
    turn = angle - quarter * math.floor(angle / quarter) - quarter / 2.0
    flange = soft_min(flange, box(turn * 13.2, around - 13.6, z - 116.85, 2.3, 1.1, 0.85, 0.35), 0.3)
    flange = soft_min(flange, ring(around, z - 114.4, 11.8, 0.6), 0.4)
    if flange < d:
        made_of = BRASS
    d = soft_min(d, flange, 0.4)
    # Two eyes on the breast, and the front weight that hangs from them on short ropes.
    if x > 0.0:
        hook = math.sqrt((ay - 6.6) ** 2 + (z - 109.2) ** 2)
        stud = rivet(hook, 1.8, 0.5) + rivet(hook, 0.9, 0.9)
        d -= stud
        if stud > 0.1:
            made_of = BRASS
        u = 0.975 * (x - 16.9) - 0.222 * (z - 101.6)
        v = 0.222 * (x - 16.9) + 0.975 * (z - 101.6)
        wide = 4.9 + 0.16 * min(v, 2.0)
        slab = box(u, y, v, 1.5, wide, 5.0, 1.3) * 0.97
        frame = box(u - 1.6, y, v, 0.9, wide - 1.3, 3.7, 0.5)
        slab = soft_max(slab, -frame, 0.4)
        slab = soft_min(slab, box(u - 0.9, y, v + 0.2, 0.5, 2.2, 1.9, 0.5), 0.4)
        rope = round_cone(x, ay, z, 14.6, 6.5, 108.9, 0.75, 16.6, 3.6, 105.8, 0.75)
        rope -= 0.10 * math.sin((z * 0.9 - ay * 0.8) * 5.0)
        if slab < d:
            made_of = LEAD
        if rope < min(d, slab):
            made_of = CANVAS
        d = soft_min(d, soft_min(slab, rope, 0.4), 0.3)
    return d, made_of
