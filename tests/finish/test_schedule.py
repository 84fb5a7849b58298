"""The order of work: the critical path against an independent graph library, the plan against its own rules."""

from __future__ import annotations

from datetime import datetime, timedelta

import icalendar
import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from condyle.finish.schedule import Evening, Task, critical_path, schedule, to_icalendar

MONDAY = datetime(2031, 5, 5, 18, 0)


@st.composite
def task_lists(draw):
    tasks: list[Task] = []
    for k in range(draw(st.integers(1, 12))):
        after = draw(st.sets(st.sampled_from([t.name for t in tasks]), max_size=3)) if tasks else set()
        hands = draw(st.integers(0, 12)) / 4
        at = draw(st.sampled_from(["bench", "booth", "printer"]))
        wait = draw(st.integers(0, 30))
        tasks.append(Task(f"t{k}", hands, float(wait), tuple(sorted(after)), divisible=draw(st.booleans()), at=at))
    return tasks


@given(task_lists())
def test_the_critical_path_is_as_long_as_an_independent_library_says(tasks):
    graph = nx.DiGraph()
    for task in tasks:
        graph.add_edge((task.name, 0), (task.name, 1), weight=task.whole_h)
        graph.add_edges_from(((n, 1), (task.name, 0), {"weight": 0.0}) for n in task.after)
    found = critical_path(tasks)
    assert found.length_h == pytest.approx(nx.dag_longest_path_length(graph))
    assert sum(t.whole_h for t in tasks if t.name in found.path) == pytest.approx(found.length_h)
    assert all(found.float_h(t.name) >= -1e-9 for t in tasks)


@settings(max_examples=60, deadline=None)
@given(task_lists(), st.integers(1, 2))
def test_a_plan_keeps_its_rules(tasks, printers):
    evening = Evening(19.0, 3.0, days=(0, 1, 2, 3, 5))
    plan = schedule(tasks, MONDAY, evening, printers)
    done = {s.task.name: s.done for s in plan.tasks}
    hands = []
    for s in plan.tasks:
        assert all(s.start >= done[n] for n in s.task.after)
        told = sum((b - a for a, b in s.stretches), timedelta())
        assert told / timedelta(hours=1) == pytest.approx(s.task.hands_h)
        assert len(s.stretches) == 1 or s.task.divisible
        assert s.done - s.stretches[-1][1] == pytest.approx(timedelta(hours=s.task.wait_h), abs=timedelta(seconds=1))
        hands += [(a, b) for a, b in s.stretches if b > a]
    for a, b in hands:
        assert a.weekday() in evening.days
        assert a.hour + a.minute / 60 >= 19.0 - 1e-6
        assert b <= a.replace(hour=22, minute=0, second=0, microsecond=0) + timedelta(seconds=1)
    for (_, end), (begin, _) in zip(sorted(hands), sorted(hands)[1:], strict=False):
        assert begin >= end - timedelta(milliseconds=1), "one pair of hands"
    events = [(s.start, 1) for s in plan.tasks if s.task.at == "printer"]
    events += [(s.done, -1) for s in plan.tasks if s.task.at == "printer"]
    busy = 0
    for _, step in sorted(events):
        busy += step
        assert busy <= printers
    assert plan.end - MONDAY >= timedelta(hours=plan.bound.length_h) - timedelta(seconds=1)


def test_a_coat_that_misses_its_window_is_told():
    tasks = [
        Task("prime", 1.0, 2.0, at="booth"),
        Task("base", 2.5, 2.0, after=("prime",), within_h={"prime": 10.0}, at="booth"),
    ]
    (first, second) = schedule(tasks, MONDAY, Evening(19.0, 3.0)).tasks
    assert first.missed == ()
    assert second.missed == ("prime",)  # dry at 22:00, and the next evening begins 21 hours later


def test_a_ring_of_tasks_is_named():
    with pytest.raises(ValueError, match="wait for each other"):
        critical_path([Task("a", 1.0, after=("b",)), Task("b", 1.0, after=("a",))])


def test_a_task_too_long_for_an_evening_is_refused_unless_it_can_be_spread():
    with pytest.raises(ValueError, match="4 h of hands"):
        schedule([Task("sand", 4.0)], MONDAY, Evening(19.0, 3.0))
    (sanded,) = schedule([Task("sand", 4.0, divisible=True)], MONDAY, Evening(19.0, 3.0)).tasks
    assert len(sanded.stretches) == 2


def test_the_calendar_is_read_by_an_independent_library():
    tasks = [
        Task("print build-01", 0.25, 9.0, at="printer"),
        Task("sand", 5.0, after=("print build-01",), divisible=True, goes_wrong="dust; paint peels, when hurried – ✓"),
        Task("prime", 1.0, 24.0, after=("sand",), at="booth"),
    ]
    plan = schedule(tasks, MONDAY)
    data = to_icalendar(plan, "harbour diver, mark 2", datetime(2031, 5, 1))
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    calendar = icalendar.Calendar.from_ical(data)
    events = list(calendar.walk("VEVENT"))
    begins = {str(e["SUMMARY"]): e.decoded("DTSTART") for e in events}
    assert begins["harbour diver, mark 2: print build-01"] == MONDAY.replace(hour=19)
    assert any("paint peels, when hurried – ✓" in str(e.get("DESCRIPTION", "")) for e in events)
    assert len({str(e["UID"]) for e in events}) == len(events)
    assert data == to_icalendar(plan, "harbour diver, mark 2", datetime(2031, 5, 1))
