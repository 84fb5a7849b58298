"""Put a skeleton's joints into a sculpt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from condyle.errors import Place, SculptError
from condyle.figure.seating.flesh import Flesh, flesh_of
from condyle.figure.seating.fourfoot import find_fourfoot, fourfoot_lies
from condyle.figure.seating.frames import cut_axis, joint_frame, mirrored, rest_angles, spread, together
from condyle.figure.seating.known import match_known
from condyle.figure.seating.lies import upright_lies
from condyle.figure.seating.upright import SIGN, Anatomy, Spot, find_upright
from condyle.figure.skeleton import JointSpec, SeatedJoint, Skeleton
from condyle.finding import Finding, Point, point_of
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid

_CELLS, _FINE_CELLS = 180, 280
_FINE_WORTH = 100_000  # cells: only slight bodies lose limbs to the grid
_ALIKE = 0.015  # pairs that mirror each other within about this share of the height are taken as meant to
_UNLIKE = 0.06
_UNSURE = 0.03


@dataclass(frozen=True)
class Seating:
    """All joints of a skeleton with their places, in the skeleton's order, and what the search has to say."""

    joints: tuple[SeatedJoint, ...]
    findings: tuple[Finding, ...] = ()


def seat(solid: Solid, skeleton: Skeleton, *, known: Mapping[str, Point] | None = None) -> Seating:
    """Find every joint's centre, frame and cut in an unseen sculpt (figure coordinates: x ahead, y left, z up).

    ``known`` holds joint centres of a skinned file (mm, figure coordinates, any names); those that can be told are used
    as they are. What cannot be found is placed by proportion and said so in a caution. Raises SculptError
    (``sculpt.no_figure``) when the solid has neither arms nor legs that the skeleton could lie in.
    """
    mesh = solid.mesh
    animal = any(j.name.startswith("hock") for j in skeleton.joints)
    find = find_fourfoot if animal else _find_upright
    flesh = flesh_of(mesh, _CELLS)
    anatomy = find(flesh)
    if anatomy.missing and len(flesh.cells) < _FINE_WORTH:
        finer = flesh_of(mesh, _FINE_CELLS)
        second = find(finer)
        if len(second.missing) < len(anatomy.missing):
            flesh, anatomy = finer, second
    given = match_known(known or {}, [j.name for j in skeleton.joints])
    limbs = [name for name in anatomy.missing if name != "neck"]
    if len(limbs) >= 4 and not given:
        low, high = mesh.bounds
        raise SculptError(
            "sculpt.no_figure",
            "neither arms nor legs can be found in this sculpt",
            hint="is up the right way, and is this a figure? A skeleton needs limbs that stand clear of the body",
            place=Place(point_mm=point_of(0.5 * (low + high))),
        )
    spots = _alike(anatomy.spots, anatomy.middle_y, flesh.height)
    spots |= {name: Spot(np.asarray(p, dtype=np.float64), 0.0) for name, p in given.items()}
    findings = _missing_findings(anatomy)
    if len(limbs) >= 2 and not given:
        findings.insert(0, _no_body(4 - len(limbs)))
    for spec in skeleton.joints:
        if spec.name not in spots:
            spots[spec.name] = _by_proportion(spec, spots, anatomy, flesh)
            findings.append(_unsure(spec.name, spots[spec.name], flesh.height))
    findings += _unlike_findings(spots, anatomy.middle_y, flesh.height)
    joints = _seated(skeleton, spots, anatomy, flesh, frozenset(given), animal)
    return Seating(joints, tuple(findings))


def _find_upright(flesh: Flesh) -> Anatomy:
    return find_upright(flesh)[0]


def _seated(
    skeleton: Skeleton, spots: Mapping[str, Spot], anatomy: Anatomy, flesh: Flesh, given: frozenset[str], animal: bool
) -> tuple[SeatedJoint, ...]:
    points = {name: spot.point for name, spot in spots.items()}
    lies = (fourfoot_lies if animal else upright_lies)(points, anatomy, flesh.height)
    unlike = spread(points, anatomy.middle_y, flesh.height)
    out: dict[str, SeatedJoint] = {}
    for spec in skeleton.joints:
        lie, hint = lies(spec)
        stem = spec.name.rpartition("_")[0]
        other = spec.name[: len(stem)] + ("_right" if spec.side == "left" else "_left")
        twin = next((j for j in skeleton.joints if j.name == other), None) if spec.side != "middle" else None
        weight = _weight(unlike.get(stem, 1.0)) if twin is not None else 0.0
        if twin is not None:
            theirs, _ = lies(twin)
            front = None if lie.front is None or theirs.front is None else together(lie.front, theirs.front, weight)
            lie = replace(
                lie,
                before=together(lie.before, theirs.before, weight),
                after=together(lie.after, theirs.after, weight),
                front=front,
            )
        centre = points[spec.name] if spec.name in given else _inside(points[spec.name], flesh)
        frame = joint_frame(spec, centre, lie)
        rest = rest_angles(spec, frame, lie)
        cut = frame.z if hint is None else cut_axis(flesh.grid, centre, hint, 0.3 * flesh.height)
        out[spec.name] = SeatedJoint(
            spec, frame, point_of(cut), rest, "skin" if spec.name in given else "seated", float(spots[spec.name].sd_mm)
        )
        if hint is not None and twin is not None and other in out:
            both = np.array(out[other].cut_axis), np.array(out[spec.name].cut_axis)
            out[other] = replace(out[other], cut_axis=point_of(together(both[0], both[1], weight)))
            out[spec.name] = replace(out[spec.name], cut_axis=point_of(together(both[1], both[0], weight)))
    return tuple(out[j.name] for j in skeleton.joints)


