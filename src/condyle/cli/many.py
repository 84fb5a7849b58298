"""Many figures by one command: a line for each as it is done, and a tally at the end."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from condyle.finding import Verdict
    from condyle.project.many import Made

SOUND, FOUND, REFUSED = 0, 1, 3


def make_many(
    figures: Sequence[Path],
    out: Path,
    *,
    workers: int | None,
    cluster: str | None,
    as_json: bool,
    fail_on: Literal["fail", "caution"],
) -> int:
    """Make every figure's kit in OUT/FOLDER. The exit code: 0, 1 for a finding, 3 where a figure gave no kit."""
    from condyle.cli.screen import to_screen
    from condyle.project.many import ClusterRunner, LocalRunner, Runner, plan_jobs, workers_for

    jobs = plan_jobs(figures, out)
    runner: Runner = ClusterRunner(cluster) if cluster else LocalRunner(workers or workers_for(len(jobs)))
    screen = to_screen(error=True)
    done: list[Made] = []
    for made in runner.run(jobs):
        done.append(made)
        screen.print(f"  {len(done)} of {len(jobs)}  {_line(made)}", markup=False, soft_wrap=True)
    done.sort(key=lambda m: jobs.index(m.job))
    if as_json:
        sys.stdout.write(json.dumps([_values(m) for m in done], indent=2, ensure_ascii=False) + "\n")
        sys.stdout.flush()
    else:
        to_screen().print(_tally(done, out), markup=False, soft_wrap=True)
    return _code(done, fail_on)


def _line(made: Made) -> str:
    name = made.job.out.name
    if made.error:
        _, message, hint, place = made.error
        where = f" ({place})" if place else ""
        return f"{name}: {message}{where}" + (f"; do this: {hint}" if hint else "")
    counts = ", ".join(f"{n} {v}" for v, n in _ordered(made.findings) if v != "pass") or "all pass"
    return f"{name}: {counts}; " + ("at hand from before" if made.stored else f"{made.seconds:.1f} s")


def _ordered(findings: Any) -> Iterable[tuple[str, int]]:
    from condyle.cli.screen import ORDER

    return [(v, findings[v]) for v in ORDER if findings.get(v)]


def _values(made: Made) -> dict[str, Any]:
    error = dict(zip(("code", "message", "hint", "place"), made.error, strict=True)) if made.error else None
    return {
        "figure": str(made.job.figure),
        "kit": None if error else str(made.job.out),
        "seconds": round(made.seconds, 3),
        "stored": made.stored,
        "findings": dict(_ordered(made.findings)),
        "error": error,
    }


def _tally(done: Sequence[Made], out: Path) -> str:
    bad = sum(1 for m in done if m.error)
    kept = sum(1 for m in done if m.stored)
    words = [f"{len(done) - bad - kept} made", *([f"{kept} at hand from before"] if kept else [])]
    words += [f"{bad} without a kit"] if bad else []
    return f"{out}: {', '.join(words)}"


def _code(done: Sequence[Made], fail_on: Literal["fail", "caution"]) -> int:
    if any(m.error for m in done):
        return REFUSED
    loud: tuple[Verdict, ...] = ("fail",) if fail_on == "fail" else ("fail", "caution")
    return FOUND if any(m.findings.get(v) for m in done for v in loud) else SOUND
