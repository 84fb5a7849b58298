"""``condyle atlas``: the figure in the browser."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

SOUND = 0


def atlas(
    figure: Annotated[Path, Parameter(help="The figure file; where there is none yet, the page begins one there.")],
    /,
    *,
    kit: Annotated[Path | None, Parameter(help="The kit's folder; else kit/ beside the figure file.")] = None,
    port: Annotated[int, Parameter(help="The port on this machine; 0 takes a free one.")] = 0,
    export: Annotated[
        Path | None, Parameter(help="Write the finished figure as one HTML file that needs no server, and end.")
    ] = None,
    stay: Annotated[bool, Parameter(name="--no-browser", negative=(), help="Only print the address.")] = False,
) -> int:
    """Open the figure as a page on this machine: look, move joints, part, pose, follow the work, take the files."""
    from condyle.atlas.serve import serve
    from condyle.cli.screen import to_screen
    from condyle.errors import UsageError

    page = resources.files("condyle.atlas") / "page" / "index.html"
    if not page.is_file():
        hint = "in a working copy: make page (needs Node); an installed wheel carries it"
        raise UsageError("atlas.no_page", "the page was not built", hint=hint)
    path = figure / "figure.toml" if figure.is_dir() or not figure.suffix else figure
    if export is not None:
        from condyle.atlas.export import export as write_page

        write_page(path, kit or path.parent / "kit", export)
        to_screen().print(f"{export} shows and poses the figure in any browser, offline.", markup=False, soft_wrap=True)
        return SOUND

    def ready(address: str) -> None:
        to_screen().print(f"The figure is at {address}", markup=False, soft_wrap=True)
        to_screen().print("Ctrl-C ends it. The address is a key: keep it to yourself.")
        if not stay:
            import webbrowser

            webbrowser.open(address)

    serve(path, kit or path.parent / "kit", port, ready)
    return SOUND
