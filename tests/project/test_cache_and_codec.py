"""What is kept between runs: the same bytes for the same value, damage ignored, nothing but values read back.

Archives are judged by the standard library's zipfile and by numpy's own reader.
"""

from __future__ import annotations

import io
import json
import os
import zipfile
from pathlib import Path

import numpy as np
import pytest

from condyle.figure.kit import Balance, BuiltJoint, Kit, Part
from condyle.figure.skeleton import JointSpec, SeatedJoint
from condyle.finding import Finding
from condyle.geometry.frame import Frame
from condyle.geometry.primitives import box, sphere
from condyle.project.cache import KEPT_PER_STEP, Cache, content_hash, key_of
from condyle.project.codec import from_bytes, to_bytes


def kit() -> Kit:
    spec = JointSpec("middle", "ball", "lower", "upper", (0.0, 0.0, 0.5), wanted={"flex": (-20.0, 20.0)})
    seated = SeatedJoint(spec, Frame(np.zeros(3), np.eye(3)), (0.0, 0.0, 1.0), {"flex": 1.5})
    finding = Finding("fit.rest_gap", "middle", "pass", 0.2, 0.15, "mm", (1.0, 2.0, 3.0))
    joint = BuiltJoint(seated, True, size_mm=6.0, bearing=(sphere(3.0),), findings=(finding,))
    parts = (Part("lower", "lower", box((0, 0, 0), (1, 2, 3))), Part("upper", "upper", sphere(2.0)))
    return Kit(parts, (joint,), Balance(1.0, 2.0, 3.0, 4.0, 5.0), (finding,))


def test_a_kit_comes_back_whole() -> None:
    before = kit()
    after = from_bytes(to_bytes(before))
    assert [p.name for p in after.parts] == ["lower", "upper"]
    assert after.balance == before.balance
    assert after.findings == before.findings
    assert after.joints[0].seated.spec == before.joints[0].seated.spec
    assert after.joints[0].seated.rest == {"flex": 1.5}
    for a, b in zip(after.parts, before.parts, strict=True):
        assert a.solid.volume_mm3 == pytest.approx(b.solid.volume_mm3, rel=1e-12)
        assert a.solid.triangle_count == b.solid.triangle_count


def test_the_same_value_gives_the_same_bytes_and_reading_back_changes_nothing_more() -> None:
    first = to_bytes(kit())
    assert first == to_bytes(kit())
    once = to_bytes(from_bytes(first))
    assert once == to_bytes(from_bytes(once))


def test_the_archive_is_a_plain_one() -> None:
    with zipfile.ZipFile(io.BytesIO(to_bytes({"a": np.arange(3.0)}))) as archive:
        assert archive.testzip() is None
        assert archive.namelist() == ["tree.json", "0.npy"]
        np.testing.assert_array_equal(np.load(io.BytesIO(archive.read("0.npy")), allow_pickle=False), [0.0, 1.0, 2.0])
        json.loads(archive.read("tree.json"))


@pytest.mark.parametrize(
    "tree",
    [
        {"class": "os:system", "fields": {}},
        {"class": "subprocess:Popen", "fields": {"args": ["true"]}},
        {"class": "condyle.project.cache:content_hash", "fields": {"data": "x"}},
        {"class": "condyle.project.cache:Path", "fields": {}},
    ],
)
def test_no_class_but_values_of_ours_is_ever_made(tree: object) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("tree.json", json.dumps(tree))
    with pytest.raises(TypeError):
        from_bytes(out.getvalue())


def test_an_unknown_kind_of_value_is_refused() -> None:
    with pytest.raises(TypeError, match="complex"):
        to_bytes({"a": 1j})


def test_a_result_is_made_once(tmp_path: Path) -> None:
    calls: list[int] = []

    def make() -> tuple[int, ...]:
        calls.append(1)
        return (1, 2)

    cache = Cache(tmp_path / "cache")
    key = key_of("step", b"input")
    assert cache.fetch("step", key, make) == ((1, 2), False)
    assert cache.fetch("step", key, make) == ((1, 2), True)
    assert len(calls) == 1
    assert [p.name for p in (tmp_path / "cache" / "step").iterdir()] == [key]


@pytest.mark.parametrize("damage", [b"", b"PK", b"\x00" * 500])
def test_a_damaged_entry_is_made_again(tmp_path: Path, damage: bytes) -> None:
    cache = Cache(tmp_path)
    key = key_of("step", b"input")
    cache.fetch("step", key, kit)
    entry = tmp_path / "step" / key
    whole = entry.read_bytes()
    for data in (damage, whole[: len(whole) // 2], whole[:2000] + b"\xff" + whole[2001:]):
        entry.write_bytes(data)
        _, stored = cache.fetch("step", key, kit)
        assert not stored
        assert entry.read_bytes() == whole


def test_a_failing_step_keeps_nothing(tmp_path: Path) -> None:
    def fail() -> int:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        Cache(tmp_path).fetch("step", "key", fail)
    assert list(tmp_path.rglob("*")) == []


def test_only_the_newest_entries_stay(tmp_path: Path) -> None:
    cache = Cache(tmp_path)
    for number in range(KEPT_PER_STEP + 3):
        cache.fetch("step", f"key{number}", lambda n=number: n)  # type: ignore[misc]
        os.utime(tmp_path / "step" / f"key{number}", (number, number))
    assert len(list((tmp_path / "step").iterdir())) <= KEPT_PER_STEP + 1
    assert (tmp_path / "step" / f"key{KEPT_PER_STEP + 2}").exists()


def test_a_folder_that_cannot_be_written_only_means_no_cache(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert Cache(blocked / "cache").fetch("step", "key", lambda: 7) == (7, False)
    assert Cache(None).fetch("step", "key", lambda: [7.5]) == ([7.5], False)


def test_keys_tell_inputs_and_their_borders_apart() -> None:
    keys = {key_of("a", b"x"), key_of("b", b"x"), key_of("a", b"y"), key_of("a", b"x", b""), key_of("ax", b"")}
    assert len(keys) == 5


def test_a_content_hash_is_the_published_one() -> None:
    # RFC 7693 fixes BLAKE2b; this digest of "abc" at 160 bits is what `b2sum -l 160` of GNU coreutils prints.
    assert content_hash(b"abc") == "blake2b:384264f676f39536840523f284921cdc68b6846b"
