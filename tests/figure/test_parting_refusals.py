"""Joints that cannot be cut: refused with a place and a remedy, while the sculpt and the other joints stay whole."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.errors import SculptError
from condyle.figure.skeleton import Kind
from condyle.figure.wishes import JointWish
from condyle.geometry.primitives import box
from condyle.geometry.solid import union
from tests.figure.limbs import Parted, capsule, joint, parted, solid
from tests.figure.test_parting import LENGTH, RADIUS, ledger, whole


def bridged() -> Parted:
    """A limb with a handle beside it that runs past the joint."""
    rod = solid(capsule(RADIUS, LENGTH))
    handle = union([box((0, -2, 8), (20, 2, 12)), box((0, -2, 58), (20, 2, 62)), box((16, -2, 8), (20, 2, 62))])
    return parted(union([rod, handle]), [joint("middle", "ball", "upper", "lower", (0, 0, 35))])


def test_a_cut_that_cannot_separate_is_refused_with_its_place() -> None:
    found = bridged()
    (made,) = found.kit.joints
    assert not made.built and made.size_mm is None and made.axles == ()
    assert [p.name for p in found.kit.parts] == ["upper"]
    assert found.kit.parts[0].solid.volume_mm3 == pytest.approx(found.sculpt.volume_mm3, rel=1e-9), "a useless groove"
    (finding,) = made.findings
    assert (finding.check, finding.subject, finding.verdict) == ("joint.separates", "middle", "fail")
    assert finding.place is not None and finding.advice
    ledger(found)
    # Where it still hangs together: in the flesh of the handle, not in the limb that the cut parts cleanly.
    assert np.hypot(*finding.place[:2]) > RADIUS, f"the place {finding.place} is not at the handle"


def test_a_refused_joint_does_not_stop_the_others() -> None:
    """Three bones in one rod; the middle joint is bridged, the last is free."""
    rod = solid(capsule(RADIUS, 110.0))
    handle = union([box((0, -2, 48), (20, 2, 52)), box((0, -2, 98), (20, 2, 102)), box((16, -2, 48), (20, 2, 102))])
    joints = [
        joint("upper_one", "ball", "top", "middle", (0, 0, 75)),
        joint("lower_one", "ball", "middle", "bottom", (0, 0, 28)),
    ]
    found = parted(union([rod, handle]), joints)
    assert [j.built for j in found.kit.joints] == [False, True]
    assert [p.name for p in found.kit.parts] == ["top", "bottom"]
    whole(found)


@pytest.mark.parametrize("kind", ["ball", "hinge", "swivel"])
def test_a_limb_too_thin_is_refused_with_size_and_lack_and_a_flare_builds_it(kind: Kind) -> None:
    thin = solid(capsule(1.7, 40.0))
    place = [joint("wrist", kind, "forearm", "hand", (0, 0, 20))]
    refused = parted(thin, place)
    (made,) = refused.kit.joints
    assert not made.built
    assert [p.name for p in refused.kit.parts] == ["forearm"]
    (finding,) = made.findings
    assert (finding.check, finding.verdict, finding.unit) == ("joint.room", "fail", "mm")
    assert finding.measured is not None and finding.measured > 0.0
    assert finding.place == pytest.approx((0.0, 0.0, 20.0), abs=1e-6)
    words = finding.advice.replace(",", " ").split()
    assert "mm" in words and "flare_mm" in finding.advice
    told = float(finding.advice.split("flare_mm = ")[1].split(" ")[0])
    assert told >= finding.measured
    helped = parted(thin, place, {"wrist": JointWish(flare_mm=told)})
    (made,) = helped.kit.joints
    assert made.built, "the flare that was advised does not build the joint"
    assert made.size_mm is not None and f"{made.size_mm:g} mm" in finding.advice
    flare = [f for f in helped.kit.findings if f.check == "part.flare"]
    assert [f.subject for f in flare] == ["wrist"] and flare[0].verdict == "caution"
    assert flare[0].measured is not None and 0.0 < flare[0].measured <= told
    assert helped.kit.balance.outside_mm3 > 0.0
    whole(helped)


@pytest.mark.parametrize("centre", [(0.0, 0.0, 200.0), (50.0, 0.0, 35.0), (0.0, 0.0, -1.0)])
def test_a_joint_outside_the_sculpt_is_an_error_with_its_name_and_place(centre: tuple[float, float, float]) -> None:
    with pytest.raises(SculptError) as caught:
        parted(solid(capsule(RADIUS, LENGTH)), [joint("elbow_left", "ball", "upper", "lower", centre)])
    assert caught.value.code == "joint.outside"
    assert "elbow_left" in str(caught.value) and caught.value.hint


def test_a_joint_within_the_bounds_but_not_in_the_flesh_is_refused() -> None:
    hook = union([box((0, 0, 0), (40, 6, 6)), box((0, 0, 0), (6, 6, 40))])
    found = parted(hook, [joint("elbow_left", "ball", "upper", "lower", (30, 3, 30))])
    assert not found.kit.joints[0].built and found.kit.joints[0].findings[0].verdict == "fail"
    assert len(found.kit.parts) == 1
