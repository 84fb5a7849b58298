"""The step that engraves each part's name or number on a hidden face, unless ``[finish] labels`` is off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from condyle.figure.kit import Kit
from condyle.finding import Finding
from condyle.finish.labels import Label, Labelled, labelled
from condyle.geometry.solid import Solid
from condyle.project.cache import Cache, key_of
from condyle.project.watch import Watch
from condyle.workshop.bench import Workshop


def label_kit(
    wanted: bool, kit: Kit, sculpt: Solid, workshop: Workshop, inputs: Sequence[bytes], cache: Cache, watch: Watch
) -> tuple[Kit, tuple[Label, ...], tuple[Finding, ...]]:
    """The kit with its parts engraved, as it is where nothing is asked. What the letters take goes to the voids."""
    if not wanted:
        return kit, (), ()
    with watch.step("labels") as stored:
        made: Labelled
        made, stored.value = cache.fetch(
            "labels", key_of("labels", *inputs), lambda: labelled(kit, sculpt, workshop.printer)
        )
    took = sum(label.volume_mm3 for label in made.labels)
    balance = replace(kit.balance, parts_mm3=kit.balance.parts_mm3 - took, voids_mm3=kit.balance.voids_mm3 + took)
    marks = {label.part: label.mark for label in made.labels}
    parts = tuple(replace(p, solid=made.solids[p.name], mark=marks[p.name]) for p in kit.parts)
    return replace(kit, parts=parts, balance=balance), made.labels, made.findings
