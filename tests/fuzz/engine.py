"""Targets under a coverage-guided fuzzer, in a process of their own: ``python -m tests.fuzz.engine ORDER`` (JSON, see run.py).

What they share is loaded once; then each target goes its way in a fork, one after the other, for the fuzzer ends the process it
runs in. A fork may take so much memory and no more, so that a reader that asks for too much fails there.
"""

from __future__ import annotations

import importlib
import json
import os
import random
import resource
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path

import atheris

import condyle
from tests.fuzz.targets import TARGETS, Target

ROOM_MIB = 3072


def watched_modules(follows: Sequence[str]) -> tuple[list[str], list[str]]:
    """Condyle's modules that guide the fuzzer, and those that do not: all others, and those that numba compiles.

    Found by their files: to import a package here would load it before it can be watched.
    """
    root = Path(condyle.__file__).parent
    followed, others = [], []
    for path in sorted(root.rglob("*.py")):
        words = path.relative_to(root.parent).with_suffix("").parts
        name = ".".join(words[:-1] if words[-1] == "__init__" else words)
        mine = any(name == f or name.startswith(f + ".") for f in follows)
        (followed if mine and "numba" not in path.read_text(encoding="utf-8") else others).append(name)
    return followed, others


def run(target: Target, flags: Sequence[str]) -> None:
    """Fuzz one target; never returns."""
    for seed in target.seeds():
        target.answer(seed)  # loads what loads late, so that it is not taken for a leak
    warnings.simplefilter("error")
    resource.setrlimit(resource.RLIMIT_AS, (used_bytes() + ROOM_MIB * 2**20,) * 2)

    def mutated(data: bytes, most: int, seed: int) -> bytes:
        dice = random.Random(seed)

        def bytewise(some: bytes) -> bytes:
            return bytes(atheris.Mutate(some, len(some) + 64))

        return target.change(dice, data, bytewise)[:most] if dice.random() < 0.7 else bytes(atheris.Mutate(data, most))

    atheris.Setup([sys.argv[0], *flags], target.answer, custom_mutator=mutated)
    atheris.Fuzz()


def used_bytes() -> int:
    """Address space of this process now."""
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()


def main() -> None:
    order = json.loads(sys.argv[1])
    followed, others = watched_modules([f for name in order for f in TARGETS[name].follows])
    with atheris.instrument_imports(include=["condyle"], exclude=others):
        for module in followed:
            importlib.import_module(module)
    for name, told in order.items():
        child = os.fork()
        if child == 0:
            with Path(told["says"]).open("w", encoding="utf-8") as says:
                os.dup2(says.fileno(), 1)
                os.dup2(says.fileno(), 2)
            run(TARGETS[name], told["flags"])
        _, status = os.waitpid(child, 0)
        Path(told["ended"]).write_text(str(os.waitstatus_to_exitcode(status)), encoding="ascii")


if __name__ == "__main__":
    main()
