"""Will every part print: how it lies, what starts in the air, what its supports stand on, and does it still fit as printed?

Each part is searched, held to its layers, and taken as printed (build/); what was found becomes findings:

print.orientation  support volume of the position chosen; a caution where it exceeds the part's own volume
print.islands      places that start in the air; a fail where a column under one has no sound stand and no leaning column
                   reaches the plate, for then the piece is lost
print.supports     columns that would stand on nothing, on a hair or on a slope: a caution, with the remedy
print.removal      columns that no tool reaches
print.slender      columns taller than the process keeps upright
print.bearing      supports or the first layer on bearing faces: more than 1 mm² is a caution
print.seam         of a filament print: how much of the seam still runs over bearing faces on the best of its sides
print.first_layer  contact of a filament print with the plate
print.tip          the growing part's margin before it leans over its foot: 8° passes
print.neck         tension across layers at necks over their strength: half passes; with the advice of a stud where no
                   direction on offer is better
print.lost         volume narrower than one printed line
print.split        a cut that would save most of the support
print.suction print.trapped print.peel print.hollow   of resin

Thresholds are our choice where no source is named at them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from condyle.build.faces import Neck, PrintPart, print_part
from condyle.build.islands import PatchKind, middle_of
from condyle.build.layers import Layers, layers_of
from condyle.build.orientation import Orientation
from condyle.build.plan import PartPlan, plan_part
from condyle.build.printed import as_printed
from condyle.build.process import Rules, rules_of
from condyle.build.resin import Cup, Hollowing, Peel, cups, hollowing, peel
from condyle.build.seam import Seam, seam
from condyle.build.split import Split, split_for_printing
from condyle.build.stability import Growth
from condyle.build.studless import Studless, without_balls
from condyle.build.supports import Column, Supports
from condyle.figure.kit import BuiltJoint, Kit, Part
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.solid import Solid
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.kept import Keep, anew
from condyle.proof.print_fit import PrintedFit, printed_fits
from condyle.proof.print_words import TOUCH_MM2, part_findings
from condyle.workshop.bench import Workshop
from condyle.workshop.fits import Fits

_NOTHING = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32))


@dataclass(frozen=True)
class Spot:
    """A region of one layer with nothing below: what it is, its height on the plate, area, span or reach in mm (None where
    there is none), and its middle in figure coordinates."""

    kind: PatchKind
    z_mm: float
    area_mm2: float
    span_mm: float | None
    depth_mm: float | None
    place: Point


@dataclass(frozen=True, eq=False)
class PartPrint:
    """One part, proved for the printer. Areas are plan areas in mm², volumes mm³; supports as full blocks."""

    name: str
    orientation: Orientation
    layers: int
    spots: tuple[Spot, ...]
    columns: tuple[Column, ...]
    support_mm3: float
    footprint_mm2: float
    show_mm2: float
    bearing_mm2: float
    growth: Growth
    lost_mm3: float = 0.0
    lost_at: Point | None = None
    split: Split | None = None
    cups: tuple[Cup, ...] = ()
    peel: Peel | None = None
    hollowing: Hollowing | None = None
    seam: Seam | None = None
    studless: Studless | None = None

    def of(self, kind: PatchKind) -> tuple[Spot, ...]:
        return tuple(s for s in self.spots if s.kind == kind)


@dataclass(frozen=True, eq=False)
class Laid:
    """What is kept of a part that was laid: all that is told of it, and its necks."""

    told: PartPrint
    necks: tuple[Neck, ...]


@dataclass(frozen=True, eq=False)
class PrintProof:
    """All parts by name, the fits as printed, and every finding."""

    parts: Mapping[str, PartPrint]
    fits: tuple[PrintedFit, ...]
    findings: tuple[Finding, ...] = field(default=())


def prints(
    kit: Kit,
    sculpt: Solid,
    workshop: Workshop,
    pins: Mapping[str, FloatArray] | None = None,
    necks: Sequence[Neck] = (),
    own: Mapping[str, Workshop] | None = None,
    planned: Mapping[str, Fits] | None = None,
    *,
    workers: int = 2,
    keep: Keep = anew,
) -> PrintProof:
    """Build orientation, islands, supports and the printed fit of a whole kit.

    ``pins`` are directions (3,) in figure coordinates that must point up, by part; ``necks`` carry section loads in the
    place of those that the joints themselves show; ``own`` names the parts that are printed in another workshop;
    ``planned`` the joints whose fits are not the workshop's; ``keep`` keeps how each part lies, which depends on the part,
    its joints and necks, its workshop, its pin and the sculpt. Raises UsageError for a pin without a length.
    """
    names = [p.name for p in kit.parts]
    shops = {name: (own or {}).get(name, workshop) for name in names}
    rules = {name: rules_of(shop.printer) for name, shop in shops.items()}
    done = _laid(kit, sculpt, shops, rules, pins or {}, necks, workers, keep)
    plans = {name: plan for name, (plan, _) in done.items()}
    layers: dict[str, tuple[Layers, FloatArray]] = {
        n: (p.supports.layers, p.orientation.transform) for n, p in plans.items()
    }
    meetings = make_meetings(kit, make_bodies(kit))
    printed, fitted, joint_findings = printed_fits(meetings, layers, rules, workshop.fits, planned, workers=workers)
    parts: dict[str, PartPrint] = {}
    for name, plan in plans.items():
        told = done[name][1]
        lost = printed[name].lost
        if lost:
            worst = max(lost, key=lambda x: x.area_mm2)
            told = replace(told, lost_mm3=printed[name].lost_mm3, lost_at=_back(plan, np.array(worst.place)))
        parts[name] = told
    findings = [f for name, told in parts.items() for f in part_findings(told, plans[name], rules[name])]
    return PrintProof(parts, tuple(fitted), (*findings, *joint_findings))


def print_loose(parts: Sequence[Part], joints: Mapping[str, BuiltJoint], workshop: Workshop) -> PrintProof:
    """The same for bodies that stand in no kit: ``joints`` names the one that each hangs in, where it does. All faces show
    but those of its hardware, and no printed fit is asked for."""
    rules = rules_of(workshop.printer)
    out: dict[str, PartPrint] = {}
    findings: list[Finding] = []
    for part in parts:
        ready = print_part(part, [joints[part.name]] if part.name in joints else [], None)
        plan = plan_part(ready, rules, workshop.material)
        told = _told(plan, rules)
        left = as_printed(plan.supports.layers, plan.orientation.transform, rules, ())
        if left.lost:
            worst = max(left.lost, key=lambda x: x.area_mm2)
            told = replace(told, lost_mm3=left.lost_mm3, lost_at=_back(plan, np.array(worst.place)))
        out[part.name] = told
        findings += part_findings(told, plan, rules)
    return PrintProof(out, (), tuple(findings))


def _laid(
    kit: Kit,
    sculpt: Solid,
    shops: Mapping[str, Workshop],
    rules: Mapping[str, Rules],
    pins: Mapping[str, FloatArray],
    necks: Sequence[Neck],
    workers: int,
    keep: Keep,
) -> dict[str, tuple[PartPlan, PartPrint]]:
    """Each part's plan, and what is told of it. The sculpt's hierarchy is let go of at the end: it is large."""
    skin = Bvh(sculpt.mesh)

    def one(name: str) -> tuple[PartPlan, PartPrint]:
        sliced: list[Layers] = []

        def lay() -> Laid:
            part = print_part(kit.part(name), kit.joints, skin, necks)
            plan = plan_part(part, rules[name], shops[name].material, pins.get(name))
            sliced.append(plan.supports.layers)
            told = _told(plan, rules[name])
            if told.bearing_mm2 + plan.orientation.chosen.measures["first_bearing_mm2"] > TOUCH_MM2:
                tried = without_balls(part, kit.joints, rules[name], shops[name].material, pins.get(name))
                told = replace(told, studless=tried)
            return Laid(told, plan.part.necks)

        laid = keep(name, lay)
        solid, told = kit.part(name).solid, laid.told
        layers = (
            sliced[0] if sliced else layers_of(solid.mesh.transformed(told.orientation.transform), rules[name].layer_mm)
        )
        return _slim(laid, solid, layers), told

    with ThreadPoolExecutor(workers) as pool:
        return dict(zip(shops, pool.map(one, shops), strict=True))


def _slim(laid: Laid, solid: Solid, layers: Layers) -> PartPlan:
    """The plan with its layers, and without patches, the turned mesh and the sculpt's hierarchy: they have done their work."""
    told = laid.told
    part = PrintPart(told.name, solid, solid, _NOTHING, np.zeros(0, dtype=np.uint8), laid.necks)
    held = Supports(
        replace(layers, mesh=_NOTHING), (), told.columns, told.support_mm3, told.footprint_mm2, told.show_mm2, told.bearing_mm2,
        0.0, 0.0,
    )  # fmt: skip
    return PartPlan(part, told.orientation, held, told.growth)


