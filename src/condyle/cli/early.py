"""What is wrong with a maker's file is told before the solids, fields and compiled kernels are loaded, which takes a second or two.

Nothing here decides more than the commands themselves do afterwards: the same readers are asked, and their answer is thrown away.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

QUICK_BYTES = 8_000_000
"""A sculpt of this size is read through in a quarter of a second; a larger one is read once, by the command."""


def look_at_sculpts(paths: Sequence[Path]) -> None:
    """Raise what reading the sculpt's files raises. InputError or FileFormatError."""
    from condyle.project.sculpt import load_sculpt

    found = load_sculpt(paths)
    if sum(map(len, found.data)) <= QUICK_BYTES:
        found.read()


def look_at_figure(path: Path) -> None:
    """Raise what reading a figure file and the sculpt it names raises. InputError."""
    from condyle.project.figure_file import read_figure

    document = read_figure(path)
    look_at_sculpts([document.beside(source) for source in document.content.figure.sources])


def look_at_skeleton(name: str) -> None:
    """Raise what reading a skeleton's file or template raises. FigureFileError."""
    from condyle.figure.skeleton_file import load_template, read_skeleton

    if name.endswith(".toml"):
        read_skeleton(Path(name))
    else:
        load_template(name)


def look_at_workshop(printer: str, material: str, fits: Path | None) -> None:
    """Raise what reading the cards raises. UsageError or FigureFileError."""
    from condyle.workshop.bench import load_workshop

    load_workshop(printer, material, fits)


def look_at_answers(path: Path) -> None:
    """Raise what is no sheet at all; what stands in one is for the command to tell, once the maker was asked. FigureFileError."""
    from condyle.workshop.bench import card_text
    from condyle.workshop.calibration.answers import Sheet
    from condyle.workshop.toml_file import read_checked

    sheet = path / "answers.toml" if path.is_dir() else path
    if sheet.suffix == ".toml":
        read_checked(Sheet, card_text("any", str(sheet)), str(sheet))
