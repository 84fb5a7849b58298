"""Parting plain bodies: closed parts, their names and number, the ledger of volume, kerfs, rims and refusals.

Volumes are taken by trimesh and by the boolean library directly, distances by rays and closest points on the finished
meshes; nothing here asks the code that made the cut.
"""

from __future__ import annotations

import hashlib
import itertools
from dataclasses import replace
from functools import cache

import manifold3d as m3
import numpy as np
import pytest
import trimesh

from condyle.figure.kit import Kit, Part
from condyle.figure.skeleton import Kind
from condyle.figure.wishes import JointWish
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import box, sphere
from condyle.geometry.solid import subtract, union
from condyle.workshop.bench import load_workshop
from tests.figure.limbs import Parted, capsule, joint, lathe, parted, solid

KINDS: list[Kind] = ["ball", "hinge", "double_hinge", "swivel", "peg"]
LENGTH = 70.0
RADIUS = 9.0
KERF = load_workshop().kerf_mm
WALL = 2.0 * load_workshop().printer.line_mm.value
SPECK = 1e-3


@cache
def limb(kind: Kind, convex: str = "child") -> Parted:
    body = solid(capsule(RADIUS, LENGTH, waist=0.1, oval=0.04))
    wish = JointWish(convex=convex)  # type: ignore[arg-type]
    return parted(body, [joint("middle", kind, "upper", "lower", (0.2, -0.1, 35.0))], {"middle": wish})


def two_arms(sculpt_only: bool = False) -> Parted:
    """A trunk with a left and a right arm square to it, alike to the last bit."""
    trunk = box((-12.0, -12.0, 0.0), (12.0, 12.0, 60.0))
    left = solid(capsule(7.0, 60.0, waist=0.08))
    lying = np.array([[1.0, 0, 0, 0], [0, 0, 1, 0], [0, -1, 0, 30], [0, 0, 0, 1]])
    arm = left.transformed(lying)
    other = arm.transformed(np.diag([1.0, -1.0, 1.0, 1.0]))
    sculpt = union([trunk, arm, other])
    joints = [
        joint("shoulder_left", "ball", "trunk", "arm_left", (0, 24, 30), z=(0, 1, 0), x=(0, 0, 1)),
        joint("turn_left", "swivel", "arm_left", "cuff_left", (0, 41, 30), z=(0, 1, 0), x=(0, 0, 1)),
        joint("shoulder_right", "ball", "trunk", "arm_right", (0, -24, 30), z=(0, -1, 0), x=(0, 0, 1)),
        joint("turn_right", "swivel", "arm_right", "cuff_right", (0, -41, 30), z=(0, -1, 0), x=(0, 0, 1)),
    ]
    return parted(sculpt, joints)


@cache
def arms() -> Parted:
    return two_arms()


CASES = [pytest.param(k, c, id=f"{k}, {c} round") for k in KINDS for c in ("child", "parent") if k != "double_hinge"]
CASES.append(pytest.param("double_hinge", "child", id="double_hinge"))


def judged(part: Part) -> trimesh.Trimesh:
    body = trimesh.Trimesh(part.mesh.vertices, part.mesh.faces, process=False)
    assert body.is_watertight and body.is_winding_consistent, part.name
    assert body.volume > 0.0 and body.body_count == 1, f"{part.name} is {body.body_count} bodies"
    return body


def whole(found: Parted) -> None:
    """Closed parts, as many as joints and links ask for, named by bones; the ledger, measured again; then studs of their own."""
    kit = found.cut
    built = [j for j in kit.joints if j.built]
    links = [j for j in built if j.seated.spec.kind == "double_hinge"]
    assert len(kit.parts) == len(built) + len(links) + 1
    names = [p.name for p in kit.parts]
    assert len(set(names)) == len(names)
    assert {f"{j.name}_link" for j in links} <= set(names)
    bones = {b for j in kit.joints for b in (j.seated.spec.parent, j.seated.spec.child)}
    assert set(names) - {f"{j.name}_link" for j in links} <= bones
    for part in kit.parts:
        assert judged(part).volume == pytest.approx(part.solid.volume_mm3, rel=1e-9)
        assert part.bone in bones
    ledger(found)
    # An insert brings one body and the joint of its peg, and takes from its host no more than its hole.
    pegs = {j.name for j in found.kit.joints} - {j.name for j in kit.joints}
    assert len(found.kit.parts) == len(kit.parts) + len(pegs)
    assert all(judged(p).volume == pytest.approx(p.solid.volume_mm3, rel=1e-9) for p in found.kit.parts)
    assert abs(found.kit.balance.residual_mm3) <= min(1.0 * max(len(built), 1), 3.0)


