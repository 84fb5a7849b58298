"""What was found of a part stays with that part: another one may change, and the answer is the same to the byte as afresh."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from condyle.geometry.mesh import Mesh, in_order
from condyle.project.cache import Cache
from condyle.project.part_keys import PartKeys, in_own_order
from condyle.project.pipeline import make_kit
from condyle.project.watch import Watch
from tests.cli.figures import bar_figure, tree
from tests.project.test_cache_and_codec import kit


def renumbered(mesh: Mesh, seed: int) -> Mesh:
    dice = np.random.default_rng(seed)
    to = dice.permutation(len(mesh.vertices))
    vertices = np.empty_like(mesh.vertices)
    vertices[to] = mesh.vertices
    faces = to[mesh.faces][dice.permutation(len(mesh.faces))]
    return Mesh(
        vertices, np.stack([np.roll(f, k) for f, k in zip(faces, dice.integers(0, 3, len(faces)), strict=True)])
    )


@pytest.mark.parametrize("seed", range(4))
def test_an_order_of_its_own_forgets_how_a_mesh_was_numbered(seed: int) -> None:
    mesh = kit().parts[1].mesh
    a, b = in_order(mesh), in_order(renumbered(mesh, seed))
    assert a.vertices.tobytes() == b.vertices.tobytes()
    assert a.faces.tobytes() == b.faces.tobytes()
    assert a.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-12)
    corners = {tuple(sorted(map(tuple, c))) for c in mesh.corners.tolist()}
    assert corners == {tuple(sorted(map(tuple, c))) for c in a.corners.tolist()}


def test_a_part_is_found_once_while_it_and_what_it_depends_on_stay(tmp_path: Path) -> None:
    calls: list[str] = []

    def asked(keys: PartKeys, more: bytes = b"") -> None:
        keep = keys.keep("step", lambda _: more)
        for part in keys.kit.parts:
            keep(part.name, lambda n=part.name: calls.append(n) or n)  # type: ignore[misc,func-returns-value]

    one = in_own_order(kit())
    cache = Cache(tmp_path)
    asked(PartKeys(one, cache))
    asked(PartKeys(in_own_order(kit()), cache))
    assert calls == ["lower", "upper"]
    moved = type(one)((one.parts[0], type(one.parts[1])("upper", "upper", one.parts[1].solid.translated((1, 0, 0)))),
                      one.joints, one.balance)  # fmt: skip
    asked(PartKeys(moved, cache))
    assert calls == ["lower", "upper", "upper"]
    asked(PartKeys(moved, cache), b"other")
    assert calls[3:] == ["lower", "upper"]


@pytest.mark.slow
def test_a_variant_out_of_what_was_kept_is_the_variant_afresh(tmp_path: Path) -> None:
    figure, other = bar_figure(tmp_path / "bar"), bar_figure(tmp_path / "other")
    make_kit(figure, tmp_path / "kit", Watch())
    for path in (figure, other):
        path.write_text(path.read_text() + "\n[parts.upper]\nup = [0.0, 0.0, -1.0]\n")
    make_kit(figure, tmp_path / "kit", Watch())
    assert len(list((tmp_path / "bar" / ".condyle" / "cache" / "lying").iterdir())) == 3, "only one part is laid again"
    make_kit(other, tmp_path / "afresh", Watch(), keep=False)
    assert tree(tmp_path / "kit") == tree(tmp_path / "afresh")
