"""The entry: arguments in, an exit code out.

Exit codes: 0 sound, 1 a finding at or above the threshold, 2 usage, 3 bad input, 4 internal; 130 when stopped by hand.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Sequence
from types import FrameType
from typing import NoReturn

from cyclopts import App, CycloptsError

from condyle import __version__
from condyle.cli import commands
from condyle.cli.atlas import atlas
from condyle.cli.book import book
from condyle.cli.calibrate import calibrate
from condyle.cli.changes import changes
from condyle.cli.coupon import coupon
from condyle.cli.home import set_kernel_cache
from condyle.cli.layfigure import layfigure
from condyle.cli.log import log
from condyle.errors import CondyleError

STOPPED = 130
INTERNAL = 4
USAGE = 2

_ABOUT = """\
A character sculpt becomes a kit of printed parts that snap together, move, hold a pose and stand.

Begin with **start**, look at the figure file that it writes, then **make**.
"""


def app() -> App:
    """The command line, ready to be called."""
    made = App(
        name="condyle",
        help=_ABOUT,
        version=__version__,
        version_flags=["--version"],
        help_flags=["--help", "-h"],
        result_action="return_value",
        suppress_keyboard_interrupt=False,
    )
    for command in (
        commands.start,
        commands.seat,
        commands.prove,
        commands.make,
        changes,
        book,
        layfigure,
        atlas,
        log,
        coupon,
        calibrate,
        commands.demo,
        commands.selfcheck,
    ):
        made.command(command)
    return made


def main(arguments: Sequence[str]) -> int:
    """Run one command. Never raises for what a maker can do wrong; says it on standard error instead."""
    set_kernel_cache()
    try:
        result = app()(list(arguments), exit_on_error=False, print_error=False)
        return result if isinstance(result, int) else 0
    except CycloptsError as error:
        from condyle.cli.troubles import show_usage

        show_usage(str(error))
        return USAGE
    except CondyleError as error:
        from condyle.cli.troubles import show_error

        show_error(error)
        return error.exit_code
    except KeyboardInterrupt:
        from condyle.cli.troubles import show_stopped

        show_stopped()
        return STOPPED
    except BrokenPipeError:
        # Whoever read our output has gone; Python must not complain about it again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    except Exception as error:
        from condyle.cli.troubles import show_unexpected

        show_unexpected(error)
        return INTERNAL


def run() -> NoReturn:
    """The console script."""
    signal.signal(signal.SIGTERM, _stop)
    sys.exit(main(sys.argv[1:]))


def _stop(_signal: int, _frame: FrameType | None) -> None:
    """A polite kill ends like Ctrl-C, so that nothing half-made stays behind."""
    raise KeyboardInterrupt
