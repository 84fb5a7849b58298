"""How many of the eighteen joints ordinary bodies get at 150 mm: human bodies of a data set, posed, aged and resampled.

At least 14 is the goal for any of them, with a margin on the plain adult (common practice, no source). Every joint that is
built in another family than the skeleton's must say so.
"""

from __future__ import annotations

from functools import cache

import pytest

from condyle.figure.kit import Kit
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from tests.figure.limbs import parted, solid
from tests.figure.test_parting import whole
from tests.seating import bodies
from tests.seating.family import family

LEAST = {
    "base": 16,
    "female-young-tpose": 15,
    "male-young": 15,
    "base-decimated": 15,
}
needs_data = pytest.mark.skipif(not bodies.available(), reason="the data set is not installed")


@cache
def kit_of(name: str) -> Kit:
    sculpt, skeleton = solid(family()[name]().mesh), load_template("upright")
    found = parted(sculpt, seat(sculpt, skeleton).joints, skeleton=skeleton)
    whole(found)
    return found.kit


@needs_data
@pytest.mark.slow
@pytest.mark.parametrize("name", LEAST)
def test_an_ordinary_body_gets_most_of_its_joints(name: str) -> None:
    """With room to spare over 14; parts closed and the ledger right; left like right."""
    joints = {j.name: j for j in kit_of(name).joints}
    assert sum(j.built for j in joints.values()) >= LEAST[name]
    for left in (n for n in joints if n.endswith("_left")):
        right = left.replace("_left", "_right")
        assert (joints[left].built, joints[left].size_mm) == (joints[right].built, joints[right].size_mm), left


@needs_data
@pytest.mark.slow
@pytest.mark.parametrize("name", LEAST)
def test_what_is_not_as_asked_is_told(name: str) -> None:
    asked = {j.name: j.kind for j in load_template("upright").joints}
    for joint in kit_of(name).joints:
        if joint.seated.spec.kind == "peg":
            continue  # The peg of a stud of its own is asked for by nobody.
        told = {f.check: f for f in joint.findings}
        if not joint.built:
            assert told["joint.room"].measured is not None and told["joint.room"].unit == "mm"
            continue
        other = joint.seated.spec.kind != asked[joint.name]
        assert ("joint.kind" in told) == other, joint.name
        if 0.0 < joint.undercut_mm < 0.1:
            lip = told["joint.lip"]
            assert lip.verdict == "caution" and lip.measured == joint.undercut_mm and lip.target == 0.1
        else:
            assert "joint.lip" not in told
