"""The step that hollows resin parts: those that ``[parts.NAME] hollow_mm`` names, or all by ``[workshop] hollow_mm``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from condyle.build.hollow import Hollowed, hollowed
from condyle.build.resin import DRAIN_MM
from condyle.figure.kit import Kit
from condyle.finding import Finding
from condyle.geometry.bvh import Bvh
from condyle.geometry.solid import Solid
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.part_tables import OwnPart
from condyle.project.watch import Watch
from condyle.workshop.bench import Workshop

Made = dict[str, Hollowed | str]


def hollow_kit(
    own: Mapping[str, OwnPart],
    every_mm: float,
    kit: Kit,
    sculpt: Solid,
    workshop: Workshop,
    inputs: Sequence[bytes],
    cache: Cache,
    watch: Watch,
) -> tuple[Kit, tuple[Finding, ...]]:
    """The kit with what is asked hollowed, and what there is to say of it; what a hollow takes goes to the voids.

    Filament parts stay as they are: a printer fills them loosely by itself. ``every_mm`` is the wall of every resin part that
    has none of its own; 0 leaves them full.
    """
    there = [p.name for p in kit.parts]
    of_resin = {n for n in there if ((own[n].workshop if n in own else None) or workshop).printer.process == "resin"}
    asked = {n: every_mm for n in there if every_mm > 0.0 and n in of_resin}
    asked |= {n: o.hollow_mm for n, o in own.items() if o.hollow_mm is not None and n in there}
    asked = {n: w for n, w in asked.items() if w > 0.0}
    if not asked:
        return kit, ()
    resin = {n: w for n, w in asked.items() if n in of_resin}
    made: Made = {}
    if resin:
        with watch.step("hollow") as stored:
            made, stored.value = cache.fetch(
                "hollow", key_of("hollow", *inputs, to_bytes(resin)), lambda: _made(kit, sculpt, resin)
            )
    findings, parts, took = [], [], 0.0
    for part in kit.parts:
        done = made.get(part.name)
        if isinstance(done, Hollowed):
            part, took = replace(part, solid=done.solid), took + done.removed_mm3
        parts.append(part)
        if part.name in asked:
            findings.append(_finding(part.name, asked[part.name], done))
    balance = replace(kit.balance, parts_mm3=kit.balance.parts_mm3 - took, voids_mm3=kit.balance.voids_mm3 + took)
    return replace(kit, parts=tuple(parts), balance=balance), tuple(findings)


def _made(kit: Kit, sculpt: Solid, walls: Mapping[str, float]) -> Made:
    skin = Bvh(sculpt.mesh)
    out: Made = {}
    for name, wall in walls.items():
        mine = [j for j in kit.joints if j.built and any(name in (a.moves, a.stays) for a in j.axles)]
        out[name] = hollowed(kit.part(name).solid, wall, [s for j in mine for s in j.bearing], skin)
    return out


def _finding(name: str, wall: float, done: Hollowed | str | None) -> Finding:
    if done is None:
        words = "hollow_mm is for resin: a filament printer fills this part loosely by itself, and it stays as it is"
        return Finding("part.hollow", name, "caution", None, wall, "mm", None, words)
    if isinstance(done, str):
        return Finding("part.hollow", name, "caution", None, wall, "mm", None, f"it stays full: {done}")
    x, y, z = done.drains[1]
    words = (
        f"{done.removed_mm3:.0f} mm³ less resin; drains of {DRAIN_MM:g} mm here and at ({x:.1f}, {y:.1f}, {z:.1f}): wash the "
        "inside through them, let it run dry, cure it there too, and only then plug them; gloves, and the resin's own data sheet"
    )
    return Finding("part.hollow", name, "pass", done.wall_mm, wall, "mm", done.drains[0], words)
