"""The worker that answers a moving hand, beside the one for long work: what it was last told to do, and what it found."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from condyle.atlas.views import FindingView, JointView, LiveView, PartView
from condyle.atlas.worker import JobKind, Message, Order, Worker

Tell = Callable[[str, Any], None]


class Hands:
    """Joints that are taken up and moved. Only the last wish waits while one is worked on: a hand moves on."""

    def __init__(self, figure: Path, kit: Path, tell: Tell, base: Callable[[], str | None]) -> None:
        """``base`` gives the state of the figure file that the kit was made of: moves count from there."""
        self._base = base
        self._figure, self._kit, self._tell = figure, kit, tell
        self._lock = threading.RLock()
        self._worker = Worker(self._heard)
        self._waiting: tuple[JobKind, dict[str, Any]] | None = None
        self._kind: JobKind = "ready"
        self._step, self._began = "", 0.0
        self._revision = ""
        self._measured: dict[str, dict[str, Any]] = {}
        self._stamp = 0
        self._trouble = ""
        self.warm = False

    def take_up(self, joint: str) -> None:
        """Make ready to move a joint."""
        self._wish("ready", {"joint": joint})

    def sizes(self, joint: str, centre: list[float]) -> None:
        """Ask for the sizes that a joint could have at a place; told as ``sizes``. Nothing where no joint was taken up."""
        if self.warm:
            self._wish("sizes", {"joint": joint, "centre": centre})

    def follow(self) -> None:
        """Bring the parts to what the figure file says now."""
        self._wish("follow", {})

    def cancel(self) -> None:
        """Stop, at once; what was ready is lost and made again when a joint is taken up."""
        with self._lock:
            self._waiting, self.warm = None, False
        self._worker.cancel()

    def begin_anew(self) -> None:
        """Forget what was cut, since the kit was made again."""
        with self._lock:
            self._waiting, self._measured, self._trouble, self.warm = None, {}, "", False
        self._worker.close()

    def close(self) -> None:
        """End the process."""
        self._worker.close()

    def view(self, revision: str) -> LiveView | None:
        """What there is to tell of a revision of the figure file; None for nothing."""
        with self._lock:
            working = self._worker.busy and self._kind != "sizes"
            told = self._measured if revision == self._revision else {}
            if not (working or told or self._trouble):
                return None
            return LiveView(
                joints=sorted(told),
                parts=sorted({p["name"] for t in told.values() for p in t["parts"]}),
                measured={n: t["measured"] for n, t in told.items()},
                working=working,
                step=self._step if working else "",
                seconds=time.monotonic() - self._began if working else 0.0,
                took_s={n: t["seconds"] for n, t in told.items()},
                stamp=self._stamp,
                trouble=self._trouble,
            )

    def laid_over(
        self, revision: str, joints: list[JointView], parts: list[PartView], findings: list[FindingView]
    ) -> tuple[list[JointView], list[PartView], list[FindingView]]:
        """The kit's joints, parts and findings with those in their place that were measured anew."""
        with self._lock:
            told = list(self._measured.values()) if revision == self._revision else []
        for one in told:
            own = one["joint"]
            joints = [_joint(j, own) if j.name == own["name"] else j for j in joints]
            new = {p["name"]: p for p in one["parts"]}
            there = {p.name: p for p in parts if p.name not in one["gone"]}
            parts = [_part(p, new.get(p.name)) for p in there.values()]
            parts += [PartView(file="", mass_g=None, **p) for n, p in new.items() if n not in there]
            findings = [f for f in findings if not _renewed(f, one)]
            findings += [FindingView.model_validate(f) for f in one["findings"]]
        return joints, parts, findings

    def _wish(self, kind: JobKind, more: dict[str, Any]) -> None:
        with self._lock:
            if self._waiting is None or self._waiting[0] != "follow":  # which reads the file, so it is never outdated
                self._waiting = (kind, more)
            self._next()
        if kind != "sizes":
            self._tell("state", None)

    def _next(self) -> None:
        if self._waiting is None:
            return
        kind, more = self._waiting
        if self._worker.begin(
            Order(kind, self._figure, self._kit, {**more, "base": None if self.warm else self._base()})
        ):
            self._waiting, self._kind, self._step, self._began = None, kind, "", time.monotonic()
            self._trouble = ""

    def _heard(self, message: Message) -> None:
        kind, value = message
        with self._lock:
            if kind == "step":
                self._step = value
            elif kind == "scene":
                self._stamp += 1
            elif kind in ("live", "done"):
                self._revision, self._measured = value["revision"], value["measured"]
            elif kind == "trouble" and value.code != "worker.lost":  # which is what was asked for
                self._trouble = value.message
            if kind in ("done", "trouble"):
                self.warm = kind == "done"
                self._next()
        if kind == "sizes":
            self._tell("sizes", value)
        elif kind != "time" and not (self._kind == "sizes" and kind == "done"):
            self._tell("state", None)


def _joint(old: JointView, new: dict[str, Any]) -> JointView:
    return JointView.model_validate({**old.model_dump(), **new})


def _part(old: PartView, new: dict[str, Any] | None) -> PartView:
    """A part cut anew; its mass goes with its volume until it is weighed as printed again."""
    if new is None:
        return old
    mass = None if old.mass_g is None else old.mass_g * new["volume_mm3"] / old.volume_mm3
    return old.model_copy(update={**new, "mass_g": mass})


_JOINT_CHECKS = ("joint", "part", "relief")


def _renewed(finding: FindingView, told: dict[str, Any]) -> bool:
    """Whether a finding of the kit was asked anew."""
    question, subject = finding.check.split(".")[0], finding.subject.split(" ")[0]
    if subject in (told["joint"]["name"], *told["also"]):
        return question in _JOINT_CHECKS or question in told["measured"]
    if question in ("piece", "grip"):
        return subject.split("/")[0] in told["refitted"]
    return subject in {p["name"] for p in told["parts"]} and question == "wall" and "wall" in told["measured"]
