"""What the kit's detail files say, in the words and angles of the page: poses, how parts lie on the plate, the finish."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from condyle.atlas.views import Triple

Rest = Mapping[str, Mapping[str, float]]


class SolvedPoseView(BaseModel):
    """A pose of the file as it was reached: degrees from the sculpt's own pose, and every change with its reason."""

    name: str
    joints: dict[str, dict[str, float]]
    changes: list[str]
    way_free: bool | None
    loads_nmm: dict[str, float]
    weakest_joint: str | None
    factor: float | None


class SpotView(BaseModel):
    """A place that asks for support: build coordinates' height, and figure coordinates of the place."""

    kind: str
    z_mm: float
    area_mm2: float | None
    span_mm: float | None
    place: Triple


class ColumnView(BaseModel):
    """A support column in build coordinates, and what it touches."""

    why: str
    top: Triple
    foot_mm: float
    foot: str
    touches: str
    reachable: bool


class LyingView(BaseModel):
    """A part as it lies on the plate: the move from the figure to there, why, and what it needs there."""

    name: str
    pinned: bool
    transform: list[list[float]]
    lies: str
    reasons: list[str]
    otherwise: list[str]
    layers: int
    rough_um: float | None
    support_mm3: float | None
    tip_deg: float | None
    spots: list[SpotView]
    columns: list[ColumnView]


class MaskView(BaseModel):
    """A mask on a part: at which joint, its form, and the file to print it from, if any."""

    joint: str
    form: str
    file: str | None


class SmoothView(BaseModel):
    """A part in the finish: words on smoothing, area of each colour (mm²), masks, and the joint that it is held by.

    lost  places (figure coordinates) of detail that sanding and coats would erase, the deepest first
    """

    words: list[str]
    colours_mm2: dict[str, float]
    masks: list[MaskView]
    held_by: str | None
    lost: list[Triple]


class ColourView(BaseModel):
    """A colour of the figure; red, green and blue from 0 to 255."""

    name: str
    rgb: Triple


class FinishView(BaseModel):
    """What comes after printing: each part's finish, what is masked, what is mixed, how it goes together, the days."""

    colours: list[ColourView]
    parts: dict[str, SmoothView]
    masks: dict[str, str]
    coats: list[str]
    assembly: list[str]
    days: list[str]


def solved_poses(kit: Path, rest: Rest) -> list[SolvedPoseView]:
    """From details/poses.json and hold.json; ``rest`` is the sculpt's own pose, degrees from the human zero."""
    loads = {p["name"]: p for p in _read(kit, "hold").get("poses", [])}
    out = []
    for pose in _read(kit, "poses").get("poses", []):
        held = loads.get(pose["name"], {})
        turned = {
            joint: {m: round(v - rest.get(joint, {}).get(m, 0.0), 2) for m, v in angles.items()}
            for joint, angles in pose["reached"].items()
        }
        out.append(
            SolvedPoseView(
                name=pose["name"],
                joints=turned,
                changes=[_change(c) for c in pose["changes"]],
                way_free=pose["way"]["free"],
                loads_nmm={n: v[0] for n, v in held.get("loads_nmm", {}).items()},
                weakest_joint=held.get("weakest_joint"),
                factor=held.get("factor"),
            )
        )
    return out


def lying_parts(kit: Path) -> list[LyingView]:
    """From details/print.json."""
    out = []
    for part in _read(kit, "print").get("parts", []):
        out.append(
            LyingView(
                name=part["name"],
                pinned=part["pinned"],
                transform=part["transform"],
                lies=part["lies"],
                reasons=part["reasons"],
                otherwise=[f"{a['lies']}: {a['better_at']}" for a in part["alternatives"]],
                layers=part["layers"],
                rough_um=part["measures"].get("rough_um"),
                support_mm3=part["support_mm3"],
                tip_deg=part["tip_deg"],
                spots=[SpotView(**{k: s[k] for k in SpotView.model_fields}) for s in part["spots"]],
                columns=[ColumnView(**{k: c[k] for k in ColumnView.model_fields}) for c in part["columns"]],
            )
        )
    return out


