"""The page's server as a target: one request a case, as JSON ``{"path": …, "body": …}``; without a body it is a GET.

Long work is not begun: what would begin it is answered and forgotten. After each case the figure file is as it was.
"""

from __future__ import annotations

import json
import tempfile
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from fastapi.testclient import TestClient

from condyle.atlas.app import create_app
from condyle.atlas.desk import Desk
from condyle.project.figure_file import read_figure
from tests.cli.figures import bar_figure

TOKEN, HOST = "a-token-of-this-test", "127.0.0.1:8123"
NOW = "the revision that stands"


@cache
def served() -> tuple[TestClient, Path, str]:
    """A client, the figure file, and its text. What the server raises comes through."""
    figure = bar_figure(Path(tempfile.mkdtemp(prefix="condyle-fuzz-")))
    app = create_app(figure, figure.parent / "kit", TOKEN, frozenset({HOST}))
    desk: Desk = app.state.desk
    desk.begin = lambda *_, **__: None  # type: ignore[method-assign]
    for name in ("take_up", "sizes", "follow", "begin_anew", "cancel"):
        setattr(desk._hands, name, lambda *_: None)
    headers = {"Authorization": f"Bearer {TOKEN}", "Content-Type": "application/json"}
    client = TestClient(app, base_url=f"http://{HOST}", headers=headers)
    return client, figure, figure.read_text(encoding="utf-8")


def seeds() -> list[bytes]:
    """One request of each kind."""
    edit = [{"path": ["joints", "middle", "size"], "value": 5.0}]
    asked: list[tuple[str, Any]] = [
        ("/api/state", None), ("/api/scene/figure.glb", None), ("/api/section?centre=0,0,35&along=0,0,1", None),
        ("/api/file/proof.json", None), ("/page/app.js", None), ("/", None), ("/api/cards", None), ("/api/sheets", None),
        ("/api/poses", None), ("/api/lying", None), ("/api/finish", None),
        ("/api/edit", {"base": NOW, "changes": edit}),
        ("/api/pose", {"base": NOW, "name": "bent", "joints": {"middle": {"flex": 10.0}}}),
        ("/api/undo", {"base": NOW}), ("/api/redo", {"base": NOW}), ("/api/make", {}),
        ("/api/begin", {"sculpt": "bar.stl", "height_mm": 70.0, "up": "z", "facing": "x", "unit": "mm", "skeleton": "skeleton.toml"}),
        ("/api/take-up", {"joint": "middle"}), ("/api/sizes", {"joint": "middle", "centre": [0.0, 0.0, 35.0]}),
        ("/api/try", {"joints": {"middle": {"flex": 10.0}}}), ("/api/cancel", {}),
        ("/api/tick", {"part": "upper", "step": "printed", "done": True}),
        ("/api/attempt", {"parts": ["upper"], "how": None, "note": "x"}),
        ("/api/answer", {"sheet": "coupon", "path": ["fits", "ball"], "value": 1.0}), ("/api/calibrate", {"sheet": "coupon"}),
    ]  # fmt: skip
    return [json.dumps({"path": path, "body": body}).encode() for path, body in asked]


def answer(data: bytes) -> None:
    """Send one request; AssertionError where the answer is a mistake of ours, tells too much, or leaves a broken file."""
    try:
        told = json.loads(data)
    except (ValueError, RecursionError):
        return
    if not isinstance(told, dict) or not isinstance(told.get("path"), str) or told["path"].startswith("/api/news"):
        return
    client, figure, text = served()
    path = "/" + quote(told["path"].lstrip("/"), safe="/?=&,.%-")
    body = told.get("body")
    if isinstance(body, dict) and body.get("base") == NOW:
        body["base"] = client.app.state.desk.state().revision  # type: ignore[attr-defined]
    try:
        content = None if body is None else json.dumps(body).encode()
    except (ValueError, RecursionError):
        return
    got = client.get(path) if content is None else client.post(path, content=content)
    assert got.status_code < 500, (path, body, got.text)
    assert b"Traceback" not in got.content
    assert b"root:" not in got.content
    after = figure.read_text(encoding="utf-8")
    if after != text:
        read_figure(figure)
        figure.write_text(text, encoding="utf-8")
