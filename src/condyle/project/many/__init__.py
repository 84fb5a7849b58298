"""Many figures in one run: the same kits as one by one, by several workers, taken up again where it stopped."""

from __future__ import annotations

from condyle.project.many.cluster import ClusterRunner
from condyle.project.many.job import Job, Made, make_one, plan_jobs
from condyle.project.many.local import LocalRunner, workers_for
from condyle.project.many.runner import Runner

__all__ = ["ClusterRunner", "Job", "LocalRunner", "Made", "Runner", "make_one", "plan_jobs", "workers_for"]
