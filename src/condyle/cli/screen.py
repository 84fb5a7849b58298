"""What a run shows: its steps while it goes, on standard error; its findings at the end."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from types import TracebackType

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TaskID, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text
from rich.theme import Theme

from condyle.finding import Alike, Finding, alike
from condyle.project.watch import StepTime, Watch

WIDTH_OFF_SCREEN = 120

PHRASES: Mapping[str, str] = {
    "sculpt": "shaping the sculpt",
    "read": "reading",
    "intake": "cleaning the sculpt",
    "seat": "finding the joints",
    "part": "cutting along the joints",
    "prove": "measuring fit, walls and motion",
    "motion": "mapping reach, and looking into bent hinges",
    "soles": "making the feet",
    "hollow": "hollowing resin parts",
    "labels": "engraving the parts' names",
    "sections": "measuring necks and pins",
    "carry": "weighing, posing, working out the loads",
    "tries": "trying what would mend",
    "tries again": "trying more where that was not enough",
    "print": "laying parts on the plate",
    "poses": "solving poses",
    "changes": "trying single changes",
    "finish": "planning the finish and the assembly",
    "book": "binding the book",
    "written": "checking the parts as written",
    "files": "writing files",
    "guide": "choosing hardware for the guide",
}

_ONE_INK = Theme(dict.fromkeys(("progress.spinner", "progress.elapsed", "bar.back"), "default"))
MANY = 4
"""From so many joints or parts on, one check is said once for all of them."""

ORDER = ("fail", "caution", "unknown", "pass")


def to_screen(*, error: bool = False) -> Console:
    """A console; where nobody watches it is wide enough for whole lines."""
    console = Console(stderr=error, highlight=False, theme=_ONE_INK)
    if console.is_terminal:
        return console
    return Console(stderr=error, highlight=False, width=WIDTH_OFF_SCREEN, theme=_ONE_INK)


class Steps:
    """A bar of steps on standard error, one lasting line for each step that is done."""

    def __init__(self, count: int) -> None:
        self._console = to_screen(error=True)
        self._bar = Progress(
            SpinnerColumn("line"),
            TextColumn("{task.description}"),
            BarColumn(bar_width=24, complete_style="default", finished_style="default", pulse_style="default"),
            TextColumn("step {task.fields[number]}"),
            TimeElapsedColumn(),
            console=self._console,
            transient=True,
            disable=not self._console.is_terminal,
        )
        self._count = count
        self._task: TaskID | None = None
        self._number = 0
        self.watch = Watch(self)

    def __enter__(self) -> Watch:
        self._bar.start()
        self._task = self._bar.add_task("", total=self._count, number=0)
        return self.watch

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bar.stop()

    def begins(self, step: str) -> None:
        self._number += 1
        if self._task is not None:
            self._bar.update(self._task, description=PHRASES.get(step, step), number=self._number)

    def details(self, words: str) -> None:
        if self._task is not None:
            self._bar.update(self._task, description=words)

    def done(self, time: StepTime) -> None:
        kept = "  (at hand from before)" if time.stored else ""
        self._console.print(f"  {PHRASES.get(time.step, time.step):<45}{time.seconds:7.1f} s{kept}")
        if self._task is not None:
            self._bar.advance(self._task)


def findings_table(
    findings: Sequence[Finding], joints: Sequence[str], pairs: Mapping[frozenset[str], str], *, everything: bool
) -> Table:
    """Findings grouped by joint, the worst first; what passed is left out unless ``everything``.

    What is said of many joints or parts, fails apart, is said once, below all others, unless ``everything``.
    """
    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for head in ("joint or part", "verdict", "check", "measured", "wanted", "what to change"):
        table.add_column(head, overflow="fold", no_wrap=head in ("verdict", "check"))
    repeated = [] if everything else [g for g in alike(findings) if _is_repeated(g)]
    told = {id(f) for g in repeated for f in g.findings}
    groups: dict[str, list[Finding]] = {}
    for finding in (f for f in findings if id(f) not in told):
        if everything or finding.verdict != "pass":
            groups.setdefault(_group(finding.subject, joints, pairs), []).append(finding)
    rank = {name: n for n, name in enumerate(joints)}
    for name in sorted(groups, key=lambda g: (rank.get(g, len(rank)), g)):
        rows = sorted(groups[name], key=lambda f: (ORDER.index(f.verdict), f.check, f.subject))
        for number, finding in enumerate(rows):
            last = number == len(rows) - 1
            table.add_row(*_cells(name if number == 0 else "", finding, name), end_section=last)
    for group in sorted(repeated, key=lambda g: (ORDER.index(g.first.verdict), g.first.check)):
        table.add_row(*_cells_of_many(group), end_section=True)
    return table


def _is_repeated(group: Alike) -> bool:
    return group.first.verdict in ("caution", "unknown") and len(group.subjects) >= MANY


def _cells_of_many(group: Alike) -> Iterable[Text]:
    first = group.first
    yield from (Text(words) for words in (", ".join(group.subjects), first.verdict, first.check))
    for values in (group.measured, group.target):
        low, high = ("", "") if values is None else (_amount(v, first.unit) for v in values)
        yield Text(low if low == high else f"{low} to {high}")
    yield Text(group.advice)


def _cells(group: str, finding: Finding, name: str) -> Iterable[Text]:
    style = "bold" if finding.verdict == "fail" else ""
    pair = "" if finding.subject == name else finding.subject.removeprefix(f"{name} ")
    subject = " ".join(w for w in (group, f"({pair})" if pair else "") if w)
    words = (subject, finding.verdict, finding.check, _amount(finding.measured, finding.unit))
    yield from (Text(word, style=style) for word in words)
    yield Text(_amount(finding.target, finding.unit), style=style)
    # Plus nothing: a small number below nought is not told as -0.0.
    where = f" at ({', '.join(f'{round(v, 1) + 0.0:.1f}' for v in finding.place)})" if finding.place else ""
    yield Text(finding.advice + where, style=style)


def _amount(value: float | None, unit: str) -> str:
    """Four digits that a person can read; thousands whole."""
    if value is None:
        return ""
    return f"{value:,.0f} {unit}".rstrip() if abs(value) >= 1000 else f"{value:.4g} {unit}".rstrip()


def _group(subject: str, joints: Sequence[str], pairs: Mapping[frozenset[str], str]) -> str:
    """The joint that a subject belongs to: itself, its link, or the joint between a pair of parts; else the subject."""
    names = re.split("[ /]", subject)
    for name in names:
        if name in joints:
            return name
        if name.removesuffix("_link") in joints:
            return name.removesuffix("_link")
    return pairs.get(frozenset(names), subject)


def tally(findings: Sequence[Finding]) -> str:
    """``2 fail, 1 caution, 30 pass``."""
    counts = {verdict: sum(f.verdict == verdict for f in findings) for verdict in ORDER}
    return ", ".join(f"{n} {verdict}" for verdict, n in counts.items() if n) or "no findings"
