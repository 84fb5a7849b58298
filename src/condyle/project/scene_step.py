"""Light scenes for the screen, kept beside the figure file: FOLDER/.condyle/atlas/NAME.glb. They can be made again at any time."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from condyle.errors import CondyleError
from condyle.export.light import figure_scene, sculpt_scene
from condyle.figure.kit import Kit
from condyle.geometry.mesh import Mesh
from condyle.project.place import scene_path, write_file


def keep_scenes(figure: Path, kit: Kit, sculpt: Mesh) -> None:
    """Keep the kit and its sculpt for the screen; a folder that cannot be written to only means that nothing is kept."""
    with suppress(CondyleError):
        keep_sculpt(figure, sculpt)
        write_file(scene_path(figure, "figure"), figure_scene(kit))


def keep_sculpt(figure: Path, sculpt: Mesh) -> None:
    """Keep the clean sculpt for the screen."""
    write_file(scene_path(figure, "sculpt"), sculpt_scene(sculpt))
