"""What is said when something goes wrong: what, where, and what to do. Never a traceback."""

from __future__ import annotations

import platform
import sys
import time
import traceback
from pathlib import Path

from rich.console import Console
from rich.text import Text

from condyle import __version__
from condyle.cli.home import user_cache
from condyle.errors import CondyleError, InternalError, UsageError

_USAGE_HINT = "condyle --help, or condyle COMMAND --help"


def _say(*lines: str) -> None:
    console = Console(stderr=True, highlight=False)
    for number, line in enumerate(lines):
        console.print(Text(line, style="bold" if number == 0 else ""), soft_wrap=True)


def show_error(error: CondyleError) -> None:
    """Code, message, place and hint; for a mistake of Condyle's own also where the full report is."""
    lines = [f"{error.code}: {error.message}"]
    if where := str(error.place):
        lines.append(f"  where    {where}")
    hint = error.hint or (_USAGE_HINT if isinstance(error, UsageError) else "")
    if hint:
        lines.append(f"  do this  {hint}")
    if isinstance(error, InternalError):
        lines.append(f"  report   {_saved(error)}")
        lines.append("  This is a mistake of Condyle's, not yours.")
    _say(*lines)


def show_usage(message: str) -> None:
    """A call that cannot be understood."""
    _say(f"usage: {' '.join(message.split())}", f"  do this  {_USAGE_HINT}")


def show_stopped() -> None:
    """After Ctrl-C."""
    _say("Stopped. What was there before is untouched.")


def show_unexpected(error: BaseException) -> None:
    """Something that no one foresaw."""
    if isinstance(error, MemoryError):
        _say("memory: there is not enough memory for this sculpt", "  do this  reduce its triangles, or close programs")
        return
    words = " ".join(str(error).split())[:200]
    _say(
        f"internal.unexpected: {type(error).__name__}{': ' if words else ''}{words}",
        f"  report   {_saved(error)}",
        "  do this  try again; if it stays, send the report (it names files of yours) with the figure file",
        "  This is a mistake of Condyle's, not yours.",
    )


def _saved(error: BaseException) -> str:
    """Write the traceback where it can be found, and say where."""
    head = f"condyle {__version__}, Python {sys.version.split()[0]}, {platform.platform()}\n\n"
    text = head + "".join(traceback.format_exception(error))
    path = user_cache() / "reports" / (time.strftime("%Y%m%d-%H%M%S") + f"-{id(error) % 10000:04d}.txt")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError:
        return "could not be saved"
    return str(Path(path))
