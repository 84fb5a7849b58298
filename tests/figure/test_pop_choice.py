"""A ball that would break before it lets go is given a stud of its own, unless the maker says otherwise."""

from __future__ import annotations

from functools import cache

import pytest

from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.skeleton import Bone, Skeleton
from condyle.figure.wishes import JointWish
from condyle.geometry.solid import Solid
from condyle.proof.last.on_layers import strengths_of
from condyle.proof.last.scan import Scanner
from condyle.workshop.bench import load_workshop
from condyle.workshop.recipe import Recipe
from tests.figure.limbs import capsule, joint, solid

FULL = Recipe(fill=1.0)


@cache
def rod() -> Solid:
    return solid(capsule(4.2, 60.0))


@cache
def made(insert: str | None = None, protect: bool = True, size: float = 3.0) -> Kit:
    wrist = joint("wrist", "ball", "arm", "hand", (0, 0, 30.0), z=(0, 0, 1))
    skeleton = Skeleton("rod", (Bone("arm", None), Bone("hand", "arm")), (wrist.spec,), 60.0)
    wish = JointWish(size_mm=size, insert=insert, protect=protect)  # type: ignore[arg-type]
    return part(rod(), skeleton, [wrist], load_workshop(), {"wrist": wish})


def test_a_small_ball_comes_on_a_stud_and_says_why() -> None:
    kit = made()
    assert [p.name for p in kit.parts if p.name.endswith("_stud")] == ["wrist_stud"]
    told = [f for j in kit.joints for f in j.findings if f.check == "joint.insert"]
    assert [f.verdict for f in told] == ["pass"] and "chosen" in told[0].unit


@pytest.mark.parametrize(("insert", "protect"), [("none", True), (None, False)])
def test_the_maker_may_leave_it_built_in(insert: str | None, protect: bool) -> None:
    kit = made(insert, protect)
    assert [p.name for p in kit.parts] == ["arm", "hand"] and kit.joints[0].built


def test_the_seat_is_read_off_the_host_as_it_was_drawn() -> None:
    """Hole, depth and wall of the finished host against the peg that was drawn for it, and the rod's own radius."""
    kit = made()
    sections = Scanner(kit, load_workshop(), FULL).sections()
    seat = sections.seats["wrist"]
    peg = next(j for j in kit.joints if j.name == "wrist_peg")
    assert peg.size_mm is not None and peg.clearance_mm is not None
    assert seat.insert == "wrist_stud" and seat.cross.part in ("arm", "hand")
    assert seat.peg_mm == pytest.approx(peg.size_mm + 2.0 * peg.clearance_mm, abs=1e-6)
    assert seat.length_mm == pytest.approx(peg.travel_mm - 1.0, abs=0.45)
    # Towards the round end of the other part the host is hollowed, and its rim is thinner than further in.
    assert 0.3 < seat.wall_mm <= 4.2 - 0.5 * seat.peg_mm + 0.05
    strength = strengths_of(kit, sections)["wrist"]
    assert strength.sacrifice is not None and strength.seat is not None
    assert strength.gives is not None and strength.gives.part == "wrist_stud" == strength.insert
    # Less comes through than either levers the ball out or breaks the stud.
    assert strength.sacrifice * min(strength.seat.breaks_nmm, strength.spared.bending_nmm) <= (  # type: ignore[union-attr]
        min(strength.release_nmm or 0.0, strength.gives.bending_nmm) + 1e-6
    )
