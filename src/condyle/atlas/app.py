"""The page's server: what it answers, and nothing of how that is worked out."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import resources
from pathlib import Path, PurePosixPath
from typing import Annotated

from fastapi import FastAPI, Query, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, JSONResponse, Response, StreamingResponse
from pydantic import BaseModel, ConfigDict, Field

from condyle.atlas import coupons
from condyle.atlas.coupons import CalibratedView, SheetView
from condyle.atlas.desk import Conflict, Desk
from condyle.atlas.details import FinishView, LyingView, SolvedPoseView, finish_of, lying_parts, solved_poses
from condyle.atlas.edits import Change
from condyle.atlas.guard import Guard
from condyle.atlas.news import News
from condyle.atlas.uploads import keep_upload
from condyle.atlas.views import CardView, SectionView, State
from condyle.errors import CondyleError, UsageError
from condyle.project.place import scene_path

PAGE_TYPES = {
    ".html": "text/html; charset=utf-8", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml",
    ".woff2": "font/woff2", ".json": "application/json",
}  # fmt: skip
_LOOK_S = 0.5


class Ask(BaseModel):
    """A body that knows its keys."""

    model_config = ConfigDict(extra="forbid")


class Edit(Ask):
    """Changes on a revision."""

    base: str
    changes: list[Change] = Field(min_length=1, max_length=200)


class Base(Ask):
    """Which revision this is about."""

    base: str


class Beginning(Ask):
    """What is said of a new sculpt."""

    sculpt: str = Field(max_length=200)
    height_mm: float = Field(ge=20.0, le=2000.0)
    up: str | None = None
    facing: str | None = None
    unit: str | None = None
    skeleton: str = Field(default="upright", max_length=200)


class Posed(Ask):
    """A pose to keep: degrees from the sculpt's own pose, by joint and motion."""

    base: str
    name: str = Field(max_length=80)
    joints: dict[str, dict[str, float]]


class Tried(Ask):
    """A pose to try: degrees from the sculpt's own pose, by joint and motion."""

    joints: dict[str, dict[str, float]]


class Taken(Ask):
    """A joint that is taken up."""

    joint: str = Field(max_length=80)


class Held(Ask):
    """A joint in the hand: where its centre is now, figure coordinates."""

    joint: str = Field(max_length=80)
    centre: tuple[float, float, float]


class Answered(Ask):
    """One blank of a coupon sheet."""

    sheet: str = Field(max_length=200)
    path: list[str] = Field(min_length=1, max_length=8)
    value: float | str


class OfSheet(Ask):
    """Which coupon sheet this is about."""

    sheet: str = Field(max_length=200)


class Ticked(Ask):
    """A step of a route card."""

    part: str
    step: str
    done: bool


class Attempt(Ask):
    """How an attempt went."""

    parts: list[str] = Field(min_length=1)
    how: str | None = None
    note: str = Field(default="", max_length=500)


def create_app(figure: Path, kit: Path, token: str, hosts: frozenset[str]) -> FastAPI:
    """The application for one figure file, which need not exist yet. Answers only to ``hosts`` and with ``token``."""
    news = News()
    desk = Desk(figure, kit, news.tell)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        news.open(asyncio.get_running_loop())
        desk.open_eyes()
        looking = asyncio.create_task(_look(desk))
        try:
            yield
        finally:
            looking.cancel()
            news.close()
            desk.close()

    app = FastAPI(
        title="Condyle atlas", docs_url=None, redoc_url=None, openapi_url="/api/openapi.json", lifespan=lifespan
    )
    app.middleware("http")(Guard(token, hosts))
    app.state.news, app.state.desk = news, desk

    @app.exception_handler(CondyleError)
    async def _told(_request: Request, error: CondyleError) -> JSONResponse:
        status = 409 if isinstance(error, Conflict) else 422 if error.exit_code < 4 else 500
        return _refused(status, error.code, error.message, error.hint, str(error.place))

    @app.exception_handler(RequestValidationError)
    async def _not_understood(_request: Request, error: RequestValidationError) -> JSONResponse:
        # The framework's own answer repeats what was sent, and fails where that is no JSON (NaN).
        first = error.errors()[0]
        place = ".".join(str(step)[:80] for step in first["loc"])
        return _refused(422, "atlas.body", str(first["msg"]), "send what /api/openapi.json describes", place)

    _state_routes(app, desk)
    _shape_routes(app, desk)
    _bench_routes(app, desk)
    _coupon_routes(app, desk)
    _detail_routes(app, desk)
    _page_routes(app)
    return app


