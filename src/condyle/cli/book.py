"""The command that binds the build book by itself."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from condyle.cli.commands import SOUND, FigurePath


def book(
    figure: FigurePath,
    /,
    *,
    out: Annotated[
        Path | None, Parameter(help="Where to write it; else book.pdf or book.html beside the figure file.")
    ] = None,
    paper: Annotated[
        Literal["a4", "us-letter"] | None, Parameter(help="The paper of the PDF; else that of the figure file.")
    ] = None,
    html: Annotated[bool, Parameter(negative=(), help="One web page with everything in it, instead of a PDF.")] = False,
) -> int:
    """Bind the build book of a figure: verdicts, joints, parts, plates, assembly, finish, order of work, safety."""
    from condyle.cli.early import look_at_figure

    look_at_figure(figure)
    from condyle.cli.screen import Steps, to_screen
    from condyle.project.pipeline import bind_book

    place = out or figure.parent / ("book.html" if html else "book.pdf")
    with Steps(15) as watch:
        written = bind_book(figure, place, watch, paper=paper, html=html)
    to_screen().print(f"Book in {place}: {written / 1e6:.1f} MB", markup=False, soft_wrap=True)
    return SOUND
