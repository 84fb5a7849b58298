"""Whatever a page sends, the server answers with a code of its own, never a mistake of ours, and the figure file stays sound.

Bodies are drawn around the server's own OpenAPI document: every field with a fitting value, or with anything else, or left out.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from condyle.atlas.app import create_app
from condyle.project.figure_file import read_figure
from tests.cli.figures import bar_figure

TOKEN, HOST = "a-token-of-this-test", "127.0.0.1:8123"
BEGINS_WORK = {"/api/make", "/api/seat", "/api/look", "/api/begin", "/api/try", "/api/take-up", "/api/sizes"}
"""Well-formed, these start long work; they are drawn with no well-formed body."""

many = settings(max_examples=250, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
ODD: st.SearchStrategy[Any] = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(-3, 3), st.sampled_from((10**30, -1e308, 1e-300)), st.text(max_size=6),
        st.sampled_from(("middle", "flex", "ball", "../../etc/passwd", "figure.toml", "\u0000", "x" * 5000)),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=5,
)  # fmt: skip


def fitting(schema: dict[str, Any], document: dict[str, Any]) -> st.SearchStrategy[Any]:
    """Values that a schema of the document might take."""
    if "$ref" in schema:
        return fitting(document["components"]["schemas"][schema["$ref"].rsplit("/", 1)[1]], document)
    if "anyOf" in schema:
        return st.one_of([fitting(s, document) for s in schema["anyOf"]])
    if "enum" in schema:
        return st.sampled_from(schema["enum"])
    kind = schema.get("type")
    if kind == "object" and "properties" in schema:
        fields = {k: st.one_of(fitting(v, document), ODD) for k, v in schema["properties"].items()}
        return st.fixed_dictionaries({}, optional=fields)
    if kind == "array":
        return st.lists(fitting(schema.get("items", {}), document), max_size=4)
    plain: dict[str | None, st.SearchStrategy[Any]] = {
        "number": st.floats(-200.0, 200.0),
        "integer": st.integers(-5, 200),
        "boolean": st.booleans(),
        "string": st.one_of(st.sampled_from(("middle", "upper", "lower", "flex", "printed")), st.text(max_size=8)),
    }
    return plain.get(kind, ODD)


@pytest.fixture(scope="module")
def figure(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return bar_figure(tmp_path_factory.mktemp("bar"))


@pytest.fixture(scope="module")
def client(figure: Path) -> Any:
    app = create_app(figure, figure.parent / "kit", TOKEN, frozenset({HOST}))
    headers = {"Authorization": f"Bearer {TOKEN}"}
    with TestClient(app, base_url=f"http://{HOST}", headers=headers, raise_server_exceptions=False) as made:
        yield made


@many
@given(data=st.data())
def test_no_body_makes_the_server_fail(data: st.DataObject, client: TestClient, figure: Path) -> None:
    document = client.app.openapi()  # type: ignore[attr-defined]
    posts = sorted(p for p, ways in document["paths"].items() if "post" in ways and p != "/api/sculpt")
    path = data.draw(st.sampled_from(posts))
    body = document["paths"][path]["post"].get("requestBody")
    if body is None or path in BEGINS_WORK:
        content: Any = data.draw(st.one_of(ODD.filter(lambda v: not isinstance(v, dict)), st.just({"": None})))
        if body is None:
            return
    else:
        schema = body["content"]["application/json"]["schema"]
        content = data.draw(st.one_of(fitting(schema, document), ODD))
    answer = client.post(path, json=content)
    assert answer.status_code < 500, (path, content, answer.text)
    if answer.status_code >= 400:
        assert "Traceback" not in answer.text
    read_figure(figure)


@many
@given(
    st.sampled_from(("/api/file/", "/api/scene/", "/page/", "/api/section?joint=", "/api/")),
    st.one_of(
        st.text(max_size=20),
        st.sampled_from(("../figure.toml", "%2e%2e%2ffigure.toml", "..%5cfigure.toml", "/etc/passwd")),
    ),
)
def test_no_address_leaves_the_kit_or_makes_the_server_fail(client: TestClient, start: str, rest: str) -> None:
    answer = client.get(start + quote(rest, safe="%/"))
    assert answer.status_code < 500, (start, rest, answer.text)
    assert b"schema = 1" not in answer.content
    assert b"root:" not in answer.content
