"""A small figure for the command line: a round bar of two bones with a ball joint, and how to run a command in-process."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from condyle.cli.main import main
from condyle.geometry.formats import stl_bytes
from condyle.geometry.primitives import cylinder
from condyle.project.cache import content_hash

SKELETON = """\
schema = 1
name = "bar"
height_mm = 70
[bones.lower]
[bones.upper]
parent = "lower"
[joints.middle]
kind = "ball"
parent = "lower"
child = "upper"
centre = [0.0, 0.0, 0.5]
wanted = { flex = [-20, 20] }
"""

FIGURE = """\
schema = 1

[figure]
name = "bar"
sculpt = "bar.stl"
hash = "{hash}"
height_mm = 70.0
up = "z"
facing = "x"
unit = "millimeter"

[skeleton]
path = "skeleton.toml"

[joints.middle]  # mine
source = "hand"
centre = [0.0, 0.0, 35.0]
along = [0.0, 0.0, 1.0]
axis = [0.0, 1.0, 0.0]
cut = [0.0, 0.0, 1.0]
"""


@dataclass(frozen=True)
class Told:
    """What a command said and returned."""

    code: int
    out: str
    err: str


def call(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> Told:
    """Run a command in this process."""
    capsys.readouterr()
    code = main([str(a) for a in arguments])
    said = capsys.readouterr()
    return Told(code, said.out, said.err)


def bar_stl() -> bytes:
    """A round bar, 20 mm thick and 70 mm tall, standing on z = 0."""
    return stl_bytes(cylinder(10.0, 0.0, 70.0).mesh)


def bar_figure(folder: Path) -> Path:
    """Write the bar, its skeleton and its figure file; the figure file's path."""
    folder.mkdir(parents=True, exist_ok=True)
    data = bar_stl()
    (folder / "bar.stl").write_bytes(data)
    (folder / "skeleton.toml").write_text(SKELETON)
    path = folder / "figure.toml"
    path.write_text(FIGURE.format(hash=content_hash(data)))
    return path


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, the cache aside."""
    files = (p for p in folder.rglob("*") if p.is_file())
    named = {p.relative_to(folder).as_posix(): p for p in files}
    return {name: p.read_bytes() for name, p in named.items() if ".condyle/" not in name}
