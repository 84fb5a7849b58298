"""A second opinion on sections: an elastic solve of the real shape, for the weakest necks and wherever a beam is too short.

A piece of the finished part around the section is cut into cells, held where it runs into the flesh, and pushed sideways at
its other end, both ways across. The largest principal stress at the section over the beam's own M/W is what the shape adds
that a beam does not know: short necks, oblique walls, flesh that gives. A sharp inner corner has no finite elastic stress,
and cells of a sixth of the neck are too coarse for the round that a printer leaves in it, so the stress is read as a
structural one and the corner's own notch factor stays on top (the hot-spot method of fatigue design, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
from scipy import ndimage

from condyle.errors import InternalError
from condyle.figure.kit import Kit
from condyle.finding import Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.elastic import bent, hex_mesh, snapped
from condyle.geometry.frame import frame_from_zx, unit
from condyle.geometry.mesh import Mesh
from condyle.proof.last.cross import Cross, Opinion
from condyle.proof.last.loads import JointStrength, Loaded, Wanted
from condyle.workshop.bench import Workshop

_ACROSS = 6
_BEFORE, _BEYOND, _BESIDE = 0.9, 0.9, 0.8
"""How far the piece reaches before and beyond the section and to its sides, in neck diameters."""

_WORST = 3
_NEAR = 3.0
"""A short section is solved where the beam leaves less than this many times what is wanted: no solve takes away more."""

_ALIKE = 0.02

Key = tuple[str, str, Point]


def key_of(cross: Cross) -> Key:
    """Tells a section of a kit from every other."""
    return cross.part, cross.joint, cross.place


def worth_asking(
    strengths: Mapping[str, JointStrength],
    loads: Sequence[Loaded],
    wanted: Wanted,
    grip_nmm: Mapping[str, float],
    grip_share: float,
) -> list[Cross]:
    """The three necks nearest to breaking under the finger, and every section that is no beam and not beyond all doubt.

    grip_nmm is the joints' own torque, which may be at most ``grip_share`` of what breaks them.
    """
    necks = sorted((x for x in loads if x.cross.what == "neck"), key=lambda x: (x.safety, x.cross.joint))
    out = {key_of(x.cross): x.cross for x in necks[:_WORST]}
    for load in loads:
        if not load.cross.stubby:
            continue
        near = min(load.safety / wanted.safety, load.drop_safety)
        own = strengths.get(load.cross.joint)
        if own is not None and load.cross.what == "neck":
            near = min(near, wanted.pop_share / max(own.bend_share or 0.0, 1e-9))
            near = min(near, grip_share * own.turning[0] / max(grip_nmm.get(load.cross.joint, 0.0), 1e-9))
        if near < _NEAR:
            out.setdefault(key_of(load.cross), load.cross)
    return list(out.values())


def opinions(sections: Sequence[Cross], kit: Kit, workshop: Workshop, *, workers: int = 2) -> dict[Key, Opinion]:
    """Elastic solves of sections of a kit; those without a sound piece are left out, and there the beam stands alone.

    Left and right are solved once where their sections are alike to 2 %: a grid's own scatter is larger. ``workers``
    threads solve at a time; the result does not depend on how many.
    """
    trees = {name: Bvh(kit.part(name).mesh) for name in dict.fromkeys(c.part for c in sections)}

    def solve(cross: Cross) -> Opinion | None:
        part = kit.part(cross.part)
        material = (part.workshop or workshop).material
        poisson = min(0.45, material.poisson.value)
        try:
            return second_opinion(cross, part.mesh, trees[cross.part], material.modulus_mpa.value, poisson)
        except InternalError:
            return None  # the piece hangs on nothing

    out: dict[Key, Opinion] = {}
    left = list(sections)
    # A section whose twin had no answer is solved itself, in a second round.
    while left:
        firsts = [c for i, c in enumerate(left) if not any(_twins(earlier, c) for earlier in left[:i])]
        with ThreadPoolExecutor(workers) as pool:
            said = list(zip(firsts, pool.map(solve, firsts), strict=True))
        out |= {key_of(c): o for c, o in said if o is not None}
        alike = [(c, replace(o, at=c.joint)) for c, o in said if o is not None]
        first_keys = {key_of(c) for c in firsts}
        rest = []
        for cross in (c for c in left if key_of(c) not in first_keys):
            like = next((o for c, o in alike if _twins(c, cross)), None)
            if like is None:
                rest.append(cross)
            else:
                out[key_of(cross)] = like
        left = rest
    return out


def _twins(one: Cross, other: Cross) -> bool:
    """Whether two sections are each other's mirror images: named so, and alike in size, length and modulus."""
    mirrored = {"left": "right", "right": "left"}

    def twin(name: str) -> str:
        return "_".join(mirrored.get(word, word) for word in name.split("_"))

    if (one.what, twin(one.joint), twin(one.part)) != (other.what, other.joint, other.part):
        return False
    pairs = ((one.round_mm, other.round_mm), (one.whole_mm3, other.whole_mm3), (one.length_mm, other.length_mm))
    return all(abs(a - b) <= _ALIKE * max(a, b) for a, b in pairs)


