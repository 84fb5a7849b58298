"""Many figures: every job is answered once, a lost worker loses nothing, and the kits are those of single runs."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from condyle.errors import UsageError
from condyle.project.many import ClusterRunner, Job, LocalRunner, Made, make_one, plan_jobs, workers_for
from tests.cli.figures import bar_figure, tree
from tests.project.many.workers import always_dies, dies_once, steady


def jobs_in(folder: Path, names: str) -> list[Job]:
    return [Job(folder / n / "figure.toml", folder / f"{n}.txt") for n in names]


def asked(job: Job) -> int:
    return len(job.out.read_text().splitlines())


def test_each_kit_is_named_after_its_folder(tmp_path: Path) -> None:
    for name in "ab":
        bar_figure(tmp_path / name)
    jobs = plan_jobs([tmp_path / "a", tmp_path / "b" / "figure.toml"], tmp_path / "kits")
    assert [j.out for j in jobs] == [tmp_path / "kits" / "a", tmp_path / "kits" / "b"]
    assert [j.figure for j in jobs] == [tmp_path / "a" / "figure.toml", tmp_path / "b" / "figure.toml"]
    assert plan_jobs([tmp_path / "a"], tmp_path / "kit")[0].out == tmp_path / "kit"
    (tmp_path / "a" / "tall.toml").write_text((tmp_path / "a" / "figure.toml").read_text())
    variants = plan_jobs([tmp_path / "a", tmp_path / "a" / "tall.toml"], tmp_path / "kits")
    assert [j.out.name for j in variants] == ["a", "a-tall"]


def test_two_figures_for_one_folder_are_refused(tmp_path: Path) -> None:
    paths = [bar_figure(tmp_path / one / "hero") for one in ("old", "new")]
    with pytest.raises(UsageError, match="hero") as caught:
        plan_jobs(paths, tmp_path / "kits")
    assert caught.value.hint


@pytest.mark.parametrize(
    ("jobs", "cores", "free", "wanted"), [(1, 8, 64e3, 1), (9, 8, 64e3, 8), (9, 8, 5e3, 2), (9, 8, 10.0, 1)]
)
def test_workers_fit_cores_jobs_and_memory(jobs: int, cores: int, free: float, wanted: int) -> None:
    assert workers_for(jobs, cores=cores, memory_mib=free) == wanted


def test_every_job_is_answered_once(tmp_path: Path) -> None:
    jobs = jobs_in(tmp_path, "abcde")
    answers = list(LocalRunner(2, steady).run(jobs))
    assert sorted(a.job.out for a in answers) == [j.out for j in jobs]
    assert [asked(j) for j in jobs] == [1] * 5


def test_a_killed_worker_loses_no_work(tmp_path: Path) -> None:
    jobs = jobs_in(tmp_path, "abcd")
    answers = {a.job.out.stem: a for a in LocalRunner(2, dies_once).run(jobs)}
    assert sorted(answers) == list("abcd")
    assert not any(a.error for a in answers.values())
    assert asked(jobs[1]) == 2
    assert max(asked(j) for j in jobs) == 2


def test_a_figure_that_kills_its_workers_is_told_and_the_others_are_made(tmp_path: Path) -> None:
    jobs = jobs_in(tmp_path, "abcd")
    answers = {a.job.out.stem: a for a in LocalRunner(2, always_dies).run(jobs)}
    assert sorted(answers) == list("abcd")
    assert [n for n, a in sorted(answers.items()) if a.error] == ["b"]
    assert answers["b"].error is not None
    assert answers["b"].error[0] == "many.worker_lost"
    assert asked(jobs[1]) == 2


def test_a_bad_figure_is_told_and_ends_nothing(tmp_path: Path) -> None:
    made = make_one(Job(tmp_path / "none" / "figure.toml", tmp_path / "kit"))
    assert made.error is not None
    assert made.error[2]
    assert not (tmp_path / "kit").exists()


def test_nobody_answers_at_a_wrong_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("condyle.project.many.cluster._TIMEOUT_S", 1)
    with pytest.raises(UsageError) as caught:
        ClusterRunner("tcp://127.0.0.1:9")
    assert caught.value.code == "cluster.unreachable"


@pytest.mark.slow
@pytest.mark.filterwarnings("default")  # the scheduler's library warns about its own ports and event loop
def test_a_cluster_makes_the_same_kits_though_one_of_two_workers_is_killed(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    figures = [bar_figure(tmp_path / name) for name in "abc"]
    alone = make_one(Job(figures[0], tmp_path / "alone"))
    assert alone.error is None
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        with distributed.Client(cluster) as client:
            pids = list(client.run(os.getpid).values())
        answers: list[Made] = []
        for made in ClusterRunner(cluster.scheduler_address).run(plan_jobs(figures, tmp_path / "kits")):
            if not answers:
                os.kill(pids[0], signal.SIGKILL)
            answers.append(made)
    assert [a.error for a in answers] == [None] * 3
    wanted = tree(tmp_path / "alone")
    for name in "abc":
        assert tree(tmp_path / "kits" / name) == wanted
    again = make_one(plan_jobs(figures, tmp_path / "kits")[1])
    assert again.stored
