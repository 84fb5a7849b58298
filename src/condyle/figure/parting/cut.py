"""The skin cut of one joint as a tool: a thin shell concentric with the motion, kept to its own limb.

In the knuckle frame the knuckle keeps everything inside the cut's radius and everything at z > 0; the cup keeps what is
further out than radius + kerf and below z = -kerf. Where the limb is wider than the radius the shell goes on as a flat
flange at z = 0. Rims of the cup that would come out thinner than a wall are blunted.
"""

from __future__ import annotations

import math

import numpy as np

from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.polygons import Region, disc, rectangle
from condyle.geometry.primitives import CHORD_MM, Facets, arc, cylinder, ring_radius, segments_for, sphere
from condyle.geometry.solid import Solid, extrude, remainder, revolve, solid_from_mesh, union
from condyle.joints.design import Cut

_MARGIN_MM = 1.0
_AWAY_MM = 0.25
_WIDER = 1.35
_LYING = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)


def kerf_tool(
    cut: Cut, limbs: list[Region], others: list[Region], beside: list[Region], rim: Region | None, wall_mm: float
) -> Solid:
    """The tool in the knuckle frame.

    limbs   the limb's own outlines at stations from the bottom of the cut up to z = 0, (x, y) of the knuckle frame
    others  outlines of anything else at those stations, which the tool must leave alone
    beside  what stands beside the limb a little below the flange, on the cup's side: the flange leaves it alone, so that
            a boot's toe in front of the shin stays with the foot
    rim     the limb's outline about where the cut leaves the skin; None leaves the rim as it comes
    """
    own = limbs[0]
    for region in limbs[1:]:
        own = own | region
    own = own.simplified(0.05)
    if cut.shape == "plane":
        slab = extrude(_reach(limbs[-1].simplified(0.02), others).rings(), cut.kerf_mm)
        return slab.translated((0, 0, -cut.kerf_mm))
    pieces = [_shell(cut, own, limbs[-1])]
    flange = limbs[-1].simplified(0.02).offset(_MARGIN_MM)
    for region in beside:
        flange = flange - region.offset(_MARGIN_MM)
    if cut.shape == "sphere":
        flange = flange - disc((0.0, 0.0), cut.radius_mm * 0.995)
    else:
        low, high = own.bounds
        inner = rectangle((low[0] - 5.0, -cut.radius_mm * 0.995), (high[0] + 5.0, cut.radius_mm * 0.995))
        flange = flange - inner
    if not flange.empty and _reaches(cut, limbs[-1]):
        slab = extrude(flange.rings(), cut.kerf_mm).translated((0, 0, -cut.kerf_mm))
        pieces.append(slab)
    if rim is not None:
        blunt = _blunting(cut, rim, wall_mm)
        if blunt is not None:
            pieces.append(blunt)
    tool = union(pieces, "kerf")
    foreign = _foreign(own, others)
    if foreign is not None:
        depth = cut.cup_mm + 2.0
        fence = extrude(foreign.rings(), depth + 1.0).translated((0, 0, -depth))
        kept = remainder(tool, [fence])
        tool = tool if kept is None else kept
    return tool


def _reach(limb: Region, others: list[Region]) -> Region:
    """The limb's outline with a margin, clear of everything else."""
    grown = limb.offset(_MARGIN_MM)
    for region in others:
        grown = grown - region.offset(_AWAY_MM)
    return grown


def _reaches(cut: Cut, limb: Region) -> bool:
    """Whether the limb at z = 0 is wider than the cut's radius anywhere, so that a flange has work to do."""
    if cut.shape == "sphere":
        return limb.reach((0.0, 0.0)) > cut.radius_mm * 0.99
    return float(np.abs(limb.bounds[:, 1]).max()) > cut.radius_mm * 0.99


def _foreign(own: Region, others: list[Region]) -> Region | None:
    """What the tool must leave alone: other outlines, where they do not lie under the limb's own."""
    if not others:
        return None
    all_others = others[0]
    for region in others[1:]:
        all_others = all_others | region
    out = all_others.offset(_AWAY_MM) - own.offset(0.5 * _AWAY_MM)
    return None if out.empty else out.simplified(0.05)


def _shell(cut: Cut, own: Region, limb: Region) -> Solid:
    """The thin shell on the cup's side; about a hinge it is as long as the limb is wide.

    Below z = 0 the limb may have grown into a trunk; the shell goes a third beyond the limb's own width and no further,
    so that the cut of an elbow does not run on through a chest.
    """
    if cut.shape == "sphere":
        # Half of a sphere's chord error may come from its meridian and half from its parallel.
        half = 0.5 * CHORD_MM
        n = segments_for(cut.cup_mm, half)
        out, into = arc(cut.cup_mm, -90.0, 0.0, "outside", half), arc(cut.radius_mm, -90.0, 0.0, "inside", half)
        out[:, 0] *= ring_radius(1.0, n, "outside")
        out[0, 0] = into[0, 0] = 0.0
        return revolve(np.concatenate([out, into[::-1]]), n, "shell")
    (low, _), (high, _) = own.bounds
    (least, _), (most, _) = limb.bounds
    x0 = max(float(low), _WIDER * float(least)) - _MARGIN_MM
    x1 = min(float(high), _WIDER * float(most)) + _MARGIN_MM
    ring = [_half_turn(cut.cup_mm, "outside"), _half_turn(cut.radius_mm, "inside")[::-1]]
    return extrude([np.concatenate(ring)], x1 - x0, "shell").translated((0, 0, x0)).transformed(_LYING)


