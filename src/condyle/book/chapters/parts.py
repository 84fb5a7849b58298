"""Parts: each as it lies on the plate, with its measures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from condyle.book.chapters.verdicts import amount
from condyle.book.drawings import lying
from condyle.book.matter import PartEntry
from condyle.geometry.mesh import FloatArray, Mesh


def part_entries(
    parts: Sequence[Mapping[str, Any]],
    meshes: Mapping[str, Mesh],
    transforms: Mapping[str, FloatArray],
    reasons: Mapping[str, Sequence[str]],
    workers: int = 2,
) -> tuple[tuple[PartEntry, ...], dict[str, bytes]]:
    """From the ``parts`` of proof.json; ``transforms`` lay a part down, ``reasons`` say why it lies so."""
    names = [str(p["name"]) for p in parts]
    with ThreadPoolExecutor(workers) as pool:
        drawn = dict(zip(names, pool.map(lambda n: lying(meshes[n], transforms.get(n)), names), strict=True))
    entries = []
    for p in parts:
        rows = (
            ("mass", amount(p["mass_g"], "g")),
            ("volume", amount(p["volume_mm3"], "mm³")),
            ("thinnest wall", amount(p["min_wall_mm"], "mm")),
        )
        notes = tuple(reasons.get(str(p["name"]), ()))[:2]
        entries.append(PartEntry(str(p["name"]), f"part-{p['name']}.png", tuple(r for r in rows if r[1]), notes))
    return tuple(entries), {f"part-{name}.png": png for name, png in drawn.items()}
