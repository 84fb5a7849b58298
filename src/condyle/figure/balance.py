"""The balance of volume: what the sculpt weighed before, and where all of it is now."""

from __future__ import annotations

from collections.abc import Sequence

from condyle.figure.fall import Fallen
from condyle.figure.hardware import Hardware
from condyle.figure.kit import Balance, Part
from condyle.geometry.solid import Solid, gather, overlap, remainder, union


def weigh(
    sculpt: Solid, body: Solid, parts: Sequence[Part], fallen: Fallen, hardware: Sequence[Hardware]
) -> tuple[Balance, dict[str, float]]:
    """The ledger, and by joint how much of its hardware stands out of the skin (mm³).

    ``body`` is the sculpt with its flares. The void is what the cut took, less what hardware fills of it again; both are
    measured on the tools and the cut body, the parts on the finished solids, so the residual tells whether anything was
    lost or made on the way. Interference between hardware and flesh is counted once, as the design asks.
    """
    crumbs = sum(c.volume_mm3 for c in fallen.crumbs)
    total = sum(p.solid.volume_mm3 for p in parts)
    flare = body.volume_mm3 - sculpt.volume_mm3
    taken = body.volume_mm3 - fallen.cut_mm3
    added = {h.plan.joint.name: [s for side in ("parent", "child", "link") for s in h.added(side)] for h in hardware}
    everything = [s for solids in added.values() for s in solids]
    if not everything:
        return Balance(sculpt.volume_mm3, total, taken, crumbs, flare), {}
    outside = remainder(gather(everything), [body])
    by_joint: dict[str, float] = {}
    filled = interference = 0.0
    for h in hardware:
        name = h.plan.joint.name
        emptied = union([*fallen.kerfs[name], *h.cavities()], "emptied")
        for p in h.placed:
            stud = p.add.get(p.half.cup_side)
            cavity = p.take.get(p.half.knuckle_side)
            if stud is not None and cavity is not None:
                interference += _interference(stud, cavity, p.bearing, list(p.bore.values()))
        for s in added[name]:
            inner = overlap(s, emptied)
            poking = overlap(s, outside) if outside is not None else None
            if poking is not None:
                by_joint[name] = by_joint.get(name, 0.0) + poking.volume_mm3
                inner = remainder(inner, [poking]) if inner is not None else None
            filled += 0.0 if inner is None else inner.volume_mm3
    balance = Balance(
        sculpt_mm3=sculpt.volume_mm3,
        parts_mm3=total - interference,
        voids_mm3=taken - filled,
        crumbs_mm3=crumbs,
        outside_mm3=flare + sum(by_joint.values()),
    )
    return balance, by_joint


def _interference(stud: Solid, cavity: Solid, bearing: Solid, bores: list[Solid]) -> float:
    """Volume where the cup's hardware and the knuckle's flesh share room: a negative clearance, on purpose.

    Bearings end before the kerf, so the kerf need not be looked at.
    """
    within = overlap(stud, bearing)
    proud = remainder(within, [cavity, *bores]) if within is not None else None
    return 0.0 if proud is None else proud.volume_mm3