def _half_turn(radius: float, facets: Facets) -> FloatArray:
    """The lower half of a circle as a polygon (k, 2) in (y, z), from -y to +y."""
    n = segments_for(radius)
    angles = np.pi * np.linspace(1.0, 2.0, n // 2 + 1)
    points = ring_radius(radius, n, facets) * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    points[[0, -1], 1] = 0.0
    return points


def _blunting(cut: Cut, rim: Region, wall_mm: float) -> Solid | None:
    """What takes the feather edge off the cup: the flesh outside the shell where it is thinner than a wall.

    The rim's height follows the limb's outline at one section, taken as constant over the rim: good while the limb
    tapers by less than about 20 degrees there.
    """
    loft = _rim_about_z(cut, rim, wall_mm) if cut.shape == "sphere" else _rim_along_x(cut, rim, wall_mm)
    if loft is None:
        return None
    body = solid_from_mesh(loft, "rim")
    inner = cut.radius_mm + 0.5 * cut.kerf_mm
    if cut.shape == "sphere":
        core = sphere(inner)
    else:
        low, high = body.bounds[:, 0]
        core = cylinder(inner, float(low) - 1.0, float(high) + 1.0).transformed(_LYING)
    return remainder(body, [core])


def _land_z(cut: Cut, outline: FloatArray, wall: FloatArray) -> FloatArray:
    """Height below which the cup's wall is at least ``wall`` thick, for outlines at the given distances."""
    inner = np.maximum(outline - wall, 0.0)
    return -np.sqrt(np.maximum(cut.cup_mm**2 - inner**2, cut.kerf_mm**2))


def _rim_about_z(cut: Cut, rim: Region, wall_mm: float) -> Mesh | None:
    n = 72
    angles = 2.0 * math.pi * np.arange(n) / n
    out = rim.spans((0.0, 0.0), np.stack([np.cos(angles), np.sin(angles)], axis=1))
    if (out <= 0.0).any():
        return None
    # Smooth over neighbours: folds in the skin must not become teeth in the rim.
    for _ in range(4):
        out = (np.roll(out, 1) + 2.0 * out + np.roll(out, -1)) / 4.0
    z = _land_z(cut, out, np.full(n, wall_mm))
    inner = np.clip(out - wall_mm, 0.05, cut.cup_mm)
    far = out + _MARGIN_MM + 0.5
    ring = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    points = np.concatenate(
        [
            np.column_stack([ring * inner[:, None], z]),
            np.column_stack([ring * far[:, None], z]),
            np.column_stack([ring * far[:, None], np.zeros(n)]),
            [[0.0, 0.0, float(z.min())], [0.0, 0.0, 0.0]],
        ]
    )
    i = np.arange(n)
    j = (i + 1) % n
    bottom, top = 3 * n, 3 * n + 1
    faces = [np.stack([np.full(n, bottom), j, i], 1)]
    for k in (0, 1):
        a, b, c, d = k * n + i, k * n + j, (k + 1) * n + j, (k + 1) * n + i
        faces += [np.stack([a, b, c], 1), np.stack([a, c, d], 1)]
    faces.append(np.stack([np.full(n, top), 2 * n + i, 2 * n + j], 1))
    return Mesh(points, np.concatenate(faces).astype(np.int32))


def _rim_along_x(cut: Cut, rim: Region, wall_mm: float) -> Mesh | None:
    low, high = rim.bounds[:, 0]
    n = 25
    xs = np.linspace(low + 0.05, high - 0.05, n)
    plus, minus = np.empty(n), np.empty(n)
    for i, x in enumerate(xs):
        strip = rim & rectangle((x - 0.03, -100.0), (x + 0.03, 100.0))
        if strip.empty:
            return None
        minus[i], plus[i] = -strip.bounds[0, 1], strip.bounds[1, 1]
    if (plus <= 0.1).any() or (minus <= 0.1).any():
        plus, minus = np.maximum(plus, 0.1), np.maximum(minus, 0.1)
    rows = []
    for x, p, m in zip(xs, plus, minus, strict=True):
        wp, wm = min(wall_mm, 0.35 * p), min(wall_mm, 0.35 * m)
        zp, zm = (float(_land_z(cut, np.array([v]), np.array([w]))[0]) for v, w in ((p, wp), (m, wm)))
        ip, im = min(p - wp, cut.cup_mm), min(m - wm, cut.cup_mm)
        floor = min(zp, zm)
        rows.append(
            [
                [x, -m - 1.5, 0.0],
                [x, -m - 1.5, zm],
                [x, -im, zm],
                [x, 0.0, floor],
                [x, ip, zp],
                [x, p + 1.5, zp],
                [x, p + 1.5, 0.0],
            ]
        )
    rows = [[[p[0] - 1.0, p[1], p[2]] for p in rows[0]], *rows, [[p[0] + 1.0, p[1], p[2]] for p in rows[-1]]]
    k = len(rows[0])
    points = np.array(rows).reshape(-1, 3)
    faces = []
    for r in range(len(rows) - 1):
        for c in range(k):
            a, b = r * k + c, r * k + (c + 1) % k
            faces += [[a, b, a + k], [b, b + k, a + k]]
    last = (len(rows) - 1) * k
    # The outline is star-shaped from the middle of its top edge, so the caps are fans from the first corner's edge.
    for c in range(1, k - 1):
        faces.append([0, c + 1, c])
        faces.append([last, last + c, last + c + 1])
    mesh = Mesh(points, np.array(faces, dtype=np.int32))
    return mesh if mesh.volume_mm3 > 0 else Mesh(points, np.array(faces, dtype=np.int32)[:, ::-1])
