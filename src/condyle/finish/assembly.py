"""An order in which the kit goes together, found by taking it apart: whatever comes off a whole figure can go on.

The parts of a kit hang together as a tree. Taking one joint apart leaves two smaller trees, and removing parts never
makes a way narrower, so taking apart whatever can be taken apart, in any order, finds an order whenever one exists.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from condyle.finding import Point


@dataclass(frozen=True)
class Mating:
    """One place where two parts meet: an axle of a joint, pushed home along ``direction`` (unit, figure coordinates).

    force_n      what the hand must push, None where it is not known; ``remedy`` what to do where that is too much
    parts_again  how it comes apart: by hand, with a tool, or not at all, in words
    """

    joint: str
    axle: int
    moves: str
    stays: str
    direction: Point
    force_n: float | None = None
    remedy: str = ""
    parts_again: str = "pull it straight off"

    @property
    def name(self) -> str:
        return f"{self.joint} {self.stays}/{self.moves}"


@dataclass(frozen=True)
class Blocked:
    """What stands in the way of a mating: the two parts that touch, how far it came, and where."""

    mating: Mating
    parts: tuple[str, str]
    after_mm: float
    place: Point | None = None


@dataclass(frozen=True)
class AssemblyStep:
    """Put ``brings`` (already together) on ``onto`` (already together) at one mating.

    ``turn_deg`` is how far the brought side stands turned about the mating's direction (right-handed) on its way in, to be
    turned back once it is home; 0 for a straight way.
    """

    mating: Mating
    brings: tuple[str, ...]
    onto: tuple[str, ...]
    turn_deg: float = 0.0


@dataclass(frozen=True)
class Order:
    """Steps first to last; or, where none exists, what is locked: parts that do not come apart and what blocks them."""

    steps: tuple[AssemblyStep, ...]
    locked: tuple[tuple[str, ...], ...]
    blocked: tuple[Blocked, ...]

    @property
    def exists(self) -> bool:
        return not self.locked


Way = Callable[[Mating, frozenset[str], frozenset[str]], Blocked | float]
"""Asks whether a group of parts can leave another at a mating against its direction: by how many degrees it is turned about it
first, 0 where it goes straight, or what blocks it."""


def find_order(parts: Sequence[str], matings: Sequence[Mating], way: Way) -> Order:
    """The order of assembly of a tree of parts. Limbs are put together first and then set on the body where that goes.

    ``way`` is asked whether a mating's moving side, with all that hangs on it, can leave the rest of its group.
    ValueError where the matings do not make the parts one tree.
    """
    if len(matings) != len(parts) - 1 or len(_beyond(parts[0], frozenset(parts), matings, None)) != len(parts):
        raise ValueError("the matings do not make the parts one tree")
    rank = {name: n for n, name in enumerate(parts)}
    taken: list[AssemblyStep] = []
    locked: list[tuple[str, ...]] = []
    blocked: list[Blocked] = []
    waiting = [frozenset(parts)]
    while waiting:
        group = waiting.pop(0)
        if len(group) == 1:
            continue
        met: list[Blocked] = []
        step = _first_apart(group, matings, rank, way, met)
        if step is None:
            locked.append(_sorted(group, rank))
            blocked += met
            continue
        taken.append(step)
        waiting += [frozenset(step.onto), frozenset(step.brings)]
    return Order(tuple(reversed(taken)), tuple(locked), tuple(blocked))


def _first_apart(
    group: frozenset[str], matings: Sequence[Mating], rank: dict[str, int], way: Way, met: list[Blocked]
) -> AssemblyStep | None:
    """The mating of the group that comes apart and leaves the largest limb in one piece; None where none does."""
    inside = [m for m in matings if m.moves in group and m.stays in group]
    sides = {m.name: _beyond(m.moves, group, matings, m) for m in inside}
    # The smaller half is the limb: the more it holds, the later, and so the more limbs are made on the table first.
    order = sorted(inside, key=lambda m: (-min(len(sides[m.name]), len(group) - len(sides[m.name])), matings.index(m)))
    for mating in order:
        brings = sides[mating.name]
        onto = group - brings
        found = way(mating, brings, onto)
        if not isinstance(found, Blocked):
            return AssemblyStep(mating, _sorted(brings, rank), _sorted(onto, rank), found)
        met.append(found)
    return None


def _beyond(start: str, group: frozenset[str], matings: Sequence[Mating], without: Mating | None) -> frozenset[str]:
    """The parts of a group that hang together with ``start`` when one mating is opened."""
    reached = {start}
    waiting = [start]
    while waiting:
        name = waiting.pop()
        for mating in matings:
            if mating is without or name not in (mating.moves, mating.stays):
                continue
            other = mating.stays if name == mating.moves else mating.moves
            if other in group and other not in reached:
                reached.add(other)
                waiting.append(other)
    return frozenset(reached)


def _sorted(names: frozenset[str], rank: dict[str, int]) -> tuple[str, ...]:
    return tuple(sorted(names, key=rank.__getitem__))
