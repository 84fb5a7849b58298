"""What is printed with a figure and hangs on none of its joints: the display base, and a second one of each stud of its own.

A stud that is a part of its own is made to be replaced, so its plate holds it twice. The base is laid and proved as any part
is, its plate down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from condyle.export import KitFiles
from condyle.figure.kit import Balance, Kit, Part
from condyle.figure.soles import Soled
from condyle.finding import Finding
from condyle.geometry.formats import stl_bytes
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid
from condyle.project.cache import Cache, content_hash
from condyle.project.figure_file import FigureDocument
from condyle.project.print_step import print_kit
from condyle.project.soles_step import BASE, recipe_of
from condyle.project.watch import Watch
from condyle.proof.mass import part_masses
from condyle.proof.print import PartPrint, PrintProof
from condyle.workshop.bench import Workshop
from condyle.workshop.recipe import Recipe

SPARE = "_spare"
_STUD = "_stud"


@dataclass(frozen=True, eq=False)
class Extras:
    """By name: meshes as written, masses, how each lies, and where it is printed; and what was found about printing them."""

    meshes: Mapping[str, Mesh]
    masses_g: Mapping[str, float]
    prints: Mapping[str, PartPrint]
    workshops: Mapping[str, Workshop]
    findings: tuple[Finding, ...]

    def hashes(self) -> dict[str, str]:
        """Of each as its STL file has it."""
        return {name: content_hash(stl_bytes(mesh)) for name, mesh in self.meshes.items()}

    def among(self, printed: PrintProof) -> PrintProof:
        """The kit's own prints with these behind them."""
        return replace(printed, parts={**printed.parts, **self.prints})


def lay_extras(
    document: FigureDocument,
    soled: Soled,
    kit: Kit,
    written: KitFiles,
    masses_g: Mapping[str, float],
    printed: PrintProof,
    workshop: Workshop,
    inputs: Sequence[bytes],
    cache: Cache,
    watch: Watch,
) -> Extras:
    """Lay them. ``masses_g`` are those of the kit's parts."""
    meshes = written.meshes
    out = Extras({}, {}, {}, {}, ())
    if soled.base is not None:
        out = _base(soled.base, written.beside[BASE], workshop, recipe_of(document), inputs, cache, watch)
    studs = [p for p in kit.parts if p.name.endswith(_STUD) and p.name in printed.parts]
    named = {p.name + SPARE: p for p in studs}
    return Extras(
        {**out.meshes, **{n: meshes[p.name] for n, p in named.items()}},
        {**out.masses_g, **{n: masses_g[p.name] for n, p in named.items()}},
        {**out.prints, **{n: replace(printed.parts[p.name], name=n) for n, p in named.items()}},
        {**out.workshops, **{n: p.workshop or workshop for n, p in named.items()}},
        out.findings,
    )


def _base(
    base: Solid, mesh: Mesh, workshop: Workshop, recipe: Recipe, inputs: Sequence[bytes], cache: Cache, watch: Watch
) -> Extras:
    """The base alone as a kit of one part without joints, its peg up; all of its surface is seen."""
    alone = Kit((Part(BASE, "", base, build_up=(0.0, 0.0, 1.0)),), (), Balance(0.0, 0.0, 0.0, 0.0, 0.0))
    laid = print_kit(alone, base, workshop, {}, (*inputs, BASE.encode()), cache, watch)
    mass = part_masses(alone, workshop, recipe)[BASE].printed.mass_g
    return Extras({BASE: mesh}, {BASE: mass}, laid.parts, {BASE: workshop}, laid.findings)
