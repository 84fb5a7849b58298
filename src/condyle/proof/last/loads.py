"""What a figure is loaded with in the hand and in a fall, and how far its weakest sections are from breaking.

A finger presses on a limb's end while the body is held. Joints turn until they are stopped; from then on the force goes
through bone and neck as a moment, force times the distance to the limb's end as the sculpt stands. It grows no further
than the first ball joint on the way that is levered out of its socket.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.kit import BuiltJoint, Kit
from condyle.geometry.mesh import FloatArray
from condyle.joints.mechanics.release import drop_energy_nmm, equivalent_force_n, pry_moment_nmm
from condyle.proof.last.cross import Cross, Limb, Seat
from condyle.proof.mass import PartMass


@dataclass(frozen=True)
class Wanted:
    """What a figure has to bear; all can be changed.

    finger_n      force of a finger on the end of a limb (common practice, no source)
    drop_mm       height of a table
    safety        breaking load over the load
    pop_share     a snap lets go at this share of what breaks it, at most
    small_push_n  force to put hands and other small parts on (larger ones, and the least pull that a joint takes, are judged
                  where it is made: joint.push_in, joint.pull_out)
    tug_n         a firm tug at a pinned joint, which must bear it (common practice, no source)
    """

    finger_n: float = 5.0
    drop_mm: float = 750.0
    safety: float = 2.0
    pop_share: float = 0.5
    small_push_n: float = 20.0
    tug_n: float = 20.0


_LIGHT = 0.05  # of the inside filled: what is tried against a fall

SMALL_MM = 25.0
"""A part whose longest side is shorter is held between two fingertips."""


@dataclass(frozen=True, eq=False)
class JointStrength:
    """What breaks a joint's hardware, and what makes it let go.

    bending, tension, twist   the section that breaks first under each
    release_n     pull at which the joint comes apart by itself; None where only breaking parts it
    release_nmm   bending moment at which it is levered apart; None where it cannot be
    guard         the ball on its way or beyond it that is levered out first when a limb's end is pressed, for a snap that
                  does not let go sideways itself; guarded_nmm the bending moment that it has got by then
    insert        the part that is to break first, being made to be replaced; ``gives`` its weakest section, ``spared`` the
                  weakest of what was sculpted around it, and ``seat`` where it sits there; None where there is none
    turns         for hinges: the section that breaks first when the joint is turned about its own axis
    eye           the section beside the pin that tears first, and pin_n what shears the pin off; None without a pin
    """

    joint: str
    bending: Cross
    tension: Cross
    twist: Cross
    release_n: float | None
    release_nmm: float | None
    turns: Cross | None = None
    eye: Cross | None = None
    pin_n: float | None = None
    guard: str | None = None
    guarded_nmm: float | None = None
    insert: str | None = None
    gives: Cross | None = None
    spared: Cross | None = None
    seat: Seat | None = None

    @property
    def sacrifice(self) -> float | None:
        """The most moment that the insert lets through to what was sculpted, over what breaks that; None without an insert.

        More than what levers the ball out, or breaks the insert, does not come through.
        """
        if self.gives is None or self.release_nmm is None:
            return None
        through = min(self.release_nmm, self.gives.bending_nmm)
        breaks = [c.bending_nmm for c in (self.spared,) if c is not None]
        breaks += [self.seat.breaks_nmm] if self.seat is not None else []
        return through / max(min(breaks), 1e-9) if breaks else None

    @property
    def breaks_nmm(self) -> float:
        """The bending moment that breaks it: the beam's, or the elastic solve's where a beam's cannot be believed."""
        return self.bending.bending_nmm

    @property
    def turning(self) -> tuple[float, Cross]:
        """The moment about the joint's own axis that breaks its hardware, and where: bent, or twisted off."""
        if self.turns is None:
            return min((self.breaks_nmm, self.bending), (self.twist.twist_nmm, self.twist), key=lambda t: t[0])
        return self.turns.turning_nmm, self.turns

    @property
    def pull_share(self) -> float | None:
        """Pull that releases over pull that breaks."""
        return None if self.release_n is None else self.release_n / self.tension.tension_n

    @property
    def bend_share(self) -> float | None:
        """Moment that releases, it or its guard, over moment that breaks."""
        most = self.release_nmm if self.release_nmm is not None else self.guarded_nmm
        return None if most is None else most / self.breaks_nmm


