"""Shells that run through one another or through themselves made one skin.

Each shell that crosses itself is cleared by itself; then the boolean library joins the shells. It takes faces that lie
upon each other, which cutting along curves cannot.
"""

from __future__ import annotations

import numpy as np

from condyle.errors import SculptError, SolidError
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray, IntArray, Mesh
from condyle.geometry.repair.crossing import Crossings, crossings_of
from condyle.geometry.repair.log import Log, some
from condyle.geometry.repair.shells import shells_apart
from condyle.geometry.repair.uncross import clusters_of, disagreement, uncrossed
from condyle.geometry.solid import Solid, solid_from_mesh, union

_AGREE = 0.005
_CLOSE_ENOUGH = 1e-4


def one_skin(bvh: Bvh, crossings: Crossings, shell: IntArray, log: Log) -> Mesh:
    """The boundary of what the shells (m,) of an outward mesh cover; SculptError where that cannot be told."""
    count = int(shell.max()) + 1
    pairs = shell[crossings.pairs]
    own = pairs[:, 0] == pairs[:, 1]
    places = clusters_of(crossings).mean(axis=1)
    where = f"{some(len(crossings), 'pair')} of triangles in {some(len(places), 'place')}"
    if own.any():
        log.note(
            "crossing", f"the surface ran through itself ({where}): cut along the curves and closed as one skin", places
        )
    else:
        log.note("crossing", f"{some(count, 'shell')} ran through one another ({where}): joined as one skin", places)
    steps: list[FloatArray] = []
    if count == 1:
        made = uncrossed(bvh, crossings)
        mesh, steps = made.mesh, [made.steps_mm]
    else:
        mesh, steps = _joined(bvh, shell, np.unique(pairs[own, 0]))
    sizes = np.concatenate(steps) if steps else np.zeros(0)
    if len(sizes):
        log.note(
            "rebuilt",
            f"{some(len(sizes), 'box', 'boxes')} with crossings rebuilt by marching cubes with steps up to "
            f"{sizes.max():.3f} mm; the skin there lies within about a step of the sculpt's",
            places,
        )
    return mesh


def _joined(bvh: Bvh, shell: IntArray, tangled: IntArray) -> tuple[Mesh, list[FloatArray]]:
    bodies: list[Solid] = []
    steps: list[FloatArray] = []
    try:
        for k, part in enumerate(shells_apart(bvh.mesh, shell)):
            if k in tangled:
                tree = Bvh(part)
                made = uncrossed(tree, crossings_of(tree))
                part = made.mesh
                steps.append(made.steps_mm)
            bodies.append(solid_from_mesh(part, "shell"))
        mesh = union(bodies, "joined shells").mesh
    except SolidError:
        mesh = bvh.mesh
    tree = Bvh(mesh)
    left = crossings_of(tree, _CLOSE_ENOUGH)
    if len(left):
        made = uncrossed(tree, left)
        mesh = made.mesh
        steps.append(made.steps_mm)
        tree = Bvh(mesh)
    if disagreement(bvh, tree) > _AGREE * mesh.volume_mm3:
        raise SculptError(
            "sculpt.tangled",
            "shells run through one another in a way that leaves no clear inside",
            hint="join them in the sculpting program as one skin",
        )
    return mesh, steps
