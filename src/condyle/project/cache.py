"""What a step has already worked out, kept beside the figure file: FOLDER/.condyle/cache/STEP/KEY.

KEY is the BLAKE2b hash of the step's name, the code that runs it and the bytes that go in, so a wrong entry can only be
a damaged one; a damaged one is ignored and made again. What is kept here may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import lzma
import os
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any, TypeVar, cast

import condyle
from condyle.errors import CondyleError
from condyle.project.codec import from_bytes, to_bytes

T = TypeVar("T")

KEPT_PER_STEP = 4
_KEY_BYTES = 20
_LIBRARIES = ("manifold3d", "numpy", "scipy", "numba", "scikit-image", "shapely", "scikit-fem", "typst")
_WHAT_DAMAGE_RAISES = (
    OSError, EOFError, ValueError, KeyError, IndexError, TypeError, AttributeError, ImportError, NotImplementedError,
    RuntimeError, MemoryError, struct.error, zlib.error, lzma.LZMAError, zipfile.BadZipFile, CondyleError,
)  # fmt: skip


def content_hash(data: bytes) -> str:
    """How files state a content: ``blake2b:`` and the 160-bit BLAKE2b hash in 40 hexadecimal digits."""
    return "blake2b:" + hashlib.blake2b(data, digest_size=_KEY_BYTES).hexdigest()


def _digest(*chunks: bytes) -> str:
    """BLAKE2b over chunks with their lengths, so that moving a byte across a border changes it."""
    state = hashlib.blake2b(digest_size=_KEY_BYTES)
    for chunk in chunks:
        state.update(len(chunk).to_bytes(8, "little"))
        state.update(chunk)
    return state.hexdigest()


@cache
def code_version() -> bytes:
    """Condyle's version, a hash over its own source, and the versions of the libraries that shape results."""
    root = Path(condyle.__file__).parent
    sources = sorted(p for kind in ("*.py", "*.toml", "*.typ", "*.json") for p in root.rglob(kind))
    source = _digest(*(part for p in sources for part in (p.relative_to(root).as_posix().encode(), p.read_bytes())))
    versions = ",".join(f"{name}={version}" for name, version in library_versions().items())
    return f"{condyle.__version__} {source} {versions}".encode()


def library_versions() -> dict[str, str]:
    """The versions of the libraries that shape results; ``none`` for one that is not installed."""
    return {name: _version_of(name) for name in _LIBRARIES}


def _version_of(distribution: str) -> str:
    try:
        return metadata.version(distribution)
    except metadata.PackageNotFoundError:
        return "none"


def key_of(step: str, *inputs: bytes) -> str:
    """KEY for a step and its input bytes."""
    return _digest(step.encode(), code_version(), *inputs)


@dataclass(frozen=True)
class Cache:
    """A cache below a figure's folder; with ``folder`` None nothing is kept, yet results are the same to the byte.

    The value a step yields is always the one read back from its stored form, whether it was there already or not.
    """

    folder: Path | None

    def fetch(self, step: str, key: str, make: Callable[[], T], *, kept: int = KEPT_PER_STEP) -> tuple[T, bool]:
        """The step's value, and whether it was there already. What ``make`` raises comes through, nothing is kept.

        ``kept`` is how many values of the step stay: those that were used last.
        """
        stored = self._load(step, key)
        if stored is not None:
            self._used(step, key)
            return cast(T, stored), True
        data = to_bytes(make())
        self._save(step, key, data, kept)
        return cast(T, from_bytes(data)), False

    def _load(self, step: str, key: str) -> Any:
        if self.folder is None:
            return None
        path = self.folder / step / key
        try:
            value = from_bytes(path.read_bytes())
        except _WHAT_DAMAGE_RAISES:
            return None
        return value

    def _used(self, step: str, key: str) -> None:
        if self.folder is not None:
            with suppress(OSError):
                _put_last(self.folder / step / key)

    def _save(self, step: str, key: str, data: bytes, kept: int) -> None:
        """Write beside and rename; a folder that cannot be written to only means that nothing is kept."""
        if self.folder is None:
            return
        folder = self.folder / step
        try:
            folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(prefix=".part-", dir=folder)
            try:
                with os.fdopen(handle, "wb") as out:
                    out.write(data)
                Path(name).replace(folder / key)
            except BaseException:
                Path(name).unlink(missing_ok=True)
                raise
            _put_last(folder / key)
            for old in _oldest_first(folder)[:-kept]:
                old.unlink(missing_ok=True)
        except OSError:
            return


def _oldest_first(folder: Path) -> list[Path]:
    """Entries by when they were used; one that another run removes meanwhile is left out."""
    found: list[tuple[int, str, Path]] = []
    for path in folder.iterdir():
        if not path.name.startswith("."):
            with suppress(FileNotFoundError):
                found.append((path.stat().st_mtime_ns, path.name, path))
    return [path for *_, path in sorted(found)]


def _put_last(path: Path) -> None:
    """Make an entry the one that was used last. Entries are counted, not dated: a clock that jumps changes no order."""
    last = _oldest_first(path.parent)[-1:]
    if last and last[0] != path:
        after = last[0].stat().st_mtime_ns + 1000
        os.utime(path, ns=(after, after))


def cache_beside(figure_file: Path) -> Cache:
    """The cache of a figure file."""
    return Cache(figure_file.parent / ".condyle" / "cache")
