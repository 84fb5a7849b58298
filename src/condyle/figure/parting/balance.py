"""The balance of volume: what the sculpt weighed before, and where all of it is now."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condyle.figure.kit import Balance, Part
from condyle.figure.parting.fall import Fallen
from condyle.figure.parting.hardware import Hardware
from condyle.geometry.bvh import Bvh
from condyle.geometry.gap import Surface, smallest_gap
from condyle.geometry.locality import holds, meeting
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid, gather, overlap, remainder

_TOUCH_MM = 1e-3


def weigh(
    sculpt: Solid, body: Solid, parts: Sequence[Part], fallen: Fallen, hardware: Sequence[Hardware]
) -> tuple[Balance, dict[str, float]]:
    """The ledger, and by joint how much of its hardware stands out of the skin (mm³).

    ``body`` is the sculpt with its flares. The void is what the cut took, less what hardware fills of it again. It is read
    off the cut body and not off the tools by themselves, so the residual shows a component or hardware that was lost
    after the cut, but not a cut in the wrong place: the tests look for that with booleans of their own. Interference
    between hardware and flesh is counted once, as the design asks.
    """
    crumbs = sum(c.volume_mm3 for c in fallen.crumbs)
    total = sum(p.solid.volume_mm3 for p in parts)
    flare = body.volume_mm3 - sculpt.volume_mm3
    taken = body.volume_mm3 - fallen.cut_mm3
    added = {h.plan.joint.name: [s for side in ("parent", "child", "link") for s in h.added(side)] for h in hardware}
    everything = [s for solids in added.values() for s in solids]
    if not everything:
        return Balance(sculpt.volume_mm3, total, taken, crumbs, flare), {}
    proud = not_inside(everything, body)
    outside = remainder(gather(proud), [body]) if proud else None
    # Where joints lie close together, the hardware of one may reach into the kerf of another.
    tools = [t for h in hardware for t in (*fallen.kerfs[h.plan.joint.name], *h.cavities())]
    by_joint: dict[str, float] = {}
    filled = interference = 0.0
    for h in hardware:
        name = h.plan.joint.name
        studs = [(p.half.cup_side, p.bearing) for p in h.placed if p.half.knuckle_side in p.take]
        for side in ("parent", "child", "link"):
            for s in h.added(side):
                poking = overlap(s, outside) if outside is not None else None
                if poking is not None:
                    by_joint[name] = by_joint.get(name, 0.0) + poking.volume_mm3
                    rest = remainder(s, [poking])
                else:
                    rest = s
                if rest is None:
                    continue
                in_flesh = _without(rest, tools)
                if in_flesh is None:
                    filled += rest.volume_mm3
                    continue
                filled += rest.volume_mm3 - in_flesh.volume_mm3
                # In flesh and in a bearing: there the cup's hardware and the knuckle's flesh share room, a negative
                # clearance on purpose. Hardware's own root lies beyond the kerf, where no bearing reaches.
                shared = [overlap(in_flesh, bearing) for cup, bearing in studs if cup == side]
                interference += sum(v.volume_mm3 for v in shared if v is not None)
    balance = Balance(
        sculpt_mm3=sculpt.volume_mm3,
        parts_mm3=total - interference,
        voids_mm3=taken - filled,
        crumbs_mm3=crumbs,
        outside_mm3=flare + sum(by_joint.values()),
    )
    return balance, by_joint


def _without(solid: Solid, tools: Sequence[Solid]) -> Solid | None:
    """What of a solid lies in none of the tools, those left out that do not come near it."""
    low, high = solid.bounds
    near = [t for t in tools if (t.bounds[0] <= high).all() and (t.bounds[1] >= low).all()]
    left: Solid | None = solid
    for tool in near:
        left = None if left is None else remainder(left, [tool])
    return left


def not_inside(solids: Sequence[Solid], body: Solid) -> list[Solid]:
    """Those solids that may stand out of a body: its skin meets theirs, or they lie outside of it altogether.

    Spares a boolean with the whole body where nothing stands out, as should be.
    """
    bounds = np.array([s.bounds for s in solids])
    skins = meeting(body.mesh, bounds[:, 0], bounds[:, 1])
    inside = holds(body.mesh, np.array([s.mesh.vertices[0] for s in solids]))
    return [s for s, skin, held in zip(solids, skins, inside, strict=True) if not held or _meets(s, skin)]


def _meets(solid: Solid, skin: Mesh) -> bool:
    if not skin.triangle_count:
        return False
    gap = smallest_gap(Surface(Bvh(solid.mesh)), Surface(Bvh(skin)), limit_mm=_TOUCH_MM)
    return gap.distance_mm <= _TOUCH_MM
