"""The one door to the typesetter: a template, its data and pictures in, the bytes of a PDF out.

Only fonts that come inside the typesetter are used, never those of the machine, and no clock is asked: the same input
gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

import typst

from condyle.errors import InternalError

Paper = Literal["a4", "us-letter"]


def typeset(files: Mapping[str, bytes], main: str = "main.typ") -> bytes:
    """The PDF of a set of files by name (no folders in it), of which ``main`` is the one to begin with.

    InternalError ``book.typeset`` with the typesetter's words when the template and its data do not fit together.
    """
    # The typesetter takes text from memory and pictures from files only, so all of them lie in a folder for a moment.
    with TemporaryDirectory(prefix="condyle-book-") as folder:
        for name, data in files.items():
            (Path(folder) / Path(name).name).write_bytes(data)
        try:
            made: bytes = typst.compile(
                Path(folder) / main, root=Path(folder), format="pdf", ignore_system_fonts=True, timestamp=0
            )
        except (typst.TypstError, RuntimeError) as error:
            words = getattr(error, "diagnostic", None) or str(error)
            raise InternalError("book.typeset", f"the book cannot be set: {words}") from error
    return made
