"""What the processes of the tests are asked to do: importable by name, and quick."""

from __future__ import annotations

import os
import signal

from condyle.project.many import Job, Made


def steady(job: Job) -> Made:
    """Answers, and writes a line for each time it was asked."""
    with job.out.open("a", encoding="utf-8") as out:
        out.write("asked\n")
    return Made(job, 0.0, {"pass": 1})


def dies_once(job: Job) -> Made:
    """Its process is killed the first time that it is asked for a figure in folder b."""
    first = not job.out.exists()
    made = steady(job)
    if first and job.figure.parent.name == "b":
        os.kill(os.getpid(), signal.SIGKILL)
    return made


def always_dies(job: Job) -> Made:
    """Its process is killed whenever it is asked for a figure in folder b."""
    made = steady(job)
    if job.figure.parent.name == "b":
        os.kill(os.getpid(), signal.SIGKILL)
    return made
