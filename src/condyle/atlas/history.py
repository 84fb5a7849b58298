"""Every state of figure.toml that passed through the page, so that a change can be taken back, also tomorrow.

FOLDER/.condyle/history/ holds numbered copies and, in ``at``, the number that stands. A change made in an editor is kept
as a state of its own when the page next looks, so that nothing of it is lost either.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from condyle.errors import CondyleError
from condyle.project.cache import content_hash
from condyle.project.place import write_file

KEPT = 200


def revision(text: str | None) -> str:
    """How a state of the file is named to the page."""
    return content_hash((text or "").encode()).removeprefix("blake2b:")[:16]


class History:
    """The states of one figure file."""

    def __init__(self, figure: Path) -> None:
        self._folder = figure.parent / ".condyle" / "history"

    def keep(self, text: str) -> None:
        """Make ``text`` the state that stands, unless it stands already; what was taken back before it is let go."""
        numbers, at = self._numbers(), self._at()
        if at is not None and self._read(at) == text:
            return
        for number in [n for n in numbers if at is not None and n > at]:
            self._file(number).unlink(missing_ok=True)
        number = 0 if at is None else at + 1
        # Without a place to keep states the page still works; it only cannot take changes back.
        with suppress(CondyleError):
            write_file(self._file(number), text.encode())
            write_file(self._folder / "at", str(number).encode())
        for old in [n for n in numbers if n <= number - KEPT]:
            self._file(old).unlink(missing_ok=True)

    def step(self, back: bool) -> str | None:
        """The text one change back or forth, which stands from now on; None where there is none."""
        at = self._at()
        number = None if at is None else at + (-1 if back else 1)
        text = None if number is None else self._read(number)
        if text is not None:
            write_file(self._folder / "at", str(number).encode())
        return text

    def find(self, wanted: str) -> str | None:
        """The latest state with a content hash; None where none was kept."""
        texts = (self._read(n) for n in reversed(self._numbers()))
        return next((t for t in texts if t is not None and content_hash(t.encode()) == wanted), None)

    @property
    def can_undo(self) -> bool:
        at = self._at()
        return at is not None and self._read(at - 1) is not None

    @property
    def can_redo(self) -> bool:
        at = self._at()
        return at is not None and self._read(at + 1) is not None

    def _numbers(self) -> list[int]:
        return sorted(int(p.stem) for p in self._folder.glob("*.toml") if p.stem.isdigit())

    def _at(self) -> int | None:
        try:
            return int((self._folder / "at").read_text())
        except (OSError, ValueError):
            return None

    def _file(self, number: int) -> Path:
        return self._folder / f"{number:06d}.toml"

    def _read(self, number: int) -> str | None:
        try:
            return self._file(number).read_text(encoding="utf-8")
        except OSError:
            return None
