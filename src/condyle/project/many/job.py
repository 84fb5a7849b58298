"""One figure of many: where its kit goes, making it, and what is told of it."""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from condyle.errors import CondyleError, InternalError, Place, UsageError
from condyle.finding import Verdict
from condyle.project.cache import content_hash
from condyle.project.inputs import inputs_key
from condyle.project.pipeline import make_kit, open_figure
from condyle.project.place import check_kit_place
from condyle.project.watch import Watch


@dataclass(frozen=True)
class Job:
    """A figure file and the folder of its kit, both whole paths that every worker can reach."""

    figure: Path
    out: Path


@dataclass(frozen=True)
class Made:
    """What became of a job.

    findings  how many of each verdict, from the kit's proof.json
    stored    the kit stood there already, made from the same inputs by the same code
    error     code, message, hint and place where no kit could be made
    """

    job: Job
    seconds: float
    findings: Mapping[Verdict, int] = field(default_factory=dict)
    stored: bool = False
    error: tuple[str, str, str, str] | None = None


def plan_jobs(figures: Sequence[Path], out: Path) -> list[Job]:
    """A job for each figure file: one alone goes to OUT, several go to OUT/FOLDER after the folders of their files.

    A variant, a figure file of another name than figure.toml, goes to OUT/FOLDER-NAME. It shares what is kept beside the
    files of its folder, so that it costs only the steps that it changes.

    UsageError where two figures would have the same kit folder, or where a folder holds what is no kit.
    """
    jobs: list[Job] = []
    owner: dict[str, Path] = {}
    for figure in figures:
        path = (figure / "figure.toml" if figure.is_dir() else figure).resolve()
        name = path.parent.name or "figure"
        if path.stem != "figure":
            name = f"{name}-{path.stem}"
        if name in owner:
            raise UsageError(
                "many.same_name",
                f"two figures would write to {name}: {owner[name]} and {path}",
                hint="give one of the folders another name, or make these two apart",
                place=Place(file=str(path)),
            )
        owner[name] = path
        target = (out / name if len(figures) > 1 else out).resolve()
        check_kit_place(target)
        jobs.append(Job(path, target))
    return jobs


def make_one(job: Job) -> Made:
    """Make a kit, or find that it stands there; an error is told and never raised, so that the others go on."""
    start = time.perf_counter()
    try:
        standing = _standing(job)
        if standing is not None:
            return Made(job, time.perf_counter() - start, standing, stored=True)
        result = make_kit(job.figure, job.out, Watch())
    except CondyleError as error:
        told = (error.code, error.message, error.hint, str(error.place))
        return Made(job, time.perf_counter() - start, error=told)
    except MemoryError:
        told = ("many.memory", "there was not enough memory", "fewer workers at once, or a coarser sculpt", "")
        return Made(job, time.perf_counter() - start, error=told)
    except Exception as error:  # one figure's trouble must not end a run of hundreds; it is told as our own mistake
        trouble = InternalError("many.mistake", f"{type(error).__name__}: {error}", hint="please report it")
        told = (trouble.code, trouble.message, trouble.hint, str(job.figure))
        return Made(job, time.perf_counter() - start, error=told)
    counts = Counter(f.verdict for f in result.findings)
    return Made(job, time.perf_counter() - start, dict(counts))


def lost(job: Job, seconds: float) -> Made:
    """The answer for a job whose workers were lost."""
    hint = "out of memory, most likely: fewer workers at once, or a coarser sculpt"
    return Made(job, seconds, error=("many.worker_lost", "its worker was lost each time", hint, str(job.figure)))


def _standing(job: Job) -> dict[Verdict, int] | None:
    """The findings of the kit that stands there, if it was made from just these inputs and its parts are whole."""
    try:
        document = json.loads((job.out / "proof.json").read_bytes())
        parts = {job.out / p["file"]: document["hashes"]["parts"][p["name"]] for p in document["parts"]}
        if document["hashes"]["inputs"] != inputs_key(open_figure(job.figure)):
            return None
        if any(content_hash(path.read_bytes()) != wanted for path, wanted in parts.items()):
            return None
        return dict(Counter(f["verdict"] for f in document["findings"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