def _refused(status: int, code: str, message: str, hint: str, place: str) -> JSONResponse:
    """A refusal in words; what was sent may hold text that is no Unicode, and is told with marks in its place."""
    told = {"code": code, "message": message, "hint": hint, "place": place}
    return JSONResponse({k: v.encode("utf-8", "replace").decode() for k, v in told.items()}, status_code=status)


async def _look(desk: Desk) -> None:
    """Notice changes made in an editor."""
    while True:
        await asyncio.sleep(_LOOK_S)
        await asyncio.to_thread(desk.look_for_changes)


def _state_routes(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/state")
    def state() -> State:
        return desk.state()

    @app.get("/api/news")
    async def news(request: Request) -> StreamingResponse:
        stream = app.state.news.listen()

        async def lines() -> AsyncIterator[str]:
            async for name, value in stream:
                yield f"event: {name}\ndata: {json.dumps(value)}\n\n"

        return StreamingResponse(lines(), media_type="text/event-stream")

    @app.post("/api/edit")
    def edit(ask: Edit) -> State:
        desk.change(ask.base, ask.changes)
        return desk.state()

    @app.post("/api/pose")
    def pose(ask: Posed) -> State:
        desk.keep_pose(ask.base, ask.name, ask.joints)
        return desk.state()

    @app.post("/api/undo")
    def undo(ask: Base) -> State:
        desk.step(ask.base, back=True)
        return desk.state()

    @app.post("/api/redo")
    def redo(ask: Base) -> State:
        desk.step(ask.base, back=False)
        return desk.state()

    @app.post("/api/begin")
    def begin(ask: Beginning) -> State:
        sculpt = desk.path.parent / PurePosixPath(ask.sculpt).name
        if ask.skeleton not in desk.skeletons():
            raise UsageError("atlas.skeleton", "there is no such skeleton beside the figure file")
        own = ask.skeleton.endswith(".toml")
        skeleton = str(desk.path.parent / ask.skeleton) if own else ask.skeleton
        desk.begin("start", **{**ask.model_dump(), "sculpt": str(sculpt), "skeleton": skeleton})
        return desk.state()

    @app.post("/api/make")
    def make() -> State:
        desk.begin("make")
        return desk.state()

    @app.post("/api/seat")
    def seat() -> State:
        desk.begin("seat")
        return desk.state()

    @app.post("/api/look")
    def look() -> State:
        desk.begin("look")
        return desk.state()

    @app.post("/api/take-up")
    def take_up(ask: Taken) -> State:
        desk.take_up(ask.joint)
        return desk.state()

    @app.post("/api/sizes", status_code=204)
    def sizes(ask: Held) -> None:
        desk.ask_sizes(ask.joint, list(ask.centre))

    @app.post("/api/try")
    def try_pose(ask: Tried) -> State:
        desk.try_pose(ask.joints)
        return desk.state()

    @app.post("/api/cancel")
    def cancel() -> State:
        desk.cancel()
        return desk.state()


def _shape_routes(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/scene/{name}.glb", response_class=FileResponse)
    def scene(name: str) -> Response:
        path = desk.scene(name)
        if path is None:
            return Response(status_code=204)  # nothing to look at yet is no mistake of anybody
        return FileResponse(path, media_type="model/gltf-binary")

    @app.get("/api/section")
    def cut(centre: Annotated[str, Query(max_length=100)], along: Annotated[str, Query(max_length=100)]) -> SectionView:
        if desk.scene("sculpt") is None:
            return SectionView(outlines=[], right=(0.0, 1.0, 0.0), up=(0.0, 0.0, 1.0), depth_mm=0.0)
        from condyle.atlas.section import section

        return section(scene_path(desk.path, "sculpt"), _vector(centre), _vector(along))

    @app.post("/api/sculpt")
    async def sculpt(request: Request, name: Annotated[str, Query(max_length=200)]) -> dict[str, str]:
        return {"sculpt": await keep_upload(desk.path.parent, name, request.stream())}

    @app.get("/api/file/{name:path}", response_class=FileResponse)
    def file(name: str) -> FileResponse:
        if name not in desk.files():
            raise UsageError("atlas.no_file", "the kit has no such file")
        return FileResponse(desk.kit / name, filename=PurePosixPath(name).name)


def _bench_routes(app: FastAPI, desk: Desk) -> None:
    # The bench is loaded when it is first asked: it takes longer than the page may wait for its first picture.
    @app.get("/api/cards")
    def cards() -> list[CardView]:
        from condyle.atlas import bench

        return bench.cards(desk.path)

    @app.post("/api/tick")
    def tick(ask: Ticked) -> list[CardView]:
        from condyle.atlas import bench

        bench.tick(desk.path, ask.part, ask.step, done=ask.done)
        desk.bench_changed()
        return bench.cards(desk.path)

    @app.post("/api/attempt")
    def attempt(ask: Attempt) -> list[CardView]:
        from condyle.atlas import bench

        bench.attempt(desk.path, ask.parts, ask.how, ask.note)
        desk.bench_changed()
        return bench.cards(desk.path)


def _coupon_routes(app: FastAPI, desk: Desk) -> None:
    folder = desk.path.parent

    @app.get("/api/sheets")
    def sheets() -> list[SheetView]:
        return coupons.sheets(folder)

    @app.post("/api/answer")
    def answer(ask: Answered) -> SheetView:
        return coupons.answer(folder, ask.sheet, ask.path, ask.value)

    @app.post("/api/calibrate")
    def calibrate(ask: OfSheet) -> CalibratedView:
        return coupons.worked_out(folder, ask.sheet)


def _detail_routes(app: FastAPI, desk: Desk) -> None:
    @app.get("/api/poses")
    def poses() -> list[SolvedPoseView]:
        return solved_poses(desk.kit, desk.rest())

    @app.get("/api/lying")
    def lying() -> list[LyingView]:
        return lying_parts(desk.kit)

    @app.get("/api/finish")
    def finish() -> FinishView:
        return finish_of(desk.kit)


def _page_routes(app: FastAPI) -> None:
    page = resources.files("condyle.atlas") / "page"

    @app.get("/", include_in_schema=False)
    def front() -> Response:
        return _asset("index.html")

    @app.get("/page/{name}", include_in_schema=False)
    def asset(name: str) -> Response:
        return _asset(name)

    def _asset(name: str) -> Response:
        suffix = PurePosixPath(name).suffix
        path = page / name
        if not re.fullmatch(r"[\w.-]{1,100}", name) or suffix not in PAGE_TYPES or not path.is_file():
            return JSONResponse({"code": "atlas.no_page", "message": "there is no such page"}, status_code=404)
        return Response(path.read_bytes(), media_type=PAGE_TYPES[suffix])


def _vector(text: str) -> tuple[float, float, float]:
    try:
        x, y, z = (float(v) for v in text.split(","))
    except ValueError:
        raise UsageError("atlas.vector", f"three numbers are wanted, not {text!r}") from None
    if not all(abs(v) < 1e6 for v in (x, y, z)):
        raise UsageError("atlas.vector", "these numbers are too large for a figure")
    return x, y, z
