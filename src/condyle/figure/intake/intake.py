"""Intake: a scene as read becomes one closed solid in figure coordinates, fit to be cut, and a report of every change.

The input is turned and scaled about its own origin, then moved along z only: soles at z = 0.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from condyle.errors import InputError, Place, SculptError, UsageError
from condyle.figure.facing import find_facing, find_up
from condyle.figure.intake.findings import findings_of, place_in_figure, unit_finding
from condyle.figure.intake.upright import axis_vector, axis_word, nearest_axis, turn_to
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.formats import Scene
from condyle.geometry.mesh import FloatArray, Mesh
from condyle.geometry.repair.edges import edges_of, mates_of
from condyle.geometry.repair.faces import without_collapsed
from condyle.geometry.repair.log import Log
from condyle.geometry.repair.mend import MendWanted, mended
from condyle.geometry.repair.shells import shell_list
from condyle.geometry.repair.simplify import simplified
from condyle.geometry.repair.surface import shells_of
from condyle.geometry.repair.weld import welded
from condyle.geometry.solid import Solid
from condyle.units import MM_PER_UNIT, UNIT_ALIASES

LOWEST_MM, TALLEST_MM = 20.0, 2000.0
_WIDEST_HOLE = 0.05
_SNAP = 0.25
_SPECK_CELLS = 8.0
_SIGNIFICANT = 0.05
_LARGEST_COORDINATE = 1e100


@dataclass(frozen=True)
class IntakeWanted:
    """What the maker asks of the intake.

    height_mm       of the figure, soles to crown
    up, facing      signed axes of the input (``"z"``, ``"-y"``); None: the file's own, else found from the body
    unit            the input's length unit, by 3MF's names or mm, cm, in, …; None: the file's own, else unknown
    deviation_mm    how far simplification may move the surface, two-sided; 0 leaves every triangle
    min_feature_mm  the smallest thing that the process prints
    min_volume_mm3  loose shells smaller than this are specks; None: a cube of two smallest features
    true_size       the sculpt keeps its size (by its unit, else in mm) and its place: it was made around a guide
    """

    height_mm: float
    up: str | None = None
    facing: str | None = None
    unit: str | None = None
    deviation_mm: float = 0.02
    min_feature_mm: float = 0.4
    min_volume_mm3: float | None = None
    true_size: bool = False


@dataclass(frozen=True, eq=False)
class IntakeReport:
    """What was done. ``scale`` is mm per unit of the input's numbers; ``transform`` (4, 4) takes input to figure
    coordinates; ``unit`` is None where nobody stated one; ``max_deviation_mm`` is what simplification moved at most."""

    triangles_in: int
    triangles_out: int
    max_deviation_mm: float
    changes: tuple[str, ...]
    up: str
    facing: str
    unit: str | None
    scale: float
    transform: FloatArray


@dataclass(frozen=True, eq=False)
class Intake:
    """The clean solid in figure coordinates, the report, findings, and the file's own joints moved along."""

    solid: Solid
    report: IntakeReport
    findings: tuple[Finding, ...]
    joints: dict[str, Point]


