"""Part by part: cavities out, hardware in, bores through; then look whether it is still one body."""

from __future__ import annotations

from collections.abc import Sequence

from condyle.figure.fall import Fallen
from condyle.figure.hardware import Hardware
from condyle.figure.kit import Part
from condyle.finding import Finding
from condyle.geometry.solid import Solid, subtract, union


def assemble(fallen: Fallen, hardware: Sequence[Hardware]) -> tuple[tuple[Part, ...], tuple[Finding, ...], list[Solid]]:
    """The finished parts, what was found, and the loose bits that were dropped."""
    parts: list[Part] = []
    findings: list[Finding] = []
    crumbs: list[Solid] = []
    for name, flesh in fallen.flesh.items():
        take, add, bore = (_tools(kind, name, fallen, hardware) for kind in ("take", "add", "bore"))
        solid = subtract(flesh, take, f"{name} with cavities")
        solid = union([solid, *add], f"{name} with hardware")
        solid = subtract(solid, bore, name)
        pieces = solid.components()
        parts.append(Part(name, fallen.bone_of[name], pieces[0]))
        loose = pieces[1:]
        crumbs += loose
        if loose:
            findings.append(_loose(name, loose))
    return tuple(parts), tuple(findings), crumbs


def _tools(kind: str, part: str, fallen: Fallen, hardware: Sequence[Hardware]) -> list[Solid]:
    found: list[Solid] = []
    for h in hardware:
        spec = h.plan.joint.spec
        for side, bone in (("parent", spec.parent), ("child", spec.child), ("link", f"{spec.name}_link")):
            if fallen.part_of.get(bone) == part:
                found += h.tools(kind, side)
    return found


def _loose(name: str, loose: list[Solid]) -> Finding:
    """Bits that the cavities left hanging in the air: a large one means that the limb was cut through."""
    biggest = max(loose, key=lambda s: s.volume_mm3)
    middle = biggest.bounds.mean(axis=0)
    large = biggest.volume_mm3 > 5.0
    return Finding(
        "part.loose_bits",
        name,
        "fail" if large else "caution",
        measured=sum(s.volume_mm3 for s in loose),
        target=0.0,
        unit="mm³",
        place=(float(middle[0]), float(middle[1]), float(middle[2])),
        advice="hardware cuts through thin flesh here and the bits were dropped: a smaller size, or a centre further in",
    )
