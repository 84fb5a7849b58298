"""Islands, bridges and feet in constructed cases, and whole random solids against the voxel judge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from forms import part_of, rules, standing
from voxel_judge import judge

from condyle.build.islands import patches
from condyle.build.layers import layers_of
from condyle.build.supports import supports
from condyle.geometry.primitives import box, cylinder, frustum, sphere
from condyle.geometry.solid import Solid, subtract, union

PLAIN = rules(layer_mm=0.2, overhang_deg=45.0)


def kinds_in(solid: Solid, used=PLAIN) -> list[tuple[str, int]]:
    layers = layers_of(solid.transformed(standing(solid)).mesh, used.layer_mm)
    return [(p.kind, p.layer) for p in patches(layers, used)]


def gallows(thick: float, drop: float = 4.0) -> Solid:
    """A post with an arm, and a square bar of this thickness that hangs from the arm: its end starts in the air."""
    return union(
        [box((-3, -3, 0), (3, 3, 20)), box((-3, -3, 16), (12, 3, 20)),
         box((9, -thick / 2, 16 - drop), (9 + thick, thick / 2, 17))]
    )  # fmt: skip


def test_an_island_of_one_line_width_is_found_where_it_starts():
    found = [(k, n) for k, n in kinds_in(gallows(PLAIN.line_mm)) if k == "island"]
    assert found == [("island", 60)]  # 12 mm over 0.2 mm


def test_nothing_starts_in_the_air_on_a_cone():
    assert kinds_in(frustum(8.0, 0.0, 0.5, 12.0)) == []


@pytest.mark.parametrize(("slope_deg", "hangs"), [(40.0, True), (43.0, True), (46.0, False), (60.0, False)])
def test_a_flaring_cone_hangs_below_the_printers_angle(slope_deg, hangs):
    # The wall rises at slope_deg from the horizontal all the way: no single layer says so, their sum does.
    solid = frustum(3.0, 0.0, 3.0 + 8.0 / math.tan(math.radians(slope_deg)), 8.0)
    assert ("overhang" in {k for k, _ in kinds_in(solid)}) is hangs


def test_a_short_shelf_prints_and_a_stair_of_them_does_not():
    shelf = union([box((0, 0, 0), (10, 5, 10)), box((0, 0, 6), (10.4, 5, 10))])
    assert kinds_in(shelf) == []
    stair = union(
        [box((0, 0, 0), (10, 5, 12))] + [box((0, 0, 4 + 0.2 * k), (10 + 0.4 * (k + 1), 5, 12)) for k in range(8)]
    )
    assert "overhang" in {k for k, _ in kinds_in(stair)}


@pytest.mark.parametrize("turn_deg", [0.0, 31.0])
@pytest.mark.parametrize("length", [3.0, 4.8])
def test_a_bridge_of_known_span(length, turn_deg):
    gate = union(
        [box((-9, -2, 0), (-length / 2, 2, 10)), box((length / 2, -2, 0), (9, 2, 10)), box((-9, -2, 8), (9, 2, 10))]
    )
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    gate = gate.transformed(np.array([[c, -s, 0, 0], [s, c, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], dtype=float))
    layers = layers_of(gate.mesh, PLAIN.layer_mm)
    (bridge,) = patches(layers, PLAIN)
    assert (bridge.kind, bridge.layer) == ("bridge", 40)
    assert bridge.span_mm == pytest.approx(length, abs=0.02)


def test_a_bridge_too_long_or_held_on_one_side_is_an_overhang():
    long_gate = union([box((-9, -2, 0), (-4, 2, 10)), box((4, -2, 0), (9, 2, 10)), box((-9, -2, 8), (9, 2, 10))])
    layers = layers_of(long_gate.mesh, PLAIN.layer_mm)
    (found,) = patches(layers, PLAIN)
    assert found.kind == "overhang" and found.span_mm == pytest.approx(8.0, abs=0.02)
    bracket = union([box((-9, -2, 0), (-2, 2, 10)), box((-9, -2, 8), (1, 2, 10))])
    (found,) = patches(layers_of(bracket.mesh, PLAIN.layer_mm), PLAIN)
    assert (found.kind, found.span_mm) == ("overhang", None)
    assert found.depth_mm == pytest.approx(3.0, abs=0.02)


def test_a_round_roof_over_a_small_bore_closes_by_itself_and_over_a_wide_one_does_not():
    for radius, kind in ((2.0, "bridge"), (4.0, "overhang")):
        cup = subtract(box((-8, -8, 0), (8, 8, 10)), [cylinder(radius, -1.0, 6.0, "outside")])
        (found,) = patches(layers_of(cup.mesh, PLAIN.layer_mm), PLAIN)
        assert found.kind == kind
        assert found.depth_mm == pytest.approx(radius, rel=0.3)


def table_on(foot: Solid, at: tuple[float, float, float]) -> Solid:
    """A plate 6 mm square held from the side over a given thing below."""
    x, y, z = at
    return union([foot, box((x - 3, y - 3, z), (x + 3, y + 3, z + 2)), box((x - 3, 12, 0), (x + 3, 16, z + 2)),
                  box((x - 3, y + 2, z), (x + 3, 16, z + 2))])  # fmt: skip


def feet(solid: Solid) -> set[str]:
    return {c.foot for c in supports(part_of(solid), standing(solid), PLAIN).columns}


def test_columns_tell_what_they_stand_on():
    assert feet(table_on(box((-8, -8, 0), (8, 16, 1)), (0.0, 0.0, 10.0))) == {"part"}
    roof = np.array([[-8, -8, 0], [8, -8, 0], [8, 8, 0], [-8, 8, 0], [-8, -8, 16 * math.tan(math.radians(60))],
                     [-8, 8, 16 * math.tan(math.radians(60))]], dtype=float)  # fmt: skip
    from condyle.geometry.solid import hull

    steep = table_on(hull(roof), (2.0, 0.0, 26.0))
    found = supports(part_of(steep), standing(steep), PLAIN).columns
    on_slope = [c for c in found if c.foot == "slope"]
    assert on_slope and all(c.slope_deg == pytest.approx(60.0, abs=0.1) for c in on_slope)
    gentle = roof.copy()
    gentle[4:, 2] = 16 * math.tan(math.radians(30))
    assert "slope" not in feet(table_on(hull(gentle), (2.0, 0.0, 26.0)))


def test_a_column_on_a_hair_or_in_a_slit_is_told():
    hair = union([box((-8, -8, 0), (8, 16, 1)), box((-0.2, -8, 0), (0.2, 4, 4))])
    assert "hair" in feet(table_on(hair, (0.0, 0.0, 12.0)))
    # A roof at the bottom of a slit 0.5 mm wide: a column 0.9 mm wide has no room to come down.
    slit = subtract(box((-6, -6, 0), (6, 6, 20)), [box((-0.25, -7, -1), (0.25, 7, 12))])
    assert kinds_in(slit, rules(layer_mm=0.2, ledge_mm=0.0, bridge_mm=0.0))[0][0] == "overhang"
    held = supports(part_of(slit), standing(slit), rules(layer_mm=0.2, ledge_mm=0.0, bridge_mm=0.0))
    assert {c.foot for c in held.columns} == {"nothing"}


def test_a_tool_reaches_what_is_open_and_not_what_is_shut_in():
    bare = rules(layer_mm=0.2, ledge_mm=0.0, bridge_mm=0.0)
    open_ = table_on(box((-8, -8, 0), (8, 16, 1)), (0.0, 0.0, 10.0))
    assert all(c.reachable for c in supports(part_of(open_), standing(open_), bare).columns)
    shut = subtract(box((-8, -8, 0), (8, 8, 16)), [box((-5, -5, 4), (5, 5, 12))])
    columns = supports(part_of(shut), standing(shut), bare).columns
    assert columns and not any(c.reachable for c in columns)


def random_solid(seed: int) -> Solid:
    """Boxes and balls piled about an upright middle, some hanging free of each other before they meet it."""
    rng = np.random.default_rng(seed)
    pieces = [box((-3, -3, 0), (3, 3, float(rng.uniform(10, 16))))]
    for _ in range(7):
        x, y = rng.uniform(-7, 7, 2)
        z = float(rng.uniform(1, 13))
        if rng.random() < 0.5:
            w, d, h = rng.uniform(1.0, 3.0, 3)
            pieces.append(box((x - w, y - d, z), (x + w, y + d, z + 2 * h)))
        else:
            pieces.append(sphere(float(rng.uniform(1.2, 3.0))).translated((x, y, z + 2)))
        # An arm to the middle, so that all is one body.
        pieces.append(box((min(x, 0) - 0.6, min(y, 0) - 0.6, z + 1.0), (max(x, 0) + 0.6, max(y, 0) + 0.6, z + 2.2)))
    whole = union(pieces)
    return whole.trimmed((0, 0, 1), 0.0)


def voxels_of(solid: Solid, cell: float, layer: float) -> np.ndarray:
    """Inside or not, by the winding number of rays upwards through each cell's middle: trimesh, not Condyle."""
    import trimesh

    mesh = trimesh.Trimesh(solid.mesh.vertices, solid.mesh.faces, process=False)
    low, high = solid.bounds
    nx, ny = np.ceil((high[:2] - low[:2]) / cell).astype(int) + 2
    nz = math.ceil((high[2] - low[2]) / layer - 0.5)
    xs, ys = low[0] + (np.arange(nx) - 0.53) * cell, low[1] + (np.arange(ny) - 0.47) * cell
    out = np.zeros((nz, nx, ny), dtype=bool)
    for k in range(nz):
        cut = mesh.section(plane_origin=[0, 0, low[2] + (k + 0.5) * layer + 1e-5], plane_normal=[0, 0, 1])
        inside = np.zeros((nx, ny), dtype=bool)
        for ring in cut.discrete if cut is not None else []:
            # Even-odd rule, row by row.
            a, b = ring[:-1, :2], ring[1:, :2]
            for j, y in enumerate(ys):
                hit = (a[:, 1] > y) != (b[:, 1] > y)
                x = a[hit, 0] + (y - a[hit, 1]) / (b[hit, 1] - a[hit, 1]) * (b[hit, 0] - a[hit, 0])
                inside[:, j] ^= (np.searchsorted(np.sort(x), xs) % 2).astype(bool)
        out[k] = inside
    return out


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.slow), pytest.param(3, marks=pytest.mark.slow),
                                  pytest.param(4, marks=pytest.mark.slow), pytest.param(5, marks=pytest.mark.slow),
                                  pytest.param(6, marks=pytest.mark.slow)])  # fmt: skip
def test_the_voxel_judge_agrees(seed):
    used = rules(layer_mm=0.25, overhang_deg=45.0, ledge_mm=0.5, bridge_mm=0.0)
    solid = random_solid(seed)
    cell = 0.08
    second = judge(voxels_of(solid, cell, used.layer_mm), cell, used.layer_mm, used.overhang_deg, used.ledge_mm)
    held = supports(part_of(solid), standing(solid), used, pitch_mm=0.16)
    # A piece of a few cells may or may not touch the one below on a grid.
    mine = sorted(p.layer for p in held.of("island") if p.area_mm2 > 10 * cell**2)
    theirs = sorted(k for k, cells in second.islands if cells > 10)
    assert mine == theirs
    assert held.volume_mm3 == pytest.approx(second.support_mm3, rel=0.06, abs=1.0)
    on_part = sum(p.area_mm2 for p in held.patches) - held.footprint_mm2
    assert on_part == pytest.approx(second.on_part_mm2, rel=0.15, abs=2.0)
