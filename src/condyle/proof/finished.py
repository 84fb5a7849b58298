"""Everything that comes after printing, asked of a whole kit: smoothing, paint in the joints, assembly, small parts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from condyle.build.faces import BEARING, HIDDEN, SHOW, kinds
from condyle.figure.kit import Kit
from condyle.finding import Finding
from condyle.finish.assembly import Order
from condyle.finish.coats import Coat, Film, film
from condyle.finish.colours import Colour, PartColours, part_colours
from condyle.finish.detail import LostDetail, lost_detail
from condyle.finish.drawn import Brush, Drawn
from condyle.finish.masks import MaskList, mask_list
from condyle.finish.surface import SandingPlan, sanding
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray
from condyle.geometry.solid import Solid
from condyle.proof.assemble import assembly
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.coat import Coated, coated
from condyle.proof.kept import Keep, anew
from condyle.proof.kit import JointProof
from condyle.proof.safe import small_parts
from condyle.workshop.bench import Workshop

UPRIGHT = (0.0, 0.0, 1.0)
PLAIN = Drawn((Colour("base colour", (205, 196, 178)),))

SCAR_MM = 1.0
"""How far round a support's head its scar reaches: common practice, no source."""


@dataclass(frozen=True)
class PartFinish:
    """One part after printing: areas by kind of face (mm²), what smoothing it takes, and its colours.

    lost     seen detail that is shallower than what sanding takes and coats lay on
    of_face  each triangle's colour by number, -1 where none is seen
    """

    show_mm2: float
    hidden_mm2: float
    bearing_mm2: float
    sanding: SandingPlan
    colours: PartColours
    of_face: IntArray
    lost: tuple[LostDetail, ...] = ()


@dataclass(frozen=True)
class Finished:
    """Parts by name, joints under paint, the order of assembly, masks, and all findings."""

    parts: Mapping[str, PartFinish]
    joints: tuple[Coated, ...]
    order: Order
    masks: MaskList
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
    drawn: Drawn = PLAIN,
    contacts: Mapping[str, FloatArray] | None = None,
    workers: int = 2,
    keep: Keep = anew,
) -> Finished:
    """Ask a kit how it is finished. ``ups`` are the build directions by part (figure coordinates); upright where missing.

    ``contacts`` are the places (k, 3) where supports stand on a part; without them every face that hangs over counts. ``keep``
    keeps what was measured of each part, which depends on the part, its bearings, its way up, its contacts, the printer, the
    sculpt, the coats and what was drawn.
    """
    skin = Bvh(sculpt.mesh)
    brush = Brush(drawn)
    system = film(coats)
    enclosing: dict[str, list[Solid]] = {p.name: [] for p in kit.parts}
    for joint in kit.joints:
        for name in {n for a in joint.axles for n in (a.moves, a.stays)} if joint.built else ():
            enclosing[name] += joint.bearing

    def one(name: str) -> PartFinish:
        up = np.asarray((ups or {}).get(name, UPRIGHT), dtype=np.float64)
        touched = (contacts or {}).get(name)
        return keep(name, lambda: _part(kit, name, enclosing[name], skin, up, workshop, brush, touched, system))

    names = [p.name for p in kit.parts]
    with ThreadPoolExecutor(workers) as pool:
        parts = dict(zip(names, pool.map(one, names), strict=True))
    joints, paint = coated(kit, measured, system, dict.fromkeys(painted_bearings, 2))
    bodies = make_bodies(kit)
    together = assembly(kit, bodies, make_meetings(kit, bodies), workshop.material.name)
    masks = mask_list(kit, painted_bearings)
    small = small_parts({p.name: p.mesh.vertices for p in kit.parts})
    return Finished(parts, joints, together.order, masks, (*paint, *masks.findings, *together.findings, *small))


def _part(
    kit: Kit,
    name: str,
    enclosing: Sequence[Solid],
    skin: Bvh,
    up: FloatArray,
    workshop: Workshop,
    brush: Brush,
    contacts: FloatArray | None,
    system: Film,
) -> PartFinish:
    part = kit.part(name)
    mesh = part.mesh
    printer = workshop.printer
    middles = np.asarray(mesh.corners.mean(axis=1))
    kind = kinds(middles, enclosing, skin)
    area = [float(mesh.areas[kind == k].sum()) for k in (SHOW, HIDDEN, BEARING)]
    held = _held_up(mesh.normals, up, printer.overhang_deg.value)
    if contacts is not None:
        held &= _near(middles, contacts)
    of_face = np.where(kind == SHOW, brush.faces(name, middles), -1).astype(np.int32)
    colours = part_colours(name, mesh, of_face, kind == SHOW, brush.drawn.colours)
    plan = sanding(mesh, up, printer.layer_mm.value, printer.process, kind == SHOW, held)
    lost = lost_detail(mesh, kind == SHOW, plan.removed_mm[0] + system.mm)
    return PartFinish(area[0], area[1], area[2], plan, colours, of_face, lost)


def _near(middles: FloatArray, contacts: FloatArray) -> BoolArray:
    """Faces by the foot or head of a support."""
    if not len(contacts):
        return np.zeros(len(middles), dtype=bool)
    return np.asarray(np.isfinite(cKDTree(contacts).query(middles, distance_upper_bound=SCAR_MM)[0]))


def _held_up(normals: FloatArray, up: FloatArray, overhang_deg: float) -> BoolArray:
    """Faces that look down more steeply than prints without support: an upper bound of those that supports touch."""
    down = -(normals @ (up / np.linalg.norm(up)))
    return np.asarray(down > math.cos(math.radians(overhang_deg)))
