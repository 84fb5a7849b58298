"""Where Condyle may keep things of its own on this machine. Nothing here matters to a result."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path


def user_cache() -> Path:
    """The user's cache folder for Condyle, made if need be; a temporary one where that cannot be done."""
    for folder in (_usual(), Path(tempfile.gettempdir()) / f"condyle-{os.getuid() if hasattr(os, 'getuid') else 0}"):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            probe = folder / f".probe-{os.getpid()}"
            probe.touch()
            probe.unlink()
        except OSError:
            continue
        return folder
    return Path(tempfile.mkdtemp(prefix="condyle-"))


def _usual() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "condyle" / "cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "condyle"
    given = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(given) if Path(given).is_absolute() else Path.home() / ".cache") / "condyle"


def set_kernel_cache() -> None:
    """Let compiled kernels be kept in the user's cache; must run before numba is imported. A value set stays."""
    if not os.environ.get("NUMBA_CACHE_DIR"):
        os.environ["NUMBA_CACHE_DIR"] = str(user_cache() / "kernels")
