"""KIT/details/hold.json, stand.json and last.json: the measures behind the findings, as plain values."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any

from condyle.joints.mechanics.grip import Spread
from condyle.proof.carry import Carried, PoseCarried
from condyle.proof.hold.judge import JointHold
from condyle.proof.last.cross import Cross
from condyle.proof.last.loads import JointStrength, Loaded
from condyle.proof.mass import PartMass

_DIGITS = 4


def carry_files(carried: Carried) -> dict[str, bytes]:
    """The three files by their path in the kit."""
    return {
        "details/hold.json": _bytes(_hold(carried)),
        "details/stand.json": _bytes({"schema": 1, "poses": [_stand(p) for p in carried.poses]}),
        "details/last.json": _bytes(_last(carried)),
    }


def _bytes(values: Any) -> bytes:
    return (json.dumps(values, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), _DIGITS) + 0.0


def _list(values: Iterable[Any]) -> list[float | None]:
    return [_number(float(v)) for v in values]


def _spread(spread: Spread) -> dict[str, float | None]:
    return {"value": _number(spread.value), "low": _number(spread.low), "high": _number(spread.high)}


def _hold(carried: Carried) -> dict[str, Any]:
    return {
        "schema": 1,
        "parts": [_mass(m) for m in carried.masses.values()],
        "joints": [_joint(h) for h in carried.holds.values()],
        "poses": [
            {
                "name": p.standing.pose.name,
                "standing": p.standing.stands,
                "weakest_joint": p.weakest_joint,
                "factor": _number(p.factor),
                "loads_nmm": {n: _list((x.nmm, x.low_nmm, x.high_nmm)) for n, x in p.loads.items()},
            }
            for p in carried.poses
        ],
    }


def _mass(mass: PartMass) -> dict[str, Any]:
    return {
        "part": mass.name,
        "mass_g": _number(mass.printed.mass_g),
        "sd_g": _number(mass.sd_g),
        "full_g": _number(mass.full_g),
        "centre": _list(mass.printed.centre_mm),
        "inertia_g_mm2": [_list(row) for row in mass.printed.inertia_g_mm2],
    }


def _joint(hold: JointHold) -> dict[str, Any]:
    worst = hold.worst
    return {
        "joint": hold.joint,
        "measured_fit": hold.grip.measured,
        "new_nmm": _spread(hold.grip.new),
        "aged_nmm": _spread(hold.grip.aged),
        "warm_nmm": _spread(hold.grip.warm),
        "load_nmm": _list((hold.load_nmm, hold.low_nmm, hold.high_nmm)),
        "pose": hold.pose,
        "factor": _number(hold.factor),
        "reach": None
        if worst is None
        else {
            "found_nmm": _number(worst.found_nmm),
            "bound_nmm": _number(worst.bound_nmm),
            "angles": {n: {m: _number(a) for m, a in told.items()} for n, told in worst.angles.items()},
        },
        "tried": [
            {
                "what": r.what,
                "value": _number(r.value),
                "clearance_mm": _number(r.clearance_mm),
                "factor": _number(r.factor),
                "enough": r.enough,
            }
            for r in hold.remedies
        ],
    }


def _stand(pose: PoseCarried) -> dict[str, Any]:
    standing = pose.standing
    return {
        "name": standing.pose.name,
        "stands": standing.stands,
        "touching": list(standing.touching),
        "lean_deg": _number(standing.lean_deg),
        "centre": _list(standing.centre_mm),
        "polygon": [_list(p + standing.centre_mm[:2]) for p in standing.foot.polygon],
        "margin_mm": _number(standing.foot.margin_mm),
        "tip_deg": _number(standing.tip_deg),
        "weakest_direction_deg": _number(standing.foot.weakest_deg),
        "tips_deg": _list(standing.foot.tips_deg),
        "flat_deg": {n: _number(a) for n, a in standing.flat_deg.items()},
        "placed": {n: [_list(row) for row in standing.placed[n]] for n in sorted(standing.placed)},
        "off": None
        if pose.off is None
        else {
            "joint": pose.off.joint,
            "motion": pose.off.motion,
            "off_deg": pose.off.off_deg,
            "stands": pose.off.standing.stands,
            "tip_deg": _number(pose.off.standing.tip_deg),
        },
        "offered": None
        if pose.offered is None
        else {
            "angles": {n: {m: _number(a) for m, a in told.items()} for n, told in pose.offered.angles.items()},
            "stands": pose.offered.standing.stands,
            "tip_deg": _number(pose.offered.standing.tip_deg),
            "margin_mm": _number(pose.offered.standing.margin_mm),
        },
    }


def _last(carried: Carried) -> dict[str, Any]:
    return {
        "schema": 1,
        "joints": [_strength(s) for s in carried.strengths.values()],
        "sections": [_loaded(x) for x in carried.loads],
    }


def _cross(cross: Cross) -> dict[str, Any]:
    return {
        "part": cross.part,
        "joint": cross.joint,
        "what": cross.what,
        "place": _list(cross.place),
        "across_mm": _number(cross.round_mm),
        "thinnest_mm": _number(cross.bar.thinnest_mm),
        "area_mm2": _number(cross.bar.area_mm2),
        "bending_mm3": _number(cross.bar.bending_mm3),
        "notch": _number(cross.notch),
        "layers_deg": _number(cross.layers_deg),
        "strength_mpa": _number(cross.strength_mpa),
        "breaks_nmm": _number(cross.bending_nmm),
        "by": cross.by,
        "beam_nmm": _number(cross.beam_nmm),
        "second_opinion": None
        if cross.opinion is None
        else {
            "stress_ratio": _number(cross.opinion.stress_ratio),
            "breaks_nmm": _number(cross.solved_nmm),
            "cells": cross.opinion.cells,
        },
        "breaks_n": _number(cross.tension_n),
        "twists_off_nmm": _number(cross.twist_nmm),
        "shears_n": _number(cross.shear_n),
    }


def _strength(strength: JointStrength) -> dict[str, Any]:
    return {
        "joint": strength.joint,
        "release_n": _number(strength.release_n),
        "release_nmm": _number(strength.release_nmm),
        "guard": strength.guard,
        "guarded_nmm": _number(strength.guarded_nmm),
        "pull_share": _number(strength.pull_share),
        "bend_share": _number(strength.bend_share),
        "breaks_nmm": _number(strength.breaks_nmm),
        "pin_shears_n": _number(strength.pin_n),
        "insert": strength.insert,
        "lets_through_share": _number(strength.sacrifice),
        "seat": None
        if strength.seat is None
        else {
            **_cross(strength.seat.cross),
            "peg_mm": _number(strength.seat.peg_mm),
            "length_mm": _number(strength.seat.length_mm),
            "wall_mm": _number(strength.seat.wall_mm),
            "bursts_nmm": _number(strength.seat.burst_nmm),
        },
        "eye": None if strength.eye is None else _cross(strength.eye),
        "bending": _cross(strength.bending),
        "tension": _cross(strength.tension),
        "twist": _cross(strength.twist),
    }


def _loaded(load: Loaded) -> dict[str, Any]:
    return {
        **_cross(load.cross),
        "arm_mm": _number(load.arm_mm),
        "force_n": _number(load.force_n),
        "finger_nmm": _number(load.finger_nmm),
        "lets_go_first": load.let_go,
        "drop_nmm": _number(load.drop_nmm),
        "light_drop_nmm": _number(load.light_nmm),
        "safety": _number(load.safety),
        "drop_safety": _number(load.drop_safety),
    }
