"""The record of attempts and route cards: nothing lost, nothing doubled, damage told."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from condyle.build.estimate import Job
from condyle.errors import InputError, UsageError
from condyle.project.record.attempts import Attempt, Logged, LoggedJob, add_job, attempts, jobs, withdraw_attempt
from condyle.project.record.cards import reprint_queue, route_cards, tick, ticks
from condyle.project.record.rates import by_part, exact_interval, rates
from condyle.project.record.store import MIGRATIONS, opened

NOON = datetime(2031, 5, 4, 12, tzinfo=UTC)


JOB = LoggedJob("filament-200", "pla", NOON)


def attempt(part="chest", outcome="printed", **more):
    more.setdefault("how", None if outcome == "printed" else "came loose")
    return Attempt("diver", part, outcome, **more)


def logged(*tried, at=NOON):
    return [Logged(0, a, LoggedJob("filament-200", "pla", at)) for a in tried]


def test_a_job_and_its_attempts_come_back_as_they_were_put_in(tmp_path):
    told = attempt(
        outcome="failed", how="layer shift", part_hash="blake2b:00", up=(0.0, 0.6, 0.8),
        settings={"speed": "60 mm/s"}, note="at half height",
    )  # fmt: skip
    job = LoggedJob("filament-200", "pla", NOON, "build-01", 5400.0, 4.2, Job(1000.0, 80, 200))
    with opened(tmp_path / "record.sqlite") as record:
        numbers = add_job(record, job, [told, attempt("head")])
    with opened(tmp_path / "record.sqlite") as record:
        kept = attempts(record)
        (kept_job,) = jobs(record)
    assert [k.number for k in kept] == list(numbers)
    assert [k.attempt for k in kept] == [told, attempt("head")]
    assert kept_job == replace(job, number=kept_job.number) == kept[0].job


def test_nothing_is_kept_of_a_block_that_raises(tmp_path):
    path = tmp_path / "record.sqlite"
    with opened(path) as record:
        add_job(record, JOB, [attempt()])
    with pytest.raises(RuntimeError), opened(path) as record:
        add_job(record, JOB, [attempt()])
        raise RuntimeError
    with opened(path) as record:
        assert len(attempts(record)) == 1


def test_what_is_withdrawn_stays_in_the_file_and_counts_no_more(tmp_path):
    path = tmp_path / "record.sqlite"
    with opened(path) as record:
        (number,) = add_job(record, JOB, [attempt()])
        withdraw_attempt(record, number, NOON)
        assert attempts(record) == () == jobs(record)
        assert record.execute("SELECT count(*) FROM attempt").fetchone() == (1,)
        with pytest.raises(UsageError):
            withdraw_attempt(record, number, NOON)


def test_a_writer_that_is_killed_leaves_what_was_committed(tmp_path):
    path = tmp_path / "record.sqlite"
    with opened(path) as record:
        add_job(record, JOB, [attempt()])
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom tests.project.record.test_record import JOB, attempt\n"
        "from condyle.project.record.attempts import add_job\nfrom condyle.project.record.store import opened\n"
        "with opened(Path(sys.argv[1])) as record:\n    add_job(record, JOB, [attempt('head')])\n    os._exit(9)\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(path)], cwd=Path.cwd(), check=False).returncode == 9
    with opened(path) as record:
        assert [e.attempt.part for e in attempts(record)] == ["chest"]


def test_damage_is_told_and_nothing_is_changed(tmp_path):
    path = tmp_path / "record.sqlite"
    with opened(path) as record:
        add_job(record, JOB, [attempt(note="x" * 200)] * 400)
    data = bytearray(path.read_bytes())
    data[4096:8192] = b"\x5a" * 4096
    path.write_bytes(data)
    with pytest.raises(InputError) as caught, opened(path):
        pass
    assert caught.value.code == "record.damaged"
    assert path.read_bytes() == data


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda p: p.write_bytes(b"this is no database, whatever its name says" * 9), "record.damaged"),
        (lambda p: p.mkdir(), "record.unreadable"),
        (lambda p: sqlite3.connect(p).execute("CREATE TABLE recipes (soup TEXT)").connection.close(), "record.foreign"),
    ],
)
def test_what_is_no_record_is_refused(tmp_path, make, code):
    path = tmp_path / "record.sqlite"
    make(path)
    with pytest.raises(InputError) as caught, opened(path):
        pass
    assert caught.value.code == code
    assert caught.value.place.file == str(path)


def test_a_record_of_a_later_version_is_left_alone(tmp_path):
    path = tmp_path / "record.sqlite"
    with opened(path) as record:
        record.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    with pytest.raises(InputError) as caught, opened(path):
        pass
    assert caught.value.code == "record.newer"


@given(
    st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.sampled_from([0.8, 0.9, 0.95])
)
def test_exact_intervals_are_those_of_an_independent_library(pair, level):
    successes, n = pair
    exact = stats.binomtest(successes, n).proportion_ci(level, method="exact")
    assert exact_interval(successes, n, level) == pytest.approx((exact.low, exact.high), abs=1e-9)


def test_rates_by_part():
    found = rates(logged(attempt(), attempt(outcome="failed"), attempt("head")), by_part)
    assert [(r.group, r.successes, r.attempts) for r in found] == [("chest", 1, 2), ("head", 1, 1)]


def test_route_cards_tell_what_to_print_again():
    tried = logged(attempt("chest", part_hash="a"), attempt("head", "failed"), attempt("hand", part_hash="old"))
    tried += logged(attempt("foot", part_hash="d"), at=NOON + timedelta(days=1))
    late, early = NOON + timedelta(hours=1), NOON - timedelta(hours=1)
    said = {"chest": {"sanded": (True, late), "primed": (False, late)}, "foot": {"sanded": (True, early)}}
    cards = route_cards({"chest": "a", "head": "b", "hand": "new", "foot": "d", "neck": None}, tried, said)
    assert {c.part: c.state for c in cards} == {
        "chest": "printed", "head": "print again", "hand": "changed since", "foot": "printed", "neck": "to print",
    }  # fmt: skip
    assert {c.part: c.ticked for c in cards if c.ticked} == {"chest": ("sanded",)}
    assert [c.part for c in reprint_queue(cards)] == ["head", "hand"]


def test_the_latest_word_on_a_step_counts(tmp_path):
    with opened(tmp_path / "record.sqlite") as record:
        tick(record, "diver", "chest", "sanded", NOON)
        tick(record, "diver", "chest", "sanded", NOON + timedelta(hours=1), done=False)
        assert ticks(record, "diver") == {"chest": {"sanded": (False, NOON + timedelta(hours=1))}}
