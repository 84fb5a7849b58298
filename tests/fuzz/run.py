"""Starts the fuzzer on targets and reads what it said."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz.targets import CORPUS, TARGETS

LONGEST_S = 20
"""No file may take longer than this on a busy machine; most take a thousandth."""


@dataclass(frozen=True)
class Told:
    """Whether every case was answered, how many there were, and the fuzzer's own words."""

    answered: bool
    cases: int
    said: str


def fuzz(runs: Mapping[str, int], kept: Path, failures: Path, *, seconds: int, seed: int) -> dict[str, Told]:
    """Run targets for so many cases each (-1: no end of them), or so many seconds, whichever ends first.

    ``kept`` receives, by target, the seeds and what the fuzzer finds worth keeping; ``failures`` the file that ended a run.
    """
    order = {}
    for name, most in runs.items():
        mine, failed = (kept / name).resolve(), (failures / name).resolve()
        mine.mkdir(parents=True, exist_ok=True)
        failed.mkdir(parents=True, exist_ok=True)
        for number, data in enumerate(TARGETS[name].seeds()):
            (mine / f"seed-{number}").write_bytes(data)
        stories = [str(CORPUS / name)] if (CORPUS / name).is_dir() else []
        flags = [
            f"-runs={most}", f"-max_total_time={seconds}", f"-seed={seed}", f"-timeout={LONGEST_S}", "-rss_limit_mb=4096",
            "-max_len=20000", "-len_control=0", "-print_final_stats=1", f"-artifact_prefix={failed}/failed-", str(mine), *stories,
        ]  # fmt: skip
        order[name] = {"flags": flags, "says": f"{mine}.txt", "ended": f"{mine}.code"}
        Path(f"{mine}.code").unlink(missing_ok=True)
    command = [sys.executable, "-m", "tests.fuzz.engine", json.dumps(order)]
    done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
    return {name: _told(told["says"], told["ended"], done.stderr) for name, told in order.items()}


def _told(says: str, ended: str, loading: str) -> Told:
    said = Path(says).read_text(encoding="utf-8", errors="replace") if Path(says).exists() else loading
    cases = [int(n) for n in re.findall(r"^#(\d+)\b", said, re.MULTILINE)]
    code = Path(ended).read_text(encoding="ascii") if Path(ended).exists() else "none"
    return Told(code == "0", max(cases, default=0), said)
