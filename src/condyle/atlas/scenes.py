"""Where light scenes lie."""

from __future__ import annotations

from pathlib import Path


def scene_path(figure: Path, name: str) -> Path:
    """Where a light scene of a figure lies: it can be made again at any time."""
    return figure.parent / ".condyle" / "atlas" / f"{name}.glb"
