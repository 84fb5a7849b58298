"""A joint is moved and its parts follow at once: as the whole kit would come out, and measured by the same proofs.

The reference is the full parting of the same file, which shares the cut but neither the order of work nor what is kept.
"""

from __future__ import annotations

import os
import signal
import time

import numpy as np
import pytest

from condyle.atlas.jobs import perform
from condyle.atlas.live import follow, made_live
from condyle.atlas.worker import Order
from condyle.geometry.formats import stl_bytes
from condyle.geometry.primitives import box
from condyle.project.joints import wishes
from condyle.project.pipeline import cut_figure, open_figure, prove_figure, seat_joints, take_in_sculpt
from condyle.project.watch import Watch
from tests.atlas.test_server import client_of, until_idle
from tests.cli.figures import bar_figure

pytestmark = pytest.mark.slow


def moved(client, centre):
    base = client.get("/api/state").json()["revision"]
    change = {"path": ["joints", "middle", "centre"], "value": centre}
    return client.post("/api/edit", json={"base": base, "changes": [change]}).json()


def until_measured(client, limit_s=180.0):
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        state = client.get("/api/state").json()
        live = state["live"]
        if live and not live["working"]:
            assert live["trouble"] == ""
            if live["joints"]:
                return state
        time.sleep(0.1)
    raise AssertionError("the moved joint is not measured")


THREE = """\
schema = 1
name = "bar of three"
height_mm = 70
[bones.lower]
[bones.inner]
parent = "lower"
[bones.upper]
parent = "inner"
[joints.first]
kind = "ball"
parent = "lower"
child = "inner"
centre = [0.0, 0.0, 0.3]
wanted = { flex = [-20, 20] }
[joints.second]
kind = "ball"
parent = "inner"
child = "upper"
centre = [0.0, 0.0, 0.7]
wanted = { flex = [-20, 20] }
"""


def test_where_a_joint_is_refused_its_neighbour_joins_the_two_bones_as_one_part(tmp_path):
    path = bar_figure(tmp_path / "bar")
    (path.parent / "skeleton.toml").write_text(THREE)
    text = path.read_text().replace("[joints.middle]  # mine", "[joints.first]").replace("35.0]", "20.0]")
    second = text[text.index("[joints.first]") :].replace("first", "second").replace("20.0]", "50.0]")
    path.write_text(text + "\n" + second)
    live = made_live(path, Watch())
    assert [p.name for p in live.kit.parts] == ["lower", "inner", "upper"]
    volumes = {p.name: p.solid.volume_mm3 for p in live.kit.parts}
    told = []
    good = path.read_text()
    path.write_text(good.replace("[joints.first]", "[joints.first]\nsize = 25.0"))
    assert follow(live, path, Watch(), lambda kind, value: told.append((kind, value))) == ["first"]
    assert sorted(p.name for p in live.kit.parts) == ["lower", "upper"]
    assert [(j.name, j.built) for j in live.kit.joints] == [("first", False), ("second", True)]
    assert (live.kit.joints[1].axles[0].stays, live.kit.joints[1].axles[0].moves) == ("lower", "upper")
    assert [v["gone"] for kind, v in told if kind == "live"][-1] == ["inner"]
    assert next(v for kind, v in told if kind == "scene")[:4] == b"glTF"
    path.write_text(good)
    assert follow(live, path, Watch(), lambda kind, value: None) == ["first"]
    assert {p.name: p.solid.volume_mm3 for p in live.kit.parts} == pytest.approx(volumes, rel=1e-6)
    axle = live.kit.joints[1].axles[0]
    assert (axle.stays, axle.moves) == ("inner", "upper")


WORN = """
[pieces.badge]
file = "badge.stl"
bone = "upper"
how = "pegged"

[grips.upper]
handle_mm = 3.0
point = [0.0, 0.0, 62.0]
axis = [0.0, 1.0, 0.0]
"""


def test_stud_piece_and_grip_are_fitted_again_to_what_was_cut(tmp_path):
    path = bar_figure(tmp_path / "bar")
    (path.parent / "badge.stl").write_bytes(stl_bytes(box((8.0, -4.0, 44.0), (13.0, 4.0, 54.0)).mesh))
    path.write_text(path.read_text() + 'insert = "stud"\n' + WORN)
    live = made_live(path, Watch())
    names = {p.name for p in live.kit.parts}
    assert names == {"lower", "upper", "middle_stud", "badge"}
    told = []
    path.write_text(path.read_text().replace("centre = [0.0, 0.0, 35.0]", "centre = [0.0, 0.0, 37.0]"))
    assert follow(live, path, Watch(), lambda kind, value: told.append((kind, value))) == ["middle"]
    last = [value for kind, value in told if kind == "live"][-1]
    assert last["measured"] == ["fit", "wall", "move"]
    assert set(last["also"]) == {"middle_peg", "badge_seat"}

    opened = open_figure(path, keep=False)
    taken = take_in_sculpt(opened, Watch())
    joints, _ = seat_joints(opened, taken, Watch())
    whole, _ = cut_figure(opened, taken, joints, wishes(opened.document, opened.skeleton), Watch())
    volumes = {p.name: p.solid.volume_mm3 for p in whole.parts}
    assert {p.name: p.solid.volume_mm3 for p in live.kit.parts} == pytest.approx(volumes, rel=1e-5)
    ends = {j.name: [(a.moves, a.stays) for a in j.axles] for j in whole.joints}
    assert {j.name: [(a.moves, a.stays) for a in j.axles] for j in live.kit.joints} == ends


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = bar_figure(tmp_path_factory.mktemp("live") / "bar")
    path.write_text(path.read_text() + "\n[finish]\nlabels = false\n")  # codes are engraved when a whole kit is made
    perform(Order("make", path, path.parent / "kit", {}), Watch())
    return path


