"""When does a moving surface first come within a clearance of another? One walk of both hierarchies answers for a whole motion.

Each pair of their boxes has a time before which it is free, told by what a turn keeps (rings.py); most pairs never meet at
all. What is left are pairs of single triangles, each followed from its own time (follow.py): nothing is sampled in between.

The clearance may grow with the motion (``Slack``): so one walk proves a bundle of motions that differ little from one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from condyle.geometry.follow import NO_SLACK, SHIFT, TURN, TWO_TURNS, Path, Slack, follow, grown, two_turns
from condyle.geometry.gap import EVERY_PAIR, Rule, Surface, counts, place_box, wider
from condyle.geometry.mesh import FloatArray, IntArray
from condyle.geometry.rings import (
    NO_SPANS,
    ROUNDING,
    Rings,
    Spans,
    Tree,
    flatten,
    know,
    line_along,
    rings_meet,
    rings_of,
    tree_of,
)

_STACK = 2048


class Known(NamedTuple):
    """What is known of both surfaces of a pair.

    spans  about a point of the axis; the motion's start may be any turn about that point
    rings  about the axis, either way round, for each surface where it lies in its own coordinates at the start
    """

    spans: tuple[Spans, Spans] = (NO_SPANS, NO_SPANS)
    rings: tuple[Rings, Rings] | None = None


def lines_at(path: Path) -> tuple[FloatArray, FloatArray]:
    """A motion's axis in the moved surface's own coordinates at the start, and as it lies."""
    world = line_along(path.centre, path.axis)
    own, turned = world.copy(), path.start[:3, :3]
    own[0] = (world[0] - path.start[:3, 3]) @ turned
    own[1:] = world[1:] @ turned
    return own, world


def rings_at(moved: Surface, still: Surface, path: Path) -> tuple[Rings, Rings]:
    """Of both surfaces of a pair, rings about a motion's axis, none of them known yet."""
    own, world = lines_at(path)
    return rings_of(moved, own), rings_of(still, world)


def first_within(
    moved: Surface,
    still: Surface,
    path: Path,
    limit: float,
    *,
    clearance_mm: float,
    smallest_step: float,
    rule: Rule = EVERY_PAIR,
    known: Known | None = None,
    slack: Slack = NO_SLACK,
    hint: tuple[int, int] | None = None,
    alone: bool = False,
) -> tuple[float, int, int, FloatArray]:
    """How far the motion goes (radians, or mm of a shift) before a pair of triangles comes within the clearance, at most ``limit``.

    Also the places in their trees of the two triangles (-1 where the limit is reached), and their nearest points there
    (6,), the moved one's first. Each pair is followed to where a step that is free for certain falls below
    ``smallest_step``. ``hint``: places of two triangles that are likely to be the answer; they are followed first, and
    where ``alone``, nothing else is.
    """
    spans, rings = ((NO_SPANS, NO_SPANS), None) if known is None else known
    if rings is None:
        rings = rings_at(moved, still, path)
    world = rings[1].line
    across = world[2:] @ (path.start[:3, :3] @ rings[0].line[2])
    sense = 1.0 if float(world[1] @ path.axis) > 0.0 else -1.0
    out, pair = np.full(6, np.nan), np.full(2, -1, dtype=np.int64)
    reached = _first(
        tree_of(moved, spans[0], rings[0]), tree_of(still, spans[1], rings[1]),
        path.kind, path.start, path.axis, float(np.arctan2(across[1], across[0])), sense,
        world[2:] @ (path.near - path.centre), float(limit), float(clearance_mm), float(smallest_step),
        rule.skip_any, rule.skip_both, rule.need_both, slack, *(hint or (-1, -1)), alone, out, pair,
    )  # fmt: skip
    return reached, int(pair[0]), int(pair[1]), out


@njit(cache=True)
def _boxes_meet(
    placed: FloatArray, box: FloatArray, along: FloatArray, clearance: float
) -> tuple[float, float]:  # pragma: no cover
    """Between which shifts a placed box (middle, half sides) may be within the clearance of a box; inf and inf for never."""
    enter, leave = 0.0, np.inf
    for k in range(3):
        low = box[0, k] - clearance - placed[0, k] - placed[1, k] - ROUNDING
        high = box[1, k] + clearance - placed[0, k] + placed[1, k] + ROUNDING
        if abs(along[k]) < 1e-12:
            if low > 0.0 or high < 0.0:
                return np.inf, np.inf
            continue
        a, b = low / along[k], high / along[k]
        enter = max(enter, min(a, b))
        leave = min(leave, max(a, b))
    if enter <= leave:
        return enter, leave
    return np.inf, np.inf


