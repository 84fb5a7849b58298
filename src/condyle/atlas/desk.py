"""One figure on the page: its file, the kit beside it, the job that runs, and whom to tell when any of them changes."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from condyle.atlas.edits import Change, edited, with_pose
from condyle.atlas.hands import Hands
from condyle.atlas.history import History, revision
from condyle.atlas.views import (
    BuildView,
    FindingView,
    JobView,
    JointView,
    PartView,
    PoseView,
    Stage,
    State,
    TroubleView,
)
from condyle.atlas.worker import JobKind, Message, Order, Trouble, Worker
from condyle.errors import CondyleError, UsageError
from condyle.figure.skeleton import MOTIONS, Skeleton
from condyle.figure.skeleton_file import load_template, read_skeleton
from condyle.project.cache import content_hash
from condyle.project.figure_file import FigureDocument, parse_figure, read_figure, read_text
from condyle.project.joints import overlaid
from condyle.project.place import scene_path, write_file

TEMPLATES = ("upright", "fourfoot")

Tell = Callable[[str, Any], None]


class Conflict(UsageError):
    """A change was made on a revision that is not the one that stands."""


class Desk:
    """The figure at ``path`` (which need not exist yet) and its kit at ``kit``."""

    def __init__(self, path: Path, kit: Path, tell: Tell) -> None:
        self.path, self.kit = path, kit
        self._tell = tell
        self._lock = threading.RLock()
        self._history = History(path)
        self._worker = Worker(self._heard)
        self._hands = Hands(path, kit, tell, self._made_of)
        self._job: JobView | None = None
        self._began = 0.0
        self._trouble: Trouble | None = None
        self._seen = self._text()
        if self._seen is not None:
            self._history.keep(self._seen)

    def close(self) -> None:
        """End the workers."""
        self._worker.close()
        self._hands.close()

    def look_for_changes(self) -> None:
        """Notice what an editor has written; called every half second."""
        with self._lock:
            text = self._text()
            if text == self._seen:
                return
            self._seen = text
            if text is not None:
                self._history.keep(text)
        self._moved()

    def change(self, base: str, changes: list[Change]) -> None:
        """Write changes to figure.toml, or none of them. Conflict where the file has moved on since ``base``."""
        with self._lock:
            text = self._standing(base)
            self._write(edited(self.path, text, changes))
        self._moved(cold=any(c.path[0] == "joints" for c in changes))

    def keep_pose(self, base: str, name: str, joints: dict[str, dict[str, float]]) -> None:
        """Write a pose, in degrees from the sculpt's own pose, into figure.toml. Errors as ``change``."""
        with self._lock:
            text = self._standing(base)
            self._write(with_pose(self.path, text, name, joints))
        self._tell("state", None)

    def step(self, base: str, *, back: bool) -> None:
        """Take the last change back, or make it again."""
        with self._lock:
            self._standing(base)
            text = self._history.step(back)
            if text is None:
                raise UsageError("atlas.history", "there is nothing to take back" if back else "nothing was taken back")
            write_file(self.path, text.encode())
            self._seen = text
        self._moved()

    def take_up(self, joint: str) -> None:
        """Make ready to move a joint, where there is a kit whose parts can follow it. UsageError for one that is none."""
        state = self.state()
        if joint not in {j.name for j in state.joints}:
            raise UsageError("atlas.joint", f"the figure has no joint {joint[:80]!r}")
        if state.stage == "made":
            self._hands.take_up(joint)

    def ask_sizes(self, joint: str, centre: list[float]) -> None:
        """Ask which sizes fit a joint at a place; the answer comes as news."""
        self._hands.sizes(joint, centre)

    def _moved(self, *, cold: bool = False) -> None:
        """Tell that the file has changed, and let the parts follow; ``cold`` also where no joint was taken up before."""
        if (self._hands.warm or cold) and self._proof() is not None:
            self._hands.follow()
        self._tell("state", None)

    def begin(self, kind: JobKind, **more: Any) -> None:
        """Begin a job. UsageError while another one runs."""
        with self._lock:
            if not self._worker.begin(Order(kind, self.path, self.kit, more)):
                raise UsageError("atlas.busy", "other work is going on", hint="wait for it, or cancel it")
            self._trouble, self._began = None, time.monotonic()
            self._job = JobView(kind=kind, step="", words="", seconds=0.0)
        self._tell("state", None)

    def try_pose(self, joints: dict[str, dict[str, float]]) -> None:
        """Begin to try a pose on the kit. UsageError where the kit is not of the file as it stands, or while work runs."""
        if not self.state().fresh:
            raise UsageError("atlas.stale", "the kit is of an earlier figure file", hint="make the kit again")
        self.begin("pose", joints=joints)

    def rest(self) -> dict[str, dict[str, float]]:
        """The sculpt's own pose: degrees from the human zero, by joint and motion."""
        document, _ = self._document(self._text())
        tables = document.content.joints if document else {}
        return {n: dict(t.rest.angles) for n, t in tables.items() if t.rest}

    def cancel(self) -> None:
        """Stop what runs: the job, or where there is none, the work on a moved joint."""
        if self._worker.busy:
            self._worker.cancel()
        else:
            self._hands.cancel()

    def state(self) -> State:
        """Everything that the page shows."""
        with self._lock:
            text = self._text()
            document, trouble = self._document(text)
            proof = self._proof()
            skeleton = self._skeleton(document) if document else None
            stands = revision(text)
            fresh = proof is not None and text is not None and proof["hashes"]["figure"] == content_hash(text.encode())
            stage: Stage = "empty" if document is None and trouble is None else "made" if proof else "seated"
            content = document.content if document else None
            told = self._trouble or trouble
            joints = _joints(document, skeleton, proof, fresh=fresh)
            parts = [PartView.model_validate(_only(PartView, p)) for p in (proof or {}).get("parts", [])]
            findings = [FindingView.model_validate(f) for f in (proof or {}).get("findings", [])]
            if not fresh:
                joints, parts, findings = self._hands.laid_over(stands, joints, parts, findings)
            return State(
                revision=stands,
                stage=stage,
                name=content.figure.name if content else "",
                height_mm=content.figure.height_mm if content else None,
                sculpt=(content.figure.sculpt or "") if content else "",
                up=content.figure.up if content else None,
                facing=content.figure.facing if content else None,
                skeleton=_skeleton_named(document),
                skeletons=self.skeletons(),
                printer=content.workshop.printer if content else "",
                material=content.workshop.material if content else "",
                fresh=fresh,
                made=self._made(),
                joints=joints,
                parts=parts,
                findings=findings,
                poses=[PoseView.model_validate(p) for p in (proof or {}).get("poses", [])],
                builds=[BuildView.model_validate(b) for b in (proof or {}).get("builds", [])],
                job=self._running(),
                live=self._hands.view("" if fresh else stands),
                trouble=TroubleView(**told.__dict__) if told else None,
                can_undo=self._history.can_undo,
                can_redo=self._history.can_redo,
                files=self.files(),
            )

    def skeletons(self) -> list[str]:
        """Skeletons that a figure may begin with: templates by name, and the maker's own files beside the figure file."""
        own = (p for p in sorted(self.path.parent.glob("*.toml")) if p != self.path)
        return [*TEMPLATES, *(p.name for p in own if _has_bones(p))]

    def files(self) -> list[str]:
        """What can be downloaded, relative to the kit."""
        if not (self.kit / "proof.json").is_file():
            return []
        return sorted(p.relative_to(self.kit).as_posix() for p in self.kit.rglob("*") if p.is_file())

    def scene(self, name: str) -> Path | None:
        """The file of a scene to look at: the light one, or for a kit made elsewhere its own."""
        light = scene_path(self.path, name)
        whole = self.kit / "figure.glb"
        if name not in ("figure", "sculpt", "live"):
            return None
        if name == "figure" and whole.is_file():
            # A kit that was made again elsewhere is newer than the light copy of the one before.
            fresh = light.is_file() and light.stat().st_mtime_ns >= whole.stat().st_mtime_ns
            return light if fresh else whole
        return light if light.is_file() else None

    def open_eyes(self) -> None:
        """Begin to lighten the sculpt where that was not done yet, so that there is something to look at."""
        if self._text() is not None and self.scene("sculpt") is None and not self._worker.busy:
            self.begin("look")

    def bench_changed(self) -> None:
        """Tell every page that a route card has changed."""
        self._tell("cards", None)

    def document(self) -> FigureDocument:
        """The figure file as it stands; FigureFileError where it cannot be used."""
        return read_figure(self.path)

    def _standing(self, base: str) -> str:
        text = self._text()
        if text is None:
            raise UsageError("atlas.no_figure", "there is no figure yet", hint="begin with a sculpt")
        if revision(text) != base:
            hint = "the page shows the newer one now; make the change again"
            raise Conflict("atlas.moved_on", "the figure file has changed meanwhile", hint=hint)
        return text

    def _write(self, text: str) -> None:
        write_file(self.path, text.encode())
        self._seen = text
        self._history.keep(text)

    def _heard(self, message: Message) -> None:
        kind, value = message
        with self._lock:
            if kind == "step" and self._job:
                self._job = self._job.model_copy(update={"step": value, "words": ""})
            elif kind == "words" and self._job:
                self._job = self._job.model_copy(update={"words": value})
            elif kind in ("done", "trouble"):
                self._trouble = value if kind == "trouble" else None
                self._job = None
                self._seen = self._text()
                if self._seen is not None:
                    self._history.keep(self._seen)
        if kind == "done" and value.get("stage") == "made" and "trial" not in value:
            self._hands.begin_anew()
        if kind in ("done", "trouble"):
            self._tell("state", None)
            if kind == "done" and "trial" in value:
                self._tell("trial", value["trial"])
        else:
            job = self._running()
            self._tell("job", job.model_dump() if job else None)

    def _running(self) -> JobView | None:
        return self._job.model_copy(update={"seconds": time.monotonic() - self._began}) if self._job else None

    def _text(self) -> str | None:
        try:
            return read_text(self.path, "figure file")
        except CondyleError:
            return None

    def _document(self, text: str | None) -> tuple[FigureDocument | None, Trouble | None]:
        if text is None:
            return None, None
        try:
            return parse_figure(self.path, text), None
        except CondyleError as error:
            return None, Trouble(error.code, error.message, error.hint, str(error.place))

    def _skeleton(self, document: FigureDocument) -> Skeleton | None:
        table = document.content.skeleton
        try:
            given = read_skeleton(document.beside(table.path)) if table.path else load_template(table.template or "")
            return overlaid(document, given)
        except CondyleError:
            return None

    def _made_of(self) -> str | None:
        """The state of the figure file that the kit was made of, where it was kept."""
        proof = self._proof()
        return self._history.find(proof["hashes"]["figure"]) if proof else None

    def _made(self) -> str:
        try:
            return str((self.kit / "proof.json").stat().st_mtime_ns)
        except OSError:
            return ""

    def _proof(self) -> dict[str, Any] | None:
        try:
            value = json.loads((self.kit / "proof.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return value if isinstance(value, dict) else None


def _skeleton_named(document: FigureDocument | None) -> str:
    """As ``skeletons`` has it."""
    if document is None:
        return ""
    table = document.content.skeleton
    return Path(table.path).name if table.path else table.template or ""


def _has_bones(path: Path) -> bool:
    try:
        return "[bones." in read_text(path, "skeleton file")
    except CondyleError:
        return False


def _only(model: type[Any], value: dict[str, Any]) -> dict[str, Any]:
    return {name: value[name] for name in model.model_fields}


def _joints(
    document: FigureDocument | None, skeleton: Skeleton | None, proof: dict[str, Any] | None, *, fresh: bool
) -> list[JointView]:
    if document is None or skeleton is None:
        return []
    measured = {j["name"]: j for j in (proof or {}).get("joints", [])}
    out = []
    for spec in skeleton.joints:
        table = document.content.joints.get(spec.name)
        made = measured.get(spec.name, {})
        centre = (table.centre if table and table.centre else None) or made.get("centre")
        if fresh and made.get("built"):
            # Where parting settled a joint that was found is where a hand takes it up.
            centre = made["centre"]
        if centre is None:
            continue
        out.append(
            JointView(
                name=spec.name,
                kind=spec.kind,
                parent=spec.parent,
                child=spec.child,
                centre=(centre[0], centre[1], centre[2]),
                source=table.source if table else "seated",
                size=made.get("size") or spec.size,
                yields=spec.yields,
                built=made.get("built"),
                axes=dict(zip(_motions(made), made.get("axes", []), strict=False)),
                wanted=_ranges(made.get("wanted")),
                reached=_ranges(made.get("reached")),
                stopped_by=_stops(made.get("stopped_by")),
                hold_nmm=made.get("hold_nmm"),
                load_nmm=made.get("load_nmm"),
            )
        )
    return out


def _motions(made: dict[str, Any]) -> list[str]:
    return list(MOTIONS.get(made.get("kind", "peg"), ()))


def _ranges(value: Any) -> dict[str, tuple[float, float]]:
    return {motion: (r[0], r[1]) for motion, r in (value or {}).items() if r is not None}


def _stops(value: Any) -> dict[str, str | None]:
    return value if isinstance(value, dict) else {}