@dataclass(frozen=True, eq=False)
class Loaded:
    """One section under a finger's load and a fall.

    finger_nmm   bending moment that reaches it; force_n the finger's force, less where a joint lets go first
    let_go       the joint that lets go first, if any
    drop_nmm     bending moment of the fall, an upper bound; ``light_nmm`` the same with all that falls filled by 5 % only
    """

    cross: Cross
    arm_mm: float
    force_n: float
    finger_nmm: float
    let_go: str | None
    drop_nmm: float
    light_nmm: float

    @property
    def safety(self) -> float:
        """Breaking moment over the finger's; infinite where none reaches it."""
        return self.cross.bending_nmm / self.finger_nmm if self.finger_nmm > 0.0 else math.inf

    @property
    def drop_safety(self) -> float:
        return self.cross.bending_nmm / self.drop_nmm if self.drop_nmm > 0.0 else math.inf


def strength_of(
    joint: BuiltJoint, necks: Sequence[Cross], eyes: Sequence[Cross] = (), seat: Seat | None = None
) -> JointStrength | None:
    """A joint's strength from its necks; None where nothing was measured.

    Balls let go in pull and by prying; studs of swivels in pull alone: sideways they sit in a bore of their own length. Of a joint
    of the maker's own only its tested pull is known. Pinned joints and pegs do not let go at all.
    """
    if not necks:
        return None
    kind = joint.seated.spec.kind
    release_n = joint.retention_n if kind in ("ball", "swivel", "custom") and joint.undercut_mm > 0.0 else None
    release_nmm = None
    if kind == "ball" and release_n is not None and joint.size_mm:
        release_nmm = pry_moment_nmm(release_n, joint.size_mm - 2.0 * joint.undercut_mm)
    made = [c for c in necks if c.part in {f"{joint.name}_{p}" for p in ("stud", "cup", "link")}]
    own = made if kind == "ball" else []
    rest = [c for c in necks if c.part not in {c.part for c in own}] if own else []
    return JointStrength(
        joint.name,
        min(necks, key=lambda c: c.bending_nmm),
        min(necks, key=lambda c: c.tension_n),
        min(necks, key=lambda c: c.twist_nmm),
        release_n,
        release_nmm,
        turns=min(necks, key=lambda c: c.turning_nmm) if kind in ("hinge", "double_hinge") else None,
        eye=min(eyes, key=lambda c: c.tension_n) if eyes else None,
        pin_n=joint.retention_n if joint.pin_mm is not None else None,
        insert=own[0].part if own else None,
        gives=min(own, key=lambda c: c.bending_nmm) if own else None,
        spared=min(rest, key=lambda c: c.bending_nmm) if rest else None,
        seat=seat,
    )


def beyond(kit: Kit) -> dict[str, tuple[str, ...]]:
    """For each part, itself and all parts that hang on it, sorted."""
    hangs: dict[str, list[str]] = {}
    for joint in kit.joints:
        for axle in joint.axles if joint.built else ():
            hangs.setdefault(axle.stays, []).append(axle.moves)

    def gather(part: str) -> set[str]:
        return {part}.union(*(gather(p) for p in hangs.get(part, [])))

    return {p.name: tuple(sorted(gather(p.name))) for p in kit.parts}


@dataclass(frozen=True, eq=False)
class Push:
    """A finger on the limb's end that lies farthest from a section: its arm and force, and which joint lets go first.

    lever_mm of each joint on the way to the root that can be levered out, by name
    """

    arm_mm: float
    force_n: float
    let_go: str | None
    lever_mm: Mapping[str, float]

    @property
    def moment_nmm(self) -> float:
        return self.force_n * self.arm_mm


