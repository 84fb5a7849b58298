"""Forward kinematics, against the glTF file of the kit as an independent scene graph walks it, and against plain facts."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from stickfigure import stick_figure

from condyle.errors import UsageError
from condyle.export import kit_files
from condyle.figure.kit import Kit
from condyle.figure.pose import Pose, between, forward, ground, swapped
from condyle.figure.skeleton import MOTIONS

# glTF's axes are figure coordinates turned: figure x, y, z lie along glTF z, x, y (glTF 2.0, 3.4: y up, +z forward).
_TO_FIGURE = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
angle = st.floats(-80.0, 80.0)


def by_scene_graph(kit: Kit, pose: Pose) -> dict[str, np.ndarray]:
    """The vertices of every part in the pose: the written GLB, loaded by trimesh, its joint nodes turned by quaternions
    that scipy makes of rotation vectors; trimesh multiplies the chain."""
    scene = trimesh.load(io.BytesIO(kit_files(kit).files["figure.glb"]), file_type="glb")
    graph = scene.graph
    for joint in kit.joints:
        axes = {m: np.array(a) for m, a in joint.seated.axes.items()}
        asked, rest = pose.angles.get(joint.name, {}), joint.seated.rest

        def turn(angles, axes=axes):
            swing = Rotation.from_rotvec(
                sum((angles.get(m, 0.0) * axes[m] for m in ("flex", "abduct") if m in axes), np.zeros(3)), degrees=True
            )
            twist = Rotation.from_rotvec(angles.get("twist", 0.0) * axes.get("twist", np.zeros(3)), degrees=True)
            return swing * twist

        whole = turn(rest).inv() * turn({**rest, **asked})
        nodes = [f"joint:{joint.name}"]
        if joint.seated.spec.kind == "double_hinge":
            nodes.insert(0, f"joint:{joint.name}_link")
            whole = Rotation.from_rotvec(whole.as_rotvec() / 2.0)
        for node in nodes:
            parent = graph.transforms.parents[node]
            local = graph.get(node, parent)[0].copy()
            local[:3, :3] = whole.as_matrix()
            graph.update(frame_to=node, frame_from=parent, matrix=local)
    out = {}
    for part in kit.parts:
        matrix, mesh = graph.get(f"part:{part.name}")
        points = trimesh.transform_points(scene.geometry[mesh].vertices, matrix)
        out[part.name] = 1000.0 * points @ _TO_FIGURE.T
    return out


@given(
    lean=st.floats(0.0, 50.0), flex=angle, abduct=angle, twist=angle, bend=st.floats(0.0, 140.0), nod=angle, look=angle
)
@settings(max_examples=12, deadline=None, derandomize=True)
def test_parts_lie_where_the_written_scene_graph_carries_them(lean, flex, abduct, twist, bend, nod, look) -> None:
    kit = stick_figure(lean)
    pose = Pose("any", {
        "shoulder_left": {"flex": flex, "abduct": abduct}, "biceps_left": {"twist": twist},
        "elbow_left": {"flex": bend}, "wrist_right": {"flex": nod}, "shoulder_right": {"abduct": abduct, "twist": look},
        "neck": {"flex": nod, "twist": look},
    })  # fmt: skip
    placed = forward(kit, pose)
    for name, points in by_scene_graph(kit, pose).items():
        m = placed[name]
        low, high = points.min(axis=0), points.max(axis=0)
        ours = kit.part(name).mesh.vertices @ m[:3, :3].T + m[:3, 3]
        np.testing.assert_allclose(low, ours.min(axis=0), atol=2e-4)  # the file is float32
        np.testing.assert_allclose(high, ours.max(axis=0), atol=2e-4)


def _end_of(kit: Kit, pose: Pose, name: str) -> np.ndarray:
    m = forward(kit, pose)[name]
    return np.asarray(kit.part(name).mesh.vertices.mean(axis=0) @ m[:3, :3].T + m[:3, 3])


@pytest.mark.parametrize("lean", [0.0, 20.0, 45.0])
@pytest.mark.parametrize("side", ["left", "right"])
def test_angles_count_from_the_hanging_arm_however_the_sculpt_holds_it(lean: float, side: str) -> None:
    """Plain geometry: an arm of known length that hangs, points ahead, or points aside."""
    kit = stick_figure(lean)
    s = 1.0 if side == "left" else -1.0
    shoulder, length = np.array([0.0, 12.0 * s, 60.0]), 44.0
    straight = {f"elbow_{side}": {"flex": 5.0}, f"wrist_{side}": {"flex": -3.0}}
    for angles, way in (
        ({"flex": 0.0, "abduct": 0.0}, (0, 0, -1)),
        ({"flex": 90.0, "abduct": 0.0}, (1, 0, 0)),
        ({"flex": 0.0, "abduct": 90.0}, (0, s, 0)),
        ({"flex": 180.0, "abduct": 0.0}, (0, 0, 1)),
    ):
        pose = Pose("way", {f"shoulder_{side}": angles, **straight})
        np.testing.assert_allclose(
            _end_of(kit, pose, f"hand_{side}"), shoulder + length * np.array(way, dtype=float), atol=1e-9
        )


def test_an_elbow_turns_half_on_either_axle() -> None:
    kit = stick_figure()
    placed = forward(kit, Pose("bent", {"elbow_left": {"flex": 95.0}}))
    turn = {n: Rotation.from_matrix(placed[n][:3, :3]).magnitude() for n in ("elbow_left_link", "fore_left")}
    assert np.degrees(turn["elbow_left_link"]) == pytest.approx(45.0)  # 90 from where the sculpt stands, at 5
    assert np.degrees(turn["fore_left"]) == pytest.approx(90.0)


def test_what_is_not_named_stays() -> None:
    kit = stick_figure(30.0)
    for pose in (Pose("none"), Pose("rest", {"shoulder_left": {"abduct": 30.0}, "elbow_left": {}})):
        for m in forward(kit, pose).values():
            np.testing.assert_allclose(m, np.eye(4), atol=1e-12)


def test_a_swapped_pose_is_the_mirror_image() -> None:
    kit = stick_figure(25.0)
    pose = Pose("one", {
        "shoulder_left": {"flex": 40.0, "abduct": 70.0, "twist": 15.0}, "elbow_right": {"flex": 80.0},
        "biceps_right": {"twist": -30.0}, "neck": {"flex": 10.0, "abduct": 20.0, "twist": 35.0},
    })  # fmt: skip
    flip = np.diag([1.0, -1.0, 1.0, 1.0])
    one, two = forward(kit, pose), forward(kit, swapped(pose))
    for name, m in one.items():
        other = name.replace("_left", "_?").replace("_right", "_left").replace("_?", "_right")
        np.testing.assert_allclose(flip @ m @ flip, two[other], atol=1e-9)
    again = swapped(swapped(pose))
    assert again.angles == pose.angles


def test_half_way_between_two_poses() -> None:
    kit = stick_figure()
    a, b = Pose("a", {"elbow_left": {"flex": 15.0}}), Pose("b", {"elbow_left": {"flex": 95.0}})
    np.testing.assert_allclose(
        forward(kit, between(a, b, 0.5, [j.seated for j in kit.joints]))["fore_left"],
        forward(kit, Pose("c", {"elbow_left": {"flex": 55.0}}))["fore_left"],
        atol=1e-12,
    )


def test_the_ground_is_under_the_lowest_point() -> None:
    kit = stick_figure()
    placed = forward(kit, Pose("up", {"shoulder_left": {"flex": 170.0}}))
    move = ground(kit, placed)
    low = min(trimesh.transform_points(p.mesh.vertices, move @ placed[p.name])[:, 2].min() for p in kit.parts)
    assert low == pytest.approx(0.0, abs=1e-9)
    assert (move[:3, :3] == np.eye(3)).all() and (move[:2, 3] == 0.0).all()


def test_words_that_no_joint_knows_are_refused() -> None:
    kit = stick_figure()
    with pytest.raises(UsageError, match="no joint tail"):
        forward(kit, Pose("x", {"tail": {"flex": 3.0}}))
    with pytest.raises(UsageError, match="double hinge cannot twist"):
        forward(kit, Pose("x", {"elbow_left": {"twist": 3.0}}))
    assert MOTIONS["peg"] == ()
