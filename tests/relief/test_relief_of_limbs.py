"""Relief on a thick limb: a budget of nothing cuts nothing, a kept region stays, and what goes is in the ledger."""

from __future__ import annotations

from functools import cache

import pytest

from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.relief import KeptBox, ReliefWish
from condyle.figure.skeleton import Bone, Skeleton
from condyle.figure.wishes import JointWish
from condyle.geometry.primitives import box
from condyle.geometry.solid import overlap
from condyle.workshop.bench import load_workshop
from tests.figure.limbs import capsule, joint, solid

BODY = solid(capsule(14.0, 80.0))
SEATED = joint("joint", "ball", "upper", "lower", (0.0, 0.0, 40.0))


@cache
def made(wish: ReliefWish | None) -> Kit:
    skeleton = Skeleton("limb", (Bone("upper", None), Bone("lower", "upper")), (SEATED.spec,))
    wishes = {"joint": JointWish(size_mm=4.0, insert="none", relief=wish)}
    return part(BODY, skeleton, [SEATED], load_workshop(), wishes, relief=wish is not None)


def volumes(kit: Kit) -> list[float]:
    return [p.solid.volume_mm3 for p in kit.parts]


def test_a_budget_of_nothing_cuts_nothing() -> None:
    assert volumes(made(ReliefWish(depth_mm=0.0))) == volumes(made(None))
    assert volumes(made(ReliefWish(volume_mm3=0.0))) == volumes(made(None))


def test_what_relief_takes_is_told_and_stands_in_the_ledger() -> None:
    kit = made(ReliefWish())
    (record,) = kit.reliefs
    assert record.gained_deg > 20.0
    lost = sum(volumes(made(None))) - sum(volumes(kit))
    assert record.taken_mm3 == pytest.approx(lost, abs=1.0)
    assert abs(kit.balance.residual_mm3) < 1e-6
    assert len(kit.parts) == 2


def test_a_smaller_budget_never_gains_more_and_is_kept_to() -> None:
    small = made(ReliefWish(volume_mm3=60.0, refill=False))
    (little,) = small.reliefs or (None,)
    (much,) = made(ReliefWish(refill=False)).reliefs
    lost = sum(volumes(made(None))) - sum(volumes(small))
    # The budget is told on a grid of half a millimetre; thin rims beside the cut go on top.
    assert lost < 75.0
    assert little is None or little.gained_deg <= much.gained_deg


def test_a_kept_region_stays_as_it_is() -> None:
    low, high = (6.0, -20.0, 30.0), (20.0, 20.0, 50.0)
    kit = made(ReliefWish(refill=False, kept=(KeptBox(low, high),)))
    region = box((6.3, -20.0, 30.0), high)
    for before, after in zip(made(None).parts, kit.parts, strict=True):
        there, still = overlap(before.solid, region), overlap(after.solid, region)
        assert there is not None
        assert still is not None
        assert still.volume_mm3 == pytest.approx(there.volume_mm3, abs=0.05)
