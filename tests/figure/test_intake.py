"""Intake of scenes: placing, units, repairs, refusals. trimesh judges what comes out as an STL reader would see it."""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations, product

import numpy as np
import pytest
import trimesh

from condyle.errors import CondyleError, InputError, SculptError, UsageError
from condyle.figure.intake import Intake, IntakeWanted, take_in
from condyle.geometry.bvh import Bvh
from condyle.geometry.formats import NamedMesh, Scene, read_scene_bytes, stl_bytes
from condyle.geometry.mesh import Mesh, concatenate
from condyle.geometry.repair.crossing import crossings_of
from condyle.geometry.repair.deviation import two_sided

WANTED = IntakeWanted(height_mm=150.0, up="z", facing="x", unit="mm")


def ball(subdivisions: int = 4) -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=subdivisions, radius=75.0)
    return Mesh(made.vertices * [0.4, 0.6, 1.0], made.faces)


def scene(*meshes: Mesh, **more: object) -> Scene:
    return Scene(tuple(NamedMesh(f"mesh {i}", m) for i, m in enumerate(meshes)), "stl", **more)  # type: ignore[arg-type]


def soup(mesh: Mesh) -> Mesh:
    return Mesh(mesh.corners.reshape(-1, 3), np.arange(3 * mesh.triangle_count).reshape(-1, 3))


def as_read(intake: Intake) -> trimesh.Trimesh:
    """Rounded to float32, equal vertices merged."""
    corners = intake.solid.mesh.corners.astype(np.float32)
    seen = trimesh.Trimesh(corners.reshape(-1, 3), np.arange(corners.size // 3).reshape(-1, 3), process=True)
    assert seen.is_watertight and seen.is_winding_consistent and seen.volume > 0
    return seen


def says(intake: Intake, words: str) -> bool:
    return any(words in change for change in intake.report.changes)


def test_a_good_sculpt_keeps_its_shape_within_the_deviation() -> None:
    body = ball(5)
    intake = take_in(scene(soup(body.transformed(np.diag([1, 1, 1, 1.0])))), WANTED)
    where = intake.report.transform
    deviation, _ = two_sided(Bvh(body.transformed(where)), Bvh(intake.solid.mesh))
    assert deviation <= 0.02 and intake.report.max_deviation_mm <= 0.02
    # The report holds what an independent judge measures between the two surfaces, on other samples.
    samples, _ = trimesh.sample.sample_surface(trimesh.Trimesh(body.vertices, body.faces), 60, seed=1)
    triangles = as_read(intake).triangles
    for sample in samples @ where[:3, :3].T + where[:3, 3]:
        nearest = trimesh.triangles.closest_point(triangles, np.broadcast_to(sample, (len(triangles), 3)))
        there = np.linalg.norm(nearest - sample, axis=1).min()
        assert there <= intake.report.max_deviation_mm + 1e-3
    assert intake.solid.bounds[0, 2] == pytest.approx(0.0, abs=1e-9)
    assert intake.solid.bounds[1, 2] == pytest.approx(150.0, abs=0.02)
    assert as_read(intake).volume == pytest.approx(body.volume_mm3, rel=1e-3)


def test_no_deviation_leaves_every_triangle() -> None:
    body = ball(4)
    intake = take_in(scene(body), IntakeWanted(150.0, "z", "x", "mm", deviation_mm=0.0))
    assert intake.report.triangles_out == body.triangle_count
    assert intake.report.max_deviation_mm == 0.0


def signed_axes() -> list[tuple[str, str]]:
    out = []
    for a, b in permutations("xyz", 2):
        out += [(s + a, t + b) for s, t in product(("", "-"), repeat=2)]
    return out


@pytest.mark.parametrize(("up", "facing"), signed_axes())
def test_every_way_of_lying_comes_out_upright(up: str, facing: str) -> None:
    """A body with a nose in front, a left ear and a hat, laid down every way: three marks must come out where they were."""
    marks = {"nose": (30.0, 0.0, 75.0), "ear": (0.0, 45.0, 75.0), "hat": (0.0, 0.0, 150.0)}
    axes = {w: (-1.0 if w[0] == "-" else 1.0) * np.eye(3)["xyz".index(w[-1])] for w in (up, facing)}
    # Columns: where the figure's x, y, z lie in the file.
    lie = np.stack([axes[facing], np.cross(axes[up], axes[facing]), axes[up]], axis=1)
    assert np.linalg.det(lie) == pytest.approx(1.0)
    lying = np.eye(4)
    lying[:3, :3] = 0.01 * lie
    lying[:3, 3] = 0.4, -2.0, 7.0
    joints = {k: tuple(lying[:3, :3] @ np.array(p) + lying[:3, 3]) for k, p in marks.items()}
    upright = ball(3).transformed(np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 75.0], [0, 0, 0, 1.0]]))
    intake = take_in(
        scene(upright.transformed(lying), joints=joints), IntakeWanted(150.0, up, facing, deviation_mm=0.0)
    )
    # Turned and scaled about the origin, moved along z only: what the input's offset becomes is known.
    offset = lie.T @ lying[:3, 3] * 100.0
    for name, place in marks.items():
        np.testing.assert_allclose(intake.joints[name], np.array(place) + offset * [1, 1, 0], atol=1e-6)
    assert (intake.report.up, intake.report.facing) == (up, facing)
    np.testing.assert_allclose(intake.solid.bounds[:, 2], [0.0, 150.0], atol=1e-6)
    assert intake.report.scale == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("unit", "size", "doubtful"),
    [
        ("mm", 1.0, False),
        ("meter", 0.0113, False),  # 1.7 m: a body at life size
        ("inch", 1 / 25.4, False),
        ("mm", 0.0113, True),  # 1.7 mm tall
        ("meter", 1.0, True),  # 150 m tall
        (None, 1.0, False),
        (None, 0.0113, True),
    ],
)
def test_doubtful_units_are_told_and_never_guessed(unit: str | None, size: float, doubtful: bool) -> None:
    body = ball(3).transformed(np.diag([size, size, size, 1.0]))
    intake = take_in(scene(body, unit=unit), IntakeWanted(150.0, "z", "x"))
    told = [f for f in intake.findings if f.check == "intake.unit"]
    assert bool(told) == doubtful and all(f.verdict == "caution" and f.advice for f in told)
    assert intake.report.scale == pytest.approx(1.0 / size, rel=1e-6)
    assert says(intake, "scaled by") == (size != 1.0)


