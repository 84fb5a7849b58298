"""Part by part: hardware joined to the flesh, and a look whether it took hold."""

from __future__ import annotations

from collections.abc import Sequence

from condyle.figure.kit import Part
from condyle.figure.parting.fall import Fallen
from condyle.figure.parting.hardware import Hardware
from condyle.finding import Finding
from condyle.geometry.solid import Solid, union

_HOLD_MM3 = 0.5


def assemble(fallen: Fallen, hardware: Sequence[Hardware]) -> tuple[tuple[Part, ...], tuple[Finding, ...]]:
    """The finished parts, and what was found."""
    parts: list[Part] = []
    findings: list[Finding] = []
    for name, flesh in fallen.flesh.items():
        added = [(h, solid) for h in hardware for solid in _added(h, name, fallen)]
        if not added:
            parts.append(Part(name, fallen.bone_of[name], flesh))
            continue
        solid = union([flesh, *(s for _, s in added)], f"{name} with hardware")
        # What overlaps the flesh is one body with it; hardware that shares no volume would stand loose in the air.
        shared = flesh.volume_mm3 + sum(s.volume_mm3 for _, s in added) - solid.volume_mm3
        if shared < _HOLD_MM3 * len(added):
            solid, loose = _without_loose(solid)
            findings += [_loose(name, h, s) for h, s in added[:1] if loose]
        parts.append(Part(name, fallen.bone_of[name], solid))
    return tuple(parts), tuple(findings)


def _added(h: Hardware, part: str, fallen: Fallen) -> list[Solid]:
    spec = h.plan.joint.spec
    sides = (("parent", spec.parent), ("child", spec.child), ("link", f"{spec.name}_link"))
    return [s for side, bone in sides if fallen.part_of.get(bone) == part for s in h.added(side)]


def _without_loose(solid: Solid) -> tuple[Solid, list[Solid]]:
    first, *loose = solid.components()
    return first, loose


def _loose(name: str, hardware: Hardware, solid: Solid) -> Finding:
    middle = solid.bounds.mean(axis=0)
    return Finding(
        "part.hardware_loose",
        name,
        "fail",
        place=(float(middle[0]), float(middle[1]), float(middle[2])),
        advice=f"the hardware of {hardware.plan.joint.name} does not reach into the flesh: move its centre further in",
    )
