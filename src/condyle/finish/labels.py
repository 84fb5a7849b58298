"""Each part's name and side, engraved where nobody looks: its whole name on a cut face, or its number in the book.

The letters are of one stroke a line wide, as high as keeps the gaps inside an 8 open. A place is taken only where all of
it is hidden, steep nowhere, thick enough below, and away from every bearing; the groove follows the face at one depth.
Where there is room for neither name nor number the part stays bare, and is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from condyle.build.faces import HIDDEN, kinds
from condyle.figure.kit import Kit, Mark, Part
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import Frame
from condyle.geometry.mesh import BoolArray, FloatArray
from condyle.geometry.primitives import box
from condyle.geometry.solid import Solid, overlap, remainder, subtract
from condyle.workshop.coupons.lettering import Hand, raised, width_mm
from condyle.workshop.printer import Printer

DEPTH_MM, WALL_MM = 0.35, 1.0
"""How deep letters are, and what stays below them."""

UNEVEN_MM, STEEP_DEG = 1.0, 45.0
"""How far a face may rise and fall under the letters, and its steepest slope against them: our choice."""

COVER_MM = 3.0
"""A face is covered where a neighbouring part lies this close over it, in the sculpt's pose: our choice."""

TRIED = 400
TURNS = 12
_RIM_MM = 0.35
_LOOK_MM = 1.5


@dataclass(frozen=True)
class Label:
    """What a part carries, where it stands and what it took; no mark where there was no room, and then the shortest that
    was tried."""

    part: str
    code: str
    mark: Mark | None
    volume_mm3: float = 0.0
    covered: bool = True

    @property
    def place(self) -> Point | None:
        return None if self.mark is None else self.mark.place


@dataclass(frozen=True, eq=False)
class Labelled:
    """The parts with their labels cut in, in the kit's order, and findings."""

    solids: dict[str, Solid]
    labels: tuple[Label, ...]
    findings: tuple[Finding, ...]


def hand_of(printer: Printer) -> Hand:
    """Engraved letters: a stroke a third wider than a line, gaps of a line, at least 0.4 mm (common practice, no source).

    A groove may be finer than the smallest feature that stands up: it is the track beside it that must print.
    """
    line = printer.line_mm.value
    stroke = round(max(4.0 / 3.0 * line, 0.4), 2)
    return Hand(stroke, round(3.0 * stroke + 2.0 * max(line, 0.4), 2), DEPTH_MM)


def numbers(names: Sequence[str]) -> dict[str, str]:
    """A number for each part, as the book counts them: parts that differ in their side alone share it, and L or R follows."""
    found: dict[str, int] = {}
    out: dict[str, str] = {}
    for name in names:
        bare, side = _sided(name)
        out[name] = f"{found.setdefault(bare, len(found) + 1)}{side[:1]}"
    return out


def _sided(name: str) -> tuple[str, str]:
    """The words of a name without its side, and the side."""
    words = [w for w in name.upper().replace("-", "_").split("_") if w]
    sides = [w for w in words if w in ("LEFT", "RIGHT")]
    return " ".join(w for w in words if w not in sides), sides[0] if sides else ""


def whole(name: str) -> str:
    """A part's name in letters that we can write, its side as L or R."""
    bare, side = _sided(name)
    plain = f"{bare} {side[:1]}".strip().translate(str.maketrans("OQ", "00"))
    return "".join(c if c in " 0123456789ABCDEFGHIJKLMNPRSTUVWXYZ" else "X" for c in plain)