def test_a_far_speck_does_not_shrink_the_figure() -> None:
    speck = trimesh.creation.box(extents=(0.2, 0.2, 0.2))
    intake = take_in(scene(ball(), Mesh(speck.vertices + np.array([900, 0, -4000.0]), speck.faces)), WANTED)
    assert intake.report.scale == pytest.approx(1.0, rel=1e-6)
    assert says(intake, "1 speck")
    np.testing.assert_allclose(intake.solid.bounds[:, 2], [0.0, 150.0], atol=0.03)


def test_a_loose_piece_is_kept_and_told_with_its_place() -> None:
    other = trimesh.creation.box(extents=(10, 10, 10))
    intake = take_in(scene(ball(), Mesh(other.vertices + np.array([100, 0, 0]), other.faces)), WANTED)
    told = [f for f in intake.findings if f.check == "intake.loose_piece"]
    assert len(told) == 1 and told[0].measured == pytest.approx(1000.0, rel=1e-3)
    assert told[0].place == pytest.approx((100.0, 0.0, 75.0), abs=0.1)


def test_a_hollow_is_filled_and_told() -> None:
    inner = ball(3).transformed(np.diag([0.8, 0.8, 0.8, 1.0]))
    intake = take_in(scene(ball(), Mesh(inner.vertices, inner.faces[:, ::-1])), WANTED)
    assert says(intake, "1 hollow inside the body filled")
    assert [f.verdict for f in intake.findings if f.check == "intake.hollow"] == ["caution"]
    assert as_read(intake).volume == pytest.approx(ball().volume_mm3, rel=1e-3)


def test_the_refusal_names_the_place_in_the_files_own_coordinates() -> None:
    body = ball(4)
    high = body.corners.mean(axis=1)[:, 2] > 60.0
    cut = body.subset(~high)
    lying = np.array([[0, 0, 1, 5.0], [1, 0, 0, -3], [0, 1, 0, 8], [0, 0, 0, 100.0]]) / 100.0
    with pytest.raises(SculptError) as caught:
        take_in(scene(cut.transformed(lying)), IntakeWanted(150.0, "x", "y"))
    assert caught.value.code == "sculpt.open" and "open" in caught.value.message and caught.value.hint
    rim = lying[:3, :3] @ np.array([0.0, 0.0, 60.0]) + lying[:3, 3]
    assert caught.value.place.point_mm == pytest.approx(rim, abs=0.05)


def broken(change: Callable[[np.ndarray], None]) -> Scene:
    v = ball(3).vertices.copy()
    change(v)
    return scene(Mesh(v, ball(3).faces))


def put(value: float) -> Callable[[np.ndarray], None]:
    def change(v: np.ndarray) -> None:
        v[7, 1] = value

    return change


