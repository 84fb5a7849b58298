"""The page's server: who may talk to it, what it writes, and that it survives what goes wrong. HTTP semantics: RFC 9110."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from condyle.atlas.app import create_app
from condyle.atlas.uploads import tame_name
from condyle.errors import InputError
from tests.cli.figures import bar_figure, bar_stl

TOKEN = "a-token-of-this-test"
HOST = "127.0.0.1:8123"


def client_of(path: Path) -> TestClient:
    app = create_app(path, path.parent / "kit", TOKEN, frozenset({HOST}))
    return TestClient(app, base_url=f"http://{HOST}", headers={"Authorization": f"Bearer {TOKEN}"})


@pytest.fixture
def figure(tmp_path):
    return bar_figure(tmp_path / "bar")


@pytest.fixture
def client(figure):
    with client_of(figure) as made:
        yield made


def until_idle(client, limit_s=120.0):
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        state = client.get("/api/state").json()
        if state["job"] is None:
            return state
        time.sleep(0.1)
    raise AssertionError("the job does not end")


@pytest.mark.parametrize(
    ("headers", "status", "code"),
    [
        ({"Authorization": ""}, 401, "atlas.token"),
        ({"Authorization": "Bearer wrong"}, 401, "atlas.token"),
        ({"Authorization": f"Basic {TOKEN}"}, 401, "atlas.token"),
        ({"Host": "figures.example:8123"}, 421, "atlas.host"),
        ({"Origin": "http://figures.example"}, 403, "atlas.origin"),
        ({"Origin": "null"}, 403, "atlas.origin"),
    ],
)
def test_strangers_are_turned_away(client, headers, status, code):
    answer = client.get("/api/state", headers=headers)
    assert answer.status_code == status
    assert answer.json()["code"] == code


def test_every_answer_forbids_other_hosts_and_framing(client):
    for path in ("/api/state", "/page/none.js", "/api/nothing"):
        policy = client.get(path).headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "connect-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy


def test_an_edit_keeps_the_makers_comments_and_makes_the_joint_theirs(client, figure):
    state = client.get("/api/state").json()
    answer = client.post(
        "/api/edit",
        json={
            "base": state["revision"],
            "changes": [{"path": ["joints", "middle", "centre"], "value": [0.0, 0.0, 36.5]}],
        },
    )
    assert answer.status_code == 200, answer.text
    text = figure.read_text()
    assert "[joints.middle]  # mine" in text
    assert "36.5" in text
    (joint,) = answer.json()["joints"]
    assert (joint["centre"], joint["source"]) == ([0.0, 0.0, 36.5], "hand")


def test_an_edit_that_would_spoil_the_file_is_refused_whole(client, figure):
    before = figure.read_text()
    state = client.get("/api/state").json()
    changes = [
        {"path": ["joints", "middle", "size"], "value": 8.0},
        {"path": ["joints", "middle", "kind"], "value": "magic"},
    ]
    answer = client.post("/api/edit", json={"base": state["revision"], "changes": changes})
    assert answer.status_code == 422
    assert answer.json()["place"].startswith(str(figure))
    assert figure.read_text() == before


def test_two_pages_do_not_fight(client):
    base = client.get("/api/state").json()["revision"]
    change = {"path": ["joints", "middle", "size"], "value": 8.0}
    assert client.post("/api/edit", json={"base": base, "changes": [change]}).status_code == 200
    late = client.post("/api/edit", json={"base": base, "changes": [{**change, "value": 7.0}]})
    assert late.status_code == 409
    assert late.json()["code"] == "atlas.moved_on"


def test_changes_are_taken_back_also_tomorrow(figure):
    first = figure.read_text()
    with client_of(figure) as client:
        base = client.get("/api/state").json()["revision"]
        change = {"path": ["joints", "middle", "size"], "value": 8.0}
        base = client.post("/api/edit", json={"base": base, "changes": [change]}).json()["revision"]
    with client_of(figure) as client:
        state = client.post("/api/undo", json={"base": base}).json()
        assert figure.read_text() == first
        assert (state["can_undo"], state["can_redo"]) == (False, True)
        client.post("/api/redo", json={"base": state["revision"]})
        assert "size = 8.0" in figure.read_text()


def test_what_an_editor_writes_is_seen_and_can_be_taken_back(client, figure):
    first = figure.read_text()
    figure.write_text(first.replace("height_mm = 70.0", "height_mm = 71.0"))
    end = time.monotonic() + 20
    while time.monotonic() < end:
        state = client.get("/api/state").json()
        if state["height_mm"] == 71.0 and state["can_undo"]:
            break
        time.sleep(0.1)
    client.post("/api/undo", json={"base": state["revision"]})
    assert figure.read_text() == first


def test_a_mistake_in_the_file_is_told_with_its_line_and_the_page_lives_on(client, figure):
    text = figure.read_text()
    figure.write_text(text + "\n[workshop]\nprinter = 7\n")
    state = client.get("/api/state").json()
    assert "line" in state["trouble"]["place"]
    figure.write_text(text)
    assert client.get("/api/state").json()["trouble"] is None


def test_from_a_dropped_sculpt_to_a_kit_and_back(tmp_path):
    path = bar_figure(tmp_path / "bar")
    with client_of(path) as client:
        until_idle(client)
        assert client.post("/api/make").status_code == 200
        state = until_idle(client)
        assert (state["stage"], state["fresh"], state["trouble"]) == ("made", True, None)
        assert [p["name"] for p in state["parts"]] == ["lower", "upper"]
        assert client.get("/api/scene/figure.glb").content[:4] == b"glTF"
        told = client.get("/api/file/parts/lower.stl")
        assert told.content == (path.parent / "kit/parts/lower.stl").read_bytes()
        for wrong in ("../figure.toml", "%2e%2e/figure.toml", "parts/../../figure.toml", "nothing"):
            assert client.get(f"/api/file/{wrong}").status_code in (404, 422)
        assert client.post("/api/look").status_code == 200
        until_idle(client)
        cut = client.get("/api/section", params={"centre": "0,0,35", "along": "0,0,1"}).json()
        assert cut["depth_mm"] == pytest.approx(10.0, abs=0.3)
        assert client.post("/api/tick", json={"part": "lower", "step": "sanded", "done": True}).status_code == 200
        assert (
            client.post("/api/attempt", json={"parts": ["lower"], "how": "warped"}).json()[0]["state"] == "print again"
        )
        change = {"path": ["joints", "middle", "size"], "value": 8.0}
        state = client.post("/api/edit", json={"base": state["revision"], "changes": [change]}).json()
        assert state["fresh"] is False


def test_a_worker_that_dies_is_told_and_work_goes_on(client):
    client.post("/api/make")
    desk = client.app.state.desk
    os.kill(desk._worker._process.pid, signal.SIGKILL)
    state = until_idle(client)
    assert state["trouble"]["code"] == "worker.crashed"
    client.post("/api/make")
    assert until_idle(client)["trouble"] is None


def test_work_is_cancelled_at_once_and_only_one_job_runs(client):
    client.post("/api/make")
    assert client.post("/api/make").json()["code"] == "atlas.busy"
    client.post("/api/cancel")
    state = until_idle(client, 20.0)
    assert state["trouble"]["code"] == "worker.lost"
    assert state["stage"] == "seated"


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("diver.stl", "diver.stl"),
        ("../../etc/My Diver (final).STL", "My-Diver-final.stl"),
        ("C:\\sculpts\\diver.obj", "diver.obj"),
        (".stl.stl", "stl.stl"),
        ("nul\x00\n.ply", "nul.ply"),
    ],
)
def test_names_of_uploads_are_tamed(name, kept):
    assert tame_name(name) == kept


@pytest.mark.parametrize("name", ["figure.toml", "record.sqlite", "sculpt", "x.stl.exe", "..", ""])
def test_what_is_no_sculpt_is_not_taken(name):
    with pytest.raises(InputError):
        tame_name(name)


def test_an_upload_is_kept_whole_beside_the_figure(client, figure):
    answer = client.post("/api/sculpt", params={"name": "../new bar.stl"}, content=bar_stl())
    assert answer.json() == {"sculpt": "new-bar.stl"}
    assert (figure.parent / "new-bar.stl").read_bytes() == bar_stl()
    assert client.post("/api/sculpt", params={"name": "empty.stl"}, content=b"").json()["code"] == "upload.empty"
    assert not list(figure.parent.glob(".upload-*"))


def test_the_api_that_the_page_was_written_against_is_the_servers(tmp_path):
    web = Path(__file__).parents[2] / "web"
    app = create_app(tmp_path / "figure.toml", tmp_path / "kit", TOKEN, frozenset({HOST}))
    assert json.loads((web / "openapi.json").read_text()) == json.loads(json.dumps(app.openapi()))


def test_the_types_of_the_page_are_made_from_that_api(tmp_path):
    web = Path(__file__).parents[2] / "web"
    tool = web / "node_modules" / "openapi-typescript" / "bin" / "cli.js"
    if not tool.is_file() or shutil.which("node") is None:
        pytest.skip("Node or its packages are not there (make page)")
    fresh = tmp_path / "api-types.ts"
    subprocess.run(["node", str(tool), str(web / "openapi.json"), "-o", str(fresh)], check=True, capture_output=True)
    assert fresh.read_text() == (web / "src" / "api-types.ts").read_text()


def test_an_upload_that_never_ends_leaves_nothing(client, figure, monkeypatch):
    monkeypatch.setattr("condyle.atlas.uploads.MOST_BYTES", 1000)
    told = client.post("/api/sculpt", params={"name": "endless.stl"}, content=bytes(5000)).json()
    assert told["code"] == "upload.too_long"
    assert not (figure.parent / "endless.stl").exists()
    assert not list(figure.parent.glob(".upload-*"))


@pytest.mark.parametrize("name", ["noise.stl", "noise.glb", "noise.3mf", "noise.obj"])
def test_what_only_calls_itself_a_sculpt_is_refused_and_the_figure_stays(client, figure, name):
    until_idle(client)
    before = figure.read_text()
    noise = b"PK\x03\x04" + bytes(range(256)) * 20
    assert client.post("/api/sculpt", params={"name": name}, content=noise).status_code == 200
    begun = client.post("/api/begin", json={"sculpt": name, "height_mm": 70.0, "skeleton": "skeleton.toml"})
    assert begun.status_code == 200
    state = until_idle(client)
    assert state["trouble"] is not None
    assert state["trouble"]["code"] != "internal.unexpected", state["trouble"]
    assert figure.read_text() == before
    assert state["stage"] == "seated"


def test_a_skeleton_that_is_not_beside_the_figure_is_refused(client, figure):
    assert client.get("/api/state").json()["skeletons"] == ["upright", "fourfoot", "skeleton.toml"]
    for name in ("../skeleton.toml", "/etc/passwd.toml", "figure.toml", "nobody"):
        ask = {"sculpt": "bar.stl", "height_mm": 70.0, "skeleton": name}
        assert client.post("/api/begin", json=ask).json()["code"] == "atlas.skeleton"