def labelled(kit: Kit, sculpt: Solid, printer: Printer) -> Labelled:
    """Engrave every part of a kit that has room: its name, or its number."""
    hand = hand_of(printer)
    skin = Bvh(sculpt.mesh)
    bodies = {p.name: Bvh(p.mesh) for p in kit.parts}
    solids, labels, findings = {}, [], []
    for name, number in numbers([p.name for p in kit.parts]).items():
        part = kit.part(name)
        mine = [j for j in kit.joints if j.built and any(name in (a.moves, a.stays) for a in j.axles)]
        beside = {n for j in mine for a in j.axles for n in (a.moves, a.stays)} - {name}
        hidden = kinds(np.asarray(part.mesh.corners.mean(axis=1)), [s for j in mine for s in j.bearing], skin) == HIDDEN
        around = [bodies[n] for n in sorted(beside)]
        label, solid = _engraved(part, (whole(name), number), hand, hidden, bodies[name], around)
        solids[name] = solid
        labels.append(label)
        if label.place is None:
            wide, high = width_mm(number, hand), hand.capital_mm
            words = f"no hidden place of {wide:.1f} × {high:.1f} mm for its number {number}: bag the part with its name"
            findings.append(Finding("assemble.label", name, "caution", 0.0, wide, "mm", None, words))
        else:
            told = f"it carries {label.code}"
            findings.append(Finding("assemble.label", name, "pass", label.volume_mm3, None, "mm³", label.place, told))
    return Labelled(solids, tuple(labels), tuple(findings))


def _engraved(
    part: Part, texts: tuple[str, str], hand: Hand, hidden: BoolArray, body: Bvh, around: Sequence[Bvh]
) -> tuple[Label, Solid]:
    """The first text that finds room, and the part with it: the name, then the number, where a neighbour covers the face;
    then the number on a face that was cut free and that a bent joint may show."""
    mesh = part.mesh
    places = _places(mesh.corners, mesh.normals, hidden)
    for text, covered in ((texts[0], True), (texts[1], True), (texts[1], False)) if len(places[0]) else ():
        wide, high = width_mm(text, hand) + 2 * _RIM_MM, hand.capital_mm + 2 * _RIM_MM
        for frame in _likely(places, wide, high, body, hidden, around if covered else None):
            ground = _ground(frame, _grid(wide, high, 13, 7), body, mesh.normals, hidden)
            cut = None if ground is None else _cut(part, text, frame, ground, (wide, high), hand)
            if cut is not None:
                (x, y, z), (a, b, c) = (w.tolist() for w in (frame.origin, frame.rotation[:, 2]))
                mark = Mark((x, y, z), (a, b, c), 0.5 * float(np.hypot(wide, high)))
                return Label(part.name, text, mark, part.solid.volume_mm3 - cut.volume_mm3, covered), cut
    return Label(part.name, texts[-1], None), part.solid


def _grid(wide: float, high: float, across: int, up: int) -> FloatArray:
    x, y = np.linspace(-wide / 2, wide / 2, across), np.linspace(-high / 2, high / 2, up)
    return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)


def _likely(
    places: tuple[FloatArray, FloatArray], wide: float, high: float, body: Bvh, hidden: BoolArray,
    around: Sequence[Bvh] | None,
) -> list[Frame]:  # fmt: skip
    """Those places whose middle and rim lie on hidden faces, seen from a little above them all at once; with ``around``,
    only those that one of these bodies covers."""
    at, turns = places
    probes = np.column_stack([_grid(wide, high, 3, 3), np.full(9, _LOOK_MM)])
    above = at[:, None] + np.einsum("nij,pj->npi", turns, probes)
    down = np.broadcast_to(-turns[:, None, :, 2], above.shape)
    above, down = above.reshape(-1, 3), down.reshape(-1, 3)
    distance, face = body.first_hits(above, down, 2.0 * _LOOK_MM)
    good = np.isfinite(distance) & hidden[face]
    if around is not None:
        lid = np.zeros(len(good), dtype=bool)
        ground = above + np.where(good, distance, 0.0)[:, None] * down
        for other in around:
            lid |= np.isfinite(other.first_hits(ground, -down, COVER_MM)[0])
        good = good & lid
    return [Frame(at[k], turns[k]) for k in np.flatnonzero(good.reshape(-1, 9).all(axis=1))]


