"""The command that tries single changes for the poses furthest from reachable."""

from __future__ import annotations

import json as js
import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from condyle.cli.commands import SOUND, FigurePath


def changes(
    figure: FigurePath,
    /,
    *,
    poses: Annotated[int, Parameter(help="For how many poses, those missed furthest first; 1 to 12.")] = 3,
    out: Annotated[Path | None, Parameter(help="Also write the table to this JSON file.")] = None,
    json: Annotated[bool, Parameter(negative=(), help="The table as JSON on standard output, alone.")] = False,
) -> int:
    """Try single changes for the poses furthest from reach, each on a kit of its own, and rank them. Takes minutes."""
    from condyle.cli.early import look_at_figure
    from condyle.errors import UsageError

    if not 1 <= poses <= 12:
        raise UsageError("changes.poses", f"{poses} poses cannot be asked for", hint="from 1 to 12; 3 is usual")
    look_at_figure(figure)
    from condyle.cli.screen import Steps, to_screen
    from condyle.project.changes_step import changes_of
    from condyle.project.place import write_file

    with Steps(6) as watch:
        tried = changes_of(figure, watch, poses=poses)
    data = (js.dumps(tried.document(), indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
    if out is not None:
        write_file(out, data)
    if json:
        sys.stdout.write(data.decode())
        return SOUND
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    screen = to_screen()
    table = Table("gives", "pose", "joint", "change", "missed by, before → after", box=SIMPLE_HEAD)
    for t in tried.trials:
        after = "not built" if t.after_deg is None else f"{t.before_deg:.1f}° → {t.after_deg:.1f}°"
        table.add_row(f"{t.gained_deg:+.1f}°", t.pose, t.joint.replace("_", " "), t.change, after)
    if tried.trials:
        screen.print(table)
    else:
        screen.print("No pose is missed by more than 5° for a contact: nothing to try.")
    screen.print(
        "Degrees are the root of the sum of squares of all angles that had to change; every row was cut and solved anew.",
        markup=False, soft_wrap=True,
    )  # fmt: skip
    return SOUND
