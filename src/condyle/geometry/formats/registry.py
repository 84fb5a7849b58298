"""Which reader a file goes to. The content decides; the name only where the content could be several things."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from condyle.geometry.formats.gltf import looks_like_gltf, read_gltf
from condyle.geometry.formats.limits import MAX_FILE_BYTES, SIMPLIFY, refusal
from condyle.geometry.formats.obj import looks_like_obj, read_obj
from condyle.geometry.formats.ply import looks_like_ply, read_ply
from condyle.geometry.formats.scene import Scene
from condyle.geometry.formats.stl import looks_like_stl, read_stl
from condyle.geometry.formats.threemf import looks_like_zip, read_threemf

Fetch = Callable[[str], bytes]
"""Gives the bytes of a further file by its name relative to the first one's folder; raises FileFormatError."""


@dataclass(frozen=True)
class _Format:
    name: str
    suffixes: tuple[str, ...]
    recognise: Callable[[bytes], bool]
    read: Callable[[bytes, str, Fetch], Scene]


_FORMATS = (
    _Format("glTF", (".glb", ".gltf"), looks_like_gltf, read_gltf),
    _Format("3MF", (".3mf",), looks_like_zip, lambda data, file, _: read_threemf(data, file)),
    _Format("PLY", (".ply",), looks_like_ply, lambda data, file, _: read_ply(data, file)),
    _Format("STL", (".stl",), looks_like_stl, lambda data, file, _: read_stl(data, file)),
    _Format("OBJ", (".obj",), looks_like_obj, read_obj),
)

READABLE: tuple[str, ...] = tuple(suffix for form in _FORMATS for suffix in form.suffixes)
"""File name endings that can be read."""

_WAY_OUT = "Export the sculpt as STL, OBJ, PLY, glTF or 3MF."


def read_scene(path: Path) -> Scene:
    """Read a mesh file, and for glTF the buffers beside it. Raises FileFormatError for anything that is no mesh."""
    file = path.name
    data = _bytes_of(path, file)

    def fetch(name: str) -> bytes:
        beside = (path.parent / name).resolve()
        if not beside.is_relative_to(path.parent.resolve()):
            raise refusal("path", f"the file points out of its folder: {name!r}", "Keep all files in one folder.", file)
        return _bytes_of(beside, name)

    return read_scene_bytes(data, file, fetch)


def read_scene_bytes(data: bytes, file: str, fetch: Fetch | None = None) -> Scene:
    """Read a mesh from bytes; ``file`` is its name. Further files come through ``fetch``, or are refused."""
    if not data:
        raise refusal("empty", "the file is empty", _WAY_OUT, file)
    suffix = Path(file).suffix.lower()
    named = next((f for f in _FORMATS if suffix in f.suffixes), None)
    if named is not None and named.recognise(data):
        form: _Format | None = named
    else:
        form = next((f for f in _FORMATS if f.recognise(data)), named)
    if form is None:
        raise refusal("kind", f"this is no mesh file that can be read ({suffix or 'no ending'})", _WAY_OUT, file)
    scene = form.read(data, file, fetch or _nothing_beside(file))
    if form is named:
        return scene
    note = f"the file is named {suffix or 'without an ending'} but holds {form.name}, and was read as that"
    return Scene(scene.meshes, scene.format, scene.unit, scene.up, scene.joints, (*scene.notes, note), scene.side_files)


def _nothing_beside(file: str) -> Fetch:
    def fetch(name: str) -> bytes:
        raise refusal("missing", f"the file needs {name!r} beside it", "Export everything into one file (GLB).", file)

    return fetch


def _bytes_of(path: Path, file: str) -> bytes:
    try:
        if not path.exists():
            raise refusal("missing", "there is no such file", "Check the name and the folder.", file)
        if not path.is_file():
            raise refusal("kind", "this is no file", "Give the mesh file itself, not a folder.", file)
        size = path.stat().st_size
        if size > MAX_FILE_BYTES:
            raise refusal(
                "huge",
                f"{size / 1024**3:.1f} GiB are more than the {MAX_FILE_BYTES / 1024**3:.0f} GiB that can be read",
                SIMPLIFY,
                file,
            )
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or "unknown reason"
        raise refusal("unreadable", f"the file cannot be read: {reason}", "Check its permissions.", file) from None
    except ValueError:
        raise refusal("missing", "the file's name cannot be one", "Check the name.", file) from None