def ledger(found: Parted) -> None:
    """The design's balance: V(parts) + V(voids) + V(crumbs) = V(sculpt) + V(outside), interference counted once.

    Here: U, the union of the finished parts, against the sculpt S by plain booleans, S with its flares where there are
    any (a kerf goes through them as through flesh). S - U is what was lost, U - S what was gained; lost flesh must lie in
    a tool or be a crumb, gained flesh must be hardware.
    """
    kit, built = found.cut, [j for j in found.cut.joints if j.built]
    each, total = 1.0 * max(len(built), 1), 3.0
    s = found.body._body
    u = m3.Manifold.batch_boolean([p.solid._body for p in kit.parts], m3.OpType.Add)
    lost, gained = s - u, u - s
    crumbs = m3.Manifold.batch_boolean([c._body for c in found.fallen.crumbs] or [m3.Manifold()], m3.OpType.Add)
    tools = m3.Manifold.batch_boolean([*found.tools, crumbs], m3.OpType.Add)
    assert (lost - tools).volume() <= min(each, total), "flesh was lost where no tool went"
    flare = (s - found.sculpt._body).volume()
    assert (found.sculpt._body - s).volume() <= SPECK, "a flare took flesh away"
    hardware = m3.Manifold.batch_boolean(found.added, m3.OpType.Add)
    assert (gained - hardware).volume() <= min(each, total), "flesh stands where no hardware was added"
    # The kit's own ledger says the same.
    balance = kit.balance
    assert abs(balance.residual_mm3) <= min(each, total)
    assert balance.sculpt_mm3 == pytest.approx(found.sculpt.volume_mm3, rel=1e-12)
    assert balance.parts_mm3 == pytest.approx(u.volume(), abs=min(each, total))
    assert balance.outside_mm3 == pytest.approx(flare + gained.volume(), abs=min(each, total))
    assert balance.crumbs_mm3 == pytest.approx(crumbs.volume(), abs=1e-6)
    assert balance.voids_mm3 == pytest.approx(lost.volume() - crumbs.volume(), abs=min(each, total))
    # Interference is what the parts share, and nothing of it lies outside a bearing.
    shared = sum(p.solid.volume_mm3 for p in kit.parts) - u.volume()
    bearings = m3.Manifold.batch_boolean([b._body for j in built for b in j.bearing] or [m3.Manifold()], m3.OpType.Add)
    loose = sum(((a.solid._body ^ b.solid._body) - bearings).volume() for a, b in itertools.combinations(kit.parts, 2))
    assert loose <= SPECK, f"parts cut into each other outside their bearings, {loose:.4f} mm³"
    if all((j.clearance_mm or 0.0) >= 0.0 for j in built):
        assert shared <= SPECK * max(1, len(built))


def fingerprint(kit: Kit) -> str:
    h = hashlib.blake2b()
    for p in kit.parts:
        h.update(p.name.encode() + p.mesh.vertices.tobytes() + p.mesh.faces.tobytes())
    return h.hexdigest()


@pytest.mark.parametrize(("kind", "convex"), CASES)
def test_a_limb_falls_into_whole_parts_and_the_ledger_closes(kind: Kind, convex: str) -> None:
    found = limb(kind, convex)
    assert [j.built for j in found.kit.joints] == [True]
    assert [p.name for p in found.kit.parts][:2] == ["upper", "lower"]
    assert found.kit.part("upper").solid.bounds[1, 2] == pytest.approx(LENGTH)
    assert found.kit.part("lower").solid.bounds[0, 2] == pytest.approx(0.0)
    whole(found)


def skin_samples(part: Part, sculpt: Bvh, n: int = 12_000, seed: int = 3) -> FloatArray:
    body = trimesh.Trimesh(part.mesh.vertices, part.mesh.faces, process=False)
    points, _ = trimesh.sample.sample_surface(body, n, seed=seed)
    return np.concatenate([part.mesh.vertices, np.asarray(points)])


