"""The one door to the boolean library: a Solid is always closed, outward and not empty.

The library itself returns empty solids with a status nobody looks at, accepts inverted meshes and counts overlapping
shells twice. Here every result is checked once and SolidError is raised; an operation that may rightly end in nothing
has its own function whose name says so (``overlap``, ``remainder``).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import manifold3d as m3
import numpy as np

from condyle.errors import SolidError
from condyle.geometry.mesh import FloatArray, IntArray, Mesh

_TINY_MM3 = 1e-9
_FEW = 12


class Solid:
    """A closed, outward-facing, non-empty solid in mm. Made by the functions of this module; never changed."""

    __slots__ = ("__dict__", "_body")

    def __init__(self, body: Any, what: str = "solid") -> None:
        """Wrap and check a library body. SolidError names ``what`` when it is broken, empty or inverted."""
        status = body.status()
        if status != m3.Error.NoError:
            raise SolidError("solid.status", f"{what}: no closed solid ({status.name})")
        if body.is_empty():
            raise SolidError("solid.empty", f"{what}: nothing is left")
        if body.volume() < _TINY_MM3:
            raise SolidError("solid.inverted", f"{what}: the volume is {body.volume():.3g} mm³")
        self._body = body

    @cached_property
    def mesh(self) -> Mesh:
        raw = self._body.to_mesh64()
        return Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts).astype(np.int32))

    @cached_property
    def volume_mm3(self) -> float:
        return float(self._body.volume())

    @property
    def triangle_count(self) -> int:
        return int(self._body.num_tri())

    @property
    def genus(self) -> int:
        return int(self._body.genus())

    @cached_property
    def bounds(self) -> FloatArray:
        """Lower and upper corner, (2, 3)."""
        return np.array(self._body.bounding_box()).reshape(2, 3)

    def transformed(self, matrix: FloatArray) -> Solid:
        """Apply a (4, 4) affine matrix; a mirroring one keeps the outside outside."""
        return Solid(self._body.transform(np.asarray(matrix, dtype=np.float64)[:3]), "transformed solid")

    def translated(self, by: Sequence[float]) -> Solid:
        return Solid(self._body.translate(tuple(float(v) for v in by)), "moved solid")

    def simplified(self, tolerance_mm: float) -> Solid:
        """Fewer triangles; surfaces move by less than the tolerance. May close small holes: check genus after."""
        return Solid(self._body.simplify(float(tolerance_mm)), "simplified solid")

    def subdivided(self, edge_mm: float) -> Solid:
        """The same shape with no edge longer than ``edge_mm``: booleans search small triangles faster than slivers."""
        return Solid(self._body.refine_to_length(float(edge_mm)), "subdivided solid")

    def marked(self) -> tuple[Solid, int]:
        """The solid as an original of its own, and its mark: what booleans keep of its surface can be told by it."""
        body = self._body.as_original()
        return Solid(body, "marked solid"), int(body.original_id())

    def faces_from(self, marks: Sequence[int]) -> dict[int, IntArray]:
        """Indices into ``mesh.faces`` of the triangles that came from marked solids, by mark; absent ones left out."""
        raw = self._body.to_mesh64()
        runs, owners = np.asarray(raw.run_index) // 3, np.asarray(raw.run_original_id)
        found: dict[int, list[IntArray]] = {}
        wanted = set(marks)
        for k, owner in enumerate(owners):
            if int(owner) in wanted and runs[k + 1] > runs[k]:
                found.setdefault(int(owner), []).append(np.arange(runs[k], runs[k + 1], dtype=np.int32))
        return {owner: np.concatenate(pieces) for owner, pieces in found.items()}

    def shadow(self, simplify_mm: float) -> list[FloatArray]:
        """Rings (k, 2) of what the solid covers seen along z, holes included, within a tolerance."""
        return [np.asarray(ring, dtype=np.float64) for ring in self._body.project().simplify(simplify_mm).to_polygons()]

    def trimmed(self, normal: Sequence[float], offset_mm: float) -> Solid:
        """What lies on the side of the plane that ``normal`` points to, at ``offset_mm`` from the origin."""
        return Solid(self._body.trim_by_plane(tuple(float(v) for v in normal), float(offset_mm)), "trimmed solid")

    def components(self) -> list[Solid]:
        """Connected bodies, largest first; equal ones in the order of their bounds.

        The library splits by shells, so the skin of an inner void comes by itself, inside out: it is given back to the
        smallest body that it lies in.
        """
        # Compiled kernels take half a second to load, which nobody should wait for who only reads a figure's files.
        from condyle.geometry.shells import shells_of

        raw = self._body.to_mesh64()
        shell_of, count = shells_of(np.asarray(raw.tri_verts), len(raw.vert_properties))
        if count == 1:
            return [self]
        shells = self._body.decompose() if count <= _FEW else _taken_apart(raw, shell_of, count)
        bodies = sorted((b for b in shells if b.volume() > _TINY_MM3), key=lambda b: (-b.volume(), b.bounding_box()))
        voids: dict[int, list[Any]] = {}
        for shell in shells:
            if shell.volume() < -_TINY_MM3:
                voids.setdefault(_home(shell, bodies), []).append(shell)
        return [Solid(_hollowed(b, voids[i]) if i in voids else b, "component") for i, b in enumerate(bodies)]

    def shells(self) -> list[Mesh]:
        """Connected surfaces, inner (inverted) ones included, in the library's order."""
        out = []
        for body in self._body.decompose():
            raw = body.to_mesh64()
            out.append(Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts).astype(np.int32)))
        return out


