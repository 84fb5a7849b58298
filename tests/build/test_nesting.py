"""Nesting, judged by an independent planar library on the true outlines of what was placed."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from condyle.build.nesting import Item, Rules, nest
from condyle.errors import UsageError
from condyle.geometry.mesh import Mesh
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.shadow import grown, shadow

PLATE = (120.0, 120.0, 150.0)


def block(x, y, z):
    return box((0.0, 0.0, 0.0), (float(x), float(y), float(z)))


def outline(mesh: Mesh):
    """The true outline from above: the union of all triangles' projections."""
    flat = mesh.vertices[mesh.faces][:, :, :2]
    return shapely.union_all([p for t in flat if (p := Polygon(t)).area > 1e-9])


def moved(item: Item, transform) -> Mesh:
    return Mesh(item.mesh.vertices @ transform[:3, :3].T + transform[:3, 3], item.mesh.faces)


def pieces(seed: int, n: int) -> list[Item]:
    rng = np.random.default_rng(seed)
    made = []
    for k in range(n):
        bar = block(rng.uniform(4, 40), rng.uniform(4, 20), rng.uniform(5, 60)).mesh
        arm = block(rng.uniform(4, 10), rng.uniform(20, 40), 5.0).mesh
        both = Mesh(
            np.vstack([bar.vertices, arm.vertices]), np.vstack([bar.faces, arm.faces + len(bar.vertices)])
        )  # an L or a T: not convex
        made.append(Item(f"p{k}", both, group=f"g{k % 2}", brim_mm=float(rng.choice([0.0, 3.0]))))
    return made


@pytest.mark.parametrize("seed", range(4))
def test_no_two_parts_come_nearer_than_the_spacing_and_all_stay_on_the_plate(seed):
    items = pieces(seed, 14)
    rules = Rules(PLATE, spacing_mm=3.0, edge_mm=4.0)
    found = nest(items, rules)
    by_name = {i.name: i for i in items}
    assert sorted(p.name for plate in found.plates for p in plate.parts) == sorted(by_name)
    for plate in found.plates:
        assert {by_name[p.name].group for p in plate.parts} == {plate.group}
        lying = [(by_name[p.name], moved(by_name[p.name], p.transform)) for p in plate.parts]
        shapes = [outline(m).buffer(i.brim_mm) for i, m in lying]
        for shape, (_, mesh) in zip(shapes, lying, strict=True):
            assert min(shape.bounds) >= rules.edge_mm - 1e-6
            assert shape.bounds[2] <= PLATE[0] - rules.edge_mm + 1e-6
            assert shape.bounds[3] <= PLATE[1] - rules.edge_mm + 1e-6
            assert mesh.bounds[0][2] == pytest.approx(0.0, abs=1e-9)
        for k, shape in enumerate(shapes):
            for other in shapes[:k]:
                assert shape.distance(other) >= rules.spacing_mm - 1e-6


def test_the_bound_is_never_above_what_was_needed():
    found = nest(pieces(9, 20), Rules(PLATE))
    assert 1 <= found.bound <= len(found.plates)


def test_parts_that_fit_together_on_one_plate_are_proved_minimal():
    found = nest([Item(f"b{k}", block(25, 25, 10).mesh) for k in range(9)], Rules(PLATE))
    assert len(found.plates) == found.bound == 1
    assert found.findings[-1].verdict == "pass"


def test_what_is_too_large_is_named_and_the_rest_is_nested():
    found = nest([Item("post", cylinder(3.0, 0.0, 160.0).mesh), Item("bead", sphere(5.0).mesh)], Rules(PLATE))
    assert found.left_out == ("post",)
    assert [p.name for plate in found.plates for p in plate.parts] == ["bead"]
    assert [f.subject for f in found.findings if f.verdict == "fail"] == ["post"]


def test_a_long_part_is_laid_across_the_corners():
    bar = block(2.0, 135.0, 2.0).mesh
    found = nest([Item("bar", bar)], Rules(PLATE, edge_mm=4.0))
    assert found.left_out == ()


def test_a_tall_thin_part_gets_company_or_is_told():
    thin = Item("mast", cylinder(1.5, 0.0, 100.0).mesh, footing_mm2=7.0)
    assert [f.check for f in nest([thin], Rules(PLATE)).findings if f.verdict == "caution"] == ["print.alone"]
    assert not [
        f for f in nest([thin, Item("b", block(20, 20, 20).mesh)], Rules(PLATE)).findings if f.verdict == "caution"
    ]


def test_the_same_parts_in_another_order_lie_the_same():
    items = pieces(2, 10)
    one, two = nest(items, Rules(PLATE)), nest(items[::-1], Rules(PLATE))
    for a, b in zip(one.plates, two.plates, strict=True):
        assert [p.name for p in a.parts] == [p.name for p in b.parts]
        assert all(np.array_equal(p.transform, q.transform) for p, q in zip(a.parts, b.parts, strict=True))


def test_names_must_differ():
    with pytest.raises(UsageError):
        nest([Item("a", sphere(3.0).mesh), Item("a", sphere(3.0).mesh)], Rules(PLATE))


@pytest.mark.parametrize("seed", range(5))
def test_a_shadow_covers_the_true_outline_and_little_more(seed):
    rng = np.random.default_rng(seed)
    mesh = Mesh(
        rng.normal(0.0, 6.0, (30, 3)), rng.permuted(np.tile(np.arange(30), (10, 1)), axis=1)[:, :3].astype(np.int32)
    )
    cells, corner = shadow(mesh.vertices, mesh.faces, 0.5)
    i, j = np.nonzero(cells)
    covered = shapely.union_all(
        [shapely.box(x, y, x + 0.5, y + 0.5) for x, y in zip(corner[0] + i * 0.5, corner[1] + j * 0.5, strict=True)]
    )
    true = outline(mesh)
    assert true.difference(covered.buffer(1e-9)).area < 1e-9
    assert covered.difference(true.buffer(0.5 * np.sqrt(2.0) + 1e-9)).area < 1e-9


def test_growing_reaches_at_least_the_distance():
    cells = np.zeros((3, 3), dtype=bool)
    cells[1, 1] = True
    wide = grown(cells, 2.4)
    i, j = np.nonzero(wide)
    covered = shapely.union_all([shapely.box(x, y, x + 1, y + 1) for x, y in zip(i, j, strict=True)])
    middle = shapely.box(4, 4, 5, 5)
    assert covered.contains(middle.buffer(2.4, quad_segs=32))