@pytest.mark.parametrize(("kind", "convex"), CASES)
def test_kerf_between_skins_and_air_around_hardware(kind: Kind, convex: str) -> None:
    """Closest points between the finished parts: the full kerf near the skin, some air everywhere outside the bearing."""
    found = limb(kind, convex)
    skin = Bvh(found.sculpt.mesh)
    bearings = [Bvh(b.mesh) for b in found.kit.joints[0].bearing]
    meshes = {p.name: Bvh(p.mesh) for p in found.kit.parts}
    checked = 0
    for a, b in itertools.permutations(found.kit.parts, 2):
        points = skin_samples(a, skin)
        distance, nearest, _ = meshes[b.name].closest(points, 3.0)
        near = np.isfinite(distance) & (distance < 3.0)
        for bearing in bearings:
            near &= ~bearing.inside(points)
            near[near] &= ~bearing.inside(nearest[near])
        depth, _, _ = skin.closest(points)
        outer = near & (depth < 1.0)
        checked += int(outer.sum())
        assert not outer.any() or distance[outer].min() >= max(0.3, KERF) - 0.012
        air = distance[near].min() if near.any() else 1.0
        assert air >= 0.05, f"{a.name} and {b.name} come within {air:.3f} mm outside the bearing"
    assert checked > 100


@pytest.mark.parametrize(("kind", "convex"), [c for c in CASES if c.values[0] in ("ball", "hinge", "double_hinge")])
def test_rim_of_the_cup_is_no_thinner_than_a_wall(kind: Kind, convex: str) -> None:
    """From the outer skin inward, square to it: flesh of two line widths before the other side of the wall."""
    found = limb(kind, convex)
    skin = Bvh(found.sculpt.mesh)
    hollow = {"upper", "lower"} - ({"lower" if convex == "child" else "upper"} if kind != "double_hinge" else set())
    for part in (found.kit.part(name) for name in sorted(hollow)):
        body = trimesh.Trimesh(part.mesh.vertices, part.mesh.faces, process=False)
        points, face = trimesh.sample.sample_surface(body, 30_000, seed=7)
        depth, _, _ = skin.closest(np.asarray(points))
        on_skin = (depth < 1e-6) & (np.abs(np.asarray(points)[:, 2] - 35.0) < 16.0)
        normals = part.mesh.normals[face[on_skin]]
        start = np.asarray(points)[on_skin] - 1e-4 * normals
        thick = Bvh(part.mesh).rays(start, -normals)
        assert thick.min() >= 0.95 * WALL, f"{part.name}: {thick.min():.2f} mm"


@pytest.mark.parametrize("convex", ["child", "parent"])
def test_the_round_end_is_on_the_side_that_was_asked_for(convex: str) -> None:
    """A round end reaches into the other side: its part crosses the plane of the joint's centre."""
    found = limb("ball", convex)
    knuckle = found.kit.part("lower" if convex == "child" else "upper")
    middles = knuckle.mesh.corners.mean(axis=1)
    beyond = (middles[:, 2] > 35.0 + 1.0) if convex == "child" else (middles[:, 2] < 35.0 - 1.0)
    assert float(np.hypot(*middles[beyond][:, :2].T).max()) > 0.5 * RADIUS


def test_double_hinge_has_two_parallel_axes_with_the_link_between() -> None:
    found = limb("double_hinge")
    (made,) = found.kit.joints
    upper, lower = (np.array(a.centre) for a in made.axles)
    assert [(a.moves, a.stays) for a in made.axles] == [("middle_link", "upper"), ("lower", "middle_link")]
    assert made.size_mm is not None
    assert np.linalg.norm(upper - lower) > made.size_mm + 0.4 + 2.0 * load_workshop().printer.line_mm.value - 1e-6
    link = found.kit.part("middle_link")
    low, high = link.solid.bounds[:, 2]
    assert low < lower[2] < upper[2] < high
    # Each bore's middle, from opposite rays in both of the link's ears: the axes run along the joint's x.
    x, z = found.kit.joints[0].seated.frame.x, found.kit.joints[0].seated.frame.z
    y = np.cross(z, x)
    bvh = Bvh(link.mesh)
    assert made.pin_mm is not None
    for centre in (upper, lower):
        radii = []
        for aside in (-1.0, 1.0):
            at = centre + aside * (0.21 * made.size_mm + 0.7) * x
            ways = np.stack([y, -y, z, -z, (y + z) / np.sqrt(2), -(y + z) / np.sqrt(2)])
            hit = bvh.rays(np.tile(at, (6, 1)), ways)
            assert hit[0::2] == pytest.approx(hit[1::2], abs=0.02)
            radii.append(float(hit.mean()))
        assert min(radii) == pytest.approx(made.pin_mm[0] / 2, abs=0.012)
        assert max(radii) >= made.pin_mm[0] / 2 + 0.05


