"""The sculptor's guide: files at true scale, and a sculpt made around it that gets exactly its centres."""

from __future__ import annotations

import io
import json
import struct
from dataclasses import replace
from functools import cache
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from condyle.cli.main import main
from condyle.export.guide_files import guide_files
from condyle.figure.guide import Guide, sculptors_guide
from condyle.figure.intake import IntakeWanted
from condyle.figure.layfigure import lay_figure
from condyle.figure.parting import part
from condyle.figure.skeleton import Skeleton
from condyle.figure.skeleton_file import load_template
from condyle.geometry.formats import stl_bytes
from condyle.geometry.solid import Solid, union
from condyle.joints.stock import stock_of
from condyle.project.pipeline import open_figure, seat_joints, take_in_sculpt
from condyle.project.sculpt import load_sculpt
from condyle.project.watch import Watch
from condyle.workshop.bench import load_workshop

WORKSHOP = load_workshop()


@cache
def guide() -> Guide:
    skeleton = load_template("upright")
    lay = lay_figure(skeleton, 150.0, WORKSHOP.fits, stock_of(WORKSHOP), limb="arm_left")
    return sculptors_guide(lay, WORKSHOP)


def nodes(glb: bytes) -> dict[str, dict]:  # type: ignore[type-arg]
    """The nodes of a GLB by name, read by the letter of the format: 12 bytes of header, then the JSON chunk."""
    (length,) = struct.unpack_from("<I", glb, 12)
    return {n["name"]: n for n in json.loads(glb[20 : 20 + length])["nodes"]}


def test_the_files_hold_every_object_at_true_scale() -> None:
    made = guide()
    files = guide_files(made)
    assert files == guide_files(made)
    joints = ["shoulder_left", "biceps_left", "elbow_left", "wrist_left"]
    assert [j.name for j in made.joints] == joints and made.refused == ()
    scene = trimesh.load(io.BytesIO(files["guide.obj"]), file_type="obj", split_object=True, group_material=False)
    names = {line[2:] for line in files["guide.obj"].decode().splitlines() if line.startswith("o ")}
    assert names >= {f"mark:{n}" for n in joints} | {f"hardware:{n}" for n in joints} | {f"cavity:{n}" for n in joints}
    assert names >= {"flesh:upper_arm_left", "flesh:elbow_left_link", "sweep:elbow_left"}
    # Skeleton in mm: shoulder at 0.818 of 150; its mark reaches 6 mm along the limb. OBJ and STL in mm, GLB in metres.
    bounds = scene.bounds
    assert bounds[1][2] - bounds[0][2] > 20.0
    for kind in ("flesh", "hardware", "cavity", "sweep", "mark"):
        judge = trimesh.load(io.BytesIO(files[f"guide-{kind}.stl"]), file_type="stl")
        assert judge.is_watertight, kind
    found = nodes(files["guide.glb"])
    assert found["guide"]["scale"] == [0.001] * 3
    for joint in made.joints:
        assert found[f"joint:{joint.name}"]["translation"] == [float(v) for v in joint.frame.origin]


def test_flesh_covers_its_hardware() -> None:
    """What is added to the parts lies inside the least flesh, all of it."""
    made = guide()
    flesh = union(list(made.flesh.values()), "flesh")
    assert set(made.flesh) == {
        "chest",
        "shoulder_left",
        "upper_arm_left",
        "elbow_left_link",
        "forearm_left",
        "hand_left",
    }
    for joint in made.joints:
        added = made.hardware[joint.name]
        assert (added._body - flesh._body).volume() < 1e-4 * added.volume_mm3, joint.name