def solid_from_mesh(mesh: Mesh, what: str = "mesh") -> Solid:
    """A solid from a closed, outward mesh whose shared edges share vertex indices. SolidError if it is not one."""
    # A copy: the library takes no read-only arrays.
    raw = m3.Mesh64(
        vert_properties=np.array(mesh.vertices, dtype=np.float64, order="C"),
        tri_verts=np.ascontiguousarray(mesh.faces, dtype=np.uint64),
    )
    return Solid(m3.Manifold(raw), what)


def union(solids: Sequence[Solid], what: str = "union") -> Solid:
    """All of them joined; SolidError for an empty list."""
    if len(solids) == 1:
        return solids[0]
    return Solid(m3.Manifold.batch_boolean([s._body for s in solids], m3.OpType.Add), what)


def subtract(body: Solid, tools: Sequence[Solid], what: str = "difference") -> Solid:
    """``body`` without the tools; SolidError when nothing is left."""
    if not tools:
        return body
    return Solid(m3.Manifold.batch_boolean([body._body, *(t._body for t in tools)], m3.OpType.Subtract), what)


def intersect(a: Solid, b: Solid, what: str = "intersection") -> Solid:
    """What both share; SolidError when they share nothing."""
    return Solid(a._body ^ b._body, what)


def overlap(a: Solid, b: Solid) -> Solid | None:
    """What both share, or None when they share no volume."""
    return _or_nothing(a._body ^ b._body, "overlap")


def divided(body: Solid, tool: Solid) -> tuple[Solid | None, Solid | None]:
    """What lies in the tool, and what is left of the body: one boolean for both. None for a side without volume."""
    shared, rest = body._body.split(tool._body)
    return _or_nothing(shared, "overlap"), _or_nothing(rest, "remainder")


def remainder(body: Solid, tools: Sequence[Solid]) -> Solid | None:
    """``body`` without the tools, or None when nothing is left."""
    if not tools:
        return body
    return _or_nothing(
        m3.Manifold.batch_boolean([body._body, *(t._body for t in tools)], m3.OpType.Subtract), "remainder"
    )


def gather(solids: Sequence[Solid]) -> Solid:
    """Several solids known to be apart as one, without a boolean. Overlaps are not looked for."""
    return Solid(m3.Manifold.compose([s._body for s in solids]), "gathered solids")


def hull(points: FloatArray, what: str = "hull") -> Solid:
    """The convex hull of points (n, 3); SolidError for flat ones."""
    return Solid(m3.Manifold.hull_points(np.ascontiguousarray(points, dtype=np.float64)), what)


def extrude(polygons: Sequence[FloatArray], height_mm: float, what: str = "prism") -> Solid:
    """Polygons (k, 2) counter-clockwise, holes clockwise, drawn out from z = 0 to ``height_mm``."""
    section = m3.CrossSection([np.ascontiguousarray(p, dtype=np.float64) for p in polygons], m3.FillRule.Positive)
    return Solid(section.extrude(float(height_mm)), what)


def revolve(profile: FloatArray, segments: int, what: str = "turned solid") -> Solid:
    """A closed profile (k, 2) of (radius, height), counter-clockwise, turned a full turn about z.

    Ring vertices lie on the given radius: for a hole, ask ``holes_outside`` of primitives for the radius to pass.
    """
    section = m3.CrossSection([np.ascontiguousarray(profile, dtype=np.float64)], m3.FillRule.Positive)
    return Solid(section.revolve(int(segments)), what)