def test_a_body_of_two_limbs_has_the_same_joints_left_and_right() -> None:
    found = arms()
    whole(found)
    by_name = {j.name: j for j in found.kit.joints}
    for stem in ("shoulder", "turn"):
        left, right = by_name[f"{stem}_left"], by_name[f"{stem}_right"]
        assert left.built and right.built
        assert (left.size_mm, left.clearance_mm, left.kerf_mm) == (right.size_mm, right.clearance_mm, right.kerf_mm)
        assert left.undercut_mm == pytest.approx(right.undercut_mm, rel=1e-9)
        a, b = (np.array(j.axles[0].centre) for j in (left, right))
        assert a * [1.0, -1.0, 1.0] == pytest.approx(b, abs=1e-9)
    for bone in ("arm", "cuff"):
        left_part, right_part = (found.kit.part(f"{bone}_{side}") for side in ("left", "right"))
        # Limbs are measured on a copy simplified by 0.08 mm, so round cuts may differ by that over their face.
        room = 0.08 * np.pi * 7.3**2
        assert left_part.solid.volume_mm3 == pytest.approx(right_part.solid.volume_mm3, abs=room)


def test_same_input_gives_the_same_bytes() -> None:
    assert fingerprint(arms().kit) == fingerprint(two_arms().kit)


@pytest.mark.parametrize("kind", ["ball", "swivel"])
def test_a_hollow_sculpt_keeps_its_hollow(kind: Kind) -> None:
    """A closed void inside the limb, as a hollowed resin body has: it is no flesh before the cut and none after it."""
    hollow = subtract(solid(capsule(RADIUS, LENGTH)), [sphere(5.0).translated((0.0, 0.0, 60.0))])
    found = parted(hollow, [joint("middle", kind, "upper", "lower", (0, 0, 30))])
    assert found.kit.joints[0].built
    ledger(found)
    full = parted(solid(capsule(RADIUS, LENGTH)), [joint("middle", kind, "upper", "lower", (0, 0, 30))])
    apart = full.kit.part("upper").solid.volume_mm3 - found.kit.part("upper").solid.volume_mm3
    # The cut itself may move by hundredths, as the limb is measured on a simplified copy.
    assert apart == pytest.approx(sphere(5.0).volume_mm3, abs=2.0)


@pytest.mark.parametrize("kind", KINDS)
def test_wishes_for_kerf_clearance_and_size_are_kept(kind: Kind) -> None:
    body = solid(capsule(RADIUS, LENGTH))
    wish = JointWish(kerf_mm=0.5, clearance_mm=0.06, size_mm=5.0)
    found = parted(body, [joint("middle", kind, "upper", "lower", (0, 0, 35))], {"middle": wish})
    (made,) = found.kit.joints
    assert made.built and (made.kerf_mm, made.clearance_mm, made.size_mm) == (0.5, 0.06, 5.0)
    whole(found)
    # With positive clearance the finished parts share nothing at all.
    for a, b in itertools.combinations(found.kit.parts, 2):
        assert (a.solid._body ^ b.solid._body).volume() <= 1e-6


@pytest.mark.parametrize("gap", [0.4, pytest.param(2.0, marks=pytest.mark.slow)])
@pytest.mark.parametrize("kind", KINDS)
def test_a_cut_leaves_alone_what_stands_beside_its_limb(kind: Kind, gap: float) -> None:
    """Two legs side by side; the joint is in one of them, and the other keeps its flesh to the last tenth."""
    leg = solid(capsule(7.0, 70.0))
    aside = 7.0 + gap / 2
    pelvis = box((-8, -15, 62), (8, 15, 80))
    body = union([leg.translated((0, aside, 0)), leg.translated((0, -aside, 0)), pelvis])
    found = parted(body, [joint("knee_left", kind, "pelvis", "shin_left", (0, aside, 32))])
    assert found.kit.joints[0].built
    whole(found)
    half = box((-20, -30, -1), (20, 0, 90))
    before = (body._body ^ half._body).volume()
    after = (found.kit.part("pelvis").solid._body ^ half._body).volume()
    assert after == pytest.approx(before, abs=0.1)


@pytest.mark.parametrize(("oval", "gap", "radius"), [(0.12, 0.6, 7.0), (-0.12, 0.6, 7.0), (0.2, 0.4, 4.0)])
def test_the_slit_of_a_split_socket_stays_in_its_own_limb(oval: float, gap: float, radius: float) -> None:
    leg = solid(capsule(radius, 70.0, oval=oval))
    aside = radius * (1.0 - oval) + gap / 2
    body = union([leg.translated((0, aside, 0)), leg.translated((0, -aside, 0)), box((-8, -15, 62), (8, 15, 80))])
    knee = joint("knee_left", "ball", "pelvis", "shin_left", (0, aside, 32))
    found = parted(body, [knee], {"knee_left": JointWish(socket="split", insert="none")})
    assert found.kit.joints[0].built
    assert [p.name for p in found.kit.parts] == ["pelvis", "shin_left"]
    whole(found)
    half = box((-30, -30, -1), (30, 0, 90))
    before = (body._body ^ half._body).volume()
    assert (found.kit.part("pelvis").solid._body ^ half._body).volume() == pytest.approx(before, abs=0.1)


