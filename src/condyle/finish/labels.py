"""Each part's name and side, engraved where nobody looks: a code of a few letters on a cut face.

The letters are of one stroke a line wide, as high as keeps the gaps inside an 8 open. A place is taken only where all of
it is hidden, flat enough, thick enough below, and away from every bearing; where there is none the part stays bare.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.build.faces import HIDDEN, kinds
from condyle.figure.kit import Kit, Part
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import frame_from_zx, unit
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.solid import Solid, subtract
from condyle.workshop.coupons.lettering import Hand, raised, width_mm
from condyle.workshop.printer import Printer

DEPTH_MM, UNEVEN_MM = 0.35, 0.35
WALL_MM = 1.0
TRIED = 160
TURNS = 6
_RIM_MM = 0.35


@dataclass(frozen=True)
class Label:
    """A part's code, where it stands and what it took; no place where there was no room."""

    part: str
    code: str
    place: Point | None
    volume_mm3: float = 0.0


@dataclass(frozen=True, eq=False)
class Labelled:
    """The parts with their labels cut in, in the kit's order, and findings."""

    solids: dict[str, Solid]
    labels: tuple[Label, ...]
    findings: tuple[Finding, ...]


def hand_of(printer: Printer) -> Hand:
    """Engraved letters: a stroke a quarter wider than a line, gaps of a line, at least 0.4 mm (common practice, no source).

    A groove may be finer than the smallest feature that stands up: it is the track beside it that must print.
    """
    line = printer.line_mm.value
    stroke = round(max(1.25 * line, 0.4), 2)
    return Hand(stroke, round(3.0 * stroke + 2.0 * max(line, 0.4), 2), DEPTH_MM)


def codes(names: Sequence[str]) -> dict[str, str]:
    """A code for each part, all different: two letters of its first word, an initial of each other word, then the side."""
    out: dict[str, str] = {}
    taken: set[str] = set()
    for name in names:
        words = [w for w in name.upper().replace("-", "_").split("_") if w]
        side = "".join(w[0] for w in words if w in ("LEFT", "RIGHT"))
        rest = [w for w in words if w not in ("LEFT", "RIGHT")] or ["PART"]
        first = [rest[0][:2], rest[0][:3], rest[0][0] + rest[0][-1]]
        tries = [f + "".join(w[0] for w in rest[1:]) + side for f in first]
        tries += [f"{tries[0]}{k}" for k in range(2, 100)]
        code = next(t for t in (_written(t) for t in tries) if t not in taken)
        taken.add(code)
        out[name] = code
    return out


def _written(code: str) -> str:
    """Letters that we can write."""
    plain = code.translate(str.maketrans("OQJ", "00I"))
    return "".join(c if c in "0123456789ABCDEFGHIKLMNPRSTUVWXYZ" else "X" for c in plain)


def labelled(kit: Kit, sculpt: Solid, printer: Printer) -> Labelled:
    """Engrave every part of a kit that has room."""
    hand = hand_of(printer)
    skin = Bvh(sculpt.mesh)
    solids, labels, findings = {}, [], []
    for name, code in codes([p.name for p in kit.parts]).items():
        part = kit.part(name)
        bearings = [
            s for j in kit.joints if j.built and any(name in (a.moves, a.stays) for a in j.axles) for s in j.bearing
        ]
        label, solid = _engraved(part, code, hand, bearings, skin)
        solids[name] = solid
        labels.append(label)
        if label.place is None:
            wide, high = width_mm(code, hand), hand.capital_mm
            words = f"no hidden place of {wide:.1f} × {high:.1f} mm for {code}: write it there in pencil, or bag the part with its name"
            findings.append(Finding("assemble.label", name, "caution", 0.0, wide, "mm", None, words))
        else:
            findings.append(Finding("assemble.label", name, "pass", label.volume_mm3, None, "mm³", label.place))
    return Labelled(solids, tuple(labels), tuple(findings))


def _engraved(part: Part, code: str, hand: Hand, bearings: Sequence[Solid], skin: Bvh) -> tuple[Label, Solid]:
    mesh = part.mesh
    middles = np.asarray(mesh.corners.mean(axis=1))
    hidden = kinds(middles, bearings, skin) == HIDDEN
    body = Bvh(mesh)
    wide, high = width_mm(code, hand) + 2 * _RIM_MM, hand.capital_mm + 2 * _RIM_MM
    grid = np.stack(
        np.meshgrid(np.linspace(-wide / 2, wide / 2, 13), np.linspace(-high / 2, high / 2, 7), indexing="ij"), axis=-1
    ).reshape(-1, 2)
    for at, normal in _candidates(mesh.corners, mesh.normals, hidden):
        across = np.eye(3)[int(np.argmin(np.abs(normal)))]
        x, y = unit(np.cross(across, normal)), unit(np.cross(normal, unit(np.cross(across, normal))))
        for turn in np.arange(TURNS) * np.pi / TURNS:
            u, v = np.cos(turn) * x + np.sin(turn) * y, -np.sin(turn) * x + np.cos(turn) * y
            level = _level(at, normal, u, v, grid, body, hidden)
            if level is None:
                continue
            frame = frame_from_zx(at + (level - DEPTH_MM) * normal, normal, u)
            letters = raised(code, Hand(hand.stroke_mm, hand.capital_mm, DEPTH_MM + 2 * UNEVEN_MM), (0.0, 0.0, 0.05))
            cut = subtract(part.solid, [letters.transformed(frame.matrix)], f"label of {part.name}")
            took = part.solid.volume_mm3 - cut.volume_mm3
            if took > 0.0 and len(cut.components()) == 1:
                p = at + level * normal
                return Label(part.name, code, (float(p[0]), float(p[1]), float(p[2])), took), cut
    return Label(part.name, code, None), part.solid


def _candidates(corners: FloatArray, normals: FloatArray, hidden: BoolArray) -> list[tuple[FloatArray, FloatArray]]:
    """Places to try: points of hidden faces, evenly over their area, in a fixed order."""
    mine = np.flatnonzero(hidden)
    if not len(mine):
        return []
    a, b, c = (corners[mine, k] for k in range(3))
    total = np.cumsum(np.linalg.norm(np.cross(b - a, c - a), axis=1))
    # Steps by the plastic number's powers spread over area and triangles without a seed (Roberts' R3 sequence, from memory).
    steps = (0.5 + np.arange(1, TRIED + 1)[:, None] / 1.2207440846057596 ** np.arange(1, 4)) % 1.0
    chosen = np.minimum(np.searchsorted(total, steps[:, 0] * total[-1]), len(mine) - 1)
    root = np.sqrt(steps[:, 1:2])
    points = (1 - root) * a[chosen] + root * (1 - steps[:, 2:]) * b[chosen] + root * steps[:, 2:] * c[chosen]
    return list(zip(points, normals[mine[chosen]], strict=True))


def _level(
    at: FloatArray, normal: FloatArray, u: FloatArray, v: FloatArray, grid: FloatArray, body: Bvh, hidden: BoolArray
) -> float | None:
    """The height over ``at`` of the lowest point under the letters; None where the place will not do."""
    above = at + grid[:, :1] * u + grid[:, 1:] * v + 1.0 * normal
    distance, face = body.first_hits(above, np.broadcast_to(-normal, above.shape))
    if not np.isfinite(distance).all() or not hidden[face].all():
        return None
    height = 1.0 - distance
    if float(np.ptp(height)) > UNEVEN_MM:
        return None
    low = float(height.min())
    deep = above - (1.0 - low + DEPTH_MM + WALL_MM) * normal
    return low if bool(body.inside(deep).all()) else None