@njit(cache=True)
def _carried_box(
    arm: float, box_a: FloatArray, i: int, line_a: FloatArray, box_b: FloatArray, j: int, line_b: FloatArray, near: FloatArray,
    sense: float, extra: float, clearance: float, begin: float, best: float,
) -> float:  # pragma: no cover  # fmt: skip
    """How far two turns go before a ball about the first box may come within the clearance of the second box."""
    x, y, h, size2 = 0.0, 0.0, 0.0, 0.0
    for k in range(3):
        d = 0.5 * (box_a[i, 0, k] + box_a[i, 1, k]) - line_a[0, k]
        h += d * line_a[1, k]
        x += d * line_a[2, k]
        y += d * line_a[3, k]
        half = 0.5 * (box_a[i, 1, k] - box_a[i, 0, k])
        size2 += half * half
    size = np.sqrt(size2)
    lever = arm + extra + ROUNDING
    at = begin
    for _ in range(16):
        px, py = two_turns(x, y, near, sense * at)
        gap2 = 0.0
        for k in range(3):
            p = line_b[0, k] + px * line_b[2, k] + py * line_b[3, k] + h * line_b[1, k]
            gap = max(box_b[j, 0, k] - p, p - box_b[j, 1, k], 0.0)
            gap2 += gap * gap
        step = (np.sqrt(gap2) - size - clearance - ROUNDING) / lever
        if step < 0.002:
            break
        at += step
        if at >= best:
            break
    return at


@njit(cache=True)
def _meet(
    ring_a: FloatArray, i: int, ring_b: FloatArray, j: int, turned: float, sense: float, clearance: float, lever: float, fixed: float,
    rate: float, most: float, best: float,
) -> tuple[float, float]:  # pragma: no cover  # fmt: skip
    """Between which angles two rings may come within the clearance and the slack; ``most`` is the slack's turn at ``best``."""
    enter, leave = rings_meet(ring_a, i, ring_b, j, turned, sense, clearance + lever * most, best)
    if leave < best and lever * rate > 0.0:
        # They part before the slack has grown to its most: less of it counts.
        ask = clearance + lever * (fixed + grown(rate, leave))
        enter, leave = rings_meet(ring_a, i, ring_b, j, turned, sense, ask, best)
    return enter, leave