def test_the_elbows_sweep_is_the_wanted_arc() -> None:
    """The forearm's own flesh, from 17 mm on, turned by hand through the wanted 0 to 150 degrees: the sweep holds it at every
    angle, holds less than half of it 11 degrees further, and is no more than 3 % larger than all of these together."""
    made = guide()
    elbow = next(j for j in made.joints if j.name == "elbow_left")
    assert elbow.spec.wanted["flex"] == (0.0, 150.0) and elbow.rest["flex"] == 0.0
    home = -elbow.frame.origin
    near = m3.Manifold.sphere(17.0, 96)
    forearm, held = (s._body.translate(home) - near for s in (made.flesh["forearm_left"], made.sweeps["elbow_left"]))

    def turned(angle: float) -> m3.Manifold:
        turn = Rotation.from_rotvec(np.radians(angle) * np.array(elbow.axes["flex"])).as_matrix()
        return forearm.transform(np.column_stack([turn, np.zeros(3)]))

    assert forearm.volume() > 200.0
    for angle in (0.0, 20.0, 75.0, 110.0, 150.0):
        assert (turned(angle) - held).volume() < 0.01 * forearm.volume(), angle
    for angle in (-11.0, 161.0):
        assert (turned(angle) - held).volume() > 0.5 * forearm.volume(), angle
    together = m3.Manifold.batch_boolean([turned(a) for a in np.arange(0.0, 150.1, 3.0)], m3.OpType.Add)
    assert held.volume() == pytest.approx(together.volume(), rel=0.03)


def all_built(sculpt: Solid, skeleton: Skeleton, made: Guide) -> None:
    """Cut by the code that cuts any sculpt: every joint, of the guide's kind and size, at its very centre."""
    joints = [replace(j, source="hand") for j in made.joints]
    kit = part(sculpt, skeleton, joints, WORKSHOP)
    assert [j.name for j in kit.joints if not j.built] == []
    told = {j.name: j for j in made.joints}
    links = [j for j in made.joints if j.spec.kind == "double_hinge"]
    # A small ball may come on a stud of its own, whose peg is a joint more.
    assert len(kit.parts) == len(kit.joints) + len(links) + 1
    for joint in (j for j in kit.joints if j.name in told):
        spec = told[joint.name].spec
        assert (joint.seated.spec.kind, joint.size_mm) == (spec.kind, spec.size)
        assert joint.seated.frame.origin.tolist() == told[joint.name].frame.origin.tolist()


def test_the_least_flesh_as_its_file_holds_it_is_enough_to_be_cut(tmp_path: Path) -> None:
    """guide-flesh.stl read back and cut as if it were the sculpt; with one joint's flesh thinner by 0.7 mm that joint is lost."""
    made = guide()
    skeleton = lay_figure(load_template("upright"), 150.0, WORKSHOP.fits, stock_of(WORKSHOP), limb="arm_left").skeleton
    (tmp_path / "flesh.stl").write_bytes(guide_files(made)["guide-flesh.stl"])
    flesh = load_sculpt([tmp_path / "flesh.stl"]).take_in(IntakeWanted(150.0, up="z", facing="x", true_size=True)).solid
    all_built(flesh, skeleton, made)
    wrist = next(j for j in made.joints if j.name == "wrist_left")
    around = flesh._body ^ m3.Manifold.sphere(9.0, 96).translate(wrist.frame.origin)
    core = m3.Manifold.cylinder(30.0, 2.4, circular_segments=64, center=True).transform(wrist.frame.matrix[:3])
    thin = Solid(flesh._body - (around - core))
    kit = part(thin, skeleton, [replace(j, source="hand") for j in made.joints], WORKSHOP)
    assert [j.name for j in kit.joints if not j.built] == ["wrist_left"]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["upright", "fourfoot"])
def test_the_least_flesh_of_a_whole_figure_is_enough_to_be_cut(name: str) -> None:
    skeleton = load_template(name)
    made = sculptors_guide(lay_figure(skeleton, skeleton.height_mm, WORKSHOP.fits, stock_of(WORKSHOP)), WORKSHOP)
    assert made.refused == () and len(made.joints) == len(skeleton.joints)
    all_built(union(list(made.flesh.values()), "flesh"), skeleton, made)


