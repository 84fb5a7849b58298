"""The step that lays every part on the build plate and proves that it prints; KIT/details/print.json."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from condyle.build.faces import Neck
from condyle.build.orientation import Lying
from condyle.build.supports import Column
from condyle.figure.kit import Kit
from condyle.figure.wishes import JointWish
from condyle.geometry.solid import Solid
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.part_keys import PartKeys, solid_bytes
from condyle.project.part_tables import OwnPart
from condyle.project.watch import Watch
from condyle.proof.print import PartPrint, PrintProof, prints
from condyle.proof.print_fit import PrintedFit
from condyle.workshop.bench import Workshop

_DIGITS = 4
_KINDS = ("hidden", "show", "bearing")


def print_kit(
    kit: Kit,
    sculpt: Solid,
    workshop: Workshop,
    own: Mapping[str, OwnPart],
    inputs: Sequence[bytes],
    cache: Cache,
    watch: Watch,
    necks: Sequence[Neck] = (),
    wishes: Mapping[str, JointWish] | None = None,
) -> PrintProof:
    """Every part on the plate, in its own workshop and the way up that the figure file gives it.

    ``inputs`` is all that the kit was made from, ``wishes`` among it.
    """
    there = {p.name for p in kit.parts}
    # The file's word, or an insert's own way up; both stand in the part.
    pins = {p.name: np.array(p.build_up) for p in kit.parts if p.build_up is not None}
    shops = {n: o.workshop for n, o in own.items() if o.workshop is not None and n in there}
    asked = (to_bytes({n: tuple(p.tolist()) for n, p in pins.items()}), to_bytes(shops), to_bytes(tuple(necks)))

    skin = key_of("sculpt", solid_bytes(sculpt)).encode()

    def lies_by(part: str) -> bytes:
        mine = {j.name for j in kit.joints if any(part in (a.moves, a.stays) for a in j.axles)}
        near = tuple(n for n in necks if n.part == part or n.joint in mine)
        pin = None if part not in pins else tuple(pins[part].tolist())
        return to_bytes((near, shops.get(part, workshop), pin)) + skin

    keep = PartKeys(kit, cache).keep("lying", lies_by)
    planned = {name: wish.fits for name, wish in (wishes or {}).items() if wish.fits is not None}
    with watch.step("print") as stored:
        proof: PrintProof
        proof, stored.value = cache.fetch(
            "print",
            key_of("print", *inputs, *asked),
            lambda: prints(kit, sculpt, workshop, pins, necks, shops, planned, keep=keep),
        )
    return proof


def print_files(proof: PrintProof) -> dict[str, bytes]:
    """``details/print.json`` by its path in the kit."""
    values = {
        "schema": 1,
        "parts": [_part(p) for p in proof.parts.values()],
        "fits": [_fit(f) for f in proof.fits],
    }
    text = json.dumps(values, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    return {"details/print.json": text.encode()}


def _part(part: PartPrint) -> dict[str, Any]:
    o = part.orientation
    return {
        "name": part.name,
        "pinned": o.pinned,
        "up": _list(o.chosen.direction),
        "transform": [_list(row) for row in o.transform],
        "lies": o.chosen.words,
        "reasons": list(o.reasons),
        "measures": _numbers(o.chosen.measures),
        "alternatives": [_lying(a) for a in o.alternatives],
        "tried": len(o.directions),
        "front": [
            {"up": _list(d), "measures": _list(m)}
            for d, m in zip(o.directions[o.on_front], o.measures[o.on_front], strict=True)
        ],
        "measured": list(o.chosen.measures),
        "layers": part.layers,
        "support_mm3": _number(part.support_mm3),
        "footprint_mm2": _number(part.footprint_mm2),
        "tip_deg": _number(part.growth.tip_deg),
        "contact_mm2": _number(part.growth.contact_mm2),
        "lost_mm3": _number(part.lost_mm3),
        "spots": [
            {
                "kind": s.kind,
                "z_mm": _number(s.z_mm),
                "area_mm2": _number(s.area_mm2),
                "span_mm": _number(s.span_mm),
                "depth_mm": _number(s.depth_mm),
                "place": _list(s.place),
            }
            for s in part.spots
        ],
        "columns": [_column(c) for c in part.columns],
        "split": None if part.split is None else _plain(vars(part.split)),
        "cups": [_plain(vars(c)) for c in part.cups],
        "peel": None if part.peel is None else _plain(vars(part.peel)),
        "seam": None if part.seam is None else _plain(vars(part.seam)),
        "studless": None if part.studless is None else _plain(vars(part.studless)),
        "hollowing": None if part.hollowing is None else _plain(vars(part.hollowing)),
    }


def _lying(lying: Lying) -> dict[str, Any]:
    return {
        "up": _list(lying.direction),
        "lies": lying.words,
        "better_at": lying.better_at,
        "measures": _numbers(lying.measures),
    }


def _column(column: Column) -> dict[str, Any]:
    return {
        "why": column.why,
        "top": _list(column.top),
        "place": _list(column.place),
        "foot": column.foot,
        "foot_mm": _number(column.foot_mm),
        "slope_deg": _number(column.slope_deg),
        "touches": _KINDS[column.touches],
        "stands_on": "plate" if column.stands_on is None else _KINDS[column.stands_on],
        "slenderness": _number(column.slenderness),
        "reachable": column.reachable,
        "lean_deg": _number(column.lean_deg),
    }


def _fit(fit: PrintedFit) -> dict[str, Any]:
    return _plain(vars(fit))


def _plain(values: Mapping[str, Any]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, tuple) and all(isinstance(v, str) for v in value):
            out[name] = list(value)
        elif isinstance(value, tuple):
            out[name] = [_list(v) if isinstance(v, tuple) else _number(v) for v in value]
        elif isinstance(value, float):
            out[name] = _number(value)
        else:
            out[name] = value
    return out


def _numbers(values: Mapping[str, float]) -> dict[str, float | None]:
    return {name: _number(value) for name, value in values.items()}


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), _DIGITS) + 0.0


def _list(values: Iterable[Any]) -> list[float | None]:
    return [_number(float(v)) for v in values]
