"""Changes that mend, chosen from what was found, and what came of them when the figure was parted again with them.

A first round takes the gentlest change for each joint that is short; a second takes the next for those that it did not
mend. Left and right are changed together, and every other joint keeps its size. What is told of a trial is measured on its
own finished parts by the same proofs as the kit, with what else it spoils.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.wishes import Insert, JointWish
from condyle.finding import Finding
from condyle.joints import ball, hinge, swivel
from condyle.proof.carry import Carried
from condyle.proof.hold.judge import JointHold

_SHORT = ("hold.new", "hold.aged")
_POPS = ("last.pop_pull", "last.pop_bend")
_SEAT = "last.sacrifice"
TRIED = (*_SHORT, "hold.reach", "hold.too_strong", *_POPS, _SEAT, "last.finger", "last.pin", "last.small_push")
"""Checks whose joints are changed and measured again."""

_LOOSER_MM = 0.02
_LEFT_OUT = "without relief, soles as sculpted"
_SERIES = {"ball": ball.SIZES_MM, "swivel": swivel.SIZES_MM, "hinge": hinge.SIZES_MM, "double_hinge": hinge.SIZES_MM}


@dataclass(frozen=True)
class Change:
    """Keys of a joint's table in the figure file, with the values that are tried; None leaves a key as it is."""

    size: float | None = None
    clearance_mm: float | None = None
    insert: Insert | None = None

    @property
    def words(self) -> str:
        said = [
            "" if self.size is None else f"size = {self.size:g}",
            "" if self.clearance_mm is None else f"clearance_mm = {self.clearance_mm:.3f}",
            "" if self.insert is None else f'insert = "{self.insert}"',
        ]
        return " and ".join(w for w in said if w)

    def bolder(self, other: Change) -> bool:
        """Whether it goes further than another: in size, then in interference."""
        return (self.size or 0.0, -(self.clearance_mm or 0.0)) > (other.size or 0.0, -(other.clearance_mm or 0.0))

    def on(self, wish: JointWish) -> JointWish:
        """A joint's wish with the change."""
        if self.size is not None:
            wish = replace(wish, size_mm=self.size)
        if self.clearance_mm is not None:
            wish = replace(wish, clearance_mm=self.clearance_mm)
        return wish if self.insert is None else replace(wish, insert=self.insert)


@dataclass(frozen=True, eq=False)
class Trial:
    """The figure parted again with changes, by joint, and what the proofs found."""

    changes: Mapping[str, Change]
    kit: Kit
    findings: tuple[Finding, ...]


def changes(kit: Kit, carried: Carried, before: Sequence[Trial] = ()) -> dict[str, Change]:
    """What to try next, by joint; empty where nothing is short, or nothing is left to try.

    ``before`` are the trials so far: what they mended is not tried again, and no change is tried twice.
    """
    amiss: dict[str, dict[str, Finding]] = {}
    for f in carried.findings:
        if f.check in TRIED and f.verdict in ("fail", "caution"):
            amiss.setdefault(_joint_of(f), {}).setdefault(f.check, f)
    joints = {j.name: j for j in kit.joints if j.built}
    out: dict[str, Change] = {}
    for name, found in amiss.items():
        joint = joints.get(name)
        if joint is None or any(name in t.changes and _mends(kit, carried, t, name, set(found)) for t in before):
            continue
        done = {t.changes[name] for t in before if name in t.changes}
        fresh = [c for c in _candidates(joint, carried.holds.get(name), found) if c not in done]
        if not fresh:
            continue
        change, twin = fresh[0], joints.get(_twin(name))
        alike = twin is not None and (twin.seated.spec.kind, twin.size_mm) == (joint.seated.spec.kind, joint.size_mm)
        names = [name, *([twin.name] if twin is not None and alike else [])]
        # Of two changes for a pair the bolder one mends both.
        if all(n not in out or change.bolder(out[n]) for n in names):
            out.update(dict.fromkeys(names, change))
    return out


