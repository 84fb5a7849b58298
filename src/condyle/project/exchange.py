"""Two folders that change places in one step, where the system can do that."""

from __future__ import annotations

import ctypes
import os
import sys
from pathlib import Path

_HERE, _EXCHANGE = -100, 2
"""AT_FDCWD and RENAME_EXCHANGE of Linux (renameat2(2), since Linux 3.15, glibc 2.28)."""


def changed_places(one: Path, other: Path) -> bool:
    """Let two existing paths on one file system take each other's names; False, and nothing done, where that cannot be."""
    if not sys.platform.startswith("linux"):
        return False
    rename = getattr(ctypes.CDLL(None), "renameat2", None)
    if rename is None:
        return False
    return int(rename(_HERE, os.fsencode(one.absolute()), _HERE, os.fsencode(other.absolute()), _EXCHANGE)) == 0