def _weight(unlike: float) -> float:
    return float(np.exp(-((unlike / _ALIKE) ** 2)))


def _alike(spots: Mapping[str, Spot], middle_y: float, height: float) -> dict[str, Spot]:
    """Pairs that nearly mirror each other made to do so: the halves share their errors. Others stay as found."""
    unlike = spread({n: s.point for n, s in spots.items()}, middle_y, height)
    plane = np.array([0.0, middle_y, 0.0])
    out: dict[str, Spot] = {}
    for name, spot in spots.items():
        stem, _, side = name.rpartition("_")
        if side not in SIGN or stem not in unlike:
            out[name] = spot
            continue
        other = spots[f"{stem}_{'right' if side == 'left' else 'left'}"]
        w = 0.5 * _weight(unlike[stem])
        image = mirrored(other.point - plane) + plane
        out[name] = Spot((1.0 - w) * spot.point + w * image, (1.0 - w) * spot.sd_mm + w * other.sd_mm)
    return out


def _by_proportion(spec: JointSpec, spots: Mapping[str, Spot], anatomy: Anatomy, flesh: Flesh) -> Spot:
    """A joint that was not found: its partner's mirror image, or the skeleton's own proportions, drawn into the flesh."""
    plane = np.array([0.0, anatomy.middle_y, 0.0])
    stem, _, side = spec.name.rpartition("_")
    partner = spots.get(f"{stem}_{'right' if side == 'left' else 'left'}") if side in SIGN else None
    if partner is not None:
        return Spot(_inside(mirrored(partner.point - plane) + plane, flesh), partner.sd_mm + 0.03 * flesh.height)
    foot = np.array([float(np.median(flesh.points[:, 0])), anatomy.middle_y, flesh.low])
    return Spot(_inside(foot + np.array(spec.centre) * flesh.height, flesh), 0.06 * flesh.height)


def _inside(point: FloatArray, flesh: Flesh) -> FloatArray:
    """The point itself when it lies in the flesh, else the nearest place a little below the skin."""
    cell = np.round(flesh.grid.to_grid(point)).astype(np.int64)
    if np.all(cell >= 0) and np.all(cell < flesh.grid.inside.shape) and flesh.grid.inside[tuple(cell)]:
        return point
    deep = np.flatnonzero(flesh.depth >= min(0.01 * flesh.height, 0.5 * float(flesh.depth.max())))
    gap = flesh.points[deep] - point
    return np.asarray(flesh.points[deep[int(np.argmin(np.einsum("ij,ij->i", gap, gap)))]])


def _missing_findings(anatomy: Anatomy) -> list[Finding]:
    advice = "no such limb stands clear of the body: place its joints by hand in figure.toml"
    out = [Finding("seat.limb", name, "caution", advice=advice) for name in anatomy.missing]
    touch = "this limb touches the body, so its upper joints are placed by proportion: look at them, or pose it clear"
    return out + [Finding("seat.limb", name, "caution", advice=touch) for name in anatomy.touching]


def _no_body(found: int) -> Finding:
    """With half of the limbs placed by proportion alone the joints are no longer those of this sculpt."""
    return Finding(
        "seat.body",
        "sculpt",
        "fail",
        measured=float(found),
        target=4.0,
        unit="limbs",
        advice="half of the limbs or more were not found, so this may be no figure of this skeleton: check up and facing, "
        "pose the limbs clear of the body, or place their joints by hand",
    )


def _unsure(name: str, spot: Spot, height: float) -> Finding:
    return Finding(
        "seat.place",
        name,
        "caution",
        measured=round(float(spot.sd_mm), 3),
        target=round(_UNSURE * height, 3),
        unit="mm",
        place=point_of(spot.point),
        advice="placed by proportion only: look at it, and move its centre in figure.toml",
    )


def _unlike_findings(spots: Mapping[str, Spot], middle_y: float, height: float) -> list[Finding]:
    out = []
    for stem, share in sorted(spread({n: s.point for n, s in spots.items()}, middle_y, height).items()):
        if share > _UNLIKE:
            out.append(
                Finding(
                    "seat.symmetry",
                    f"{stem}_left/{stem}_right",
                    "caution",
                    measured=round(share * height, 3),
                    target=round(_UNLIKE * height, 3),
                    unit="mm",
                    place=point_of(spots[f"{stem}_left"].point),
                    advice="the two sides do not mirror each other: right for a posed sculpt, else look at both joints",
                )
            )
    return out