class Finger:
    """A finger pressing on the ends of a kit's limbs, one at a time, while the root is held."""

    def __init__(
        self, kit: Kit, corners: Mapping[str, FloatArray], strengths: Mapping[str, JointStrength], wanted: Wanted
    ) -> None:
        """``corners`` are the hull corners of each part at rest; of the strengths only what lets go is asked."""
        self._corners, self._strengths, self._wanted = corners, strengths, wanted
        self._own = {a.moves: j for j in kit.joints if j.built for a in j.axles}
        self._above = {a.moves: a.stays for j in kit.joints if j.built for a in j.axles}
        self._centres = {j.name: np.asarray(j.axles[0].centre, dtype=np.float64) for j in kit.joints if j.axles}

    def on(self, place: Sequence[float], parts: Sequence[str], start: str | None) -> Push:
        """What a section at ``place`` gets when the far end of ``parts`` is pressed; ``start`` hangs on the way to the root."""
        points = np.concatenate([self._corners[p] for p in parts])
        end = points[int(np.argmax(((points - np.asarray(place)) ** 2).sum(axis=1)))]
        force, let_go = self._wanted.finger_n, None
        way = self._way(start)
        levers: dict[str, float] = {}
        for name in sorted(way | {self._own[p].name for p in parts if p in self._own}):
            strength = self._strengths.get(name)
            if strength is None or strength.release_nmm is None or name not in self._centres:
                continue
            lever = float(np.linalg.norm(end - self._centres[name]))
            if name in way:
                levers[name] = lever
            # A joint close to the loaded end is out of the force's way: its lever is short and its bound high.
            if lever > 1.0 and strength.release_nmm / lever < force:
                force, let_go = strength.release_nmm / lever, name
        return Push(float(np.linalg.norm(end - np.asarray(place))), force, let_go, levers)

    def _way(self, part: str | None) -> set[str]:
        """Names of the joints from a part to the root."""
        names = set()
        while part is not None and part in self._own:
            names.add(self._own[part].name)
            part = self._above[part]
        return names


def guarded(
    kit: Kit, corners: Mapping[str, FloatArray], strengths: Mapping[str, JointStrength], wanted: Wanted
) -> dict[str, JointStrength]:
    """The strengths, with the guards of snaps that do not let go sideways: pressed however hard, no more reaches them."""
    tree = beyond(kit)
    finger = Finger(kit, corners, strengths, replace(wanted, finger_n=math.inf))
    out = dict(strengths)
    for joint in kit.joints:
        strength = strengths.get(joint.name)
        if strength is None or strength.release_n is None or strength.release_nmm is not None:
            continue
        moved = joint.axles[0].moves
        push = finger.on(strength.bending.place, tree[moved], moved)
        if push.let_go is not None:
            out[joint.name] = replace(strength, guard=push.let_go, guarded_nmm=push.moment_nmm)
    return out


def loaded(
    kit: Kit,
    corners: Mapping[str, FloatArray],
    masses: Mapping[str, PartMass],
    strengths: Mapping[str, JointStrength],
    limbs: Sequence[Limb],
    modulus_mpa: Mapping[str, float],
    wanted: Wanted,
) -> list[Loaded]:
    """Every limb's weakest section and every joint's weakest neck under the finger and the fall.

    ``corners`` are the hull corners of each part at rest, ``modulus_mpa`` of each part's own material.
    """
    tree = beyond(kit)
    own = {a.moves for j in kit.joints if j.built for a in j.axles}
    finger = Finger(kit, corners, strengths, wanted)
    out = []
    sections: list[tuple[Cross, tuple[str, ...], str | None]] = []
    for limb in limbs:
        if limb.part not in own:
            continue  # the root is what the hand holds
        outer = next((a.moves for j in kit.joints if j.name == limb.beyond for a in j.axles[:1]), None)
        sections.append((limb.weakest, tree[outer] if outer else (limb.part,), limb.part))
    for joint in kit.joints:
        if joint.name in strengths:
            moved = joint.axles[0].moves
            sections.append((strengths[joint.name].bending, tree[moved], moved))
    for cross, parts, start in sections:
        push = finger.on(cross.place, parts, start)
        second = cross.bar.bending_mm3 * 0.5 * cross.round_mm
        stiffness = 3.0 * modulus_mpa[cross.part] * second / max(push.arm_mm, cross.round_mm) ** 3
        falls = [
            equivalent_force_n(drop_energy_nmm(grams, wanted.drop_mm), stiffness) * push.arm_mm
            for grams in (
                sum(masses[p].printed.mass_g for p in parts),
                sum(masses[p].filled(_LIGHT).mass_g for p in parts),
            )
        ]
        caps = [
            release / max(1.0, lever) * push.arm_mm
            for name, lever in push.lever_mm.items()
            if (release := strengths[name].release_nmm) is not None
        ]
        drop, light = (min([fall, *caps]) for fall in falls)
        out.append(Loaded(cross, push.arm_mm, push.force_n, push.moment_nmm, push.let_go, drop, light))
    return out
