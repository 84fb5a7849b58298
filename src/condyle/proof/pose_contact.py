"""Which parts of a kit meet in a pose: every pair of parts, told apart by boxes first, then by their surfaces.

Clear means what it means for ranges of motion (move.py): a gap of at least half the kerf, or of half of what the pair
has in the sculpt's pose where that is less; bearing faces of a joint touch each other by design. A pair that touches in
the sculpt's pose already is a matter of fit, and is not asked again here; a joint whose own sides touch outside their
bearing is ``stuck`` and does not move.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from condyle.figure.kit import Kit
from condyle.finding import Point
from condyle.geometry.gap import EVERY_PAIR, Rule, Surface, smallest_gap
from condyle.geometry.mesh import FloatArray
from condyle.geometry.turnkept import NEITHER_KEPT, BothKept, heights_of, kept_about_line, kept_about_point
from condyle.proof.bodies import BEARING, Meeting, PartBody

_TOUCHING_MM = 0.005
_NOT_BEARING = Rule(skip_both=BEARING)


@dataclass(frozen=True, eq=False)
class Pair:
    """Two parts, their surfaces, the gap to keep, and the joints between them in order from the first part.

    ``joint`` names the joint whose own sides the two are, None for parts that only hang on the same figure; ``kept`` is what
    that joint's motions keep of the two.
    """

    first: str
    second: str
    surfaces: tuple[Surface, Surface]
    keep_mm: float
    rule: Rule
    between: tuple[str, ...]
    joint: str | None = None
    kept: BothKept = NEITHER_KEPT


@dataclass(frozen=True)
class Contact:
    """Two parts nearer than they may be, where (in the pose, figure coordinates), and the gap between their skins."""

    first: str
    second: str
    gap_mm: float
    keep_mm: float
    place: Point


class Figure:
    """The parts of a kit made ready to be asked in many poses."""

    def __init__(self, kit: Kit, bodies: Mapping[str, PartBody], meetings: Sequence[Meeting], kerf_mm: float) -> None:
        self.kit, self.bodies = kit, bodies
        self.joints = {j.name: j for j in kit.joints if j.built and j.axles}
        self._up = {a.moves: (a.stays, j.name) for j in self.joints.values() for a in j.axles}
        self.stuck: dict[str, Point] = {}
        self.pairs = self._own_pairs(meetings, kerf_mm)
        met = {frozenset((p.first, p.second)) for p in self.pairs}
        names = [p.name for p in kit.parts]
        for i, first in enumerate(names):
            for second in names[i + 1 :]:
                if frozenset((first, second)) not in met:
                    self._add(first, second, kerf_mm)
        self._reaches: dict[tuple[str, str], float] = {}
        self.followed: dict[tuple[str | float, ...], tuple[float, Point | None]] = {}
        self._known: dict[tuple[str, str, float, bytes], Contact | None] = {}
        self._boxes = {n: np.array(b.pieces.bounds) for n, b in bodies.items()}

    def _own_pairs(self, meetings: Sequence[Meeting], kerf_mm: float) -> list[Pair]:
        out = []
        for meeting in meetings:
            a, b, joint = meeting.moves.name, meeting.stays.name, meeting.joint
            gap = smallest_gap(meeting.moved, meeting.still, rule=_NOT_BEARING)
            if gap.distance_mm < _TOUCHING_MM:
                self.stuck[joint.name] = gap.middle
            keep = min((joint.kerf_mm or kerf_mm) / 2, gap.distance_mm / 2)
            both = (meeting.moved, meeting.still)
            kept = self._kept(joint.name, a, b, both)
            out.append(Pair(a, b, both, keep, _NOT_BEARING, (joint.name,), joint.name, kept))
        return out

    def _add(self, first: str, second: str, kerf_mm: float) -> None:
        a, b = self.bodies[first].bare, self.bodies[second].bare
        gap = smallest_gap(a, b, limit_mm=kerf_mm).distance_mm
        if gap >= _TOUCHING_MM:
            between = self.joints_between(first, second)
            # The two sides of a double hinge have its one joint between them.
            own = between[0] if len(between) == 1 else None
            kept = NEITHER_KEPT if own is None else self._kept(own, first, second, (a, b))
            self.pairs.append(Pair(first, second, (a, b), min(kerf_mm / 2, gap / 2), EVERY_PAIR, between, own, kept))

    def _kept(self, name: str, first: str, second: str, both: tuple[Surface, Surface]) -> BothKept:
        """What the joint's motions keep of its own two sides: about its axle, or of a ball about its centre."""
        joint = self.joints[name]
        axes = [np.asarray(axis, dtype=np.float64) for axis in joint.seated.axes.values()]
        between = [a for a in joint.axles if {a.moves, a.stays} == {first, second}]
        centre = np.asarray((between or joint.axles)[0].centre, dtype=np.float64)
        if len(axes) > 1:
            return BothKept(*(kept_about_point(side, centre) for side in both))
        about = [kept_about_line(side, centre, axes[0]) for side in both]
        # Of a double hinge's outer two each axle moves one, and only heights along them stay.
        return BothKept(*(about if between else map(heights_of, about)))

    def joints_between(self, first: str, second: str) -> tuple[str, ...]:
        """The joints on the way from one part to another through the skeleton, each once."""
        up = [self.trail(first), self.trail(second)]
        shared = {step for step in up[0] if step in up[1]}
        way = [s for s in up[0] if s not in shared] + [s for s in reversed(up[1]) if s not in shared]
        return tuple(dict.fromkeys(joint for _, joint in way))

    def reach_mm(self, joint: str, pair: Pair) -> float:
        """The longest way along the limb from a joint between two parts to any point of the part that hangs on it."""
        part = pair.first if self.hangs_on(pair.first, joint) else pair.second
        if (joint, part) not in self._reaches:
            steps = self.trail(part)
            centres = {a.moves: np.asarray(a.centre, dtype=float) for j in self.joints.values() for a in j.axles}
            last = next(k for k, (_, name) in reversed(list(enumerate(steps))) if name == joint)
            row = [centres[name] for name, _ in steps[: last + 1]]
            points = self.bodies[part].written.vertices
            ends = float(np.linalg.norm(points - row[0], axis=1).max())
            between = sum(float(np.linalg.norm(p - q)) for p, q in pairwise(row))
            self._reaches[joint, part] = ends + between
        return self._reaches[joint, part]

    def hangs_on(self, part: str, joint: str) -> bool:
        """Whether a part moves when the joint does."""
        return any(name == joint for _, name in self.trail(part))

    def trail(self, part: str) -> list[tuple[str, str]]:
        """The parts from here to the root, each with the joint that moves it."""
        out = []
        while part in self._up:
            out.append((part, self._up[part][1]))
            part = self._up[part][0]
        return out

    def of_joint(self, joint: str) -> list[Pair]:
        """The pairs whose place to each other this joint alone decides."""
        return [p for p in self.pairs if p.between == (joint,)]

    def crossed_by(self, joint: str) -> list[Pair]:
        """The pairs whose place to each other changes when this joint moves."""
        return [p for p in self.pairs if joint in p.between]

    def meeting(
        self, placed: Mapping[str, FloatArray], pairs: Iterable[Pair] | None = None, *, stretch: float = 1.0,
        first_only: bool = False,
    ) -> list[Contact]:  # fmt: skip
        """The pairs that are nearer than they may be, with parts placed by (4, 4) moves from their rest places.

        ``stretch`` widens every gap to keep, so that a search ends a little on the free side. With ``first_only`` the first
        contact found ends the search: it tells that two parts meet and where, and its gap may not be their smallest.
        """
        asked = self.pairs if pairs is None else list(pairs)
        if not asked:
            return []
        names = list(dict.fromkeys(name for pair in asked for name in (pair.first, pair.second)))
        moved = _moved_boxes(np.array([self._boxes[n] for n in names]), np.array([placed[n] for n in names]))
        at = {n: k for k, n in enumerate(names)}
        one, other = moved[[at[p.first] for p in asked]], moved[[at[p.second] for p in asked]]
        keeps = np.array([p.keep_mm for p in asked])[:, None] * stretch
        apart = (one[:, 0] > other[:, 1] + keeps) | (one[:, 1] < other[:, 0] - keeps)
        boxes = dict(zip(names, moved, strict=True))
        out = []
        for k in np.flatnonzero(~apart.any(axis=1)):
            pair, keep = asked[k], asked[k].keep_mm * stretch
            contact = self._contact(pair, placed, keep, boxes, first_only)
            if contact is not None:
                out.append(contact)
                if first_only:
                    break
        return out

    def _contact(
        self, pair: Pair, placed: Mapping[str, FloatArray], keep: float, boxes: Mapping[str, FloatArray], any_: bool
    ) -> Contact | None:
        there = placed[pair.second]
        # Rounded, so that what is remembered does not depend on which of two like places was asked first.
        matrix = np.round(np.linalg.inv(there) @ placed[pair.first], 9) + 0.0
        found = self._gap(pair, matrix, keep, boxes, any_)
        if found is None:
            return None
        x, y, z = there[:3, :3] @ np.asarray(found.place) + there[:3, 3]
        return Contact(pair.first, pair.second, found.gap_mm, keep, (float(x), float(y), float(z)))

    def _gap(
        self, pair: Pair, matrix: FloatArray, keep: float, boxes: Mapping[str, FloatArray], any_: bool
    ) -> Contact | None:
        """The contact with its place as the second part lies at rest. Neighbours cost most and come in few places, as one
        joint alone decides: those are remembered."""
        key = (pair.first, pair.second, keep if any_ else -keep, matrix.tobytes())
        if pair.joint is not None and key in self._known:
            return self._known[key]
        gap = smallest_gap(
            *pair.surfaces, matrix, limit_mm=keep, enough_mm=keep if any_ else 0.0, rule=pair.rule,
            kept=pair.kept,
        )  # fmt: skip
        found: Contact | None = None
        if np.isfinite(gap.distance_mm):
            found = Contact(pair.first, pair.second, float(gap.distance_mm), keep, gap.middle)
        else:
            inside = self._swallowed(pair, matrix, boxes)
            if inside is not None:
                x, y, z = (float(v) for v in inside)
                found = Contact(pair.first, pair.second, 0.0, keep, (x, y, z))
        if pair.joint is not None:
            self._known[key] = found
        return found

    def _swallowed(self, pair: Pair, matrix: FloatArray, boxes: Mapping[str, FloatArray]) -> FloatArray | None:
        """A corner of one part that lies within the other, where skins stay apart and one box holds the other."""
        a, b = boxes[pair.first], boxes[pair.second]
        if (a[0] >= b[0]).all() and (a[1] <= b[1]).all():
            corner = matrix[:3, :3] @ self.bodies[pair.first].written.vertices[0] + matrix[:3, 3]
            return corner if self.bodies[pair.second].solid.inside(corner[None])[0] else None
        if (b[0] >= a[0]).all() and (b[1] <= a[1]).all():
            corner = np.asarray(self.bodies[pair.second].written.vertices[0])
            back = matrix[:3, :3].T @ (corner - matrix[:3, 3])
            return corner if self.bodies[pair.first].solid.inside(back[None])[0] else None
        return None


def _moved_boxes(boxes: FloatArray, moves: FloatArray) -> FloatArray:
    """Lower and upper corners (n, 2, 3) of the upright boxes about boxes (n, 2, 3), each moved by its (4, 4) of ``moves``."""
    middle = np.einsum("nij,nj->ni", moves[:, :3, :3], boxes.mean(axis=1)) + moves[:, :3, 3]
    half = np.einsum("nij,nj->ni", np.abs(moves[:, :3, :3]), boxes[:, 1] - boxes[:, 0]) / 2.0
    return np.stack([middle - half, middle + half], axis=1)
