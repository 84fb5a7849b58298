"""Each defect made by code from a body of known volume; trimesh judges closedness and volume of what comes out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from mend_bodies import (
    BLOCK_MM3,
    WANTED,
    ball,
    block,
    klein_bottle,
    knot,
    reversed_,
    shuffled_winding,
    together,
    with_hole,
)

from condyle.errors import SculptError
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.repair.crossing import crossings_of
from condyle.geometry.repair.mend import Mended, mended
from condyle.geometry.winding import winding_number
from tests.published import Published


def judged(made: Mended) -> trimesh.Trimesh:
    """The result as trimesh sees it after rounding to float32 and merging equal vertices, as an STL reader would."""
    corners = made.solid.mesh.corners.astype(np.float32)
    seen = trimesh.Trimesh(corners.reshape(-1, 3), np.arange(corners.size // 3).reshape(-1, 3), process=True)
    assert seen.is_watertight and seen.is_winding_consistent
    assert len(crossings_of(Bvh(made.solid.mesh))) == 0
    return seen


def changes(made: Mended) -> str:
    return "\n".join(made.log.changes)


def test_a_sound_body_is_left_alone() -> None:
    made = mended(block(), WANTED)
    assert made.log.changes == []
    assert judged(made).volume == pytest.approx(BLOCK_MM3, rel=1e-6)
    assert made.solid.triangle_count == block().triangle_count


def degenerate() -> Mesh:
    b = block()
    return Mesh(b.vertices, np.concatenate([b.faces, [[0, 0, 1], [5, 7, 7]]]))


def doubled_faces() -> Mesh:
    b = block()
    return Mesh(b.vertices, np.concatenate([b.faces, b.faces[::7]]))


def fin() -> Mesh:
    """Two triangles back to back that stand out of the body from one of its edges."""
    b = block()
    a, c = b.faces[0, 0], b.faces[0, 1]
    tip = len(b.vertices)
    return Mesh(np.concatenate([b.vertices, [[0, 0, 40.0]]]), np.concatenate([b.faces, [[a, c, tip], [c, a, tip]]]))


def single_fin() -> Mesh:
    b = block()
    a, c = b.faces[0, 0], b.faces[0, 1]
    tip = len(b.vertices)
    return Mesh(np.concatenate([b.vertices, [[0, 0, 40.0]]]), np.concatenate([b.faces, [[a, c, tip]]]))


def inner_wall() -> Mesh:
    """A wall across the middle of the body, joined to its skin all round."""
    b = block(cuts=1)
    rim = np.flatnonzero(np.abs(b.vertices[:, 2]) < 1e-9)
    angle = np.arctan2(b.vertices[rim, 1], b.vertices[rim, 0])
    rim = rim[np.argsort(angle)]
    wall = [[rim[0], rim[i], rim[i + 1]] for i in range(1, len(rim) - 1)]
    return Mesh(b.vertices, np.concatenate([b.faces, wall]))


def gap() -> Mesh:
    """Two halves whose rims lie 0.003 mm apart."""
    b = block(cuts=2)
    upper = b.corners.mean(axis=1)[:, 2] > 0
    return concatenate([b.subset(upper).transformed(shift(0, 0, 0.003)), b.subset(~upper)])


def shift(x: float, y: float, z: float) -> np.ndarray:
    m = np.eye(4)
    m[:3, 3] = x, y, z
    return m


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (degenerate, "2 triangles without extent"),
        (doubled_faces, "doubled"),
        (fin, "doubled"),
        (single_fin, "fins"),
        (inner_wall, "walls"),
        (lambda: shuffled_winding(block()), "wound the other way"),
        (lambda: reversed_(block()), "inside out"),
        (lambda: reversed_(shuffled_winding(block())), "wound the other way"),
        (lambda: together(block(), block()), "doubled"),
        (lambda: together(block(), reversed_(block())), "doubled"),
        (lambda: with_hole(block(), (0, 0, 15), 2.0), "hole"),
        (lambda: with_hole(with_hole(block(), (0, 0, 15), 2.0), (10, 0, 0), 2.0), "2 holes"),
        (gap, "joined"),
        (lambda: together(block(), block((0.5, 0.5, 0.5), (0, 0, 18))), "speck"),
        (lambda: together(block(), reversed_(block((5, 5, 5)))), "1 hollow"),
        (lambda: together(reversed_(block()), block((5, 5, 5))), "1 hollow"),
        (lambda: together(block(), block((5, 5, 5))), "wholly inside"),
        (lambda: together(block(), reversed_(block((8, 8, 8))), block((2, 2, 2))), "inside the body"),
        (lambda: together(block(), *(block((0.3, 0.3, 0.3), (0, 0, 17 + i), 0) for i in range(40))), "40 specks"),
    ],
)
def test_the_body_comes_back(make: Callable[[], Mesh], says: str) -> None:
    made = mended(make(), WANTED)
    assert says in changes(made)
    # Half-way rims of the two halves move the volume by 0.003 mm of the section at most.
    assert judged(made).volume == pytest.approx(BLOCK_MM3, abs=0.8 if make is gap else 0.02)
    assert len(made.solid.shells()) == 1


def test_blocks_that_overlap_become_one() -> None:
    # 6000 + 6000 less the shared 14 · 7 · 25 = 2450 mm³: exact arithmetic.
    made = mended(together(block(), block(at=(6, 3, 5))), WANTED)
    assert judged(made).volume == pytest.approx(9550.0, abs=0.1)
    assert len(made.solid.shells()) == 1 and "2 shells ran through one another" in changes(made)


@pytest.mark.parametrize("second_inside_out", [False, True])
def test_balls_that_overlap_become_one(published: Published, second_inside_out: bool) -> None:
    # Lens of two spheres: V = π (r₁+r₂−d)² (d² + 2d(r₁+r₂) − 3(r₁−r₂)²) / (12 d) (Weisstein, MathWorld, "Sphere-Sphere
    # Intersection", eq. 16, from memory); facets of five subdivisions hold 0.9985 of the ball.
    r, s, d = 10.0, 6.0, 9.0
    lens = np.pi * (r + s - d) ** 2 * (d * d + 2 * d * (r + s) - 3 * (r - s) ** 2) / (12 * d)
    other = ball(s, (d, 0.4e-3, 0.3e-3), 5)
    made = mended(together(ball(r, subdivisions=5), reversed_(other) if second_inside_out else other), WANTED)
    expected = 4 / 3 * np.pi * (r**3 + s**3) - lens
    what = f"volume of two balls made one{', one inside out' if second_inside_out else ''}"
    source = "lens of two spheres, MathWorld, eq. 16 (from memory)"
    published(what, judged(made).volume, expected, unit="mm³", tolerance=3e-3 * expected, source=source)
    assert made.solid.genus == 0


def test_many_overlapping_shells_become_one() -> None:
    rng = np.random.default_rng(3)
    scales = [ball(2.0, tuple(v), 1) for v in 10.0 * unit_rows(rng.normal(size=(16, 3)))]
    mesh = together(ball(10.0, subdivisions=3), *scales)
    made = mended(mesh, WANTED)
    judged(made)
    assert len(made.solid.shells()) == 1
    assert in_doubt(mesh, made) < 0.005


@pytest.mark.parametrize(
    ("make", "volume"),
    [
        # Exact arithmetic: sums of blocks less what they share.
        (lambda: together(block(), block(at=(6, 0, 5))), 2 * 6000 - 14 * 10 * 25),
        (lambda: together(block(), block(at=(0, 0, 5))), 6000 + 20 * 10 * 5),
        (lambda: together(block(cuts=0), block((5, 10, 5), (0, 0, 17), 0)), 6000 + 5 * 10 * 4.5),
        (lambda: together(block((30, 4, 4)), block((4, 30, 4)), block((4, 4, 30))), 3 * 480 - 2 * 64),
        (lambda: together(block(), block(at=(5.1, 2.2, 30))), 12000),
    ],
)
def test_faces_that_lie_upon_each_other_are_no_trouble(make: Callable[[], Mesh], volume: float) -> None:
    made = mended(make(), WANTED)
    assert judged(made).volume == pytest.approx(volume, abs=0.05)
    assert len(made.solid.shells()) == 1


def test_blocks_face_on_face_become_one() -> None:
    made = mended(together(block((10, 10, 10)), block((6, 6, 6), (0, 0, 8), 2)), WANTED)
    assert judged(made).volume == pytest.approx(1216.0, abs=0.05)
    assert len(made.solid.shells()) == 1


@pytest.mark.parametrize("offset", [(20, 10, 30), (20, 10, 0)])
def test_pinched_blocks_come_apart(offset: tuple[float, float, float]) -> None:
    # Corner on corner, then edge on edge: two bodies, each with its own volume.
    made = mended(together(block(), block(at=offset)), WANTED)
    assert "pinched" in changes(made)
    assert judged(made).volume == pytest.approx(2 * BLOCK_MM3, abs=3.0)
    assert len(made.solid.shells()) == 2


def test_a_beam_through_itself() -> None:
    mesh, volume = knot()
    made = mended(mesh, WANTED)
    assert judged(made).volume == pytest.approx(volume, abs=0.05)
    # One loop: a ring's genus.
    assert made.solid.genus == 1
    assert "ran through itself" in changes(made)


@pytest.mark.parametrize("seed", range(4))
def test_crumpled_balls(seed: int) -> None:
    """A ball whose dents go through its far side: pockets inside out, triple points."""
    mesh = crumpled(seed)
    assert len(crossings_of(Bvh(mesh))) > 20
    made = mended(mesh, WANTED)
    judged(made)
    assert in_doubt(mesh, made) < 0.005


def crumpled(seed: int) -> Mesh:
    rng = np.random.default_rng(seed)
    b = ball(10.0, subdivisions=3)
    v = b.vertices.copy()
    for direction in unit_rows(rng.normal(size=(4, 3))):
        pull = np.exp(-(((1 - v @ direction / 10.0) / 0.1) ** 2))
        v -= np.outer(pull, direction * rng.uniform(20, 24) + rng.normal(size=3) * 2)
    return Mesh(v, b.faces)


def unit_rows(v: np.ndarray) -> np.ndarray:
    return np.asarray(v / np.linalg.norm(v, axis=1, keepdims=True))


def in_doubt(mesh: Mesh, made: Mended, count: int = 3_000) -> float:
    """Share of the volume in which the result and the exact winding number (above one half) disagree, by random points."""
    points = np.random.default_rng(9).uniform(*mesh.bounds, size=(count, 3))
    within = winding_number(mesh, points) > 0.5
    return float((within != (winding_number(made.solid.mesh, points) > 0.5)).sum() / within.sum())


def torn(mesh: Mesh, apart_mm: float) -> Mesh:
    """Every triangle drawn away from its neighbours."""
    moves = np.random.default_rng(4).uniform(-apart_mm, apart_mm, size=(mesh.triangle_count, 1, 3))
    return Mesh((mesh.corners + moves).reshape(-1, 3), np.arange(3 * mesh.triangle_count).reshape(-1, 3))


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: with_hole(block(), (0, 0, 15), 7.0), "sculpt.open"),
        (lambda: block().subset(block().corners.mean(axis=1)[:, 2] < 14.9), "sculpt.open"),
        (klein_bottle, "sculpt.one_sided"),
        (lambda: torn(block(), 0.2), "sculpt.loose"),
        (lambda: Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]])), "sculpt.empty"),
        (lambda: block((20, 10, 1e-12)), "sculpt.flat"),
        (lambda: Mesh(block().vertices * [1, 1, 0], block().faces), "sculpt.flat"),
    ],
)
def test_what_cannot_be_mended_is_refused_with_place_and_remedy(make: Callable[[], Mesh], code: str) -> None:
    with pytest.raises(SculptError) as caught:
        mended(make(), WANTED)
    assert caught.value.code == code and caught.value.hint
    if code in ("sculpt.open", "sculpt.one_sided"):
        assert caught.value.place.point_mm is not None


def test_same_input_same_bytes() -> None:
    first, second = (mended(crumpled(1), WANTED).solid.mesh for _ in range(2))
    assert first.vertices.tobytes() == second.vertices.tobytes() and first.faces.tobytes() == second.faces.tobytes()