def _candidates(joint: BuiltJoint, hold: JointHold | None, found: Mapping[str, Finding]) -> list[Change]:
    """Changes for one joint, gentlest first."""
    checks = set(found)
    kind, size, clearance = joint.seated.spec.kind, joint.size_mm or 0.0, joint.clearance_mm or 0.0
    larger = [Change(size=s) for s in _SERIES.get(kind, ()) if s > size][:1]
    out: list[Change] = []
    if checks & {*_SHORT, "hold.reach"} and hold is not None:
        out += [Change(clearance_mm=r.value) for r in hold.remedies if r.what == "clearance_mm" and r.enough]
        balls = [r for r in hold.remedies if r.what == "size"]
        # The one that is enough; then, should it find no room, the best of a smaller size.
        out += [Change(r.value, r.clearance_mm) for r in sorted(balls, key=lambda r: not r.enough)]
        out += larger
    strong = found.get("hold.too_strong")
    if strong is not None and strong.measured and strong.target and clearance < 0.0:
        out.append(Change(clearance_mm=round(0.95 * clearance * strong.target / strong.measured, 3)))
    on_stud = any(p.endswith("_stud") for a in joint.axles for p in (a.moves, a.stays))
    if checks & set(_POPS) and kind == "ball" and not on_stud:
        out.append(Change(insert="stud"))
    if "last.small_push" in checks and kind == "swivel":
        out += [Change(size=s) for s in swivel.SIZES_MM if s < size][-1:]
    elif checks & {*_POPS, _SEAT, "last.small_push"} and (kind != "swivel" or "last.pop_bend" not in checks):
        # A swivel's stud is bent by the ball above it, however loosely it sits.
        out.append(Change(clearance_mm=round(clearance + _LOOSER_MM, 3)))
    if checks & {"last.finger", "last.pin", _SEAT, *_POPS}:
        out += larger
    return out


def _mends(kit: Kit, carried: Carried, trial: Trial, joint: str, checks: set[str]) -> bool:
    """Whether a trial built the joint in its own kind, answered all that was amiss, and spoilt nothing else of it."""
    built, kind = _built(trial.kit, joint), _built(kit, joint)
    if built is None or kind is None or built.seated.spec.kind != kind.seated.spec.kind:
        return False
    left = _amiss(trial.kit, trial.findings, joint)
    return not left & checks and not left - _amiss(kit, carried.findings, joint)


def _amiss(kit: Kit, findings: Sequence[Finding], joint: str) -> set[str]:
    """The checks of a joint, the parting's own too, that do not pass as drawn."""
    built = _built(kit, joint)
    all_of_it = [
        *(built.findings if built else ()),
        *(f for f in findings if _joint_of(f) == joint and f.check in TRIED),
    ]
    return {f.check for f in all_of_it if f.verdict in ("fail", "caution")}


def _built(kit: Kit, joint: str) -> BuiltJoint | None:
    return next((j for j in kit.joints if j.name == joint and j.built), None)


def told(kit: Kit, carried: Carried, trials: Sequence[Trial]) -> Carried:
    """The findings with what the trials measured put behind their advice."""
    return replace(carried, findings=tuple(_with(kit, carried, f, trials) for f in carried.findings))


def _with(kit: Kit, carried: Carried, finding: Finding, trials: Sequence[Trial]) -> Finding:
    joint = _joint_of(finding)
    if finding.check not in TRIED or finding.verdict not in ("fail", "caution"):
        return finding
    words = [_words(kit, carried, finding, joint, t) for t in trials if joint in t.changes]
    if not words:
        return finding
    # What was worked out has given way to what was tried.
    kept = [w for w in finding.advice.split("; ") if not w.startswith("worked out")]
    return replace(finding, advice="; ".join([*kept, *words]))


def _words(kit: Kit, carried: Carried, finding: Finding, joint: str, trial: Trial) -> str:
    change = trial.changes[joint].words
    was, built = _built(kit, joint), _built(trial.kit, joint)
    if was is None or built is None or built.seated.spec.kind != was.seated.spec.kind:
        kind = "joint" if was is None else was.seated.spec.kind.replace("_", " ")
        return f"tried {change}: parting finds no room for such a {kind}"
    # The weakest section may now lie in the part on the other side of the joint.
    found = [f for f in trial.findings if f.check == finding.check and _joint_of(f) == joint]
    if not found or found[0].measured is None:
        return f"tried {change}: parted, and no longer asked"
    now = found[0]
    aim = "" if now.target is None else f" for {now.target:g}"
    enough = "enough as drawn" if now.verdict in ("pass", "unknown") else "not enough"
    costs = sorted(_amiss(trial.kit, trial.findings, joint) - _amiss(kit, carried.findings, joint))
    but = f", but it spoils {' and '.join(costs)}" if costs else ""
    return f"tried {change}: parted ({_LEFT_OUT}) and measured again it is {now.measured:g}{aim}, {enough}{but}"


def _joint_of(finding: Finding) -> str:
    return finding.subject.split("/")[0]


def _twin(name: str) -> str:
    stem, _, side = name.rpartition("_")
    return {"left": f"{stem}_right", "right": f"{stem}_left"}.get(side, "")