def _ground(frame: Frame, grid: FloatArray, body: Bvh, normals: FloatArray, hidden: BoolArray) -> FloatArray | None:
    """Heights (n,) of the face under the letters over the frame's plane; None where the place will not do."""
    above = frame.to_outer(np.column_stack([grid, np.full(len(grid), _LOOK_MM)]))
    up = frame.rotation[:, 2]
    distance, face = body.first_hits(above, np.broadcast_to(-up, above.shape))
    if not np.isfinite(distance).all() or not hidden[face].all():
        return None
    height = _LOOK_MM - distance
    if float(np.ptp(height)) > UNEVEN_MM or float((normals[face] @ up).min()) < np.cos(np.radians(STEEP_DEG)):
        return None
    deep = above - (distance + DEPTH_MM + WALL_MM)[:, None] * up
    return np.asarray(height) if bool(body.inside(deep).all()) else None


def _cut(
    part: Part, text: str, frame: Frame, ground: FloatArray, size: tuple[float, float], hand: Hand
) -> Solid | None:
    """The part with a text cut in along its own face; None where nothing comes off, or the part comes to pieces.

    What is cut is the letters' prism without the part itself moved down by the depth: a groove of one depth on any face.
    """
    low, high = float(ground.min()) - DEPTH_MM - 0.05, float(ground.max()) + 0.3
    letters = raised(text, Hand(hand.stroke_mm, hand.capital_mm, high - low), (0.0, 0.0, low)).transformed(frame.matrix)
    w, h = (0.5 * s + 0.5 for s in size)
    near = overlap(part.solid, box((-w, -h, low - 2.0), (w, h, high + 1.0)).transformed(frame.matrix))
    if near is None:
        return None
    groove = remainder(letters, [near.translated(tuple(-DEPTH_MM * frame.rotation[:, 2]))])
    if groove is None:
        return None
    cut = subtract(part.solid, [groove], f"label of {part.name}")
    return cut if cut.volume_mm3 < part.solid.volume_mm3 and len(cut.components()) == 1 else None


def _places(corners: FloatArray, normals: FloatArray, hidden: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Places to try: points of hidden faces, evenly over their area, in a fixed order, each with a few turns.

    Origins (n, 3), and rotations (n, 3, 3) whose columns are along the text, up the text, and out of the face.
    """
    points, out = _candidates(corners, normals, hidden)
    across = np.eye(3)[np.abs(out).argmin(axis=1)] if len(out) else out
    x = np.cross(across, out)
    x /= np.linalg.norm(x, axis=1, keepdims=True)
    y = np.cross(out, x)
    turn = (np.arange(TURNS) * np.pi / TURNS)[None, :, None]
    along = np.cos(turn) * x[:, None] + np.sin(turn) * y[:, None]
    z = np.broadcast_to(out[:, None], along.shape)
    rotations = np.stack([along, np.cross(z, along), z], axis=-1)
    return np.repeat(points, TURNS, axis=0), rotations.reshape(-1, 3, 3)


def _candidates(corners: FloatArray, normals: FloatArray, hidden: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Points (n, 3) of hidden faces and their normals."""
    mine = np.flatnonzero(hidden & (np.linalg.norm(normals, axis=1) > 0.5))
    if not len(mine):
        return np.zeros((0, 3)), np.zeros((0, 3))
    a, b, c = (corners[mine, k] for k in range(3))
    total = np.cumsum(np.linalg.norm(np.cross(b - a, c - a), axis=1))
    # Steps by the plastic number's powers spread over area and triangles without a seed (Roberts' R3 sequence, from memory).
    steps = (0.5 + np.arange(1, TRIED + 1)[:, None] / 1.2207440846057596 ** np.arange(1, 4)) % 1.0
    chosen = np.minimum(np.searchsorted(total, steps[:, 0] * total[-1]), len(mine) - 1)
    root = np.sqrt(steps[:, 1:2])
    points = (1 - root) * a[chosen] + root * (1 - steps[:, 2:]) * b[chosen] + root * steps[:, 2:] * c[chosen]
    return points, normals[mine[chosen]]