@njit(cache=True, nogil=True)
def _first(
    a: Tree, b: Tree, kind: int, start: FloatArray, axis: FloatArray, turned: float, sense: float, near: FloatArray,
    limit: float, clearance: float, smallest: float, skip_any: int, skip_both: int, need_both: int, slack: Slack,
    hint_a: int, hint_b: int, alone: bool, out: FloatArray, pair: IntArray,
) -> float:  # pragma: no cover  # fmt: skip
    best, fixed, rate = limit, slack.fixed, slack.rate
    most = fixed + grown(rate, best)
    if not counts(a.some[0], a.every[0], b.some[0], b.every[0], skip_any, skip_both, need_both):
        return best
    stack = np.empty((_STACK, 2), dtype=np.int32)
    keys = np.empty((_STACK, 2))
    placed, corners, points, flat = np.empty((2, 3)), np.empty((3, 3)), np.empty(6), np.empty((3, 3))
    child, key = np.empty((2, 2), dtype=np.int32), np.empty((2, 2))
    spans, slacks = len(a.span) > 0 and len(b.span) > 0, len(slack.nodes) > 0
    extra = 0.5 * np.sqrt(near[0] * near[0] + near[1] * near[1]) if kind == TWO_TURNS else 0.0
    a_tri, a_box, a_line, b_box, b_line, b_tri = a.tri, a.box, a.line, b.box, b.line, b.tri
    a_node, a_mark, a_some, a_every = a.node, a.mark, a.some, a.every
    b_node, b_mark, b_some, b_every = b.node, b.mark, b.some, b.every
    a_span, a_below, a_ring, a_around, a_known = a.span, a.below, a.ring, a.around, a.known
    b_span, b_below, b_ring, b_around, b_known = b.span, b.below, b.ring, b.around, b.known
    levers, node_levers = slack.triangles, slack.nodes
    stack[0, 0], stack[0, 1] = 0, 0
    keys[0, 0], keys[0, 1] = 0.0, np.inf
    know(a, 0, flat)
    know(b, 0, flat)
    if hint_a >= 0:
        x, y = hint_a, hint_b
        flatten(a_tri, x, a_line, flat)
        arm2 = 0.0
        for c in range(3):
            arm2 = max(arm2, flat[c, 0] * flat[c, 0] + flat[c, 1] * flat[c, 1])
        lever = 1.0 if kind == SHIFT else max(np.sqrt(arm2) + extra, 1e-9)
        if counts(a_mark[x], a_mark[x], b_mark[y], b_mark[y], skip_any, skip_both, need_both):
            at = follow(
                flat, lever, b_tri[y], b_line, kind, axis, turned, sense,
                near, clearance, levers[x] if slacks else 0.0, fixed, rate, 0.0, best, smallest, corners, points,
            )  # fmt: skip
            if at < best:
                best, most = at, fixed + grown(rate, at)
                pair[0], pair[1] = x, y
                out[:] = points
    top = 0 if alone else 1
    while top > 0:
        top -= 1
        begin, until = keys[top, 0], keys[top, 1]
        if begin >= best:
            continue
        i, j = stack[top, 0], stack[top, 1]
        leaf_a, leaf_b = a_node[i, 1] > 0, b_node[j, 1] > 0
        if leaf_a and leaf_b:
            for x in range(a_node[i, 0], a_node[i, 0] + a_node[i, 1]):
                ready = False
                for y in range(b_node[j, 0], b_node[j, 0] + b_node[j, 1]):
                    if not counts(a_mark[x], a_mark[x], b_mark[y], b_mark[y], skip_any, skip_both, need_both):
                        continue
                    if spans and max(a_span[x, 0] - b_span[y, 1], b_span[y, 0] - a_span[x, 1]) > clearance:
                        continue
                    slack_lever = levers[x] if slacks else 0.0
                    enter, leave = begin, until
                    if kind == TURN:
                        enter, leave = _meet(
                            a_ring, x, b_ring, y, turned, sense, clearance, slack_lever, fixed, rate, most, best
                        )  # fmt: skip
                        if enter >= best:
                            continue
                    if not ready:
                        flatten(a_tri, x, a_line, flat)
                        ready = True
                    lever = 1.0 if kind == SHIFT else max(a_ring[x, 1] + extra, 1e-9)
                    at = follow(
                        flat, lever, b_tri[y], b_line, kind, axis, turned, sense, near, clearance, slack_lever, fixed, rate,
                        enter, min(best, leave), smallest, corners, points,
                    )  # fmt: skip
                    if at < best:
                        best, most = at, fixed + grown(rate, at)
                        pair[0], pair[1] = x, y
                        out[:] = points
            continue
        open_a = leaf_b or (not leaf_a and wider(a_box, i, b_box, j))
        for c in range(2):
            ci, cj = i, j
            if open_a:
                ci = i + 1 if c == 0 else a_node[i, 2]
            else:
                cj = j + 1 if c == 0 else b_node[j, 2]
            child[c, 0], child[c, 1] = ci, cj
            key[c, 0], key[c, 1] = np.inf, np.inf
            if not counts(a_some[ci], a_every[ci], b_some[cj], b_every[cj], skip_any, skip_both, need_both):
                continue
            if spans and max(a_below[ci, 0] - b_below[cj, 1], b_below[cj, 0] - a_below[ci, 1]) > clearance:
                continue
            if kind == SHIFT:
                place_box(a_box, ci, start, placed)
                key[c, 0], key[c, 1] = _boxes_meet(placed, b_box[cj], axis, clearance)
                continue
            # Asked here: a call that hands on a whole tree counts each of its arrays in and out, and costs more than the step.
            if a_known[ci] == 0:
                know(a, ci, flat)
            if b_known[cj] == 0:
                know(b, cj, flat)
            if kind == TURN:
                key[c, 0], key[c, 1] = _meet(
                    a_around, ci, b_around, cj, turned, sense, clearance, node_levers[ci] if slacks else 0.0, fixed, rate, most, best
                )  # fmt: skip
            elif max(a_around[ci, 2] - b_around[cj, 3], b_around[cj, 2] - a_around[ci, 3]) <= clearance:
                key[c, 0] = _carried_box(
                    a_around[ci, 1], a_box, ci, a_line, b_box, cj, b_line, near, sense, extra, clearance, begin, best
                )  # fmt: skip
        first = 1 if key[0, 0] <= key[1, 0] else 0
        for c in (first, 1 - first):
            if key[c, 0] < best:
                stack[top, 0], stack[top, 1] = child[c, 0], child[c, 1]
                keys[top, 0], keys[top, 1] = key[c, 0], key[c, 1]
                top += 1
    return best
