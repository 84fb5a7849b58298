"""Matter and template become pages."""

from __future__ import annotations

import json
from importlib import resources

from condyle.book.matter import Matter
from condyle.book.typeset import Paper, typeset


def bind(matter: Matter, paper: Paper = "a4") -> bytes:
    """book.pdf. The same matter gives the same bytes. InternalError when it cannot be set."""
    folder = resources.files("condyle.book") / "template"
    files = {f.name: f.read_bytes() for f in folder.iterdir() if f.name.endswith(".typ")}
    data = matter.data() | {"paper": paper}
    files["book.json"] = json.dumps(data, ensure_ascii=False, sort_keys=True).encode()
    return typeset({**files, **matter.pictures})
