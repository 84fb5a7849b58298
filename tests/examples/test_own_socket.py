"""The example of a joint brought in as meshes, and what is said about files that cannot be one."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import manifold3d as m3
import numpy as np
import pytest

from condyle.errors import FigureFileError
from condyle.figure.custom_file import read_own_joint
from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.finding import worst
from condyle.geometry.formats import stl_bytes
from condyle.geometry.mesh import Mesh
from condyle.project.pipeline import open_figure, prove_figure, seat_joints, take_in_sculpt
from condyle.project.watch import Watch
from condyle.proof import prove

FOLDER = Path(__file__).parents[2] / "examples" / "01-own-socket"


def example() -> ModuleType:
    spec = importlib.util.spec_from_file_location("own_socket", FOLDER / "run.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out: Path = tmp_path_factory.mktemp("own")
    example().write(out)
    return out


def test_the_proven_socket_is_built_and_passes_the_same_proofs(folder: Path) -> None:
    opened = open_figure(folder / "figure.toml", keep=False)
    taken = take_in_sculpt(opened, Watch())
    joints, _ = seat_joints(opened, taken, Watch())
    kit: Kit = part(taken.intake.solid, opened.skeleton, joints, opened.workshop)
    shoulder = next(j for j in kit.joints if j.name == "shoulder")
    assert shoulder.built and shoulder.seated.spec.kind == "custom" and shoulder.size_mm == 10.0
    proof = prove(kit, taken.intake.solid, opened.skeleton, opened.workshop, workers=1)
    own = [f for f in proof.findings if f.subject == "shoulder"]
    assert {f.check for f in own} >= {"fit.bearing_gap", "fit.insertion", "fit.retention", "move.flex", "move.twist"}
    assert worst(own) == "pass", [f for f in own if f.verdict != "pass"]
    # What the file states is what is measured: the drawn gap of 0.05, and the lip of 5 - 5.05 cos 16° = 0.146 mm.
    assert proof.joints["shoulder"].rest_gap_mm == pytest.approx(0.05, abs=0.01)
    assert proof.joints["shoulder"].lip_mm == pytest.approx(5.0 - 5.05 * np.cos(np.radians(16.0)), abs=0.02)
    # The ball stands in the post, to the place: what the post has within 5.2 mm of the centre is a ball of 5 mm and a
    # little of its neck (radius 3.5): 4/3 π 5³ and at most π 3.5² 0.6.
    within = m3.Manifold.sphere(5.2, 128).translate((0.0, 0.0, 38.4)) ^ kit.part("post").solid._body
    ball = 4.0 / 3.0 * np.pi * 125.0
    assert 0.99 * ball < within.volume() < ball + np.pi * 3.5**2 * 0.6


@pytest.mark.slow
def test_nothing_in_the_whole_kit_of_the_example_fails(folder: Path) -> None:
    """Every question that a kit is asked, as the command asks them: no finding of any subject fails, and the ball's neck,
    printed lying, takes what a finger brings."""
    result = prove_figure(folder / "figure.toml", Watch(), keep=False)
    assert {p["name"] for p in result.document["parts"]} == {"post", "arm", "jib"}
    found = result.document["findings"]
    assert {f["check"].split(".")[0] for f in found} >= {
        "fit",
        "move",
        "hold",
        "stand",
        "last",
        "print",
        "coat",
        "safe",
    }
    assert [f for f in found if f["verdict"] == "fail"] == []
    finger = [f for f in found if f["check"] == "last.finger" and f["subject"] == "shoulder/post"]
    assert [f["verdict"] for f in finger] == ["pass"]
    assert result.prints.parts["post"].orientation.pinned


def test_a_handed_joint_is_mirrored_for_the_other_side(folder: Path) -> None:
    text = (folder / "socket" / "joint.toml").read_text().replace("convex =", 'side = "left"\nconvex =', 1)
    (folder / "socket" / "left.toml").write_text(text)
    bump = np.array([[0.5, 0.5, -12.0], [3.5, 0.5, -12.0], [0.5, 1.5, -12.0], [0.5, 0.5, -10.0]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]], dtype=np.int32)
    (folder / "socket" / "stud.stl").rename(folder / "socket" / "round.stl")
    (folder / "socket" / "stud.stl").write_bytes(stl_bytes(Mesh(bump, faces)))
    left = read_own_joint(folder / "socket" / "left.toml", "left").parent.add
    right = read_own_joint(folder / "socket" / "left.toml", "right").parent.add
    (folder / "socket" / "round.stl").replace(folder / "socket" / "stud.stl")
    assert left is not None and right is not None
    assert np.allclose(left.bounds[:, 0], -right.bounds[::-1, 0]) and np.allclose(
        left.bounds[:, 1:], right.bounds[:, 1:]
    )
    assert right.volume_mm3 == pytest.approx(1.0, rel=1e-5)  # 3 · 1 · 2 / 6


def spoilt(
    folder: Path, tmp_path: Path, name: str = "", mesh: Mesh | None = None, swap: tuple[str, str] | None = None
) -> Path:
    """The example's joint with one mesh or one line put wrong."""
    for file in (folder / "socket").iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    if mesh is not None:
        (tmp_path / name).write_bytes(stl_bytes(mesh))
    path = tmp_path / "joint.toml"
    if swap is not None:
        text = path.read_text()
        assert swap[0] in text
        path.write_text(text.replace(*swap))
    return path


