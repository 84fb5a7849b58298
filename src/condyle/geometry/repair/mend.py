"""All repairs in order: any triangles in, one solid out, every change in plain words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condyle.errors import Place, SculptError, SolidError
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from condyle.geometry.repair.crossing import crossings_of
from condyle.geometry.repair.edges import edges_of, is_closed_and_consistent, mates_of
from condyle.geometry.repair.faces import without_collapsed, without_doubles, without_walls
from condyle.geometry.repair.holes import closed_up
from condyle.geometry.repair.log import Log, some
from condyle.geometry.repair.shells import enclosed, outward, shell_list
from condyle.geometry.repair.skin import one_skin
from condyle.geometry.repair.surface import consistent, shells_of, split_pinches
from condyle.geometry.repair.weld import snapped
from condyle.geometry.solid import Solid, solid_from_mesh, union

_APART_MM = 0.002
_COPY_MM = 1e-4
"""Vertices this near are one where triangles are doubled: float32 resolves 0.00001 mm at 150 mm."""
_MANY = 1000
_LOOSE = 0.5


@dataclass(frozen=True)
class MendWanted:
    """widest_hole_mm: wider openings are refused; snap_mm: rims this near are joined; min_volume_mm3: smaller shells
    that touch nothing are dropped as specks."""

    widest_hole_mm: float
    snap_mm: float
    min_volume_mm3: float


@dataclass(frozen=True, eq=False)
class Mended:
    """The solid, the hierarchy of its mesh, and what was done."""

    solid: Solid
    bvh: Bvh
    log: Log


def mended(mesh: Mesh, wanted: MendWanted) -> Mended:
    """A welded mesh in mm as one solid. SculptError (place in the mesh's coordinates) for what cannot be mended."""
    log = Log()
    mesh, shell = _closed(mesh, wanted, log)
    mesh, shell = _sound_shells(mesh, shell, wanted, log)
    bvh = Bvh(mesh)
    crossings = crossings_of(bvh)
    if len(crossings):
        bvh = _settled(one_skin(bvh, crossings, shell, log), wanted, log)
    solid = _as_solid(bvh)
    if shell.max() > 0 or len(crossings):
        solid, bvh = _joined(solid, bvh)
    elif solid.triangle_count != bvh.mesh.triangle_count:
        bvh = Bvh(solid.mesh)
    return Mended(solid, bvh, log)


def _closed(mesh: Mesh, wanted: MendWanted, log: Log) -> tuple[Mesh, IntArray]:
    """A closed, consistently wound surface without pinches, and the shell of each face."""
    mesh, collapsed = without_collapsed(mesh)
    if collapsed:
        log.note("degenerate", f"{some(collapsed, 'triangle')} without extent dropped")
    _refuse_nothing(mesh)
    edges = edges_of(mesh.faces, len(mesh.vertices))
    if is_closed_and_consistent(mesh.faces, edges):
        mate = mates_of(mesh.vertices, mesh.faces, edges, split=False)
    else:
        mesh, mate = _patched(mesh, wanted, log)
    mesh = _unpinched(mesh, mate, log)
    return mesh, shells_of(mesh.faces, mate)


def _unpinched(mesh: Mesh, mate: IntArray, log: Log) -> Mesh:
    mesh, pinches = split_pinches(mesh, mate, _APART_MM)
    if len(pinches):
        log.note(
            "pinch",
            f"{some(len(pinches), 'pinched vertex', 'pinched vertices')} (surfaces that touch in a point or along an edge) "
            f"split and drawn {_APART_MM} mm apart",
            pinches,
        )
    return mesh


def _patched(mesh: Mesh, wanted: MendWanted, log: Log) -> tuple[Mesh, IntArray]:
    given = mesh
    mesh, doubles = without_doubles(given)
    if doubles:
        # A copy is seldom one to the last bit. Where some of its vertices are off by rounding, only some of its triangles are
        # doubles, and what is left of it hangs on the first one in shreds.
        copies = snapped(given, np.arange(len(given.vertices), dtype=np.int32), _COPY_MM)
        if (copies.faces != given.faces).any():
            mesh, doubles = without_doubles(without_collapsed(copies)[0])
    edges = edges_of(mesh.faces, len(mesh.vertices))
    if (edges.counts == 1).any():
        lone = edges.halfedges[edges.starts[:-1][edges.counts == 1]]
        rim = np.unique(np.concatenate([mesh.faces[lone // 3, lone % 3], mesh.faces[lone // 3, (lone + 1) % 3]]))
        joined = snapped(mesh, rim, wanted.snap_mm)
        moved = int((joined.faces != mesh.faces).any(axis=1).sum())
        if moved:
            log.note("snap", f"rims up to {wanted.snap_mm:g} mm apart joined ({some(moved, 'triangle')})")
            mesh, _ = without_collapsed(joined)
            mesh, more = without_doubles(mesh)
            doubles += more
    if doubles:
        log.note("double", f"{some(doubles, 'doubled triangle')} dropped")
    _refuse_nothing(mesh)
    edges = edges_of(mesh.faces, len(mesh.vertices))
    mesh, turned, _ = consistent(mesh, mates_of(mesh.vertices, mesh.faces, edges, split=False))
    mesh, walls = without_walls(mesh)
    if walls:
        log.note("wall", f"{some(walls, 'triangle')} of walls or fins that bound nothing dropped")
    edges = edges_of(mesh.faces, len(mesh.vertices))
    if (edges.counts > 2).any():
        # Where more than two meet, the wedges are only told apart when each patch faces outwards.
        patch = shells_of(mesh.faces, mates_of(mesh.vertices, mesh.faces, edges, split=False))
        mesh = outward(mesh, patch, shell_list(mesh, patch))
        edges = edges_of(mesh.faces, len(mesh.vertices))
        mate = mates_of(mesh.vertices, mesh.faces, edges, split=True)
        mesh = _unpinched(mesh, mate, log)
        edges = edges_of(mesh.faces, len(mesh.vertices))
        mesh, again, _ = consistent(mesh, mates_of(mesh.vertices, mesh.faces, edges, split=False))
        edges = edges_of(mesh.faces, len(mesh.vertices))
        turned = np.append(turned, again)
    if turned.any():
        log.note("winding", f"{some(int(turned.sum()), 'triangle')} wound the other way than their neighbours turned")
    edges = edges_of(mesh.faces, len(mesh.vertices))
    mate = mates_of(mesh.vertices, mesh.faces, edges, split=True)
    open_share = float((mate < 0).mean())
    if open_share > _LOOSE:
        raise _refusal(
            "sculpt.loose",
            f"{100 * open_share:.0f} % of the triangles' edges meet no other triangle: this is no surface",
            "merge vertices by distance in the sculpting program, or remesh, then export again",
            mesh.vertices[mesh.faces[0, 0]],
        )
    if open_share > 0:
        mesh, _ = split_pinches(mesh, mate, 0.0)
        mesh, filled = closed_up(mesh, mate, wanted.widest_hole_mm)
        places = np.array([p for p, _ in filled])
        widest = max(w for _, w in filled)
        log.note("hole", f"{some(len(filled), 'hole')} closed, the widest {widest:.2f} mm across", places)
        edges = edges_of(mesh.faces, len(mesh.vertices))
        mate = mates_of(mesh.vertices, mesh.faces, edges, split=True)
    if (mate < 0).any():
        loose = int(np.flatnonzero(mate < 0)[0])
        raise _refusal(
            "sculpt.open",
            "the surface stays open after all repairs",
            "rebuild the surface there in the sculpting program",
            mesh.vertices[mesh.faces[loose // 3, loose % 3]],
        )
    return mesh, mate


def _sound_shells(mesh: Mesh, shell: IntArray, wanted: MendWanted, log: Log) -> tuple[Mesh, IntArray]:
    """Every shell outward; hollows filled, shells inside the body and specks dropped."""
    shells = shell_list(mesh, shell)
    total = sum(abs(s.volume_mm3) for s in shells)
    if total < 1e-6 or total < 1e-9 * float(np.ptp(mesh.bounds, axis=0).max()) ** 3:
        raise _flat(mesh)
    mesh = outward(mesh, shell, shells)
    largest = max(shells, key=lambda s: abs(s.volume_mm3))
    if len(shells) == 1:
        if largest.volume_mm3 < 0:
            log.note("inside_out", "the surface was inside out: all triangles turned")
        return mesh, shell
    bvh = Bvh(mesh)
    inner = enclosed(bvh, shell, len(shells))
    meeting = crossings_of(bvh).pairs
    meets = np.zeros(len(shells), dtype=bool)
    other = shell[meeting[:, 0]] != shell[meeting[:, 1]]
    meets[shell[meeting[other].ravel()]] = True
    gone = np.zeros(len(shells), dtype=bool)
    outer_sign = np.sign(largest.volume_mm3)
    nested = [s for s in shells if inner[s.number] and not meets[s.number]]
    hollow = [s for s in nested if np.sign(s.volume_mm3) != outer_sign]
    second = [s for s in nested if np.sign(s.volume_mm3) == outer_sign]
    specks = [
        s
        for s in shells
        if abs(s.volume_mm3) < wanted.min_volume_mm3 and not meets[s.number] and s not in nested and s is not largest
    ]
    for kind, found, words in (
        ("hollow", hollow, "inside the body filled"),
        ("inner_shell", second, "wholly inside the body dropped"),
        ("speck", specks, f"smaller than {wanted.min_volume_mm3:g} mm³ dropped"),
    ):
        if found:
            noun = "shell" if kind == "inner_shell" else kind
            volume = sum(abs(s.volume_mm3) for s in found)
            log.note(kind, f"{some(len(found), noun)} {words} ({volume:.3g} mm³)", np.array([s.middle for s in found]))
            gone[[s.number for s in found]] = True
    flipped = [s for s in shells if s.volume_mm3 < 0 and not gone[s.number]]
    if flipped:
        log.note(
            "inside_out", f"{some(len(flipped), 'shell')} inside out: turned", np.array([s.middle for s in flipped])
        )
    if gone.any():
        mesh, shell = mesh.subset(~gone[shell]), (np.cumsum(~gone) - 1).astype(np.int32)[shell[~gone[shell]]]
    return mesh, shell


def _settled(mesh: Mesh, wanted: MendWanted, log: Log) -> Bvh:
    """After cutting and joining: pockets that were left inside filled, crumbs dropped."""
    edges = edges_of(mesh.faces, len(mesh.vertices))
    mate = mates_of(mesh.vertices, mesh.faces, edges, split=False)
    shell = shells_of(mesh.faces, mate)
    shells = shell_list(mesh, shell)
    pockets = np.array([s.volume_mm3 < 0 for s in shells])
    crumbs = np.array([0 <= s.volume_mm3 < wanted.min_volume_mm3 for s in shells])
    for gone, words in ((pockets, "pocket"), (crumbs, "crumb")):
        if gone.any():
            volume = sum(abs(s.volume_mm3) for s in shells if gone[s.number])
            done = "left between crossing surfaces filled" if words == "pocket" else "left over from them dropped"
            log.note(words, f"{some(int(gone.sum()), words)} {done} ({volume:.3g} mm³)")
    keep: BoolArray = ~(pockets | crumbs)[shell]
    if not keep.any():
        raise _flat(mesh)
    return Bvh(mesh if keep.all() else mesh.subset(keep))


def _joined(solid: Solid, bvh: Bvh) -> tuple[Solid, Bvh]:
    """Shells that touch without crossing (face on face) joined by the boolean library."""
    parts = solid.shells()
    if len(parts) > 1:
        bodies = [solid_from_mesh(p, "shell") for p in parts]
        if len(bodies) > _MANY:
            solid = union(bodies, "joined shells")
            return solid, Bvh(solid.mesh)
        low = np.array([b.bounds[0] for b in bodies])
        high = np.array([b.bounds[1] for b in bodies])
        near = np.all((low[:, None] <= high[None] + 1e-6) & (high[:, None] >= low[None] - 1e-6), axis=2)
        if near.sum() > len(bodies):
            solid = union(bodies, "joined shells")
    return solid, Bvh(solid.mesh)


def _as_solid(bvh: Bvh) -> Solid:
    try:
        return solid_from_mesh(bvh.mesh, "sculpt")
    except SolidError as error:
        raise _refusal(
            "sculpt.broken",
            f"no closed solid could be made of the sculpt: {error.message}",
            "remesh the sculpt as one skin in the sculpting program",
            bvh.mesh.vertices.mean(axis=0),
        ) from error


def _refuse_nothing(mesh: Mesh) -> None:
    if mesh.triangle_count < 4:
        raise _refusal("sculpt.empty", "no surface is left to work with", "export the whole sculpt as triangles", None)
    size = np.ptp(mesh.bounds, axis=0)
    if float(size.min()) <= 1e-6 * float(size.max()):
        raise _flat(mesh)


def _flat(mesh: Mesh) -> SculptError:
    return _refusal(
        "sculpt.flat",
        "the sculpt is flat: it encloses no volume",
        "give the surface a thickness in the sculpting program, or export the closed body",
        mesh.vertices.mean(axis=0),
    )


def _refusal(code: str, message: str, hint: str, place: FloatArray | None) -> SculptError:
    where = Place() if place is None else Place(point_mm=(float(place[0]), float(place[1]), float(place[2])))
    return SculptError(code, message, hint=hint, place=where)