@pytest.mark.parametrize("how", [{"limb": "arm_left"}, {"only": ("elbow_left",)}, {"only": ("hip_left", "thigh_left")}])
def test_a_limbs_flesh_stays_where_its_forms_are(how: dict[str, object]) -> None:
    """Least flesh and sweeps of a limb by itself: within the box of its own forms, and in reach of its joints."""
    lay = lay_figure(load_template("upright"), 150.0, WORKSHOP.fits, stock_of(WORKSHOP), **how)  # type: ignore[arg-type]
    made = sculptors_guide(lay, WORKSHOP)
    low, high = np.array([s.bounds for s in lay.bones.values()])[:, 0].min(0), lay.sculpt.bounds[1]
    for bone, flesh in made.flesh.items():
        assert (flesh.bounds[0] > low - 4.0).all() and (flesh.bounds[1] < high + 4.0).all(), bone
    for joint, sweep in made.sweeps.items():
        spec = next(j for j in lay.joints if j.name == joint)
        reach = np.linalg.norm(sweep.mesh.vertices - spec.frame.origin, axis=1).max()
        child = lay.bones[spec.spec.child].mesh.vertices
        assert reach < np.linalg.norm(child - spec.frame.origin, axis=1).max() + 5.0, joint


def test_a_sculpt_around_the_guide_gets_exactly_its_centres(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A stouter arm of other proportions, in mm, a foot's breadth off the ground: no seating, and the guide's centres."""
    code = main(["layfigure", "upright", "--guide", "--limb", "arm_left", "--out", str(tmp_path / "guide")])
    capsys.readouterr()
    assert code == 0
    skeleton = load_template("upright")
    stout = replace(skeleton, joints=tuple(replace(j, thick=1.12 * (j.thick or 0.04)) for j in skeleton.joints))
    sculpt = lay_figure(stout, 150.0, WORKSHOP.fits, stock_of(WORKSHOP), limb="arm_left").sculpt
    (tmp_path / "guide" / "sculpt.stl").write_bytes(stl_bytes(sculpt.mesh))
    marks = nodes((tmp_path / "guide" / "guide.glb").read_bytes())
    opened = open_figure(tmp_path / "guide" / "figure.toml", keep=False)
    taken = take_in_sculpt(opened, Watch())
    assert np.allclose(taken.intake.report.transform, np.eye(4), atol=0.0)
    joints, findings = seat_joints(opened, taken, Watch())
    assert findings == () and [j.source for j in joints] == ["hand"] * 4
    kit = part(taken.intake.solid, opened.skeleton, joints, opened.workshop)
    assert all(j.built for j in kit.joints)
    told = {j.name: j for j in guide().joints}
    for joint in kit.joints:
        centre = [float(v) for v in joint.seated.frame.origin]
        assert centre == marks[f"joint:{joint.name}"]["translation"]
        assert joint.size_mm == told[joint.name].spec.size


def test_a_figure_file_that_stands_there_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call = ["layfigure", "upright", "--guide", "--joint", "wrist_left", "--out", str(tmp_path)]
    assert main(call) == 0
    own = (tmp_path / "figure.toml").read_text() + "\n# mine\n"
    (tmp_path / "figure.toml").write_text(own)
    assert main(call) == 0
    assert (tmp_path / "figure.toml").read_text() == own
    (tmp_path / "thin.toml").write_text('schema = 1\nname = "thin"\ninherits = "upright"\n')
    small = ["layfigure", str(tmp_path / "thin.toml"), "--guide", "--joint", "wrist_left", "--height", "30"]
    assert main([*small, "--out", str(tmp_path / "small")]) == 1  # a joint without room is a finding
    assert "no room for: wrist_left" in capsys.readouterr().out
    (tmp_path / "else").mkdir()
    (tmp_path / "else" / "letter.txt").write_text("dear")
    assert main([*call[:-1], str(tmp_path / "else")]) == 2
    capsys.readouterr()