def finish_of(kit: Path) -> FinishView:
    """From details/finish.json."""
    told = _read(kit, "finish")
    return FinishView(
        colours=[ColourView(name=c["name"], rgb=tuple(float(v) for v in c["rgb"])) for c in told.get("colours", [])],
        parts={p["name"]: _smooth(p, told.get("masks", [])) for p in told.get("parts", [])},
        masks={
            j[
                "name"
            ]: f"mask its bearing faces: {j['gap_mm']:.2f} mm of gap, {j['left_mm']:.2f} mm left under the coats"
            if j["masked"]
            else f"bearing faces may be coated: {j['left_mm']:.2f} mm of gap left"
            for j in told.get("joints", [])
            if j["gap_mm"] is not None and j["left_mm"] is not None
        },
        coats=[
            f"{m['coat']} ({m['colour']}): {m['paint_ml']:.1f} ± {m['sd_ml']:.1f} ml paint"
            + (f" and {m['thinner_ml']:.1f} ml thinner" if m["thinner_ml"] else "")
            + f" for {m['area_mm2'] / 100:.0f} cm²"
            for m in told.get("mixes", [])
        ],
        assembly=[_mating(s) for s in told.get("assembly", [])],
        days=[
            f"{_hours(t['start_h'])}: {t['task']}, {t['hands_h']:.1f} h by hand"
            + (f", then {t['wait_h']:.1f} h of waiting" if t["wait_h"] else "")
            for t in told.get("schedule", [])
        ],
    )


_MOST_LOST = 12


def _smooth(p: dict[str, Any], masks: list[dict[str, Any]]) -> SmoothView:
    lost = sorted(p.get("lost_detail", []), key=lambda d: -float(d["depth_mm"]))[:_MOST_LOST]
    return SmoothView(
        words=[
            f"show {p['show_mm2']:.0f} mm², hidden {p['hidden_mm2']:.0f} mm², bearing {p['bearing_mm2']:.0f} mm²",
            f"mean roughness {p['mean_ra_um']:.0f} µm Ra; filler on {p['fill_mm2']:.0f} mm²",
            *(f"{g['grit']}: about {g['minutes']:.0f} min" for g in p["grits"]),
            f"about {60 * p['hours']:.0f} min by hand, the true time within a factor {p['hours_factor']:.1f}",
        ],
        colours_mm2=p.get("colours_mm2", {}),
        masks=[
            MaskView(joint=m["joint"], form=m["form"] or "place that no cap covers", file=m["file"])
            for m in masks
            if m["part"] == p["name"]
        ],
        held_by=p.get("held_by"),
        lost=[tuple(d["place"]) for d in lost],
    )


def _change(change: dict[str, Any]) -> str:
    asked, got = change["asked_deg"], change["reached_deg"]
    words = f"{change['joint']} {change['motion']}: {asked:.0f}° asked, {got:.0f}° reached"
    meet = " meets ".join(change["meet"]) if change.get("meet") else change["reason"]
    return f"{words} ({meet})".replace("_", " ")


def _mating(step: dict[str, Any]) -> str:
    force = step.get("force_n")
    words = f"{step['moves']} onto {step['stays']} ({step['joint']})".replace("_", " ")
    return words + (f", about {force:.0f} N" if force is not None else "")


def _hours(start_h: float) -> str:
    return f"day {int(start_h // 24) + 1}, hour {start_h % 24:.0f}"


def _read(kit: Path, name: str) -> dict[str, Any]:
    """A detail file, or an empty one where the kit is of a version that did not write it, or it is spoilt."""
    try:
        value = json.loads((kit / "details" / f"{name}.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return value if isinstance(value, dict) else {}
