"""Plates of a small kit, and what has to be printed again gathered on one, judged by lib3mf and shapely."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import lib3mf
import numpy as np
import pytest
from shapely.geometry import MultiPoint

from condyle.geometry.formats import read_scene_bytes
from condyle.geometry.frame import Frame
from condyle.geometry.mesh import Mesh
from condyle.geometry.sections import section
from condyle.project.bench_sheet import read_sheet
from tests.cli.figures import bar_figure, call, tree

pytestmark = pytest.mark.slow  # one small kit is made


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A bar of two parts and its kit."""
    from condyle.cli.main import main

    folder = tmp_path_factory.mktemp("builds")
    path = bar_figure(folder / "bar")
    assert main(["make", str(path), "--out", str(folder / "kit")]) in (0, 1)
    return path, folder / "kit"


@pytest.fixture
def bench(made: tuple[Path, Path], tmp_path: Path) -> tuple[Path, Path]:
    """A copy of both, to work in."""
    shutil.copytree(made[0].parent, tmp_path / "bar")
    shutil.copytree(made[1], tmp_path / "kit")
    return tmp_path / "bar" / made[0].name, tmp_path / "kit"


def bodies(path: Path) -> dict[str, Mesh]:
    return {m.name: m.mesh for m in read_scene_bytes(path.read_bytes(), path.name).meshes}


def stl(path: Path) -> Mesh:
    """A file of triangles with its equal corners merged, as any reader would."""
    loose = read_scene_bytes(path.read_bytes(), path.name).merged()
    corners, at = np.unique(loose.vertices, axis=0, return_inverse=True)
    return Mesh(corners, at.reshape(-1)[loose.faces].astype(np.int32))


def at_height(mesh: Mesh, z: float) -> float:
    return section(mesh, Frame(np.zeros(3), np.eye(3)), z).area_mm2


def test_edges_on_the_plate_are_drawn_in_as_far_as_the_first_layers_spread(made):
    """The bar stands on a round foot of 10 mm radius or lies: either way its first layer is smaller than the one above it
    by the printer's spread all around (0.15 mm on the usual card), and whole from the third layer on."""
    _, kit = made
    printed = {p["name"]: p for p in json.loads((kit / "details" / "print.json").read_text())["parts"]}
    for path in sorted((kit / "builds").glob("*.3mf")):
        for name, mesh in bodies(path).items():
            turned = stl(kit / "parts" / f"{name}.stl").transformed(np.array(printed[name]["transform"]))
            first = [at_height(m, 0.1) for m in (turned, mesh)]
            third = [at_height(m, 0.5) for m in (turned, mesh)]
            round_it = section(turned, Frame(np.zeros(3), np.eye(3)), 0.1).offset(-0.15).area_mm2
            assert first[1] == pytest.approx(round_it, rel=0.02)
            assert first[1] < first[0]
            assert third[1] == pytest.approx(third[0], rel=1e-3)


def test_what_failed_is_gathered_on_one_plate(bench, capsys):
    figure, kit = bench
    for name in ("lower", "upper"):
        assert call(capsys, "log", figure, name, "--failed", "warped").code == 0
    told = call(capsys, "log", figure, "--gather", kit)
    assert told.code == 0, told.err
    assert "again-01.3mf" in told.out
    # lib3mf, the 3MF consortium's own reader, finds no fault.
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer((kit / "builds" / "again-01.3mf").read_bytes())
    assert reader.GetWarningCount() == 0
    again = bodies(kit / "builds" / "again-01.3mf")
    assert set(again) == {"lower", "upper"}
    lay = {n: m for p in sorted((kit / "builds").glob("build-*.3mf")) for n, m in bodies(p).items()}
    plate = read_sheet(figure).part("lower").stand.plate_mm
    for name, mesh in again.items():
        # The same body, the same way up: its height and volume are those that the kit's own plate holds.
        assert mesh.volume_mm3 == pytest.approx(lay[name].volume_mm3, rel=1e-4)
        assert np.ptp(mesh.vertices[:, 2]) == pytest.approx(np.ptp(lay[name].vertices[:, 2]), abs=1e-3)
        low, high = mesh.bounds
        assert low[2] == pytest.approx(0.0, abs=1e-4) and (low[:2] >= 4.0).all() and (high <= plate).all()
    hulls = [MultiPoint(m.vertices[:, :2]).convex_hull for m in again.values()]
    assert hulls[0].distance(hulls[1]) >= 2.0
    # Its plate can be logged by its name.
    assert call(capsys, "log", figure, "--build", "again-01", "--printed").code == 0
    assert json.loads(call(capsys, "log", figure, "--json").out)["print_again"] == []


def test_the_same_parts_give_the_same_bytes_and_old_plates_go(bench, capsys):
    figure, kit = bench
    before = tree(kit)
    assert call(capsys, "log", figure, "upper", "--gather", kit).code == 0
    once = tree(kit)
    assert set(once) - set(before) == {"builds/again-01.3mf"}
    assert call(capsys, "log", figure, "upper", "--gather", kit).code == 0
    assert tree(kit) == once
    (kit / "builds" / "again-02.3mf").write_bytes(b"of an older set")
    assert call(capsys, "log", figure, "upper", "--gather", kit).code == 0
    assert tree(kit) == once
    # Nothing failed: nothing is to be printed again, and what was gathered goes.
    told = call(capsys, "log", figure, "--gather", kit)
    assert told.code == 0 and "Nothing" in told.out
    assert tree(kit) == before


def test_another_kit_is_refused_and_nothing_changes(bench, capsys):
    figure, kit = bench
    stl = kit / "parts" / "upper.stl"
    stl.write_bytes(stl.read_bytes()[:-1] + b"\x01")
    before = tree(kit)
    told = call(capsys, "log", figure, "lower", "upper", "--gather", kit)
    assert told.code == 3 and "again.kit" in told.err and "upper" in told.err
    assert tree(kit) == before
    assert call(capsys, "log", figure, "nose", "--gather", kit).code == 2
    assert call(capsys, "log", figure, "lower", "--gather", kit.parent / "none").code == 3
    assert tree(kit) == before


def test_a_write_that_fails_leaves_the_builds_alone(bench, capsys, monkeypatch):
    figure, kit = bench
    before = tree(kit)

    def full(self: Path, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    told = call(capsys, "log", figure, "upper", "--gather", kit)
    assert told.code == 3 and "out.unwritable" in told.err
    assert tree(kit) == before
    assert sorted(p.name for p in kit.parent.iterdir()) == ["bar", "kit"]


def test_the_triage_is_given_every_measure_of_both_sides_of_a_joint(made):
    """A joint that closes as printed is evidence at each of its parts; feet of supports hold a part as its first layer does."""
    figure, kit = made
    printed = {p["name"]: p for p in json.loads((kit / "details" / "print.json").read_text())["parts"]}
    for name in ("lower", "upper"):
        measures = read_sheet(figure).part(name).measures
        assert set(measures) == {"island", "support", "contact", "slender", "thin", "gap"}
        feet = sum(c["stands_on"] == "plate" and c["foot"] == "plate" for c in printed[name]["columns"])
        # Columns of two lines of 0.45 mm, as the usual card has it.
        assert measures["contact"].measured == pytest.approx(printed[name]["contact_mm2"] + 0.81 * feet, abs=0.01)
