"""Kits appear whole or not at all, and never over what is not a kit."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from condyle.cli.main import main
from condyle.errors import InputError, UsageError
from condyle.project import place
from condyle.project.place import check_kit_place, write_file, write_kit

FIRST = {"proof.json": b"{}", "kit.3mf": b"1", "parts/head.stl": b"a", "parts/chest.stl": b"b"}
SECOND = {"proof.json": b"{ }", "kit.3mf": b"2", "parts/head.stl": b"c"}


def tree(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_kit_is_written_and_replaced_whole(tmp_path: Path) -> None:
    kit = tmp_path / "deep" / "kit"
    write_kit(kit, FIRST)
    assert tree(kit) == FIRST
    write_kit(kit, SECOND)
    assert tree(kit) == SECOND
    assert [p.name for p in kit.parent.iterdir()] == ["kit"]


def test_an_empty_folder_may_take_a_kit(tmp_path: Path) -> None:
    (tmp_path / "kit").mkdir()
    write_kit(tmp_path / "kit", FIRST)
    assert tree(tmp_path / "kit") == FIRST


def test_the_folder_one_stands_in_may_take_a_kit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "kit").mkdir()
    monkeypatch.chdir(tmp_path / "kit")
    write_kit(Path(), FIRST)
    assert tree(tmp_path / "kit") == FIRST


@pytest.mark.parametrize("stranger", ["notes.txt", "parts/notes.txt", "parts/sub/x.stl", ".git/config", "figure.toml"])
def test_a_folder_with_other_things_is_left_alone(tmp_path: Path, stranger: str) -> None:
    kit = tmp_path / "kit"
    write_kit(kit, FIRST)
    (kit / stranger).parent.mkdir(exist_ok=True)
    (kit / stranger).write_bytes(b"mine")
    with pytest.raises(UsageError, match="not part of a kit"):
        write_kit(kit, SECOND)
    assert tree(kit) == {**FIRST, stranger: b"mine"}


def test_a_folder_of_meshes_without_a_proof_is_no_kit(tmp_path: Path) -> None:
    kit = tmp_path / "kit"
    (kit / "parts").mkdir(parents=True)
    (kit / "parts" / "mine.stl").write_bytes(b"mine")
    with pytest.raises(UsageError):
        check_kit_place(kit)


def test_a_file_or_a_link_is_no_place_for_a_kit(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    for name in ("file", "link"):
        with pytest.raises(UsageError):
            write_kit(tmp_path / name, FIRST)
    with pytest.raises(InputError):
        write_kit(tmp_path / "file" / "kit", FIRST)
    assert (tmp_path / "file").read_text() == "mine"


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt(), MemoryError()])
@pytest.mark.parametrize("moment", ["write", "exchange", "rename"])
def test_an_interrupted_run_leaves_the_last_good_kit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException, moment: str
) -> None:
    kit = tmp_path / "kit"
    write_kit(kit, FIRST)
    real_write, real_rename = Path.write_bytes, Path.rename

    def failing_write(self: Path, data: bytes) -> int:
        if self.name == "head.stl":
            raise error
        return real_write(self, data)

    def failing_rename(self: Path, target: Path) -> Path:
        if ".new-" in self.name:
            raise error
        return real_rename(self, target)

    def failing_exchange(fresh: Path, target: Path) -> bool:
        raise error

    if moment == "write":
        monkeypatch.setattr(Path, "write_bytes", failing_write)
    elif moment == "exchange":
        monkeypatch.setattr(place, "changed_places", failing_exchange)
    else:
        # Where both cannot change places at once.
        monkeypatch.setattr(place, "changed_places", lambda fresh, target: False)
        monkeypatch.setattr(Path, "rename", failing_rename)
    with pytest.raises(InputError if isinstance(error, OSError) else type(error)):
        write_kit(kit, SECOND)
    monkeypatch.undo()
    assert tree(kit) == FIRST
    assert [p.name for p in tmp_path.iterdir()] == ["kit"]


def _dead_process() -> int:
    child = subprocess.Popen([sys.executable, "-c", ""])
    child.wait()
    return child.pid


@pytest.mark.skipif(os.name != "posix", reason="whether a process runs can only be asked safely there")
def test_what_a_killed_run_left_is_put_right(tmp_path: Path) -> None:
    kit = tmp_path / "kit"
    pid = _dead_process()
    (tmp_path / f".kit.new-{pid}-abc").mkdir()
    write_kit(tmp_path / f".kit.old-{pid}-abc" / "kit", FIRST)
    (tmp_path / f".kit.new-{os.getppid()}-abc").mkdir()
    (tmp_path / ".kit.notes").mkdir()
    place._clear_leftovers(kit)
    assert tree(kit) == FIRST
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["kit", f".kit.new-{os.getppid()}-abc", ".kit.notes"])


@pytest.mark.parametrize("name", ["../x.stl", "/x", "parts/../../x", "a/b/c", "", "parts/..", "parts/a\0b"])
def test_no_file_leaves_the_kit(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="no name"):
        write_kit(tmp_path / "kit", {**FIRST, name: b"x"})
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_written_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "new" / "figure.toml"
    write_file(path, b"one")

    def fail(self: Path, target: Path) -> Path:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(InputError):
        write_file(path, b"two")
    assert path.read_bytes() == b"one"
    assert [p.name for p in path.parent.iterdir()] == ["figure.toml"]


def test_what_a_killed_write_left_goes_with_the_next_and_stands_in_nobodys_way(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A process killed in the middle of a write leaves a hidden file; the next write, or the folder's next use, clears it."""
    held = tmp_path / "held"
    script = (
        "import os, pathlib, sys\nfrom condyle.project import place\n"
        "os.fdopen = lambda *a: os.kill(os.getpid(), 9)\nplace.write_file(pathlib.Path(sys.argv[1]), b'half')\n"
    )
    for _ in range(2):  # the second killed run clears what the first one left, and leaves its own
        assert subprocess.run([sys.executable, "-c", script, str(held / "guide.glb")]).returncode == -9
    (left,) = held.iterdir()
    assert left.name.startswith(".guide.glb.new-")
    mine = held / f".guide.glb.new-{os.getppid()}-abc"
    mine.touch()  # of a run that is still going
    write_file(held / "guide.glb", b"whole")
    assert {p.name for p in held.iterdir()} == {"guide.glb", mine.name}
    folder = tmp_path / "limb"
    folder.mkdir()
    left_there = folder / left.name
    left_there.touch()
    assert main(["layfigure", "upright", "--guide", "--joint", "wrist_left", "--out", str(folder)]) == 0
    capsys.readouterr()
    assert not left_there.exists() and (folder / "guide.glb").is_file()
