"""Parts: each as it lies on the plate, with its measures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from condyle.book.chapters.verdicts import amount
from condyle.book.drawings import lying
from condyle.book.matter import PartEntry
from condyle.finish.labels import Label, numbers
from condyle.geometry.mesh import FloatArray, Mesh


def part_entries(
    parts: Sequence[Mapping[str, Any]],
    meshes: Mapping[str, Mesh],
    transforms: Mapping[str, FloatArray],
    reasons: Mapping[str, Sequence[str]],
    labels: Sequence[Label] = (),
    seams: Mapping[str, str] | None = None,
    workers: int = 2,
) -> tuple[tuple[PartEntry, ...], dict[str, bytes]]:
    """From the ``parts`` of proof.json; ``transforms`` lay a part down, ``reasons`` say why it lies so, ``labels`` what it
    carries, ``seams`` the side for its seam."""
    names = [str(p["name"]) for p in parts]
    counted = numbers(names)
    carries = {label.part: engraved(label) for label in labels}
    with ThreadPoolExecutor(workers) as pool:
        drawn = dict(zip(names, pool.map(lambda n: lying(meshes[n], transforms.get(n)), names), strict=True))
    entries = []
    for p in parts:
        rows = (
            ("mass", amount(p["mass_g"], "g")),
            ("volume", amount(p["volume_mm3"], "mm³")),
            ("thinnest wall", amount(p["min_wall_mm"], "mm")),
            ("seam", f"to {seams[name]}" if seams and (name := str(p["name"])) in seams else ""),
            ("engraved", carries.get(str(p["name"]), "")),
        )
        notes = tuple(reasons.get(str(p["name"]), ()))[:2]
        entries.append(
            PartEntry(
                counted[str(p["name"])], str(p["name"]), f"part-{p['name']}.png", tuple(r for r in rows if r[1]), notes
            )
        )
    return tuple(entries), {f"part-{name}.png": png for name, png in drawn.items()}


def engraved(label: Label) -> str:
    """What a part carries, and where."""
    if label.place is None:
        return "nothing: no room"
    return f"{label.code}, on a cut face" if label.covered else f"{label.code}, on a face that bending may show"


def part_words(labels: Sequence[Label]) -> str:
    """How the parts are told apart."""
    words = "Each part has a number; those that differ in their side alone share it, with L for the figure's own left and R for its right. "
    if not labels:
        return words + "Nothing is engraved: bag each part with its number as it comes off the plate."
    bare = [label.part.replace("_", " ") for label in labels if label.place is None]
    words += "It is engraved where no one looks, or the whole name where there is room."
    return words if not bare else f"{words} No room was found on {', '.join(bare)}: bag these with their numbers."
