"""Run every benchmark of this folder, or those named, and write benchmarks/results/table.md.

A benchmark is a module with a function ``run()``. It returns rows, each a mapping from column to value, or text in
Markdown. Each runs in a process of its own, so that its peak memory is its own.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import asdict, is_dataclass
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
TABLE = HERE / "results" / "table.md"
_MARK = "benchmark result: "


def names() -> list[str]:
    """Modules here that have a ``run()``."""
    found = sorted(p.stem for p in HERE.glob("*.py") if not p.stem.startswith("_"))
    return [n for n in found if "def run(" in (HERE / f"{n}.py").read_text(encoding="utf-8")]


def run_one(name: str) -> None:
    """In the child: run a benchmark and say its result, seconds and peak memory on one line."""
    start = time.perf_counter()
    result = importlib.import_module(f"benchmarks.{name}").run()
    seconds = time.perf_counter() - start
    print(_MARK + json.dumps({"text": markdown(result), "seconds": seconds, "peak_mib": peak_mib()}))


def peak_mib() -> float | None:
    """Largest resident memory of this process so far; None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0 * 1024.0) if sys.platform == "darwin" else peak / 1024.0


def markdown(result: Any) -> str:
    """Rows as a table; text as it is."""
    if result is None:
        return ""
    if isinstance(result, str):
        return result
    rows = [_row(r) for r in ([result] if isinstance(result, Mapping) or is_dataclass(result) else result)]
    if not rows:
        return ""
    columns = list(dict.fromkeys(c for row in rows for c in row))
    lines = ["| " + " | ".join(columns) + " |", "| " + " | ".join("---" for _ in columns) + " |"]
    lines += ["| " + " | ".join(_cell(row.get(c, "")) for c in columns) + " |" for row in rows]
    return "\n".join(lines)


def _row(row: Any) -> dict[str, Any]:
    return asdict(row) if is_dataclass(row) and not isinstance(row, type) else dict(row)


def _cell(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def main(wanted: list[str]) -> int:
    """Run benchmarks, write the table, and fail when one of them did."""
    parts = [
        f"# Benchmarks\n\n{platform.platform()}, {os.cpu_count()} processors, Python {platform.python_version()}. "
        "Ratios are taken within one run."
    ]
    failed = []
    for name in wanted or names():
        print(f"benchmark {name} …", flush=True)
        child = subprocess.run([sys.executable, "-m", "benchmarks", "--one", name], stdout=subprocess.PIPE, text=True)
        line = next((x for x in child.stdout.splitlines() if x.startswith(_MARK)), None)
        if child.returncode or line is None:
            failed.append(name)
            parts.append(f"## {name}\n\nfailed")
            continue
        told = json.loads(line.removeprefix(_MARK))
        peak = "" if told["peak_mib"] is None else f", peak memory {told['peak_mib']:.0f} MiB"
        parts.append(f"## {name}\n\n{told['text']}\n\n{told['seconds']:.1f} s{peak}")
        print(told["text"], flush=True)
    TABLE.parent.mkdir(parents=True, exist_ok=True)
    TABLE.write_text("\n\n".join(parts) + "\n", encoding="utf-8")
    print(f"written: {TABLE.relative_to(HERE.parent)}")
    if failed:
        print("failed: " + ", ".join(failed), file=sys.stderr)
    return 1 if failed else 0


def _wanted() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks", description="Run benchmarks and write benchmarks/results/table.md."
    )
    parser.add_argument("name", nargs="*", help=f"all where none is given: {', '.join(names())}")
    parser.add_argument("--one", metavar="NAME", help="run one in this process and print its result on one line")
    asked = parser.parse_args()
    unknown = [n for n in (*asked.name, *([asked.one] if asked.one else [])) if n not in names()]
    if unknown:
        parser.error(f"no benchmark is named {unknown[0]}: {', '.join(names())}")
    return asked


if __name__ == "__main__":
    asked = _wanted()
    if asked.one:
        run_one(asked.one)
    else:
        sys.exit(main(asked.name))