@pytest.mark.parametrize("kind", KINDS)
def test_interference_asked_for_stays_within_the_bearing(kind: Kind) -> None:
    body = solid(capsule(RADIUS, LENGTH))
    wish = JointWish(clearance_mm=-0.04)
    found = parted(body, [joint("middle", kind, "upper", "lower", (0, 0, 35))], {"middle": wish})
    assert found.kit.joints[0].built
    shared = [(a.solid._body ^ b.solid._body).volume() for a, b in itertools.combinations(found.kit.parts, 2)]
    assert sum(shared) > 0.1
    whole(found)


@pytest.mark.parametrize("kind", KINDS)
def test_parts_move_with_their_figure(kind: Kind) -> None:
    """The same limb lying elsewhere and turned gives the same joint and the same volumes."""
    here = limb(kind)
    turn = np.array([[0.0, 0, 1, 12], [0.6, 0.8, 0, -7], [-0.8, 0.6, 0, 40], [0, 0, 0, 1]])
    body = here.sculpt.transformed(turn)
    r = turn[:3, :3]
    centre = r @ np.array([0.2, -0.1, 35.0]) + turn[:3, 3]
    seated = joint("middle", kind, "upper", "lower", centre, r @ np.array([0, 0, -1.0]), r @ np.array([0, 1.0, 0]))
    there = parted(body, [seated], {"middle": JointWish(convex="child")})
    assert [(j.built, j.size_mm) for j in there.kit.joints] == [(j.built, j.size_mm) for j in here.kit.joints]
    for p in here.kit.parts:
        assert there.kit.part(p.name).solid.volume_mm3 == pytest.approx(p.solid.volume_mm3, rel=2e-3)
    whole(there)


@pytest.mark.parametrize("kind", ["ball", "hinge", "swivel", "peg"])
def test_a_joint_set_by_hand_stays_where_it_is(kind: Kind) -> None:
    assert limb(kind).kit.joints[0].axles[0].centre == pytest.approx((0.2, -0.1, 35.0), abs=1e-9)
    assert limb(kind).kit.joints[0].seated.frame.origin == pytest.approx([0.2, -0.1, 35.0], abs=1e-9)


def test_a_seated_joint_moves_to_the_middle_of_its_limb() -> None:
    off = replace(joint("middle", "ball", "upper", "lower", (0.7, -0.6, 35.0)), source="seated")
    found = parted(solid(capsule(RADIUS, LENGTH)), [off])
    assert found.kit.joints[0].built
    assert np.hypot(*found.kit.joints[0].axles[0].centre[:2]) <= 0.1


@pytest.mark.parametrize("kind", ["ball", "peg"])
def test_a_cut_is_drawn_to_a_costume_seam_only_where_asked(kind: Kind) -> None:
    """A rod with a groove at z = 39 and a seated joint 4 mm below it, free to travel 6 mm or not at all."""
    z = np.unique(np.concatenate([np.linspace(0.0, LENGTH, 71), np.linspace(37.0, 41.0, 33)]))

    def radius(height: FloatArray, azimuth: FloatArray) -> FloatArray:
        groove = 3.0 * np.clip(1.6 - np.abs(height - 39.0), 0.0, 1.0)
        end = np.minimum(np.minimum(height, LENGTH - height), RADIUS)
        round_end = np.sqrt(np.maximum(RADIUS**2 - (RADIUS - end) ** 2, 0.0))
        return np.asarray(np.minimum(round_end, RADIUS - groove) + 0.0 * azimuth)

    body = solid(lathe(radius, z, 64))
    place = replace(joint("middle", kind, "upper", "lower", (0.0, 0.0, 35.0)), source="seated")
    heights = []
    for seam in (0.0, 6.0):
        found = parted(body, [place], {"middle": JointWish(seam_mm=seam)})
        assert found.kit.joints[0].built
        whole(found)
        heights.append(found.kit.joints[0].axles[0].centre[2])
    assert heights[0] == pytest.approx(35.0, abs=0.05)
    assert heights[1] == pytest.approx(39.0, abs=0.6)