def test_a_moved_joints_parts_come_out_as_the_whole_kit_would(made):
    first = made.read_text()
    with client_of(made) as client:
        until_idle(client)
        before = client.get("/api/state").json()
        assert before["fresh"]
        assert before["live"] is None
        moved(client, [0.0, 0.0, 38.0])
        state = until_measured(client)
        assert not state["fresh"]
        assert state["live"]["joints"] == ["middle"]
        assert state["live"]["measured"]["middle"] == ["fit", "wall", "move"]
        assert client.get("/api/scene/live.glb").content[:4] == b"glTF"

        whole = prove_figure(made, Watch(), keep=False)
        volumes = {p["name"]: p["volume_mm3"] for p in state["parts"]}
        for part in whole.kit.parts:
            assert volumes[part.name] == pytest.approx(part.solid.volume_mm3, rel=1e-6)
        (joint,) = state["joints"]
        (built,) = whole.kit.joints
        assert joint["centre"] == pytest.approx(built.seated.frame.origin.tolist())
        assert joint["size"] == built.size_mm
        for motion, span in whole.proof.joints["middle"].reached.items():
            assert joint["reached"][motion] == pytest.approx(span, abs=0.1)
        asked = ("joint", "fit", "wall", "move")
        live = {(f["check"], f["verdict"]) for f in state["findings"] if f["subject"] in ("middle", "lower", "upper")}
        full = {(f.check, f.verdict) for f in whole.findings if f.subject in ("middle", "lower", "upper")}
        assert {f for f in live if f[0].split(".")[0] in asked} == {f for f in full if f[0].split(".")[0] in asked}

        # Taken back: the kit is of this file again, and nothing is laid over it.
        base = client.get("/api/state").json()["revision"]
        state = client.post("/api/undo", json={"base": base}).json()
        assert made.read_text() == first
        assert state["fresh"]
        assert np.allclose(state["joints"][0]["centre"], [0.0, 0.0, 35.0])


def test_a_joint_that_leaves_the_sculpt_is_told_and_the_next_move_is_followed(made):
    with client_of(made) as client:
        until_idle(client)
        moved(client, [40.0, 0.0, 36.0])
        end = time.monotonic() + 120
        while time.monotonic() < end:
            live = client.get("/api/state").json()["live"]
            if live and live["trouble"]:
                break
            time.sleep(0.1)
        assert "outside" in live["trouble"]
        moved(client, [0.0, 0.0, 36.0])
        assert until_measured(client)["live"]["joints"] == ["middle"]
        base = client.get("/api/state").json()["revision"]
        for _ in range(2):
            base = client.post("/api/undo", json={"base": base}).json()["revision"]


def test_the_hands_worker_may_die_and_the_next_move_is_followed(made):
    with client_of(made) as client:
        until_idle(client)
        client.post("/api/take-up", json={"joint": "middle"})
        hands = client.app.state.desk._hands
        os.kill(hands._worker._process.pid, signal.SIGKILL)
        end = time.monotonic() + 60
        while time.monotonic() < end:
            live = client.get("/api/state").json()["live"]
            if live and live["trouble"]:
                break
            time.sleep(0.1)
        assert "ended by itself" in live["trouble"]
        moved(client, [0.0, 0.0, 36.5])
        state = until_measured(client)
        assert state["joints"][0]["centre"] == [0.0, 0.0, 36.5]
        client.post("/api/undo", json={"base": state["revision"]})


def test_long_work_and_a_moving_hand_do_not_wait_for_each_other(made):
    with client_of(made) as client:
        until_idle(client)
        client.post("/api/make")
        assert client.post("/api/take-up", json={"joint": "middle"}).status_code == 200
        state = client.get("/api/state").json()
        assert state["job"]["kind"] == "make"
        assert state["live"]["working"]
        assert client.post("/api/take-up", json={"joint": "nobody"}).json()["code"] == "atlas.joint"
        client.post("/api/cancel")
        assert until_idle(client)["trouble"]["code"] == "worker.lost"
