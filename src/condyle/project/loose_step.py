"""What belongs to a figure but hangs in none of its joints when it is printed: spares of a set, tools for its hands.

Each is laid and proved as the parts are, and they fill plates of their own, ``builds/loose-01.3mf`` and on: whoever wants the
figure alone prints none of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from condyle.build.estimate import FittedPace
from condyle.figure.kit import BuiltJoint, Part
from condyle.finding import Finding
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid
from condyle.project.builds_step import Build, plan_builds
from condyle.project.cache import Cache, key_of
from condyle.project.codec import to_bytes
from condyle.project.watch import Watch
from condyle.proof.print import PrintProof, print_loose
from condyle.workshop.bench import Workshop


@dataclass(frozen=True)
class Loose:
    """Plates of loose things: their files by path, their entries in ``builds`` of proof.json, findings, and for the book
    the plates themselves with what lies on them, as it lies, in its own build position."""

    files: Mapping[str, bytes]
    document: Sequence[dict[str, Any]]
    findings: tuple[Finding, ...]
    builds: tuple[Build, ...] = ()
    lying: Mapping[str, Mesh] = field(default_factory=dict)


def lay_loose(
    solids: Mapping[str, Solid],
    joints: Mapping[str, BuiltJoint],
    meshes: Mapping[str, Mesh],
    workshop: Workshop,
    cache: Cache,
    watch: Watch,
    pace: Callable[[Workshop], FittedPace],
    price_per_kg: float | None,
) -> Loose:
    """Lay and nest loose things, solid all through, in the figure's own workshop.

    solids, joints  by name, figure coordinates; the joint that a spare takes a part's place in
    meshes          as they are written, by name
    """
    if not solids:
        return Loose({}, (), ())
    parts = tuple(Part(name, name, solid) for name, solid in solids.items())
    key = key_of("loose", to_bytes(parts), to_bytes(dict(joints)), to_bytes(workshop))
    with watch.step("loose") as stored:
        proof: PrintProof
        proof, stored.value = cache.fetch("loose", key, lambda: print_loose(parts, joints, workshop))
    density = workshop.material.density_g_cm3.value
    builds = plan_builds(
        {name: meshes[name] for name in solids},
        {name: solid.volume_mm3 * density / 1000.0 for name, solid in solids.items()},
        proof,
        dict.fromkeys(solids, workshop),
        pace,
        price_per_kg,
        prefix="loose",
    )
    files = dict(builds.files)
    nested = tuple(replace(f, subject="spares and tools") if f.check == "print.plates" else f for f in builds.findings)
    lying = {name: meshes[name].transformed(told.orientation.transform) for name, told in proof.parts.items()}
    return Loose(files, builds.document(), (*proof.findings, *nested), builds.builds, lying)
