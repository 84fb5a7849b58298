"""Files and folders that appear whole or not at all.

A kit is written to a hidden folder beside its place and renamed into it, so an interrupted run leaves the last good kit
where it was. A folder that holds anything but a kit is never replaced.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath

from condyle.errors import InputError, Place, UsageError
from condyle.project.exchange import changed_places

_KIT_FILES = {"kit.3mf", "figure.glb", "proof.json", "book.pdf", "book.html", "work.ics", "work.csv"}
_KIT_FOLDERS = {"parts": ".stl", "builds": ".3mf", "details": ".json", "masks": ".stl"}
_UNFINISHED = re.compile(r"\..+\.new-(\d+)-\w+")
_SAFE_NAME = re.compile(r"\w[\w.-]{0,99}")


def scene_path(figure: Path, name: str) -> Path:
    """Where a light scene of a figure lies, for the screen; it can be made again at any time."""
    return figure.parent / ".condyle" / "atlas" / f"{name}.glb"


def check_kit_place(target: Path) -> None:
    """Refuse a place where a kit must not go, before any work is done.

    UsageError when it is a file, or a folder that holds things which no kit of ours has.
    """
    place = Place(file=str(target))
    if target.is_symlink() or (target.exists() and not target.is_dir()):
        hint = "give --out the name of a new folder, or of a kit to replace"
        raise UsageError("out.not_a_folder", "this is not a folder", hint=hint, place=place)
    if not target.exists():
        return
    strangers = sorted(_strangers(target))
    if strangers:
        shown = ", ".join(strangers[:3]) + (" …" if len(strangers) > 3 else "")
        raise UsageError(
            "out.not_a_kit",
            f"this folder holds what is not part of a kit: {shown}",
            hint="a kit takes its folder whole; give --out a new folder, or move these files away",
            place=place,
        )


def _strangers(folder: Path) -> Iterator[str]:
    for entry in folder.iterdir():
        suffix = _KIT_FOLDERS.get(entry.name)
        if suffix is not None and entry.is_dir() and not entry.is_symlink():
            yield from (f"{entry.name}/{e.name}" for e in entry.iterdir() if e.suffix != suffix or not e.is_file())
        elif entry.name not in _KIT_FILES or not entry.is_file():
            yield entry.name
    if any(folder.iterdir()) and not (folder / "proof.json").is_file():
        yield "(no proof.json)"


def write_kit(target: Path, files: Mapping[str, bytes]) -> None:
    """Write a kit's files (relative POSIX paths) and move the folder into place whole.

    UsageError as ``check_kit_place``; InputError ``out.unwritable`` when the place cannot be written to.
    """
    check_kit_place(target)
    target = target.resolve()  # "." and ".." have no name to put a hidden folder beside
    for name in files:
        _check_name(name)
    try:
        with _new_folder(target) as fresh:
            for name, data in files.items():
                path = fresh.joinpath(*PurePosixPath(name).parts)
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(data)
    except OSError as error:
        raise _unwritable(target, error) from error


def replace_builds(kit: Path, stem: str, files: Mapping[str, bytes]) -> None:
    """Put files into KIT/builds in the place of all whose names begin with ``stem``.

    All of them are written beside the kit before the first is renamed into it, and what an older set has more goes last: a
    run that fails while it writes leaves the folder as it was. InputError ``out.unwritable`` when it cannot be written to.
    """
    kit = kit.resolve()
    folder = kit / "builds"
    try:
        _clear_leftovers(kit)
        fresh = Path(tempfile.mkdtemp(prefix=f".{kit.name}.new-{os.getpid()}-", dir=kit.parent))
        try:
            for name, data in files.items():
                (fresh / name).write_bytes(data)
            for name in sorted(files):
                (fresh / name).replace(folder / name)
            for old in sorted(folder.glob(f"{_globbed(stem)}*.3mf")):
                if old.name not in files:
                    old.unlink()
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
    except OSError as error:
        raise _unwritable(folder, error) from error


def check_new_folder(target: Path) -> None:
    """UsageError when ``target`` is anything but a new or an empty folder."""
    place = Place(file=str(target))
    if target.is_symlink() or (target.exists() and not target.is_dir()):
        raise UsageError(
            "out.not_a_folder", "this is not a folder", hint="give --out the name of a new folder", place=place
        )
    if target.is_dir() and any(target.iterdir()):
        hint = "give --out a new folder: what you have written into an older one is never replaced"
        raise UsageError("out.not_empty", "this folder is not empty", hint=hint, place=place)


def write_new_folder(target: Path, files: Mapping[str, bytes]) -> None:
    """Write files into a new folder and move it into place whole; UsageError as ``check_new_folder``."""
    check_new_folder(target)
    target = target.resolve()
    for name in files:
        _check_name(name)
    try:
        with _new_folder(target) as fresh:
            for name, data in files.items():
                (fresh / name).write_bytes(data)
    except OSError as error:
        raise _unwritable(target, error) from error


def _check_name(name: str) -> None:
    parts = PurePosixPath(name).parts
    if not (1 <= len(parts) <= 2 and all(_SAFE_NAME.fullmatch(p) for p in parts)):
        raise ValueError(f"no name for a file of a kit: {name!r}")


@contextmanager
def _new_folder(target: Path) -> Iterator[Path]:
    """A hidden folder beside ``target`` that takes its place when the block ends well, and vanishes when not."""
    parent = target.parent
    parent.mkdir(parents=True, exist_ok=True)
    _clear_leftovers(target)
    fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}.new-{os.getpid()}-", dir=parent))
    try:
        yield fresh
        fresh.chmod(0o777 & ~_umask())
        _exchange(fresh, target)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _exchange(fresh: Path, target: Path) -> None:
    """Rename ``fresh`` to ``target``; what stood there is put back when that fails, and removed when it succeeds.

    On Linux both change places at once, so that there is no moment without a kit; elsewhere the old one is set aside first.
    """
    if not target.exists():
        fresh.rename(target)
        return
    if changed_places(fresh, target):
        return  # what was there goes with the hidden folder
    old = Path(tempfile.mkdtemp(prefix=f".{target.name}.old-{os.getpid()}-", dir=target.parent))
    try:
        target.rename(old / "kit")
        fresh.rename(target)
    except BaseException:
        if (old / "kit").exists() and not target.exists():
            (old / "kit").rename(target)
        with suppress(OSError):
            old.rmdir()
        raise
    shutil.rmtree(old, ignore_errors=True)


def _clear_leftovers(target: Path) -> None:
    """Put right what a run that was killed has left: its unfinished folder goes, a kit that it had set aside returns."""
    parent = target.parent
    for entry in sorted(parent.glob(f".{_globbed(target.name)}.*")):
        match = re.fullmatch(re.escape(f".{target.name}.") + r"(new|old)-(\d+)-\w+", entry.name)
        if match is None or _is_running(int(match[2])):
            continue
        if match[1] == "old" and (entry / "kit").is_dir() and not target.exists():
            (entry / "kit").rename(target)
        shutil.rmtree(entry, ignore_errors=True)


def clear_unfinished(folder: Path, name: str = "*") -> None:
    """Remove what runs that were killed have left in a folder of files they were writing, of one name or of all."""
    for entry in folder.glob(f".{name if name == '*' else _globbed(name)}.new-*"):
        match = _UNFINISHED.fullmatch(entry.name)
        if match is not None and entry.is_file() and not _is_running(int(match[1])):
            with suppress(OSError):
                entry.unlink()


def _globbed(name: str) -> str:
    return re.sub(r"([*?\[])", r"[\1]", name)


def _is_running(pid: int) -> bool:
    if os.name != "posix":
        return True  # nothing is cleared where this cannot be asked safely
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return pid != os.getpid()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def write_file(path: Path, data: bytes) -> None:
    """Write one file beside its place and rename it there; InputError ``out.unwritable`` when that cannot be done."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        clear_unfinished(path.parent, path.name)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.new-{os.getpid()}-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(data)
            Path(name).chmod(0o666 & ~_umask())
            Path(name).replace(path)
        except BaseException:
            with suppress(OSError):
                Path(name).unlink()
            raise
    except OSError as error:
        raise _unwritable(path, error) from error


def _unwritable(path: Path, error: OSError) -> InputError:
    return InputError(
        "out.unwritable",
        f"cannot be written: {error.strerror or error}",
        hint="check the rights, the room on the disk, and that no part of the path is a file",
        place=Place(file=str(path)),
    )
