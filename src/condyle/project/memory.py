"""How large a sculpt this machine has room for, asked before the work begins: a refusal is kinder than a swapping machine.

Measured on the harbour diver: a whole run at 60 k triangles takes about 2 GiB at its peak, most of it the libraries, the
joints' hardware and the bodies of the proofs. What more triangles add is taken from the ranges of motion alone, 0.86 GiB at
60 k and 2.35 GiB at a million; a whole run at a million was not measured. Other sculpts may need a third more or less, so a
machine that just passes can still get slow.
"""

from __future__ import annotations

from pathlib import Path

from condyle.errors import Place, SculptError

BASE_MIB = 1900.0
MIB_PER_MILLION = 1650.0


def needed_mib(triangles: int) -> float:
    """What a whole run takes at its peak, MiB."""
    return BASE_MIB + MIB_PER_MILLION * triangles / 1e6


def free_mib() -> float | None:
    """Memory that new work can have without swapping, MiB, or None where the system does not tell."""
    try:
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        kib = {words[0]: float(words[1]) for words in (line.split() for line in lines)}
        return kib["MemAvailable:"] / 1024.0
    except (OSError, ValueError, KeyError, IndexError):
        return None


def check_room(triangles: int, file: Path) -> None:
    """SculptError ``sculpt.memory`` where a sculpt of this many triangles would not fit into the free memory."""
    free = free_mib()
    needed = needed_mib(triangles)
    if free is None or needed <= free:
        return
    budget = max(0, int((free - BASE_MIB) / MIB_PER_MILLION * 1e6)) // 1000 * 1000
    raise SculptError(
        "sculpt.memory",
        f"{triangles:,} triangles need about {needed / 1024:.1f} GiB, and {free / 1024:.1f} GiB are free",
        hint=f"close other programs, or reduce the sculpt to {budget:,} triangles or fewer"
        if budget
        else "close other programs",
        place=Place(file=str(file)),
    )
