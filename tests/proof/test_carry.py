"""All of holding, standing and lasting asked of one kit: answers that hang together, the same every time."""

from __future__ import annotations

import pytest

from condyle.demo.diver import diver
from condyle.figure.parting import part
from condyle.figure.pose import Pose
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.bvh import Bvh
from condyle.geometry.solid import solid_from_mesh
from condyle.project.carry_details import carry_files
from condyle.project.codec import from_bytes, to_bytes
from condyle.proof.carry import Carried, CarryAsked, carry
from condyle.proof.move import wanted_from_pose
from condyle.workshop.bench import load_workshop
from condyle.workshop.recipe import Recipe
from tests.proof.limbkits import walker

POSES = (Pose("rest"), Pose("reach", {"shoulder": {"flex": 20.0}}), Pose("step", {"hip_left": {"flex": -12.0}}))


@pytest.fixture(scope="module")
def carried() -> Carried:
    kit = walker(arm=True)
    reach = {j.name: wanted_from_pose(j.seated) for j in kit.joints}
    return carry(kit, load_workshop(), POSES, reach, CarryAsked(recipe=Recipe(coat_mm=0.0)))


def test_every_pose_and_joint_is_answered(carried: Carried) -> None:
    assert [p.standing.pose.name for p in carried.poses] == ["rest", "reach", "step"]
    assert set(carried.holds) == {"hip_left", "hip_right", "ankle_left", "ankle_right", "shoulder"}
    for pose in carried.poses:
        assert set(pose.loads) == set(carried.holds)
        least = min((carried.holds[n].grip.new.value / x.nmm, n) for n, x in pose.loads.items() if x.nmm > 1e-3)
        assert (pose.factor, pose.weakest_joint) == (pytest.approx(least[0]), least[1])
    for name, hold in carried.holds.items():
        assert hold.load_nmm == max(p.loads[name].nmm for p in carried.poses)
        assert hold.worst is not None and hold.worst.found_nmm <= hold.worst.bound_nmm


def test_findings_tell_a_place_and_advice_where_something_is_amiss(carried: Carried) -> None:
    assert {f.check.split(".")[0] for f in carried.findings} == {"hold", "stand", "last"}
    for finding in carried.findings:
        assert (finding.advice == "") == (finding.verdict == "pass"), finding
        assert finding.place is not None or finding.check == "hold.mass"
        assert finding.measured is not None or finding.check == "last.pop_bend"


def test_the_weakest_joint_of_the_figure_is_named(carried: Carried) -> None:
    told = next(f for f in carried.findings if f.check == "hold.weakest")
    factors = {n: h.grip.new.value / h.load_nmm for n, h in carried.holds.items() if h.load_nmm > 1e-3}
    name = min(factors, key=lambda n: factors[n])
    assert told.measured == pytest.approx(factors[name], abs=1e-3) and name in told.unit
    own = next(f for f in carried.findings if f.check == "hold.new" and f.subject == name)
    assert told.verdict == own.verdict
    assert own.verdict == "pass" or "at 40 °C" in own.advice


def test_grips_that_were_never_measured_are_unknown_and_name_the_coupon(carried: Carried) -> None:
    told = [f for f in carried.findings if f.verdict == "unknown" and f.check != "hold.weakest"]
    assert told and all("coupon" in f.advice for f in told)


def test_values_survive_the_cache_and_come_out_the_same_twice(carried: Carried) -> None:
    kept = to_bytes(carried)
    assert to_bytes(from_bytes(kept)) == kept
    kit = walker(arm=True)
    reach = {j.name: wanted_from_pose(j.seated) for j in kit.joints}
    again = carry(kit, load_workshop(), POSES, reach, CarryAsked(recipe=Recipe(coat_mm=0.0)))
    assert carry_files(again) == carry_files(carried)


@pytest.mark.slow
def test_the_diver_holds_together_in_all_its_answers() -> None:
    sculpt = solid_from_mesh(diver(60_000))
    skeleton = load_template("upright")
    kit = part(sculpt, skeleton, seat(sculpt, skeleton).joints, load_workshop())
    reach = {j.name: wanted_from_pose(j.seated) for j in kit.joints}
    told = carry(kit, load_workshop(), (), reach, None, Bvh(sculpt.mesh))
    assert told.poses[0].standing.stands
    assert told.poses[0].standing.touching == ("foot_left", "foot_right")
    full = sum(m.full_g for m in told.masses.values())
    # The ledger counts interference between parts once.
    assert full == pytest.approx(kit.balance.parts_mm3 * 1.24e-3, rel=1e-3)
    assert 0.4 * full < sum(m.printed.mass_g for m in told.masses.values()) < 0.9 * full
    assert all((f.advice == "") == (f.verdict == "pass") for f in told.findings)
    asked = {f.subject: f for f in told.findings if f.check == "last.second_opinion"}
    assert len(asked) >= 3
    necks = sorted((x for x in told.loads if x.cross.what == "neck"), key=lambda x: x.safety)
    assert necks[0].cross.joint in asked
    # Wherever a short neck may fall short of what is wanted, the solve is used and says so.
    short = [s.joint for s in told.strengths.values() if s.bending.stubby and (s.bend_share or 0.0) > 0.25]
    assert short and all("used instead" in asked[n].unit for n in short)
