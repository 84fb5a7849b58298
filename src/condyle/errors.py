"""What can go wrong with a call or an input.

    CondyleError
    ├── UsageError      the call's words are off                       exit 2
    ├── InputError      a file or a value of the maker's is unusable   exit 3
    │   ├── FileFormatError   a file cannot be read as what it claims to be
    │   ├── SculptError       the sculpt cannot be mended or is no figure
    │   └── FigureFileError   figure.toml, skeleton.toml or printer.toml
    └── InternalError   Condyle's own mistake                          exit 4
        └── SolidError  a solid came out empty, inverted or broken

A bad *design* is never an exception: it is a finding (see finding.py).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Place:
    """Where the trouble is: a file, a line of it, a point of the sculpt (mm), or several of these."""

    file: str | None = None
    line: int | None = None
    point_mm: tuple[float, float, float] | None = None

    def __str__(self) -> str:
        words = []
        if self.file is not None:
            words.append(self.file if self.line is None else f"{self.file}, line {self.line}")
        if self.point_mm is not None:
            words.append("at ({:.2f}, {:.2f}, {:.2f}) mm".format(*self.point_mm))
        return ", ".join(words)


class CondyleError(Exception):
    """An error with a stable code, a message, a hint that says what to do, and a place."""

    exit_code = 4

    def __init__(self, code: str, message: str, *, hint: str = "", place: Place | None = None) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.hint = hint
        self.place = place or Place()

    def __str__(self) -> str:
        where = str(self.place)
        return self.message + (f" ({where})" if where else "")


class UsageError(CondyleError):
    """The call's words are off."""

    exit_code = 2


class InputError(CondyleError):
    """A file or a value that the maker gave cannot be used."""

    exit_code = 3


class FileFormatError(InputError):
    """A file cannot be read as what it claims to be."""


class SculptError(InputError):
    """The sculpt cannot be mended, or is not a figure."""


class FigureFileError(InputError):
    """A figure, skeleton or printer file says something that cannot be used."""


class InternalError(CondyleError):
    """Condyle's own mistake: the maker did nothing wrong."""


class SolidError(InternalError):
    """A solid operation gave nothing, or something that is no solid."""