def _taken_apart(raw: Any, shell_of: IntArray, count: int) -> list[Any]:
    """The connected surfaces of a library mesh as bodies, faces keeping their marks.

    The library's own way looks at the whole mesh once more for each of them, which is slower from a dozen on.
    """
    from condyle.geometry.shells import part_of_mesh  # late, as in ``components``

    points = np.ascontiguousarray(np.asarray(raw.vert_properties)[:, :3])
    faces, ids = np.asarray(raw.tri_verts), np.asarray(raw.face_id)
    ends, owners = np.asarray(raw.run_index)[1:] // 3, np.asarray(raw.run_original_id)
    by_shell = np.argsort(shell_of, kind="stable")
    bodies = []
    for kept in np.split(by_shell, np.cumsum(np.bincount(shell_of, minlength=count))[:-1]):
        own_points, own_faces = part_of_mesh(points, faces, kept)
        own_ends = np.searchsorted(kept, ends)
        mesh = m3.Mesh64(
            vert_properties=own_points,
            tri_verts=own_faces,
            face_id=ids[kept],
            run_index=np.concatenate([[0], 3 * own_ends]).astype(np.uint64),
            run_original_id=owners,
        )
        bodies.append(m3.Manifold(mesh))
    return bodies


def _home(void: Any, bodies: Sequence[Any]) -> int:
    """Which body (largest first) a void lies in: the smallest that winds around a point of its skin."""
    inner = np.array(void.bounding_box()).reshape(2, 3)
    boxes = [np.array(b.bounding_box()).reshape(2, 3) for b in bodies]
    near = [i for i, box in enumerate(boxes) if (box[0] <= inner[0]).all() and (box[1] >= inner[1]).all()]
    if len(near) > 1:
        point = np.asarray(void.to_mesh64().vert_properties)[:1, :3]
        # Bounds do not tell: a frame around a hollow bar encloses the bar's void too.
        near = [i for i in near if _winding(bodies[i], point[0]) > 0.5] or near
    return near[-1] if near else 0


def _winding(body: Any, point: FloatArray) -> float:
    """How often a closed body winds around a point (van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30, 1983)."""
    raw = body.to_mesh64()
    a, b, c = ((np.asarray(raw.vert_properties)[:, :3] - point)[np.asarray(raw.tri_verts)[:, i]] for i in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    above = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
    return float(np.arctan2(above, below).sum() / (2.0 * np.pi))


def _hollowed(body: Any, voids: Sequence[Any]) -> Any:
    """A body with its voids' skins, faces keeping their marks. (The library's own ``compose`` drops inverted skins.)"""
    raws = [b.to_mesh64() for b in (body, *voids)]
    first_vertex = np.cumsum([0, *(len(r.vert_properties) for r in raws[:-1])])
    first_index = np.cumsum([0, *(3 * len(r.tri_verts) for r in raws[:-1])])
    runs = [np.asarray(r.run_index)[:-1] + at for r, at in zip(raws, first_index, strict=True)]
    end = 3 * sum(len(r.tri_verts) for r in raws)
    mesh = m3.Mesh64(
        vert_properties=np.concatenate([np.asarray(r.vert_properties)[:, :3] for r in raws]),
        tri_verts=np.concatenate([r.tri_verts + np.uint64(at) for r, at in zip(raws, first_vertex, strict=True)]),
        run_index=np.concatenate([*runs, [end]]).astype(np.uint64),
        run_original_id=np.concatenate([np.asarray(r.run_original_id) for r in raws]).astype(np.uint32),
    )
    return m3.Manifold(mesh)


def _or_nothing(body: Any, what: str) -> Solid | None:
    if body.status() != m3.Error.NoError:
        raise SolidError("solid.status", f"{what}: no closed solid ({body.status().name})")
    if body.is_empty() or body.volume() < _TINY_MM3:
        return None
    return Solid(body, what)


def triangulated(loops: Sequence[FloatArray]) -> IntArray:
    """Triangles (m, 3) that fill plane loops (k, 2), the outer ones counter-clockwise, holes clockwise.

    Indices run through all the loops' points one after another; no point is added or left away.
    """
    return np.asarray(m3.triangulate([np.ascontiguousarray(p, dtype=np.float64) for p in loops]), dtype=np.int32)