EMPTY = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32))
BAD: list[tuple[str, Callable[[], Scene], dict[str, object], type[CondyleError], str]] = [
    ("no mesh", lambda: scene(), {}, SculptError, "sculpt.empty"),
    ("empty mesh", lambda: scene(EMPTY), {}, SculptError, "sculpt.empty"),
    ("one triangle", lambda: scene(Mesh(np.eye(3), np.array([[0, 1, 2]]))), {}, SculptError, "sculpt.empty"),
    ("one point", lambda: scene(Mesh(ball(2).vertices * 0 + 3, ball(2).faces)), {}, SculptError, "sculpt.empty"),
    ("a line", lambda: scene(Mesh(ball(2).vertices * [0, 0, 1], ball(2).faces)), {}, SculptError, "sculpt.flat"),
    ("a sheet", lambda: scene(Mesh(ball(2).vertices * [0, 1, 1], ball(2).faces)), {}, SculptError, "sculpt.flat"),
    ("no height", lambda: scene(Mesh(ball(2).vertices * [1, 1, 0], ball(2).faces)), {}, SculptError, "sculpt.flat"),
    ("not a number", lambda: broken(put(np.nan)), {}, SculptError, "sculpt.not_finite"),
    ("infinite", lambda: broken(put(np.inf)), {}, SculptError, "sculpt.not_finite"),
    ("absurdly large", lambda: broken(put(1e300)), {}, SculptError, "sculpt.huge"),
    ("half a body", lambda: scene(ball().subset(ball().corners[:, 0, 2] < 0)), {}, SculptError, "sculpt.open"),
    ("height 0", lambda: scene(ball(2)), {"height_mm": 0.0}, InputError, "intake.height"),
    ("10 km", lambda: scene(ball(2)), {"height_mm": 1e7}, InputError, "intake.height"),
    ("below nothing", lambda: scene(ball(2)), {"height_mm": -150.0}, InputError, "intake.height"),
    ("height NaN", lambda: scene(ball(2)), {"height_mm": float("nan")}, InputError, "intake.height"),
    ("deviation NaN", lambda: scene(ball(2)), {"deviation_mm": float("nan")}, InputError, "intake.number"),
    ("deviation of a metre", lambda: scene(ball(2)), {"deviation_mm": 1000.0}, InputError, "intake.number"),
    ("up w", lambda: scene(ball(2)), {"up": "w"}, UsageError, "intake.axis"),
    ("up both", lambda: scene(ball(2)), {"up": "--z"}, UsageError, "intake.axis"),
    ("facing up", lambda: scene(ball(2)), {"facing": "-z"}, UsageError, "intake.axes"),
    ("unit ell", lambda: scene(ball(2)), {"unit": "ell"}, UsageError, "intake.unit"),
]


@pytest.mark.parametrize(("make", "changes", "kind", "code"), [b[1:] for b in BAD], ids=[b[0] for b in BAD])
def test_bad_input_is_refused(
    make: Callable[[], Scene], changes: dict[str, object], kind: type[CondyleError], code: str
) -> None:
    wanted = {"height_mm": 150.0, "up": "z", "facing": "x", **changes}
    with pytest.raises(kind) as caught:
        take_in(make(), IntakeWanted(**wanted))  # type: ignore[arg-type]
    assert caught.value.code == code and caught.value.message and caught.value.hint


def test_an_offset_input_is_turned_about_its_origin_and_moved_along_z_only() -> None:
    body = ball(3)
    moved = Mesh(body.vertices + np.array([1000.0, -500.0, 250.0]), body.faces)
    intake = take_in(scene(moved), WANTED)
    middle = intake.solid.bounds.mean(axis=0)
    np.testing.assert_allclose(middle, [1000.0, -500.0, 75.0], atol=0.02)
    assert says(intake, "along z")


def test_pieces_that_sink_into_the_body_join_it() -> None:
    belt = trimesh.creation.annulus(r_min=20, r_max=50, height=12)
    intake = take_in(scene(ball(), Mesh(belt.vertices + np.array([0.01, 0.02, 0.03]), belt.faces)), WANTED)
    assert len(intake.solid.shells()) == 1 and says(intake, "joined as one skin")
    assert len(crossings_of(Bvh(intake.solid.mesh))) == 0
    as_read(intake)


def test_what_comes_out_goes_in_again_unchanged() -> None:
    first = take_in(scene(concatenate([ball()])), WANTED)
    again = take_in(read_scene_bytes(stl_bytes(first.solid.mesh), "again.stl"), WANTED)
    assert two_sided(Bvh(first.solid.mesh), Bvh(again.solid.mesh))[0] <= 0.02
    assert not any(f.verdict in ("caution", "fail") for f in again.findings)


def test_same_input_same_bytes() -> None:
    one, two = (take_in(scene(soup(ball())), WANTED) for _ in range(2))
    assert one.solid.mesh.vertices.tobytes() == two.solid.mesh.vertices.tobytes()
    assert one.solid.mesh.faces.tobytes() == two.solid.mesh.faces.tobytes()
    assert one.report.changes == two.report.changes
