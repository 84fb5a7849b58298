"""A full disk, a folder that may only be read, a file that may not grow: nothing is lost, and one clear message says what to do."""

from __future__ import annotations

import errno
import os
import resource
import signal
import sys
from pathlib import Path

import pytest

from condyle.cli.main import main
from condyle.errors import InputError
from condyle.project.cache import Cache
from condyle.project.pipeline import make_kit
from condyle.project.place import write_file, write_kit
from condyle.project.record.attempts import Attempt, add_job, attempts
from condyle.project.record.store import opened
from condyle.project.watch import Watch
from tests.cli.figures import bar_figure, tree
from tests.faults.disk import Disk, refusing
from tests.project.record.test_record import JOB

KIT = {
    "proof.json": b"{}",
    "kit.3mf": b"3",
    "parts/a.stl": b"a" * 5000,
    "parts/b.stl": b"b",
    "builds/build-01.3mf": b"4",
}
NEW = {**KIT, "kit.3mf": b"new", "parts/a.stl": b"A" * 9000, "book.pdf": b"5"}


def told(error: InputError, place: Path) -> None:
    assert error.code == "out.unwritable"
    assert "room on the disk" in error.hint
    assert error.place.file == str(place)


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS])
@pytest.mark.parametrize("once", [True, False], ids=["once", "from then on"])
def test_a_write_that_fails_anywhere_leaves_the_last_good_kit(tmp_path: Path, code: int, once: bool) -> None:
    kit = tmp_path / "kit"
    write_kit(kit, KIT)
    good, number, failed, reached = tree(kit), 0, 0, True
    while reached:
        with refusing(Disk(tmp_path, number, code, once)) as disk:
            try:
                write_kit(kit, NEW)
            except InputError as error:
                told(error, kit)
                failed += 1
        reached, number = disk.seen > number, number + 1
        assert tree(kit) in (good, NEW), f"at write {number - 1}"
        write_kit(kit, KIT)  # sweeps up what is left, and has room again
        assert [p.name for p in tmp_path.iterdir()] == ["kit"], "something half made was left"
    assert failed >= len(NEW)


@pytest.mark.parametrize("first", range(4))
def test_a_file_is_written_whole_or_stays_as_it_was(tmp_path: Path, first: int) -> None:
    path = tmp_path / "figure.toml"
    write_file(path, b"as it was")
    with refusing(Disk(tmp_path, first)) as disk:
        try:
            write_file(path, b"new")
        except InputError as error:
            told(error, path)
            assert path.read_bytes() == b"as it was"
    assert disk.seen <= first or path.read_bytes() == b"as it was"
    assert [p.name for p in tmp_path.iterdir()] == ["figure.toml"]


@pytest.mark.skipif(sys.platform == "win32", reason="no limits on files")
def test_a_file_that_may_not_grow_is_told_by_the_system_itself(tmp_path: Path) -> None:
    """RLIMIT_FSIZE stops a write in the middle (POSIX setrlimit: EFBIG), where a full disk would."""
    kit, record = tmp_path / "kit", tmp_path / "record.sqlite"
    write_kit(kit, KIT)
    with opened(record) as connection:
        add_job(connection, JOB, [Attempt("diver", "chest", "printed")])
    good = tree(kit)
    child = os.fork()
    if child == 0:
        os._exit(_limited(kit, record, tmp_path))
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert tree(kit) == good
    assert sorted(p.name for p in tmp_path.iterdir() if not p.name.startswith("record")) == ["cache", "kit"]
    assert not list((tmp_path / "cache").rglob("*part*"))
    with opened(record) as connection:
        assert [a.attempt.part for a in attempts(connection)] == ["chest"]


def _limited(kit: Path, record: Path, folder: Path) -> int:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
    codes = []
    try:
        write_kit(kit, NEW)
    except InputError as error:
        codes.append(error.code)
    if Cache(folder / "cache").fetch("step", "key", lambda: "x" * 10_000) != ("x" * 10_000, False):
        return 2
    try:
        with opened(record) as connection:
            add_job(connection, JOB, [Attempt("diver", "head", "printed", note="n" * 100_000)])
    except InputError as error:
        codes.append(error.code)
    return 0 if codes == ["out.unwritable", "record.unreadable"] else 1


@pytest.mark.slow
def test_a_whole_run_on_a_full_disk_or_a_folder_that_is_only_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    figure, kit = bar_figure(tmp_path / "bar"), tmp_path / "kit"
    with refusing(Disk(tmp_path / "bar", 0, errno.EROFS)):
        make_kit(figure, kit, Watch())  # nothing can be kept beside the figure: slower, and the same
    good = tree(kit)
    make_kit(figure, kit, Watch())
    assert tree(kit) == good
    for first in (0, 1, 5, 20):
        with refusing(Disk(tmp_path, first)) as disk:
            code = main(["make", str(figure), "--out", str(kit)])
        said = capsys.readouterr().err
        assert code == 3, said
        assert disk.seen > first
        assert "Traceback" not in said
        assert "room on the disk" in said
        assert tree(kit) == good
        assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]
