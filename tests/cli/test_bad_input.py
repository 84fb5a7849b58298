"""Every bad input ends in a clear error: the right exit code, what, where and what to do; no traceback, no output.

Exit codes are the design's: 2 usage, 3 bad input. What is common practice for such files has no source.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from condyle.errors import FigureFileError
from condyle.figure.skeleton_file import read_skeleton
from condyle.geometry.formats import stl_bytes
from condyle.geometry.mesh import Mesh
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.workshop.bench import load_workshop
from tests.cli.figures import Told, bar_figure, bar_stl, call, tree


def refused(told: Told, code: int, *words: str) -> None:
    """An error as a maker should see it."""
    assert told.code == code, told.err
    assert told.out == ""
    assert "Traceback" not in told.err
    assert ".py" not in told.err
    assert "do this" in told.err
    for word in words:
        assert word in told.err, told.err


def open_mesh() -> bytes:
    bar = cylinder(10.0, 0.0, 70.0).mesh
    keep = np.ones(bar.triangle_count, dtype=bool)
    keep[: bar.triangle_count // 2] = False
    return stl_bytes(bar.subset(keep))


def with_nan() -> bytes:
    data = bytearray(bar_stl())
    data[84 + 50 * 3 + 12 : 84 + 50 * 3 + 16] = struct.pack("<f", float("nan"))
    return bytes(data)


def with_infinity() -> bytes:
    data = bytearray(bar_stl())
    data[84 + 12 : 84 + 16] = struct.pack("<f", float("inf"))
    return bytes(data)


def claiming_more() -> bytes:
    data = bytearray(bar_stl())
    data[80:84] = struct.pack("<I", 4_000_000_000)
    return bytes(data)


def flat() -> bytes:
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]])
    return stl_bytes(Mesh(corners, np.array([[0, 1, 2], [1, 3, 2], [2, 1, 0], [2, 3, 1]], dtype=np.int32)))


SCULPTS: dict[str, Callable[[], bytes]] = {
    "empty.stl": lambda: b"",
    "one_byte.stl": lambda: b"s",
    "cut_short.stl": lambda: bar_stl()[:5000],
    "header_only.stl": lambda: b"\0" * 84,
    "claims_more.stl": claiming_more,
    "nan.stl": with_nan,
    "infinity.stl": with_infinity,
    "text.stl": lambda: b"Dear sir,\nthis is a letter.\n" * 20,
    "ascii_cut.stl": lambda: b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n",
    "flat.stl": flat,
    "open.stl": open_mesh,
    "ball.stl": lambda: stl_bytes(sphere(50.0).mesh),
    "empty.obj": lambda: b"",
    "bad_index.obj": lambda: b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n",
    "words.obj": lambda: b"v a b c\nf 1 1 1\n",
    "empty.ply": lambda: b"",
    "cut.ply": lambda: b"ply\nformat ascii 1.0\nelement vertex 9\nproperty float x\nend_header\n1\n",
    "empty.glb": lambda: b"",
    "cut.glb": lambda: b"glTF\x02\0\0\0\xff\0\0\0",
    "empty.3mf": lambda: b"",
    "cut.3mf": lambda: b"PK\x03\x04 and then nothing",
    "list.txt": lambda: b"eggs, flour\n",
    "no_ending": lambda: b"\x89PNG\r\n\x1a\n" + b"\0" * 200,
}


@pytest.mark.parametrize("name", SCULPTS)
def test_a_bad_sculpt_is_refused(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sculpt = tmp_path / name
    sculpt.write_bytes(SCULPTS[name]())
    out = tmp_path / "out"
    told = call(capsys, "start", sculpt, "--height", "150", "--out", out)
    refused(told, 3, name)
    assert not out.exists()
    assert [p.name for p in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("height", ["0", "-150", "10000000", "1e-9", "nan", "inf", "19.9"])
def test_a_height_that_no_figure_has_is_refused(
    height: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sculpt = tmp_path / "bar.stl"
    sculpt.write_bytes(bar_stl())
    told = call(capsys, "start", sculpt, f"--height={height}", "--out", tmp_path / "out")
    refused(told, 3, "150 is usual")
    assert not (tmp_path / "out").exists()


def test_paths_that_are_not_what_they_should_be(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "bar.stl").write_bytes(bar_stl())
    missing, folder, sculpt = tmp_path / "none.stl", tmp_path / "folder", tmp_path / "bar.stl"
    out = ("--height", "150", "--out", tmp_path / "out")
    refused(call(capsys, "start", missing, *out), 3, "none.stl")
    refused(call(capsys, "start", folder, *out), 3, "folder")
    refused(call(capsys, "start", sculpt, "--height", "150", "--out", sculpt), 2, "bar.stl")
    refused(call(capsys, "make", tmp_path / "none.toml", "--out", tmp_path / "kit"), 3, "none.toml")
    refused(call(capsys, "make", folder, "--out", tmp_path / "kit"), 3, "folder")
    refused(call(capsys, "prove", sculpt), 3, "bar.stl")
    refused(call(capsys, "seat", folder), 3, "folder")
    assert tree(tmp_path) == {"bar.stl": bar_stl()}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_what_never_ends_is_not_waited_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pipe = tmp_path / "figure.toml"
    os.mkfifo(pipe)
    refused(call(capsys, "prove", pipe), 3, "no file")
    refused(call(capsys, "start", pipe, "--height", "150", "--out", tmp_path / "out"), 3, "no file")
    refused(call(capsys, "start", "/dev/zero", "--height", "150", "--out", tmp_path / "out"), 3, "no file")
    assert [p.name for p in tmp_path.iterdir()] == ["figure.toml"]
    for read in (read_skeleton, lambda p: load_workshop(printer=str(p)), lambda p: load_workshop(fits_file=p)):
        with pytest.raises(FigureFileError, match="no file"):
            read(pipe)


@pytest.mark.parametrize(
    "arguments",
    [
        ["start"],
        ["start", "a.stl"],
        ["start", "a.stl", "--out", "x"],
        ["start", "a.stl", "--out", "x", "--height", "tall"],
        ["start", "a.stl", "--out", "x", "--height", "150", "--up", "w"],
        ["start", "a.stl", "--out", "x", "--height", "150", "--facing=--y"],
        ["start", "a.stl", "--out", "x", "--height", "150", "--unit", "furlong"],
        ["start", "a.stl", "--out", "x", "--height", "150", "--colour", "red"],
        ["start", "a.stl", "b.stl", "--out", "x", "--height", "150"],
        ["make", "a.toml"],
        ["make", "a.toml", "--out", "x", "--fail-on", "pass"],
        ["prove"],
        ["prove", "--json"],
        ["demo", "--out", "x", "--triangles", "many"],
        ["demo", "--out", "x", "--triangles", "10"],
        ["frobnicate"],
        ["--frobnicate"],
    ],
)
def test_a_call_that_cannot_be_understood(
    arguments: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    refused(call(capsys, *arguments), 2)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("skeleton", ["centaur", "none.toml", ".", "../upright"])
def test_a_skeleton_that_is_not_there(skeleton: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bar.stl").write_bytes(bar_stl())
    told = call(
        capsys, "start", tmp_path / "bar.stl", "--height", "150", "--out", tmp_path / "out", "--skeleton", skeleton
    )
    assert told.code in (2, 3)
    refused(told, told.code)
    assert not (tmp_path / "out").exists()


FIGURES: dict[str, tuple[str, str, str]] = {
    "unknown key": ("height_mm", "heigth_mm", "line 7"),
    "unknown table": ("[skeleton]", "[skelet]", "line 12"),
    "wrong type": ("70.0", '"tall"', "line 7"),
    "height of nothing": ("70.0", "0", "line 7"),
    "height of 10 km": ("70.0", "10_000_000", "line 7"),
    "not a number": ("70.0", "nan", "line 7"),
    "no such axis": ('up = "z"', 'up = "w"', "line 8"),
    "facing upwards": ('facing = "x"', 'facing = "-z"', "line 9"),
    "no such unit": ('"millimeter"', '"cubit"', "line 10"),
    "no such joint": ("[joints.middle]", "[joints.midle]", "did you mean middle?"),
    "no such kind": ('source = "hand"', 'source = "hand"\nkind = "rope"', "line 17"),
    "no such motion": ('source = "hand"', 'kind = "swivel"\nlimits = { flex = [0, 1] }', "line 17"),
    "joint beside the sculpt": ("[0.0, 0.0, 35.0]", "[0.0, 12.0, 35.0]", "line 17"),
    "joint below the sculpt": ("[0.0, 0.0, 35.0]", "[0.0, 0.0, -1.0]", "line 17"),
    "joint far away": ("[0.0, 0.0, 35.0]", "[1e9, 0.0, 35.0]", "line 17"),
    "axis along the limb": ("[0.0, 1.0, 0.0]", "[0.0, 0.0, 2.0]", "line 19"),
    "axis without length": ("along = [0.0, 0.0, 1.0]", "along = [0.0, 0.0, 0.0]", "line 1"),
    "cut without length": ("cut = [0.0, 0.0, 1.0]", "cut = [0.0, 0.0, 0.0]", "line 20"),
    "no such sculpt": ('"bar.stl"', '"none.stl"', "none.stl"),
    "folder as sculpt": ('"bar.stl"', '"."', "folder"),
    "no such skeleton file": ('"skeleton.toml"', '"none.toml"', "none.toml"),
    "no such template": ('path = "skeleton.toml"', 'template = "centaur"', "line 13"),
    "no such printer": ("[joints.middle]", '[workshop]\nprinter = "loom"\n[joints.middle]', "line 16"),
    "no such printer file": ("[joints.middle]", '[workshop]\nprinter = "loom.toml"\n[joints.middle]', "loom.toml"),
    "wrong material": ("[joints.middle]", '[workshop]\nmaterial = "jelly"\n[joints.middle]', "line 16"),
    "other sculpt": ("blake2b:", "blake2b:" + "0" * 40 + '"  # ', "condyle seat"),
    "not TOML": ("[skeleton]", "[skeleton", "line 12"),
    "later schema": ("schema = 1", "schema = 99", "line 1"),
}


@pytest.mark.parametrize("command", ["make", "prove"])
@pytest.mark.parametrize("what", FIGURES)
def test_a_bad_figure_file_is_refused(
    what: str, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new, word = FIGURES[what]
    path = bar_figure(tmp_path)
    text = path.read_text()
    assert text.count(old) == 1
    path.write_text(text.replace(old, new))
    before = tree(tmp_path)
    kit = ["--out", str(tmp_path / "kit")] if command == "make" else ["--json"]
    refused(call(capsys, command, path, *kit), 3, word)
    assert tree(tmp_path) == before


def test_a_sculpt_that_has_changed_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bar_figure(tmp_path)
    (tmp_path / "bar.stl").write_bytes(stl_bytes(box((-9, -9, 0), (9, 9, 70)).mesh))
    refused(call(capsys, "make", path, "--out", tmp_path / "kit"), 3, "condyle seat", "line 6")
    assert not (tmp_path / "kit").exists()


def test_a_bad_skeleton_file_is_told_with_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bar_figure(tmp_path)
    skeleton = tmp_path / "skeleton.toml"
    skeleton.write_text(skeleton.read_text().replace('kind = "ball"', 'kindd = "ball"'))
    refused(call(capsys, "make", path, "--out", tmp_path / "kit"), 3, "line 8", "skeleton.toml")
    assert not (tmp_path / "kit").exists()


@pytest.mark.parametrize("name", ["notes.txt", "figure.toml"])
def test_a_kit_never_takes_a_folder_with_other_things(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bar_figure(tmp_path / "figure")
    other = tmp_path / "other"
    other.mkdir()
    (other / name).write_text("mine")
    refused(call(capsys, "make", path, "--out", other), 2, name)
    assert tree(other) == {name: b"mine"}
