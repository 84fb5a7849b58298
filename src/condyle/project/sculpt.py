"""The sculpt's files as bytes, with the hash that a figure file keeps of them, and the scene in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from condyle.errors import CondyleError, InputError, Place
from condyle.geometry.formats import Scene, read_scene
from condyle.geometry.formats.limits import MAX_FILE_BYTES
from condyle.project.cache import content_hash
from condyle.project.memory import check_room

if TYPE_CHECKING:
    from condyle.figure.intake import Intake, IntakeWanted


@dataclass(frozen=True)
class SculptFiles:
    """One or several mesh files that make up a sculpt; the first one says in which unit and which way up."""

    paths: tuple[Path, ...]
    data: tuple[bytes, ...]

    @cached_property
    def scene(self) -> Scene:
        """All meshes of all files. FileFormatError for a file that cannot be read."""
        scenes = [self._read(path) for path in self.paths]
        first = scenes[0]
        if len(scenes) == 1:
            return first
        joints = {name: place for scene in reversed(scenes) for name, place in scene.joints.items()}
        return replace(
            first,
            meshes=tuple(m for scene in scenes for m in scene.meshes),
            joints=joints,
            notes=tuple(
                f"{p.name}: {note}" for p, scene in zip(self.paths, scenes, strict=True) for note in scene.notes
            ),
        )

    def read(self) -> None:
        """Read the files now, so that the time is told as reading."""
        _ = self.scene

    @staticmethod
    def _read(path: Path) -> Scene:
        with naming(path):
            return read_scene(path)

    def take_in(self, wanted: IntakeWanted) -> Intake:
        """The cleaned sculpt; what is wrong with it is told with the file's name. SculptError where it has no room."""
        scene = self.scene
        check_room(sum(m.mesh.triangle_count for m in scene.meshes), self.paths[0])
        from condyle.figure.intake import take_in  # loaded when it is needed: a sculpt that is missing is told at once

        with naming(self.paths[0]):
            return take_in(scene, wanted)

    @cached_property
    def hash(self) -> str:
        """Of all bytes, end to end; for one file without side files it is the file's own BLAKE2b hash."""
        return content_hash(b"".join(self.data))


@contextmanager
def naming(path: Path) -> Iterator[None]:
    """Errors raised inside that name no file, or only this one's name, are told with its whole path."""
    try:
        yield
    except CondyleError as error:
        if error.place.file in (None, path.name):
            error.place = replace(error.place, file=str(path))
        raise


def load_sculpt(paths: Sequence[Path]) -> SculptFiles:
    """The files' bytes, each followed by those of the buffers beside it (a glTF's) by name. InputError for what is missing, a folder or unreadable."""
    data: list[bytes] = []
    for path in paths:
        data.append(_bytes(path))
        if data[-1][:64].lstrip()[:1] == b"{":
            # Only a glTF in text can point to further files; their content belongs to the sculpt.
            data.extend(_bytes(path.parent / side) for side in sorted(SculptFiles._read(path).side_files))
    return SculptFiles(tuple(paths), tuple(data))


def _bytes(path: Path) -> bytes:
    place = Place(file=str(path))
    if path.is_dir():
        hint = "name the mesh file itself"
        raise InputError("sculpt.folder", "this is a folder, not a sculpt", hint=hint, place=place)
    try:
        if path.exists() and not path.is_file():  # a device or a pipe may never end
            raise InputError("sculpt.not_a_file", "this is no file", hint="name the mesh file itself", place=place)
        size = path.stat().st_size
        data = path.read_bytes() if size <= MAX_FILE_BYTES else b""
    except FileNotFoundError:
        hint = "check the path; a figure file's path is relative to its own folder"
        raise InputError("sculpt.missing", "there is no such sculpt", hint=hint, place=place) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        hint = "check the path and the rights"
        raise InputError("sculpt.unreadable", f"cannot be read: {reason}", hint=hint, place=place) from None
    if size > MAX_FILE_BYTES:
        told = f"this file is larger than the {MAX_FILE_BYTES / 1024**3:.0f} GiB that can be read"
        raise InputError("sculpt.huge", told, hint="reduce its triangles in the sculpting program", place=place)
    return data