def _told(plan: PartPlan, rules: Rules) -> PartPrint:
    held = plan.supports
    spots = tuple(
        Spot(
            p.kind,
            p.layer * rules.layer_mm,
            p.area_mm2,
            p.span_mm,
            p.depth_mm if np.isfinite(p.depth_mm) else None,
            _back(plan, middle_of(p, rules.layer_mm)),
        )
        for p in held.patches
    )
    up = plan.orientation.direction
    resin = rules.process == "resin"
    return PartPrint(
        name=plan.part.name,
        orientation=plan.orientation,
        layers=len(held.layers),
        spots=spots,
        columns=held.columns,
        support_mm3=held.volume_mm3,
        footprint_mm2=held.footprint_mm2,
        show_mm2=held.show_mm2,
        bearing_mm2=held.bearing_mm2 + held.feet_bearing_mm2,
        growth=plan.growth,
        split=split_for_printing(plan.part, held.volume_mm3, up, rules),
        cups=tuple(_placed(plan, c) for c in cups(held.layers)) if resin else (),
        peel=peel(held.layers) if resin else None,
        hollowing=hollowing(plan.part, up) if resin else None,
        seam=None if resin else seam(plan.part, held.layers, plan.orientation.transform),
    )


def _placed(plan: PartPlan, cup: Cup) -> Cup:
    return replace(cup, place=_back(plan, np.array(cup.place)))


def _back(plan: PartPlan, point: FloatArray) -> Point:
    """A build point in figure coordinates."""
    m = np.linalg.inv(plan.orientation.transform)
    x, y, z = (float(v) for v in m[:3, :3] @ point + m[:3, 3])
    return (x, y, z)
