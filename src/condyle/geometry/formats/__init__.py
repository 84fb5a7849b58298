"""Mesh files to scenes and back: one module a format, and a registry that looks at the content before the name."""

from __future__ import annotations

from condyle.geometry.formats.registry import READABLE, read_scene, read_scene_bytes
from condyle.geometry.formats.scene import NamedMesh, Scene
from condyle.geometry.formats.stl import as_written, stl_bytes
from condyle.geometry.formats.threemf_write import threemf_bytes

__all__ = [
    "READABLE",
    "NamedMesh",
    "Scene",
    "as_written",
    "read_scene",
    "read_scene_bytes",
    "stl_bytes",
    "threemf_bytes",
]
