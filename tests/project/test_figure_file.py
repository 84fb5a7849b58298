"""Figure files: every mistake is told with its line, and renewing joints keeps the maker's own text.

Lines are judged by counting them in the text by hand; that a written file is TOML, by the standard library's parser.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from condyle.errors import FigureFileError
from condyle.figure.skeleton import JointSpec, SeatedJoint
from condyle.geometry.frame import frame_from_zx
from condyle.project.figure_file import parse_figure, read_figure
from condyle.project.figure_text import NewFigure, new_figure_text, renewed_text

HASH = "blake2b:" + "0" * 40
GOOD = """\
schema = 1
[figure]
name = "bar"
sculpt = "bar.stl"
height_mm = 150
[skeleton]
template = "upright"
[joints.neck]
centre = [0, 0,
  120]
limits = { flex = [-3, 4] }
[[poses]]
name = "walk"
"""


def told(text: str) -> FigureFileError:
    with pytest.raises(FigureFileError) as caught:
        parse_figure(Path("figure.toml"), text)
    assert caught.value.place.file == "figure.toml"
    assert caught.value.hint
    return caught.value


def test_a_sound_file_is_read() -> None:
    content = parse_figure(Path("figure.toml"), GOOD).content
    assert content.figure.height_mm == 150
    assert content.joints["neck"].centre == [0, 0, 120]
    assert [pose.name for pose in content.poses] == ["walk"]


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("height_mm", "heigth_mm", 5, "did you mean height_mm?"),
        ("centre =", "center =", 9, "did you mean centre?"),
        ("flex =", "flexx =", 11, "did you mean flex?"),
        ("[skeleton]", "[skelton]", 6, "did you mean skeleton?"),
        ("= 150", "= 0", 5, "from 20 to 2000"),
        ("= 150", "= 10_000_000", 5, "from 20 to 2000"),
        ("= 150", "= nan", 5, "nan"),
        ("= 150", "= inf", 5, "inf"),
        ("= 150", '= "150"', 5, "150"),
        ("= 150", "= true", 5, "true"),
        ("= 150", "= 2020-02-02", 5, "2020-02-02"),
        ("  120]", "  120, 1]", 9, "[0, 0, 120, 1]"),
        ("[0, 0,", "[0, 'a',", 9, "a"),
        ("[-3, 4]", "[5, 4]", 11, ""),
        ("[-3, 4]", "[-3, 4000]", 11, "4000"),
        ('sculpt = "bar.stl"', "sculpt = 3", 4, "3"),
        ('sculpt = "bar.stl"', 'sculpt = ""', 4, ""),
        ('sculpt = "bar.stl"', "", 2, ""),
        ("limits =", "kind = 'knee'\nlimits =", 11, "knee"),
        ("schema = 1", "schema = 2", 1, "schema = 1"),
        ("schema = 1", "schema = true", 1, "schema = 1"),
        ('name = "bar"', "name = bar", 3, ""),
        ('name = "bar"', 'name = "bar"\nname = "bar"', 4, ""),
        ("[joints.neck]", "[joints.neck", 8, ""),
    ],
)
def test_a_mistake_is_told_with_its_line(old: str, new: str, line: int, words: str) -> None:
    assert GOOD.count(old) == 1
    error = told(GOOD.replace(old, new))
    assert error.place.line == line
    assert words in f"{error.message} {error.hint}"
    assert error.exit_code == 3


def test_a_joint_that_is_no_table_is_told() -> None:
    text = GOOD.split("[joints.neck]")[0] + "[joints]\nneck = 3\n"
    assert told(text).place.line == 9


@pytest.mark.parametrize("text", ["", "hello", "[" * 3000, "a = " + "[" * 5000, "\x00", "schema = 1", "[joints]\n"])
def test_what_is_no_figure_file_is_refused(text: str) -> None:
    told(text)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    with pytest.raises(FigureFileError):
        parse_figure(Path("figure.toml"), text)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"schema = 1\n\xff\xfe")
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * 5_000_000)
    (tmp_path / "figure.toml").write_text(GOOD)
    for path, code, line in (
        (tmp_path / "none.toml", "figure.missing", None),
        (tmp_path, "figure.folder", None),
        (binary, "figure.not_text", 2),
        (huge, "figure.too_long", None),
        (tmp_path / "a\0b", "figure.unreadable", None),
    ):
        with pytest.raises(FigureFileError) as caught:
            read_figure(path)
        assert (caught.value.code, caught.value.place.line) == (code, line)
    with pytest.raises(FigureFileError) as caught:
        read_figure(tmp_path)
    assert str(tmp_path / "figure.toml") in caught.value.hint


def test_a_mark_of_byte_order_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = tmp_path / "figure.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_figure(path).content.figure.name == "bar"


def joint(name: str, centre: tuple[float, float, float], source: str = "seated") -> SeatedJoint:
    spec = JointSpec(name, "ball", "chest", "head", (0, 0, 0.8), wanted={"flex": (-40.0, 40.0)})
    frame = frame_from_zx(np.array(centre), np.array([0.0, 0.1, 1.0]), np.array([0.0, 1.0, 0.0]))
    return SeatedJoint(spec, frame, (0.0, 0.0, 1.0), {"flex": 3.0}, source, 1.2)  # type: ignore[arg-type]


def new(name: str = "bar", joints: tuple[SeatedJoint, ...] = ()) -> NewFigure:
    return NewFigure(
        name, "../a b.stl", HASH, 150.0, "z", "-y", None, frozenset({"up"}), "upright", None, "filament-200", "pla", None,
        joints,
    )  # fmt: skip


def test_a_written_file_says_what_was_seated() -> None:
    seated = joint("neck", (1.0, 2.0, 120.0))
    text = new_figure_text(new(joints=(seated,)))
    plain = tomllib.loads(text)
    assert plain["joints"]["neck"]["centre"] == [1.0, 2.0, 120.0]
    np.testing.assert_allclose(plain["joints"]["neck"]["along"], seated.frame.z, atol=1e-6)
    np.testing.assert_allclose(plain["joints"]["neck"]["axis"], seated.frame.x, atol=1e-6)
    assert plain["joints"]["neck"]["rest"] == {"flex": 3.0}
    assert parse_figure(Path("figure.toml"), text).content.joints["neck"].source == "seated"


@given(st.text(min_size=1, max_size=100))
def test_any_name_survives_writing(name: str) -> None:
    assert tomllib.loads(new_figure_text(new(name=name)))["figure"]["name"] == name


def test_renewing_changes_the_renewed_values_and_nothing_else() -> None:
    before = new_figure_text(new(joints=(joint("neck", (1.0, 2.0, 120.0)), joint("waist", (0.0, 0.0, 80.0)))))
    before = before.replace("centre = [1.0, 2.0, 120.0]", "centre = [9.0, 9.0, 9.0]  # my own note\nsize = 6.0")
    after = renewed_text(
        parse_figure(Path("figure.toml"), before), [joint("neck", (1.5, 2.0, 121.0))], "blake2b:" + "1" * 40
    )
    expected = before.replace("0" * 40, "1" * 40).replace("[9.0, 9.0, 9.0]", "[1.5, 2.0, 121.0]")
    assert after == expected


def test_a_joint_that_the_file_lacks_is_added_at_its_end() -> None:
    before = new_figure_text(new(joints=(joint("neck", (1.0, 2.0, 120.0)),)))
    after = renewed_text(parse_figure(Path("figure.toml"), before), [joint("waist", (0.0, 0.0, 80.0))], HASH)
    assert after.startswith(before.rstrip("\n"))
    assert tomllib.loads(after)["joints"]["waist"]["centre"] == [0.0, 0.0, 80.0]


@pytest.mark.parametrize("name", ["bar\\n2", "bar\\u001b[31m", "bar\\u0000", "bar\\u202etoo"])
def test_a_name_that_does_not_print_as_it_reads_is_refused(name: str) -> None:
    error = told(GOOD.replace('name = "bar"', f'name = "{name}"'))
    assert error.place.line == 3
    assert parse_figure(Path("figure.toml"), GOOD.replace('"bar"', '"Bär Nr. 2"')).content.figure.name == "Bär Nr. 2"
