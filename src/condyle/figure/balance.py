"""The balance of volume: what the sculpt weighed before, and where all of it is now."""

from __future__ import annotations

from collections.abc import Sequence

from condyle.figure.fall import Fallen
from condyle.figure.hardware import Hardware
from condyle.figure.kit import Balance, Part
from condyle.geometry.solid import Solid, overlap, remainder, union


def weigh(
    sculpt: Solid, parts: Sequence[Part], fallen: Fallen, hardware: Sequence[Hardware], crumbs: Sequence[Solid]
) -> tuple[Balance, dict[str, float]]:
    """The ledger, and by joint how much of its hardware stands out of the sculpt's skin (mm³).

    Voids are measured on the tools, not as what is missing, so the residual tells whether anything was lost or made
    without being meant. Interference between hardware and flesh is counted once, as the design asks.
    """
    adds = [a for h in hardware for p in h.placed for a in p.add.values()]
    takes = [t for h in hardware for p in h.placed for t in p.take.values()]
    bores = [b for h in hardware for p in h.placed for b in p.bore.values()]
    crumbs_mm3 = sum(c.volume_mm3 for c in (*fallen.crumbs, *crumbs))
    parts_mm3 = sum(p.solid.volume_mm3 for p in parts)
    if not fallen.kerfs:
        return Balance(sculpt.volume_mm3, parts_mm3, 0.0, crumbs_mm3, 0.0), {}
    opened = union([*(k for ks in fallen.kerfs.values() for k in ks), *takes], "cavities")
    outside: dict[str, float] = {}
    all_adds = union(adds, "hardware") if adds else None
    bored = all_adds if all_adds is None or not bores else remainder(all_adds, bores)
    voids = remainder(opened, [all_adds]) if all_adds is not None else opened
    voids = union([v for v in (voids, *bores) if v is not None], "voids") if bores else voids
    inside = overlap(voids, sculpt) if voids is not None else None
    out = remainder(bored, [sculpt]) if bored is not None else None
    interference = sum(_interference(h, fallen) for h in hardware)
    balance = Balance(
        sculpt_mm3=sculpt.volume_mm3,
        parts_mm3=parts_mm3 - interference,
        voids_mm3=inside.volume_mm3 if inside is not None else 0.0,
        crumbs_mm3=crumbs_mm3,
        outside_mm3=out.volume_mm3 if out is not None else 0.0,
    )
    if out is not None:
        for h in hardware:
            for p in h.placed:
                for a in p.add.values():
                    poking = overlap(a, out)
                    if poking is not None:
                        name = h.plan.joint.name
                        outside[name] = outside.get(name, 0.0) + poking.volume_mm3
    return balance, outside


def _interference(h: Hardware, fallen: Fallen) -> float:
    """Volume where the cup's hardware and the knuckle's flesh share room: a negative clearance, on purpose."""
    total = 0.0
    for p in h.placed:
        stud = p.add.get(p.half.cup_side)
        cavity = p.take.get(p.half.knuckle_side)
        if stud is None or cavity is None:
            continue
        within = overlap(stud, p.bearing)
        if within is None:
            continue
        proud = remainder(within, [cavity, *fallen.kerfs[h.plan.joint.name], *p.bore.values()])
        total += 0.0 if proud is None else proud.volume_mm3
    return total
