"""A disk that refuses to take more: every opening for writing and every new folder below a folder can be made to fail, and on one
that may only be read every rename and removal too.

Python tells its audit hooks of each before it happens, and what a hook raises is what the call raises (PEP 578). A hook stays for
good, so there is one, and it does nothing while no disk is armed.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_MAKES = {"os.mkdir", "os.link", "os.symlink", "tempfile.mkstemp", "tempfile.mkdtemp"}
_CHANGES = {"os.rename", "os.remove", "os.rmdir", "os.chmod", "os.utime"}


@dataclass
class Disk:
    """What is below ``folder`` fails with ``code`` from the ``first``-th write on (0: from the start), or only at that one."""

    folder: Path
    first: int
    code: int = errno.ENOSPC
    once: bool = False
    seen: int = 0

    def asked(self, event: str, told: tuple[Any, ...]) -> None:
        wanted = _MAKES if self.code == errno.ENOSPC else _MAKES | _CHANGES
        if event == "open":
            path, flags = told[0], told[2]
            if not isinstance(flags, int) or not flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
                return
        elif event in wanted:
            path = told[0]
        else:
            return
        if not isinstance(path, str | bytes | os.PathLike) or not Path(os.fsdecode(path)).is_relative_to(self.folder):
            return
        number, self.seen = self.seen, self.seen + 1
        if number == self.first or (number > self.first and not self.once):
            raise OSError(self.code, os.strerror(self.code), os.fsdecode(path))


_ARMED: list[Disk] = []


def _hook(event: str, told: tuple[Any, ...]) -> None:
    for disk in _ARMED:
        disk.asked(event, told)


@contextmanager
def refusing(disk: Disk) -> Iterator[Disk]:
    """While the block runs, the disk refuses."""
    if not getattr(_hook, "added", False):
        sys.addaudithook(_hook)
        _hook.added = True  # type: ignore[attr-defined]
    _ARMED.append(disk)
    try:
        yield disk
    finally:
        _ARMED.remove(disk)