def heard(told: Mapping[Key, Opinion | None]) -> Callable[[Cross], Cross]:
    """The change that gives sections the opinions on them."""
    return lambda cross: replace(cross, opinion=told.get(key_of(cross)))


def second_opinion(cross: Cross, mesh: Mesh, bvh: Bvh, modulus_mpa: float, poisson: float) -> Opinion | None:
    """Solve one section of a part with this mesh; None where the grid finds no piece that reaches through, or it is too wide."""
    size = cross.round_mm
    pitch = size / _ACROSS
    z = unit(cross.normal)
    frame = frame_from_zx(np.asarray(cross.place), z, np.eye(3)[int(np.argmin(np.abs(z)))])
    side, before, beyond = (max(2, math.ceil(f * _ACROSS)) for f in (_BESIDE, _BEFORE, _BEYOND))
    counts = (2 * side, 2 * side, before + beyond)
    corner = np.array([-side, -side, -before]) * pitch
    grid = np.stack(np.meshgrid(*(np.arange(n) for n in counts), indexing="ij"), axis=-1).reshape(-1, 3)
    middles = frame.to_outer(corner + (grid + 0.5) * pitch)
    inside = bvh.inside(middles).reshape(counts)
    labels, _ = ndimage.label(inside)
    # The neck's own piece: the one with most cells at the section itself.
    here = labels[:, :, before][labels[:, :, before] > 0]
    if not len(here):
        return None
    own = labels == int(np.bincount(here).argmax())
    if not own[:, :, 0].any() or not own[:, :, -1].any():
        return None
    across = own[:, :, before - 1 : before + 1]
    if cross.what == "limb" and (across[[0, -1]].any() or across[:, [0, -1]].any()):
        return None  # the section is wider than the piece: a slab, whose edges would be held by nothing
    cells = hex_mesh(own, corner, pitch)
    edge = np.abs(cells.nodes) > np.array([side, side, np.inf]) * pitch - 1e-9
    ends = (cells.nodes[:, 2] < corner[2] + 1e-9) | (cells.nodes[:, 2] > beyond * pitch - 1e-9)
    local = Bvh(mesh.near(frame.origin, 2.5 * size).transformed(frame.inverse))
    shaped = snapped(cells, local, 0.7 * pitch, ~(edge.any(axis=1) | ends))
    held = (cells.nodes[:, 2] > beyond * pitch - 1e-9) | (edge.any(axis=1) & (cells.nodes[:, 2] > 0.4 * size))
    loaded = cells.middles[:, 2] < corner[2] + pitch
    arm = -float(shaped.middles[loaded, 2].mean())
    solved = bent(shaped, modulus_mpa, poisson, held, loaded, np.eye(3)[:2])
    near = np.abs(shaped.nodes[:, 2]) < 0.6 * size
    # The moment at a node's own height, so that stresses along the neck can be compared with one section.
    scale = arm + shaped.nodes[near, 2]
    peak = max(float(np.quantile(b.principal_mpa[near] / scale, 0.995)) for b in solved)
    # Against the section printed full, as the solve takes it; what a loose inside costs is the beam's to say.
    return Opinion(peak * cross.whole_mm3, len(cells.cells))
