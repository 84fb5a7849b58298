"""Orders of assembly on drawn cases where the answer is known, and against a search of all orders."""

from __future__ import annotations

from itertools import pairwise, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from condyle.finish.assembly import Blocked, Mating, find_order

UP = (0.0, 0.0, 1.0)


def chain(*names):
    return [Mating(f"j{k}", 0, b, a, UP) for k, (a, b) in enumerate(pairwise(names))]


def free(_mating, _brings, _onto):
    return 0.0


def test_limbs_are_put_together_before_they_are_set_on_the_body():
    matings = [*chain("trunk", "arm", "hand"), Mating("neck", 0, "head", "trunk", UP)]
    steps = find_order(["trunk", "arm", "hand", "head"], matings, free).steps
    assert next(s.mating.joint for s in steps) == "j1"
    assert all(len(s.brings) + len(s.onto) >= 2 for s in steps)
    assert set(steps[-1].brings) | set(steps[-1].onto) == {"trunk", "arm", "hand", "head"}


def test_every_step_joins_what_the_steps_before_have_made():
    names = ["a", "b", "c", "d", "e"]
    matings = [*chain("a", "b", "c"), Mating("x", 0, "d", "b", UP), Mating("y", 0, "e", "d", UP)]
    groups = [{n} for n in names]
    for step in find_order(names, matings, free).steps:
        assert set(step.brings) in groups
        assert set(step.onto) in groups
        groups = [g for g in groups if g not in (set(step.brings), set(step.onto))] + [{*step.brings, *step.onto}]
    assert groups == [set(names)]


def test_two_parts_that_lock_each_other_are_named():
    def locked(mating, _brings, _onto):
        return Blocked(mating, (mating.moves, mating.stays), 0.3)

    found = find_order(["a", "b"], chain("a", "b"), locked)
    assert not found.exists
    assert found.locked == (("a", "b"),)
    assert found.blocked[0].parts == ("b", "a")


@given(st.integers(2, 6), st.data())
def test_an_order_is_found_exactly_when_one_exists(n, data):
    names = [f"p{k}" for k in range(n)]
    matings = [Mating(f"j{k}", 0, names[k], names[data.draw(st.integers(0, k - 1))], UP) for k in range(1, n)]
    # A mating is free only while certain parts are absent: a way blocked by presence, as geometry is.
    blockers = {m.name: data.draw(st.frozensets(st.sampled_from(names), max_size=2)) for m in matings}

    def way(mating, brings, onto):
        block = (blockers[mating.name] - {mating.moves, mating.stays}) & (brings | onto)
        return Blocked(mating, (mating.moves, mating.stays), 0.0) if block else 0.0

    def possible():
        for order in permutations(matings):
            groups = [frozenset(names)]
            for m in order:
                group = next(g for g in groups if m.moves in g and m.stays in g)
                side = {m.moves}
                while True:
                    more = {
                        other
                        for k in matings
                        if k is not m and k.moves in group and k.stays in group
                        for x, other in ((k.moves, k.stays), (k.stays, k.moves))
                        if x in side
                    } - side
                    if not more:
                        break
                    side |= more
                if way(m, frozenset(side), group - side):
                    break
                groups = [g for g in groups if g != group] + [frozenset(side), group - side]
            else:
                return True
        return False

    assert find_order(names, matings, way).exists == possible()


def test_parts_that_are_no_tree_are_refused():
    with pytest.raises(ValueError, match="one tree"):
        find_order(["a", "b", "c"], chain("a", "b"), free)