def test_bad_meshes_are_refused_with_place_and_remedy(folder: Path, tmp_path: Path) -> None:
    stud: Mesh = example().stud().mesh
    cases = {
        "closed": Mesh(stud.vertices, stud.faces[1:]),
        "inside out": Mesh(stud.vertices, stud.faces[:, ::-1]),
        "reaches": Mesh(stud.vertices * 10.0, stud.faces),
    }
    for word, mesh in cases.items():
        with pytest.raises(FigureFileError) as caught:
            read_own_joint(spoilt(folder, tmp_path, "stud.stl", mesh))
        assert caught.value.code == "custom.mesh" and word in caught.value.message, word
        assert "stud.stl" in caught.value.message and caught.value.hint
        assert caught.value.place.line is not None and str(caught.value.place.file).endswith("joint.toml")
        if word == "closed":
            hole = stud.vertices[stud.faces[0]]
            assert caught.value.place.point_mm is not None
            assert np.linalg.norm(hole - np.array(caught.value.place.point_mm), axis=1).min() < 3.0


SLIPS = [
    (("flex = [-28.0, 28.0]", "flex = [10.0, 28.0]"), "toml.value"),
    (('add = "stud.stl"', 'add = "lost.stl"'), "custom.mesh"),
    (("radius_mm = 11.5", "radius_mm = 0.0"), "toml.value"),
    (("size_mm = 10.0", "size = 10.0"), "toml.unknown_key"),
    (("value = 0.05, sd", "value = 9.0, sd"), "toml.value"),
    (('process = "filament"', 'process = "clay"'), "toml.value"),
]


@pytest.mark.parametrize(("swap", "code"), SLIPS)
def test_slips_in_the_file_name_their_line(swap: tuple[str, str], code: str, folder: Path, tmp_path: Path) -> None:
    path = spoilt(folder, tmp_path, swap=swap)
    with pytest.raises(FigureFileError) as caught:
        read_own_joint(path)
    assert caught.value.code == code and caught.value.place.line is not None


def test_in_a_figure_file_custom_stands_by_itself(folder: Path, tmp_path: Path) -> None:
    text = (folder / "figure.toml").read_text()
    for line, code in (("size = 5.0", "figure.custom"), ('kind = "ball"', "figure.custom")):
        wrong = folder / "wrong.toml"
        wrong.write_text(text.replace('custom = "socket/joint.toml"', f'custom = "socket/joint.toml"\n{line}'))
        with pytest.raises(FigureFileError) as caught:
            open_figure(wrong, keep=False)
        assert caught.value.code == code and caught.value.place.line == text[: text.index("custom =")].count("\n") + 2
    alone = folder / "alone.toml"
    alone.write_text(text.replace('custom = "socket/joint.toml"', 'kind = "custom"'))
    with pytest.raises(FigureFileError, match="no file says which"):
        open_figure(alone, keep=False)


def test_another_process_makes_its_test_a_guess(folder: Path) -> None:
    opened = open_figure(folder / "figure.toml", keep=False)
    spec = opened.skeleton.joint("shoulder")
    assert spec.custom is not None
    cast = replace(spec, custom=replace(spec.custom, tested=replace(spec.custom.tested, process="resin")))
    taken = take_in_sculpt(opened, Watch())
    joints, _ = seat_joints(opened, taken, Watch())
    other = [replace(j, spec=cast) if j.name == "shoulder" else j for j in joints]
    kit = part(taken.intake.solid, opened.skeleton, other, opened.workshop)
    found = [f for j in kit.joints for f in j.findings if f.check == "joint.tested"]
    assert [f.verdict for f in found] == ["caution"] and "resin" in found[0].advice
