"""A pose of the maker's hand tried on the finished kit: which parts meet, whether it stands, which joint gives way first.

The measures are those of the proof, on the full meshes of the kit: contact as ``proof.pose_contact`` has it, standing as
``proof.stand`` and loads as ``proof.hold.statics`` of a figure that is held by its root bone, or stands if it does.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from condyle.errors import UsageError
from condyle.figure.kit import Kit
from condyle.figure.pose import Pose, forward
from condyle.geometry.mass import MassProperties
from condyle.project.pipeline import prove_figure
from condyle.project.watch import Watch
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.hold.statics import held_loads
from condyle.proof.mass import PartMass
from condyle.proof.pose_contact import Figure
from condyle.proof.stand.standing import Ground, make_ground, put_down


@dataclass(frozen=True, eq=False)
class Trial:
    """A kit made ready to be asked in many poses. ``text`` is the figure file that it was made of."""

    text: str
    kit: Kit
    contact: Figure
    ground: Ground


def made_ready(figure: Path, kit: Path, watch: Watch) -> Trial:
    """Ready the kit of a figure file; everything comes from the cache where the kit is of the file as it stands."""
    result = prove_figure(figure, watch, keep=True)
    bodies = make_bodies(result.kit)
    meetings = make_meetings(result.kit, bodies)
    contact = Figure(result.kit, bodies, meetings, result.opened.workshop.kerf_mm)
    return Trial(result.opened.document.text, result.kit, contact, make_ground(result.kit, _masses(kit)))


def tried(trial: Trial, joints: Mapping[str, Mapping[str, float]]) -> dict[str, Any]:
    """What is found of a pose, given in degrees from the sculpt's own pose by joint and motion.

    ``contacts`` holds pairs of parts that are nearer than they may be, with the place (figure coordinates, the root bone
    at rest) and the gap; ``loads_nmm`` the torque of gravity at each joint. UsageError for a joint or motion that is none.
    """
    seated = {j.name: j.seated for j in trial.kit.joints}
    angles: dict[str, dict[Any, float]] = {}
    for name, turns in joints.items():
        if name not in seated:
            raise UsageError("atlas.joint", f"the kit has no joint {name!r}")
        stands = Pose("as sculpted").of(seated[name])
        angles[name] = {m: v + stands.get(m, 0.0) for m, v in turns.items()}  # type: ignore[call-overload]
    pose = Pose("tried", angles)
    placed = forward(trial.kit, pose)
    standing = put_down(trial.ground, pose)
    loads = held_loads(trial.kit, trial.ground.masses, placed)
    return {
        "contacts": [
            {"first": c.first, "second": c.second, "gap_mm": c.gap_mm, "keep_mm": c.keep_mm, "place": list(c.place)}
            for c in trial.contact.meeting(placed)
        ],
        "stands": bool(standing.stands),
        "tip_deg": float(standing.tip_deg),
        "margin_mm": float(standing.margin_mm),
        "touching": list(standing.touching),
        "loads_nmm": {n: float(v.nmm) for n, v in loads.items()},
    }


def _masses(kit: Path) -> dict[str, PartMass]:
    """Masses as printed, as the kit's own details/hold.json has them."""
    try:
        parts = json.loads((kit / "details" / "hold.json").read_text(encoding="utf-8"))["parts"]
    except (OSError, ValueError, KeyError):
        raise UsageError("atlas.no_masses", "the kit was not weighed", hint="make the kit again") from None
    out = {}
    for p in parts:
        inertia = np.asarray(p["inertia_g_mm2"], dtype=np.float64)
        grams = float(p["mass_g"])
        # The volume is not asked here; only mass, its middle and inertia are.
        printed = MassProperties(math.nan, grams, np.asarray(p["centre"], dtype=np.float64), inertia)
        out[p["part"]] = PartMass(p["part"], printed, float(p["full_g"]), None, 1.0, float(p["sd_g"]))
    return out
