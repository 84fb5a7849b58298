"""Workers of a dask.distributed scheduler that is already running; needs the extra ``condyle[cluster]``.

The workers must have this version of Condyle and see the figures' folders under the same paths (one machine, or a shared
disk): a kit is written by the worker that made it, whole, and only the answer travels.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from typing import Any

from condyle.errors import UsageError
from condyle.project.many.job import Job, Made, lost, make_one
from condyle.project.many.runner import TRIES

_TIMEOUT_S = 10


class ClusterRunner:
    """The workers behind a scheduler's address, such as ``tcp://bench:8786``."""

    def __init__(self, address: str) -> None:
        """UsageError ``cluster.missing`` without the extra, ``cluster.unreachable`` where nobody answers."""
        try:
            import distributed
        except ImportError as error:
            raise UsageError(
                "cluster.missing",
                "working on a cluster needs a package that is not installed",
                hint="pip install 'condyle[cluster]'",
            ) from error
        self._distributed: Any = distributed
        try:
            self._client: Any = distributed.Client(address, timeout=_TIMEOUT_S, set_as_default=False)
        except (OSError, TimeoutError, ValueError) as error:
            raise UsageError(
                "cluster.unreachable",
                f"no scheduler answers at {address}",
                hint="start one (dask scheduler, then dask worker ADDRESS), or leave --cluster out",
            ) from error

    def run(self, jobs: Sequence[Job]) -> Iterator[Made]:
        """See ``Runner``. The scheduler itself begins a lost worker's figure again."""
        begun = time.perf_counter()
        try:
            futures = {
                self._client.submit(
                    make_one, job, key=f"condyle-{n}-{time.time_ns()}", retries=TRIES - 1, pure=False
                ): job
                for n, job in enumerate(jobs)
            }
            for future in self._distributed.as_completed(list(futures), loop=self._client.loop):
                job = futures[future]
                yield future.result() if future.status == "finished" else lost(job, time.perf_counter() - begun)
        finally:
            self._client.close()
