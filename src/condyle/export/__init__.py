"""Kits to files: STL, 3MF and GLB as bytes. Writing them to a folder, whole or not at all, is the project's affair."""

from __future__ import annotations

from condyle.export.kit_files import KitFiles, kit_files, part_file
from condyle.export.written import checked_part

__all__ = ["KitFiles", "checked_part", "kit_files", "part_file"]
