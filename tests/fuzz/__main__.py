"""Fuzz by hand, as long as you like: ``python -m tests.fuzz [TARGET…] --minutes 10``; Linux, Python 3.11 to 3.13.

Each target begins from its seeds, from every file of its corpus, and from what earlier runs found worth keeping
(``--kept``, a folder that may be deleted). What fails is put beside the corpus as ``TARGET/failed-*``: give it a name and a row in
``tests/corpus/README.md`` once it is answered.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tests.fuzz.run import fuzz
from tests.fuzz.targets import CORPUS, TARGETS


def main() -> int:
    words = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    words.add_argument("targets", nargs="*", metavar="TARGET", help=", ".join(TARGETS))
    words.add_argument("--minutes", type=float, default=10.0, help="for each target")
    words.add_argument("--seed", type=int, default=0, help="0: another one each time")
    words.add_argument("--kept", type=Path, default=Path("build-fuzz"))
    asked = words.parse_args()
    unknown = sorted(set(asked.targets) - set(TARGETS))
    if unknown:
        words.error(f"no target {unknown[0]!r}; there are {', '.join(TARGETS)}")
    runs = dict.fromkeys(asked.targets or TARGETS, -1)
    told = fuzz(runs, asked.kept, CORPUS, seconds=round(60 * asked.minutes), seed=asked.seed)
    for name, one in told.items():
        print(f"{name}: {one.cases:,} cases, {'answered' if one.answered else 'FAILED'}")
        if not one.answered:
            print(one.said[-3000:])
    return 0 if all(one.answered for one in told.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
