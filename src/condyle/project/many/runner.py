"""What a run of many figures asks of those who do the work."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

from condyle.project.many.job import Job, Made

TRIES = 2
"""How often a figure is begun whose worker was lost: a second loss speaks for the figure, not for the worker."""


class Runner(Protocol):
    """Makes kits somewhere and tells of each as it is done, in the order in which they end.

    Every job is answered once. A worker that is lost costs no finished work: its figure is begun again by another, from the
    steps kept beside the figure file, ``TRIES`` times in all; then the answer says that the worker was lost.
    """

    def run(self, jobs: Sequence[Job]) -> Iterator[Made]: ...
