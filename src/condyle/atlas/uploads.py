"""A sculpt that is dropped on the page: kept beside the figure file, under a tame name, up to a limit, whole or not."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import AsyncIterator
from contextlib import suppress
from pathlib import Path, PurePosixPath, PureWindowsPath

from condyle.errors import InputError

MOST_BYTES = 1_000_000_000
SUFFIXES = frozenset({".stl", ".obj", ".ply", ".glb", ".gltf", ".3mf"})


def tame_name(name: str) -> str:
    """The name without folders and with plain letters only. InputError for a kind of file that is no sculpt."""
    last = PureWindowsPath(PurePosixPath(name).name)
    stem, suffix = last.stem, last.suffix
    if suffix.lower() not in SUFFIXES:
        hint = "a sculpt is an STL, OBJ, PLY, GLB, glTF or 3MF file"
        raise InputError("upload.kind", f"this is no sculpt: {last.name[:80]!r}", hint=hint)
    plain = re.sub(r"[^\w-]+", "-", stem, flags=re.ASCII).strip("-.")[:80] or "sculpt"
    return plain + suffix.lower()


async def keep_upload(folder: Path, name: str, chunks: AsyncIterator[bytes]) -> str:
    """Write what comes in beside the figure file; returns its name there. InputError when it is too long or empty."""
    target = folder / tame_name(name)
    folder.mkdir(parents=True, exist_ok=True)
    handle, fresh = tempfile.mkstemp(prefix=".upload-", dir=folder)
    size = 0
    try:
        with os.fdopen(handle, "wb") as out:
            async for chunk in chunks:
                size += len(chunk)
                if size > MOST_BYTES:
                    hint = "reduce its triangles: a million is plenty for a figure"
                    raise InputError("upload.too_long", f"more than {MOST_BYTES // 1_000_000} MB", hint=hint)
                out.write(chunk)
        if size == 0:
            raise InputError("upload.empty", "this file is empty")
        Path(fresh).replace(target)
    except BaseException:
        with suppress(OSError):
            Path(fresh).unlink()
        raise
    return target.name
