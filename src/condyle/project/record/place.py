"""Where a figure's record lies: beside its file, or where the figure file says, so that figures can share one."""

from __future__ import annotations

from pathlib import Path

from condyle.project.figure_file import read_figure


def record_path(figure: Path) -> Path:
    """The record of a figure file. FigureFileError for a figure file that cannot be used."""
    document = read_figure(figure)
    return document.beside(document.content.workshop.record)
