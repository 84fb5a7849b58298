"""Everything that comes after printing, asked of a whole kit: smoothing, paint in the joints, assembly, small parts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from condyle.build.faces import BEARING, HIDDEN, SHOW, kinds
from condyle.figure.kit import Kit
from condyle.finding import Finding
from condyle.finish.assembly import Order
from condyle.finish.coats import Coat, film
from condyle.finish.surface import SandingPlan, sanding
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.solid import Solid
from condyle.proof.assemble import assembly
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.coat import Coated, coated
from condyle.proof.kit import JointProof
from condyle.proof.safe import small_parts
from condyle.workshop.bench import Workshop

UPRIGHT = (0.0, 0.0, 1.0)


@dataclass(frozen=True)
class PartFinish:
    """One part after printing: areas by kind of face (mm²), and what smoothing it takes."""

    show_mm2: float
    hidden_mm2: float
    bearing_mm2: float
    sanding: SandingPlan


@dataclass(frozen=True)
class Finished:
    """Parts by name, joints under paint, the order of assembly, and all findings."""

    parts: Mapping[str, PartFinish]
    joints: tuple[Coated, ...]
    order: Order
    findings: tuple[Finding, ...]


def finished(
    kit: Kit,
    sculpt: Solid,
    measured: Mapping[str, JointProof],
    workshop: Workshop,
    coats: Sequence[Coat],
    ups: Mapping[str, tuple[float, float, float]] | None = None,
    painted_bearings: Sequence[str] = (),
    *,
    workers: int = 2,
) -> Finished:
    """Ask a kit how it is finished. ``ups`` are the build directions by part (figure coordinates); upright where missing."""
    skin = Bvh(sculpt.mesh)
    enclosing: dict[str, list[Solid]] = {p.name: [] for p in kit.parts}
    for joint in kit.joints:
        for name in {n for a in joint.axles for n in (a.moves, a.stays)} if joint.built else ():
            enclosing[name] += joint.bearing

    def one(name: str) -> PartFinish:
        up = np.asarray((ups or {}).get(name, UPRIGHT), dtype=np.float64)
        return _part(kit, name, enclosing[name], skin, up, workshop)

    names = [p.name for p in kit.parts]
    with ThreadPoolExecutor(workers) as pool:
        parts = dict(zip(names, pool.map(one, names), strict=True))
    joints, paint = coated(kit, measured, film(coats), dict.fromkeys(painted_bearings, 2))
    bodies = make_bodies(kit)
    together = assembly(kit, bodies, make_meetings(kit, bodies))
    small = small_parts({p.name: p.mesh.vertices for p in kit.parts})
    return Finished(parts, joints, together.order, (*paint, *together.findings, *small))


def _part(kit: Kit, name: str, enclosing: Sequence[Solid], skin: Bvh, up: FloatArray, workshop: Workshop) -> PartFinish:
    part = kit.part(name)
    mesh = part.mesh
    printer = workshop.printer
    kind = kinds(mesh.corners.mean(axis=1), enclosing, skin)
    area = [float(mesh.areas[kind == k].sum()) for k in (SHOW, HIDDEN, BEARING)]
    held = _held_up(mesh.normals, up, printer.overhang_deg.value)
    plan = sanding(mesh, up, printer.layer_mm.value, printer.process, kind == SHOW, held)
    return PartFinish(area[0], area[1], area[2], plan)


def _held_up(normals: FloatArray, up: FloatArray, overhang_deg: float) -> BoolArray:
    """Faces that look down more steeply than prints without support: an upper bound of those that supports touch."""
    down = -(normals @ (up / np.linalg.norm(up)))
    return np.asarray(down > math.cos(math.radians(overhang_deg)))
