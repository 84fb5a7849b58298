"""A build direction in words: which side lies down, and what speaks for it and against it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from condyle.build.process import Rules
from condyle.geometry.mesh import FloatArray

_SIDES = (("front", "back"), ("left side", "right side"), ("top", "underside"))


def side_down(direction: FloatArray) -> str:
    """``its back down``, ``its left side and front down``: sides of the standing figure, the nearer one first."""
    return f"{side_of(-np.asarray(direction, dtype=np.float64))} down"


def side_of(way: FloatArray) -> str:
    """``its back``, ``its left side and front``: where a direction (3,) of the standing figure points, the nearer side first."""
    order = np.argsort(-np.abs(way), kind="stable")
    said = [_SIDES[int(axis)][0 if way[axis] > 0 else 1] for axis in order if abs(way[axis]) > 0.35]
    return "its " + " and ".join(said[:2])


def reasons(m: Mapping[str, float], has_necks: bool, rules: Rules, *, pinned: bool) -> tuple[str, ...]:
    """What was measured of a chosen direction, in sentences of one line, the weightiest first."""
    out = ["kept as the figure file pins it"] if pinned else []
    touched = m["bearing_mm2"] + m["feet_bearing_mm2"]
    if touched < 0.5:
        out.append("no support on a bearing face")
    else:
        out.append(
            f"supports touch {touched:.0f} mm² of bearing faces: no direction without that was better on the whole"
        )
    if m["first_bearing_mm2"] >= 0.5:
        out.append(f"{m['first_bearing_mm2']:.0f} mm² of a bearing face lie on the plate")
    if m["support_mm3"] < 1.0:
        out.append("next to no support")
    else:
        on_show = f"{m['show_mm2']:.0f} mm² of it on show faces" if m["show_mm2"] >= 0.5 else "none of it on show faces"
        out.append(f"{m['support_mm3']:.0f} mm³ of support, {on_show}")
    if m["feet_show_mm2"] >= 0.5:
        out.append(f"supports stand on {m['feet_show_mm2']:.0f} mm² of show faces")
    if m["islands"] >= 1.0:
        count = int(m["islands"])
        out.append(f"{count} {'place starts' if count == 1 else 'places start'} in the air")
    else:
        out.append("nothing starts in the air")
    if has_necks:
        share = m["neck_share"]
        how = "lie in the layers" if share < 0.1 else ("stand across the layers" if share > 0.35 else "lie aslant")
        out.append(f"its necks {how}: {share:.2f} of the strength between layers")
    out.append(f"layer steps leave about {m['rough_um']:.0f} µm Ra on show faces")
    if rules.process == "filament":
        out.append(
            f"{m['contact_mm2']:.0f} mm² in the first layer, {m['height_mm']:.0f} mm tall, tips at {m['tip_deg']:.0f}°"
        )
    else:
        out.append(f"{m['peel_mm2']:.0f} mm² in the largest layer, {m['height_mm']:.0f} mm tall")
    return tuple(out)
