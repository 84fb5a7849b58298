"""Studs, sockets and links with two balls as parts of their own. Volumes are judged by unions of the test's own."""

from __future__ import annotations

from functools import cache

import manifold3d as m3
import numpy as np
import pytest

from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.skeleton import Bone, Skeleton
from condyle.figure.wishes import JointWish
from condyle.finding import worst
from condyle.geometry.frame import rotation_matrix_about
from condyle.geometry.solid import Solid, overlap
from condyle.proof import prove
from condyle.workshop.bench import load_workshop
from tests.figure.limbs import capsule, joint, solid

PARTS = {
    ("stud", "child"): ["chest", "neck_stud", "head"],
    ("stud", "parent"): ["chest", "head", "neck_stud"],
    ("cup", "child"): ["chest", "head", "neck_cup"],
}


@cache
def rod(radius: float = 8.0) -> Solid:
    return solid(capsule(radius, 70.0))


def made(wish: JointWish, radius: float = 8.0, kind: str = "ball") -> tuple[Kit, Skeleton]:
    neck = joint("neck", kind, "chest", "head", (0, 0, 35.0), z=(0, 0, 1))  # type: ignore[arg-type]
    skeleton = Skeleton("rod", (Bone("chest", None), Bone("head", "chest")), (neck.spec,), 70.0)
    return part(rod(radius), skeleton, [neck], load_workshop(), {"neck": wish}), skeleton


@cache
def with_insert(kind: str, convex: str) -> tuple[Kit, Skeleton]:
    return made(JointWish(insert=kind, convex=convex, socket="slit", size_mm=6.0))  # type: ignore[arg-type]


@pytest.mark.parametrize(("kind", "convex"), PARTS)
def test_an_insert_is_one_body_with_a_fixed_joint_to_its_host(kind: str, convex: str) -> None:
    kit, _ = with_insert(kind, convex)
    assert [p.name for p in kit.parts] == PARTS[kind, convex]
    assert all(len(p.solid.components()) == 1 for p in kit.parts)
    # The design's count: built joints + links + 1 = printed bodies; an insert brings a body and the joint of its peg.
    assert len(kit.parts) == sum(j.built for j in kit.joints) + 1
    peg = next(j for j in kit.joints if j.name == "neck_peg")
    ball = next(j for j in kit.joints if j.name == "neck")
    assert peg.seated.spec.kind == "peg" and f"neck_{kind}" in (peg.axles[0].moves, peg.axles[0].stays)
    assert f"neck_{kind}" in (ball.axles[0].moves, ball.axles[0].stays)
    # Whatever hangs on the child side still hangs on it: each part but the root is moved by exactly one axle.
    assert sorted([ball.axles[0].moves, peg.axles[0].moves]) == sorted(p.name for p in kit.parts if p.name != "chest")


@pytest.mark.parametrize(("kind", "convex"), PARTS)
def test_no_volume_is_lost_or_won(kind: str, convex: str) -> None:
    """parts + voids = sculpt, with the void measured as the sculpt less the union of all parts."""
    kit, _ = with_insert(kind, convex)
    together = m3.Manifold.batch_boolean([p.solid._body for p in kit.parts], m3.OpType.Add)
    void = (rod()._body - together).volume()
    assert void == pytest.approx(kit.balance.voids_mm3, abs=0.01)
    assert kit.balance.residual_mm3 == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(("kind", "convex"), PARTS)
def test_the_peg_goes_in_one_way_only(kind: str, convex: str) -> None:
    """Turned about its own axis by anything but nothing, the insert runs into its host (the key); at rest it is free."""
    kit, _ = with_insert(kind, convex)
    peg = next(j for j in kit.joints if j.name == "neck_peg")
    names = {peg.axles[0].moves, peg.axles[0].stays}
    insert = kit.part(f"neck_{kind}").solid
    host = kit.part(next(iter(names - {f"neck_{kind}"}))).solid
    axis = np.asarray(peg.seated.frame.z)
    centre = np.asarray(peg.seated.frame.origin)
    assert overlap(insert, host) is None
    for turn in (45.0, 90.0, 180.0, 270.0):
        hit = overlap(insert.transformed(rotation_matrix_about(centre, axis, turn)), host)
        assert hit is not None and hit.volume_mm3 > 0.2, turn


@pytest.mark.parametrize(("kind", "convex"), [("stud", "child"), ("cup", "child")])
def test_inserts_pass_the_proofs_of_fit(kind: str, convex: str) -> None:
    kit, skeleton = with_insert(kind, convex)
    proof = prove(kit, rod(), skeleton, load_workshop(), workers=1)
    fits = [f for f in proof.findings if f.check.startswith("fit.")]
    assert {f.subject for f in fits} >= {"neck", "neck_peg"}
    assert worst(fits) == "pass", [f for f in fits if f.verdict != "pass"]
    gap = next(f for f in fits if f.check == "fit.bearing_gap" and f.subject == "neck_peg")
    assert gap.measured is not None and gap.measured >= 0.03 - 1e-6


def test_a_stud_lies_on_its_side_and_a_cup_stands() -> None:
    """Layers square to a neck part under bending (across-layer strength is the weaker: common practice, no source)."""
    stud = with_insert("stud", "child")[0].part("neck_stud").build_up
    cup = with_insert("cup", "child")[0].part("neck_cup").build_up
    assert stud is not None and abs(stud[2]) < 1e-9
    assert cup is not None and abs(abs(cup[2]) - 1.0) < 1e-9


def test_a_double_ball_is_a_link_between_two_sockets() -> None:
    kit, skeleton = made(JointWish(insert="double_ball"))
    neck = kit.joints[0]
    assert [p.name for p in kit.parts] == ["chest", "head", "neck_link"] and neck.built
    assert [(a.moves, a.stays) for a in neck.axles] == [("neck_link", "chest"), ("head", "neck_link")]
    together = m3.Manifold.batch_boolean([p.solid._body for p in kit.parts], m3.OpType.Add)
    assert (rod()._body - together).volume() == pytest.approx(kit.balance.voids_mm3, abs=0.01)
    proof = prove(kit, rod(), skeleton, load_workshop(), workers=1)
    assert worst(proof.findings) != "fail", [f for f in proof.findings if f.verdict == "fail"]
    reached = proof.joints["neck"].reached["flex"]
    assert reached is not None and reached[0] <= -30.0 and reached[1] >= 30.0


def test_what_cannot_be_an_insert_stays_built_in_and_says_why() -> None:
    hinged, _ = made(JointWish(insert="stud"), kind="hinge")
    assert [p.name for p in hinged.parts] == ["chest", "head"]
    told = [f for j in hinged.joints for f in j.findings if f.check == "joint.insert"]
    assert [f.verdict for f in told] == ["fail"] and "ball" in told[0].advice
    split, _ = made(JointWish(insert="cup", socket="split", size_mm=5.0), radius=5.5)
    told = [f for j in split.joints for f in j.findings if f.check == "joint.insert"]
    assert [f.verdict for f in told] == ["fail"] and len(split.parts) == 2