def take_in(scene: Scene, wanted: IntakeWanted) -> Intake:
    """One closed, outward solid of the wanted height from whatever a file held.

    Raises InputError for heights and deviations that make no sense, UsageError for axes and units that are none, and
    SculptError (with the place in input coordinates, and the remedy) for a sculpt that cannot be mended.
    """
    _check_numbers(wanted)
    unit = _unit(wanted.unit or scene.unit)
    asked_up = wanted.up or scene.up or ("z" if wanted.true_size else None)
    up = axis_vector(asked_up, "up") if asked_up else None
    facing = axis_vector(wanted.facing, "facing") if wanted.facing else None
    if facing is None and wanted.true_size:
        facing = axis_vector("z" if scene.up == "y" and not wanted.up else "x", "facing")
    turn = turn_to(up, facing) if up is not None else np.eye(3)
    log = Log(list(scene.notes))
    raw = _raw(scene, log)
    low, size = _extent(raw, turn, None if up is None else 2)
    scale = MM_PER_UNIT[unit or "millimeter"] if wanted.true_size else wanted.height_mm / size
    lifted = up is not None and not wanted.true_size
    moved = first = _matrix(turn, scale, -low * scale if lifted else 0.0)
    try:
        made = mended(raw.transformed(moved), _mend_wanted(wanted))
    except SculptError as error:
        raise _in_input_coordinates(error, moved) from error
    log.changes += made.log.changes
    solid, bvh = made.solid, made.bvh
    # With up found, or with specks gone that stood out, height and soles are known only now.
    up_sure = 1.0
    if up is None:
        found, up_sure = find_up(solid.mesh)
        up = nearest_axis(found)[0]
        turn = turn_to(up, facing)
        solid = solid.transformed(_matrix(turn, 1.0, 0.0))
        moved = _matrix(turn, 1.0, 0.0) @ moved
        bvh = Bvh(solid.mesh)
    height = float(solid.bounds[1, 2] - solid.bounds[0, 2])
    if abs(height / wanted.height_mm - 1.0) > 1e-9 and not wanted.true_size:
        grown = _matrix(np.eye(3), wanted.height_mm / height, 0.0)
        solid, moved = solid.transformed(grown), grown @ moved
        bvh = Bvh(solid.mesh)
    thin = simplified(solid, bvh, wanted.deviation_mm)
    if thin.solid is not solid:
        log.note(
            "simplified",
            f"detail below what can be printed simplified: {bvh.mesh.triangle_count:,} to "
            f"{thin.solid.triangle_count:,} triangles, surfaces at most {thin.deviation_mm:.4f} mm apart",
        )
    solid = thin.solid
    facing_sure, askew_deg = 1.0, 0.0
    if facing is None:
        found, facing_sure = find_facing(solid.mesh)
        ahead, askew_deg = nearest_axis(found)
        last = turn_to(np.array([0.0, 0.0, 1.0]), ahead)
        facing = turn.T @ ahead
    else:
        last = np.eye(3)
    last_move = _matrix(last, 1.0, 0.0 if wanted.true_size else -float(solid.bounds[0, 2]))
    if not np.array_equal(last_move, np.eye(4)):
        solid, moved = solid.transformed(last_move), last_move @ moved
    scale = float(np.cbrt(np.linalg.det(moved[:3, :3])))
    placing = _placing_words(wanted, scene, unit, up, facing, scale, moved)
    later = moved @ np.linalg.inv(first)
    places = {kind: place_in_figure(found_at, later) for kind, found_at in made.log.places.items()}
    report = IntakeReport(
        triangles_in=scene.triangle_count,
        triangles_out=solid.triangle_count,
        max_deviation_mm=thin.deviation_mm,
        changes=(*placing, *log.changes),
        up=axis_word(up),
        facing=axis_word(facing),
        unit=unit,
        scale=scale,
        transform=moved,
    )
    return Intake(
        solid,
        report,
        (
            *unit_finding(unit, scale, height if wanted.true_size else wanted.height_mm),
            *findings_of(places, solid, thin, wanted.deviation_mm, up_sure, facing_sure, askew_deg),
        ),
        _joints(scene.joints, moved),
    )


def _check_numbers(wanted: IntakeWanted) -> None:
    if not (math.isfinite(wanted.height_mm) and LOWEST_MM <= wanted.height_mm <= TALLEST_MM):
        raise InputError(
            "intake.height",
            f"{wanted.height_mm:g} mm is no height for a figure",
            hint=f"give the figure's height in mm, {LOWEST_MM:g} to {TALLEST_MM:g}; 150 is usual for 1:12",
        )
    for name, value in (("deviation", wanted.deviation_mm), ("smallest feature", wanted.min_feature_mm)):
        if not (math.isfinite(value) and 0.0 <= value <= 0.1 * wanted.height_mm):
            raise InputError(
                "intake.number",
                f"a {name} of {value:g} mm makes no sense for a figure of {wanted.height_mm:g} mm",
                hint="hundredths of a millimetre are usual for the deviation, tenths for the smallest feature",
            )


def _unit(word: str | None) -> str | None:
    if word is None:
        return None
    name = UNIT_ALIASES.get(word.strip().lower(), word.strip().lower())
    if name not in MM_PER_UNIT:
        raise UsageError("intake.unit", f"no such length unit: {word!r}", hint="one of " + ", ".join(MM_PER_UNIT))
    return name


