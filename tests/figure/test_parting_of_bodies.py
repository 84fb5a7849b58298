"""Whole figures parted with every joint seated: the deck hand, and a human body of a data set scaled to 150 mm (slow)."""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np
import pytest
import trimesh

from condyle.demo.deckhand import deckhand
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import Mesh
from condyle.workshop.bench import load_workshop
from tests.figure.limbs import Parted, parted, solid
from tests.figure.test_parting import fingerprint, whole
from tests.seating import bodies

KERF = load_workshop().kerf_mm


def figure(mesh: Mesh) -> Parted:
    sculpt, skeleton = solid(mesh), load_template("upright")
    return parted(sculpt, seat(sculpt, skeleton).joints, skeleton=skeleton)


@cache
def hand() -> Parted:
    return figure(deckhand())


@cache
def human() -> Parted:
    return figure(bodies.body("plain").mesh)


def test_deckhand_is_whole_in_every_part_and_volume() -> None:
    found = hand()
    assert len(found.cut.joints) == 18
    # On a plain adult body 150 mm tall at least 14 of the 18 find room; thin wrists may be refused.
    assert sum(j.built for j in found.kit.joints) >= 14
    whole(found)


def test_deckhand_is_alike_left_and_right() -> None:
    by_name = {j.name: j for j in hand().cut.joints}
    pairs = [(j, by_name[n.replace("_left", "_right")]) for n, j in by_name.items() if n.endswith("_left")]
    assert len(pairs) == 8
    for left, right in pairs:
        assert (left.built, left.size_mm, left.seated.spec.kind) == (right.built, right.size_mm, right.seated.spec.kind)


def test_every_joint_stands_between_its_own_parts() -> None:
    """Parts lie where their bones do, and only neighbours in the skeleton come near each other."""
    kit = hand().kit
    meshes = {p.name: Bvh(p.mesh) for p in kit.parts}
    neighbours = {frozenset((a.moves, a.stays)) for j in kit.joints for a in j.axles}
    assert len(neighbours) == len(kit.parts) - 1, "a tree of parts"
    for j in kit.joints:
        for a in j.axles:
            for name in (a.moves, a.stays):
                reach = float(meshes[name].closest(np.array([a.centre]))[0][0])
                assert reach <= 0.75 * (j.size_mm or 0.0) + 1.0, f"{name} is {reach:.1f} mm from the centre of {j.name}"
    for a, b in itertools.combinations(kit.parts, 2):
        if frozenset((a.name, b.name)) in neighbours:
            continue
        low = np.maximum(a.mesh.bounds[0], b.mesh.bounds[0])
        if (low > np.minimum(a.mesh.bounds[1], b.mesh.bounds[1])).any():
            continue
        assert (a.solid._body ^ b.solid._body).volume() < 1e-6, f"{a.name} cuts into {b.name}"


def test_kerfs_of_the_deckhand_stay_open() -> None:
    """Vertices of each part near the skin, against the neighbour: the whole kerf, outside every bearing."""
    found = hand()
    kit, skin = found.kit, Bvh(found.sculpt.mesh)
    meshes = {p.name: Bvh(p.mesh) for p in kit.parts}
    checked = 0
    for j in kit.joints:
        bearings = [Bvh(b.mesh) for b in j.bearing]
        for a in j.axles:
            for one, other in ((a.moves, a.stays), (a.stays, a.moves)):
                points = meshes[one].mesh.vertices
                distance, nearest, _ = meshes[other].closest(points, 2.0)
                near = np.flatnonzero(distance < 1.0)
                near = near[skin.closest(points[near])[0] < 0.8] if len(near) else near
                for b in bearings:
                    near = near[~b.inside(points[near])] if len(near) else near
                    near = near[~b.inside(nearest[near])] if len(near) else near
                checked += len(near)
                worst = float(distance[near].min()) if len(near) else 1.0
                assert worst >= 0.3 - 0.012, f"{one} and {other} stand {worst:.3f} mm apart at {points[near][0]}"
    assert checked > 1000


def test_parts_stay_closed_as_any_reader_of_their_files_sees_them() -> None:
    """Corners rounded to float32, equal ones merged, flat triangles dropped: every edge still has two triangles."""
    for part in hand().kit.parts:
        corners, number = np.unique(part.mesh.vertices.astype(np.float32), axis=0, return_inverse=True)
        faces = number.ravel()[part.mesh.faces]
        flat = (faces == np.roll(faces, 1, axis=1)).any(axis=1)
        body = trimesh.Trimesh(corners.astype(np.float64), faces[~flat], process=False)
        assert body.is_watertight and body.is_winding_consistent and body.body_count == 1, part.name
        assert body.volume == pytest.approx(part.solid.volume_mm3, abs=0.01)


@pytest.mark.slow
def test_deckhand_gives_the_same_bytes_again() -> None:
    assert fingerprint(hand().kit) == fingerprint(figure(deckhand()).kit)


@pytest.mark.slow
@pytest.mark.skipif(not bodies.available(), reason="the data set is not installed")
def test_human_body_is_whole_in_every_part_and_volume() -> None:
    found = human()
    assert sum(j.built for j in found.kit.joints) >= 14
    whole(found)


@pytest.mark.slow
@pytest.mark.skipif(not bodies.available(), reason="the data set is not installed")
def test_human_body_is_alike_left_and_right() -> None:
    by_name = {j.name: j for j in human().kit.joints}
    for name, left in by_name.items():
        if name.endswith("_left"):
            right = by_name[name.replace("_left", "_right")]
            assert (left.built, left.size_mm) == (right.built, right.size_mm)
