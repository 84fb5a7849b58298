"""Pieces of the locker on plain limbs: scale, mirror and what stays are closed forms; spares are held against the first."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from condyle.errors import FigureFileError
from condyle.figure.parting import part
from condyle.figure.pieces.locker import put_on, spare
from condyle.figure.skeleton import Bone, JointSpec, SeatedJoint, Skeleton
from condyle.figure.stock_file import StockPiece, read_stock
from condyle.geometry.formats import stl_bytes
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import Solid, overlap, union
from condyle.workshop.bench import load_workshop
from tests.collision import Body, distance

SHOP = load_workshop()
TOML = """\
schema = 1
name = "{name}"
mesh = "{name}.stl"
side = "left"
[joint]
kind = "ball"
size = {size}
"""


def hand(thumb: float = 4.0) -> Solid:
    """A wrist of 5 mm radius about z, a palm, and a thumb towards +x: no mirror image of itself."""
    return union(
        [
            cylinder(5.0, -4.0, 8.0),
            box((-5.0, -5.0, 7.0), (5.0, 5.0, 18.0)),
            box((4.0, -2.0, 9.0), (5.0 + thumb, 2.0, 14.0)),
        ]
    )


def stock(folder: Path, name: str = "fist", size: float = 5.0, solid: Solid | None = None) -> Path:
    (folder / f"{name}.stl").write_bytes(stl_bytes((solid or hand()).mesh))
    path = folder / f"{name}.toml"
    path.write_text(TOML.format(name=name, size=size))
    return path


def arm(side: str = "left") -> tuple[Solid, SeatedJoint, Skeleton]:
    """A bar of 7 mm radius along y, its wrist at 30 mm, whose hand is a ball."""
    sense = 1.0 if side == "left" else -1.0
    lying = np.array([[1, 0, 0, 0], [0, 0, sense, 0], [0, -sense, 0, 20], [0, 0, 0, 1]], dtype=np.float64)
    solid = union([cylinder(7.0, 0.0, 40.0), sphere(9.0).translated((0.0, 0.0, 44.0))]).transformed(lying)
    spec = JointSpec(f"wrist_{side}", "ball", "arm", f"hand_{side}", (0.0, 0.2, 0.5), size=5.0, convex="child")
    frame = frame_from_zx(
        np.array([0.0, 30.0 * sense, 20.0]), np.array([0.0, sense, 0.0]), np.array([-sense, 0.0, 0.0])
    )  # an axis of turning is mirrored the other way
    joint = SeatedJoint(spec, frame, (0.0, sense, 0.0), source="hand")
    return solid, joint, Skeleton("arm", (Bone("arm", None), Bone(f"hand_{side}", "arm")), (spec,))


def worn(folder: Path, side: str = "left") -> tuple[Solid, StockPiece]:
    solid, joint, _ = arm(side)
    piece = read_stock(stock(folder), side)
    fitted = put_on(solid, joint, piece)
    assert fitted.scale is not None and all(f.verdict == "pass" for f in fitted.findings)
    return fitted.sculpt, piece


def test_a_hand_is_scaled_to_the_wrist_and_takes_the_old_ones_place(tmp_path: Path) -> None:
    sculpt, piece = worn(tmp_path)
    assert piece.wrist_mm == pytest.approx(5.0, abs=0.01)
    scale = 7.0 / 5.0
    beyond = piece.flesh.trimmed((0.0, 0.0, 1.0), 0.0).volume_mm3 * scale**3
    # The bar up to the wrist by its closed form, and the hand by its own volume.
    assert sculpt.volume_mm3 == pytest.approx(np.pi * 49.0 * 30.0 + beyond, rel=2e-3)
    assert sculpt.bounds[1, 1] == pytest.approx(30.0 + 18.0 * scale, abs=0.02)
    assert len(sculpt.components()) == 1


def test_the_right_hand_is_the_mirror_image_of_the_left(tmp_path: Path) -> None:
    left, right = worn(tmp_path)[0], worn(tmp_path, "right")[0]
    image = left.transformed(np.diag([1.0, -1.0, 1.0, 1.0]))
    shared = overlap(image, right)
    assert shared is not None and shared.volume_mm3 == pytest.approx(right.volume_mm3, rel=1e-4)
    assert image.volume_mm3 == pytest.approx(right.volume_mm3, rel=1e-5)


def test_spares_change_places_with_the_first_on_the_same_ball(tmp_path: Path) -> None:
    solid, joint, skeleton = arm()
    first = put_on(solid, joint, read_stock(stock(tmp_path), "left")).sculpt
    kit = part(first, skeleton, [joint], SHOP)
    (built,) = kit.joints
    assert built.built and built.size_mm == 5.0
    other = read_stock(
        stock(tmp_path, "mitten", 5.0, union([hand(8.0), box((-5.0, -5.0, 17.0), (5.0, 5.0, 26.0))])), "left"
    )
    made, pair, findings = spare(kit, first, skeleton, built, other, SHOP)
    assert made is not None and pair is not None and all(f.verdict == "pass" for f in findings)
    assert len(made.components()) == 1 and made.bounds[1, 1] > kit.part("hand_left").solid.bounds[1, 1] + 5.0
    # Both stand to the arm in the same way: skins a kerf apart, the same squeeze at the ball.
    forearm = kit.part("arm").solid
    squeezed = [overlap(forearm, s) for s in (kit.part("hand_left").solid, made)]
    volumes = [0.0 if s is None else s.volume_mm3 for s in squeezed]
    assert volumes[1] == pytest.approx(volumes[0], rel=0.05, abs=0.02)
    grown = [
        distance(Body(s.trimmed((0.0, 1.0, 0.0), 36.0).mesh), Body(forearm.mesh))[0]
        for s in (kit.part("hand_left").solid, made)
    ]
    assert grown[0] == pytest.approx(grown[1], abs=0.6)


def test_a_hand_that_lies_on_the_hip_is_told(tmp_path: Path) -> None:
    solid, joint, _ = arm()
    leaning = union(
        [
            solid,
            box((-3.0, -2.0, 20.0), (3.0, 46.0, 23.0)).translated((0.0, 0.0, 10.0)),
            box((-3.0, 38.0, 20.0), (3.0, 46.0, 32.0)),
            box((-3.0, -2.0, 16.0), (3.0, 4.0, 32.0)),
        ]
    )
    fitted = put_on(leaning, joint, read_stock(stock(tmp_path), "left"))
    assert fitted.scale is None and fitted.sculpt is leaning
    assert fitted.findings[0].verdict == "fail" and "hangs together" in fitted.findings[0].advice


def test_a_piece_far_too_small_is_refused_with_its_scale(tmp_path: Path) -> None:
    solid, joint, _ = arm()
    tiny = hand().transformed(np.diag([0.2, 0.2, 0.2, 1.0]))
    path = stock(tmp_path, solid=union([tiny, cylinder(1.0, -1.0, 2.0)]))
    fitted = put_on(solid, joint, read_stock(path, "left"))
    assert fitted.scale is None and "scaled by 7" in fitted.findings[0].advice


@pytest.mark.parametrize(
    ("old", "new", "code", "line"),
    [
        ("size = 5.0", "size = 5.1", "stock.size", 7),
        ('mesh = "fist.stl"', 'mesh = "lost.stl"', "custom.mesh", 3),
        ('mesh = "fist.stl"', 'mesh = "high.stl"', "stock.wrist", 3),
        ('kind = "ball"', 'kind = "knot"', "toml.value", 6),
        ('side = "left"', 'hand = "left"', "toml.unknown_key", 4),
        ("schema = 1", "schema = 2", "stock.schema", 1),
    ],
)
def test_slips_in_a_piece_name_file_line_and_remedy(tmp_path: Path, old: str, new: str, code: str, line: int) -> None:
    path = stock(tmp_path)
    (tmp_path / "high.stl").write_bytes(stl_bytes(hand().translated((0.0, 0.0, 9.0)).mesh))
    path.write_text(path.read_text().replace(old, new))
    with pytest.raises(FigureFileError) as caught:
        read_stock(path)
    assert caught.value.code == code and caught.value.place.line == line and caught.value.place.file == str(path)
    assert caught.value.hint or "'ball', 'hinge'" in caught.value.message