def _raw(scene: Scene, log: Log) -> Mesh:
    """All meshes of the scene welded into one. SculptError for what is no surface at all."""
    if scene.triangle_count == 0:
        raise SculptError("sculpt.empty", "the file holds no triangles", hint="export the sculpt as a triangle mesh")
    whole = scene.merged()
    used = np.zeros(len(whole.vertices), dtype=bool)
    used[whole.faces.ravel()] = True
    mesh = welded(whole)
    if used.sum() > len(mesh.vertices):
        log.note("weld", f"{int(used.sum()):,} corners welded to {len(mesh.vertices):,} vertices at the same places")
    bad = ~np.isfinite(mesh.vertices).all(axis=1)
    if bad.any():
        raise SculptError(
            "sculpt.not_finite",
            f"{int(bad.sum()):,} vertices have coordinates that are no numbers",
            hint="export the sculpt again; a modifier or script in the sculpting program may have spoilt it",
        )
    if float(np.abs(mesh.vertices).max()) > _LARGEST_COORDINATE:
        raise SculptError(
            "sculpt.huge", "coordinates are too large to be a sculpt's", hint="export the sculpt in millimetres"
        )
    mesh, collapsed = without_collapsed(mesh)
    if collapsed:
        log.note("degenerate", f"{collapsed:,} triangles without extent dropped")
    if mesh.triangle_count < 4:
        raise SculptError(
            "sculpt.empty", "no surface is left to work with", hint="export the whole sculpt as triangles"
        )
    return mesh


def _extent(mesh: Mesh, turn: FloatArray, axis: int | None) -> tuple[float, float]:
    """Lowest coordinate and size along a turned axis, or the largest size along any; what is tiny does not count.

    A stray speck far below the soles must not shrink the figure.
    """
    shell = shells_of(
        mesh.faces, mates_of(mesh.vertices, mesh.faces, edges_of(mesh.faces, len(mesh.vertices)), split=False)
    )
    if shell.max() > 0:
        shells = shell_list(mesh, shell)
        widest = max(s.extent_mm for s in shells)
        mesh = mesh.subset(np.array([s.extent_mm >= _SIGNIFICANT * widest for s in shells])[shell])
    points = mesh.vertices @ turn.T
    low, high = points.min(axis=0), points.max(axis=0)
    k = int(np.argmax(high - low)) if axis is None else axis
    size = float(high[k] - low[k])
    if not size > 0:
        raise SculptError(
            "sculpt.flat",
            "the sculpt has no height along its up axis",
            hint="check --up, or export the closed body with its thickness",
        )
    return float(low[k]), size


def _mend_wanted(wanted: IntakeWanted) -> MendWanted:
    speck = wanted.min_volume_mm3
    if speck is None:
        speck = _SPECK_CELLS * wanted.min_feature_mm**3
    return MendWanted(_WIDEST_HOLE * wanted.height_mm, _SNAP * wanted.deviation_mm, speck)


def _matrix(turn: FloatArray, scale: float, lift: float) -> FloatArray:
    m = np.eye(4)
    m[:3, :3] = scale * turn
    m[2, 3] = lift
    return m


def _in_input_coordinates(error: SculptError, moved: FloatArray) -> SculptError:
    point = error.place.point_mm
    if point is None:
        return error
    back = np.linalg.solve(moved[:3, :3], np.array(point) - moved[:3, 3])
    place = Place(error.place.file, error.place.line, (float(back[0]), float(back[1]), float(back[2])))
    hint = f"{error.hint} (the place is in the file's own numbers)"
    return SculptError(error.code, error.message, hint=hint, place=place)


def _placing_words(
    wanted: IntakeWanted,
    scene: Scene,
    unit: str | None,
    up: FloatArray,
    facing: FloatArray,
    scale: float,
    moved: FloatArray,
) -> list[str]:
    """What was done to the input as a whole."""
    said = "as given" if wanted.up else "as the format has it" if scene.up else "found from the body"
    faces = "as given" if wanted.facing else "found from the body"
    out = [f"up is {axis_word(up)} ({said}), the figure faces {axis_word(facing)} ({faces}) of the input"]
    if not np.allclose(moved[:3, :3] / scale, np.eye(3), atol=1e-9):
        out.append("turned so that z is up and x is forward")
    if abs(scale - 1.0) > 1e-9:
        stated = f"{unit}s" if unit else "unit unknown"
        size = "its own size" if wanted.true_size else f"a height of {wanted.height_mm:g} mm"
        out.append(f"scaled by {scale:.6g} to {size} (input numbers: {stated})")
    if abs(moved[2, 3]) > 1e-9:
        by = f"{moved[2, 3]:+.4f} mm" if abs(moved[2, 3]) >= 5e-5 else "less than 0.0001 mm"
        out.append(f"moved by {by} along z, soles to 0")
    return out


def _joints(joints: Mapping[str, Point], moved: FloatArray) -> dict[str, Point]:
    out: dict[str, Point] = {}
    for name, place in joints.items():
        p = moved[:3, :3] @ np.array(place) + moved[:3, 3]
        out[name] = (float(p[0]), float(p[1]), float(p[2]))
    return out
