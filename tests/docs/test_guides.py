"""What the guides tell a maker to type can be typed: commands and options exist, tables are taken, links lead somewhere.

The tables of the skeleton guide and of the guide to an own joint are read by the readers that a maker's own files meet.
"""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest

from condyle.cli.main import app
from condyle.figure.skeleton_file import read_skeleton
from condyle.project.figure_file import parse_figure
from tests.examples.test_own_socket import example

ROOT = Path(__file__).parents[2]
GUIDES = sorted((ROOT / "docs" / "guides").glob("*.md"))
PAGES = [
    ROOT / "README.md",
    ROOT / "CONTRIBUTING.md",
    ROOT / "examples" / "README.md",
    *sorted((ROOT / "docs").rglob("*.md")),
]

FIGURE = """\
schema = 1
[figure]
name = "bar"
sculpt = "bar.stl"
height_mm = 150
[skeleton]
template = "upright"
"""

a_page = pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
a_guide = pytest.mark.parametrize("guide", GUIDES, ids=lambda p: p.stem)


FENCE = re.compile(r"^( *)```(\w*)\n(.*?)^\1```$", re.M | re.S)


def blocks(page: Path, language: str) -> list[str]:
    """Fenced blocks of a language ("" for those without one), the fence's own indent taken off."""
    found = FENCE.findall(page.read_text("utf-8"))
    return ["\n".join(n.removeprefix(i) for n in text.splitlines()) for i, named, text in found if named == language]


def typed(page: Path) -> list[list[str]]:
    """Every line of a plain block that calls condyle, as words, without what follows a comment or a pipe."""
    lines = [line for text in blocks(page, "") for line in text.splitlines() if line.startswith("condyle ")]
    words = [shlex.split(line, comments=True) for line in lines]
    return [w[1 : w.index("|")] if "|" in w else w[1:] for w in words]


def told(page: Path) -> list[str]:
    """What stands between back-ticks in running text and begins with condyle and a command."""
    text = FENCE.sub("", page.read_text("utf-8"))
    return [" ".join(m.split()) for m in re.findall(r"`condyle ([a-z][^`]*)`", text)]


@a_page
def test_every_command_line_parses(page: Path) -> None:
    for words in typed(page):
        app().parse_args(words, exit_on_error=False, print_error=False)


@a_page
def test_commands_and_options_in_running_text_exist(page: Path) -> None:
    ours = app()
    for text in told(page):
        name, *words = text.split()
        known = {n for a in ours[name].assemble_argument_collection() for n in a.names}
        for word in (w.split("=")[0] for w in words if w.startswith("--")):
            assert word in known, f"condyle {text}"


def test_the_readers_of_this_page_see_the_guides_lines() -> None:
    """A check that finds nothing to check passes always."""
    assert all(blocks(g, "") for g in GUIDES) and len(GUIDES) == 8
    assert sum(len(typed(g)) for g in GUIDES) >= 30 and sum(len(told(g)) for g in GUIDES) >= 8
    with pytest.raises(Exception, match="nowhere"):
        app().parse_args(["make", "a.toml", "--nowhere", "b"], exit_on_error=False, print_error=False)


@a_guide
def test_tables_for_a_figure_file_are_taken(guide: Path) -> None:
    for text in blocks(guide, "toml"):
        if not {"schema", "ladder"} & set(tomllib.loads(text)):
            parse_figure(Path("figure.toml"), FIGURE + text)


def test_the_skeleton_guides_files_are_skeletons(tmp_path: Path) -> None:
    guide = ROOT / "docs" / "guides" / "skeleton-from-scratch.md"
    first, second = (text for text in blocks(guide, "toml") if "schema" in text)
    (tmp_path / "bollard.toml").write_text(first, "utf-8")
    (tmp_path / "heavy.toml").write_text(second, "utf-8")
    light, heavy = read_skeleton(tmp_path / "bollard.toml"), read_skeleton(tmp_path / "heavy.toml")
    assert {j.name for j in light.joints} == {
        "neck",
        *(f"{n}_{s}" for n in ("shoulder", "elbow") for s in ("left", "right")),
    }
    assert heavy.joint("elbow_right").wanted == {"flex": (0.0, 60.0)}
    assert (light.height_mm, heavy.height_mm) == (90.0, 120.0)


def test_the_own_joint_of_the_guide_is_the_examples() -> None:
    (text,) = (t for t in blocks(ROOT / "docs" / "guides" / "my-own-joint.md", "toml") if "schema" in t)
    assert tomllib.loads(text) == tomllib.loads(example().JOINT)


@a_page
def test_links_lead_to_files_and_headings(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text("utf-8")):
        if "://" in target:
            continue
        path, _, heading = target.partition("#")
        there = (page.parent / path) if path else page
        assert there.exists(), target
        if heading:
            heads = re.findall(r"^#+ (.+)$", there.read_text("utf-8"), re.M)
            assert heading in {re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in heads}, target
