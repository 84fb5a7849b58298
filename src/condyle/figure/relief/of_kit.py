"""A kit after relief: its parts, its ledger, and what its joints say of themselves."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from condyle.figure.kit import Kit
from condyle.figure.parting.hardware import Hardware
from condyle.figure.relief.relieve import relieve
from condyle.figure.wishes import JointWish
from condyle.geometry.solid import Solid, solid_from_mesh
from condyle.joints.stock import Stock


def relieved(
    kit: Kit,
    body: Solid,
    hardware: Sequence[Hardware],
    part_of: Mapping[str, str],
    wishes: Mapping[str, JointWish],
    stock: Stock,
    progress: Callable[[str], None] = lambda step: None,
) -> Kit:
    """The kit with relief at its joints. ``body`` is the sculpt with its flares; the rest is what parting made."""
    progress("giving room to move")
    done = relieve(kit.parts, body, hardware, part_of, wishes, stock)
    if not done.records:
        return kit
    old = {p.name: p.solid for p in kit.parts}
    parts = tuple(replace(p, solid=without_new_voids(old[p.name], p.solid)) if p.name in old else p for p in done.parts)
    lost = sum(p.solid.volume_mm3 for p in kit.parts) - sum(p.solid.volume_mm3 for p in parts)
    balance = replace(
        kit.balance,
        parts_mm3=kit.balance.parts_mm3 - lost,
        voids_mm3=kit.balance.voids_mm3 + lost - done.crumbs_mm3,
        crumbs_mm3=kit.balance.crumbs_mm3 + done.crumbs_mm3,
    )
    # A flange that was made round no longer stops its joint.
    rounded = {r.joint for r in done.records if r.rounded}
    joints = tuple(
        replace(j, findings=tuple(f for f in j.findings if f.check != "joint.flange")) if j.name in rounded else j
        for j in kit.joints
    )
    return Kit(parts, joints, balance, (*kit.findings, *done.findings), done.records)


def without_new_voids(before: Solid, after: Solid) -> Solid:
    """The solid without hollows that relief has closed off inside it: flesh handed over can roof a kerf.

    What had an inner void before keeps all of them: those were drawn.
    """
    if len(before.shells()) > 1:
        return after
    shells = after.shells()
    if len(shells) == 1:
        return after
    return solid_from_mesh(max(shells, key=lambda shell: shell.volume_mm3), "part after relief")
