"""The sculptor's guide: files at true scale, and a sculpt made around it that gets exactly its centres."""

from __future__ import annotations

import io
import json
import struct
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh

from condyle.cli.main import main
from condyle.export.guide_files import guide_files
from condyle.figure.guide import Guide, sculptors_guide
from condyle.figure.layfigure import lay_figure
from condyle.figure.parting import part
from condyle.figure.skeleton_file import load_template
from condyle.geometry.formats import stl_bytes
from condyle.joints.stock import stock_of
from condyle.project.pipeline import open_figure, seat_joints, take_in_sculpt
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
    """What is added lies inside the least flesh, but for what stands in the kerf and in the other side's cavity."""
    made = guide()
    for joint in made.joints:
        spec = joint.spec
        flesh = made.flesh[spec.parent]._body + made.flesh[spec.child]._body + made.cavities[joint.name]._body
        if f"{joint.name}_link" in made.flesh:
            flesh = flesh + made.flesh[f"{joint.name}_link"]._body
        added = made.hardware[joint.name]
        assert (added._body ^ flesh).volume() > 0.7 * added.volume_mm3, joint.name


def test_the_elbows_sweep_is_the_wanted_arc() -> None:
    """Every point of the sweep lies within the forearm's reach of the elbow, and the arc spans the wanted 150 degrees."""
    made = guide()
    elbow = next(j for j in made.joints if j.name == "elbow_left")
    local = elbow.frame.to_local(made.sweeps["elbow_left"].mesh.vertices)
    angles = np.degrees(np.arctan2(-local[:, 1], local[:, 2]))  # right-handed about x, from z
    assert angles.max() == pytest.approx(150.0, abs=30.0) and angles.min() > -30.0
    assert np.linalg.norm(local, axis=1).max() < 0.145 * 150.0 + 6.0


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
        assert reach < np.linalg.norm(child - spec.frame.origin, axis=1).max() + 4.0, joint


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
