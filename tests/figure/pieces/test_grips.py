"""A handle in a hand: bored, sprung and proved on a plain fist, and asked for in a figure file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from condyle.errors import FigureFileError
from condyle.figure.kit import Balance, Kit, Part
from condyle.figure.pieces.grip import CutGrip, Grip, with_grip
from condyle.figure.skeleton import Bone, Skeleton
from condyle.figure.tool_file import read_tool
from condyle.finding import worst
from condyle.geometry.formats import stl_bytes
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import Solid, union
from condyle.joints.stock import stock_of
from condyle.project.figure_file import parse_figure
from condyle.project.figure_model import FigureFile
from condyle.project.grip_step import check_grips, grip_all, grips_of, hold_tools
from condyle.proof.grip import grips
from condyle.workshop.bench import load_workshop
from tests.collision import Body, distance, touching

SHOP = load_workshop("resin-200", "resin-ductile")
HANDLE = 4.0
GRIP = Grip("hand_left", HANDLE, (0.0, 0.0, 3.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0))


def fist(wall: float = 1.5) -> Solid:
    """Fingers around a handle along z, closed, and a palm behind them."""
    return union([cylinder(HANDLE / 2.0 + wall, 0.0, 6.0), box((-8.0, -3.0, 0.0), (-1.0, 3.0, 6.0))])


def kit_of(hand: Solid) -> Kit:
    volume = hand.volume_mm3
    return Kit((Part("hand_left", "hand_left", hand),), (), Balance(volume, volume, 0.0, 0.0, 0.0))


def gripped(hand: Solid, grip: Grip = GRIP) -> tuple[Kit, CutGrip]:
    kit, cut = with_grip(kit_of(hand), grip, SHOP.fits, stock_of(SHOP))
    assert cut is not None
    return kit, cut


def test_fingers_spring_over_the_handle_and_all_is_measured_again() -> None:
    kit, cut = gripped(fist())
    found = (*kit.findings, *grips(kit.part("hand_left"), cut, stock_of(SHOP).wall_mm))
    assert {f.check for f in found} == {
        "grip.spring", "grip.lip", "grip.insertion", "grip.bore", "grip.gap", "grip.ring", "grip.mouth", "grip.way",
    }  # fmt: skip
    assert worst(found) == "pass", found
    assert cut.lip_mm > 0.05 and cut.strain is not None and cut.strain <= stock_of(SHOP).strain
    hand = kit.part("hand_left").solid
    assert len(hand.components()) == 1 and kit.balance.residual_mm3 == pytest.approx(0.0, abs=1e-6)
    # The collision library, with a handle of its own: the drawn gap at home, a lip on the way out.
    handle, body = Body(cylinder(HANDLE / 2.0, -2.0, 8.0).mesh), Body(hand.mesh)
    assert distance(handle, body)[0] == pytest.approx(cut.clearance_mm, abs=0.02)
    meets = []
    for out in np.linspace(0.0, 6.0, 61):
        m = np.eye(4)
        m[0, 3] = out
        meets.append(touching(handle, body, m))
    assert not meets[0] and any(meets) and not meets[-1]


def test_thicker_fingers_spring_less() -> None:
    lips = [gripped(fist(wall))[1].lip_mm for wall in (1.0, 2.0, 3.0)]
    assert lips == sorted(lips, reverse=True)
    pushes = [gripped(fist(wall), Grip(**{**GRIP.__dict__, "mouth_mm": 3.86}))[1].push_n for wall in (1.0, 2.0, 3.0)]
    assert pushes == sorted(pushes)  # type: ignore[type-var]


def test_a_slit_behind_the_bore_lets_a_stiff_hand_spring() -> None:
    """In polylactide a fist of 1.5 mm around 4 mm gives by hundredths only; with a slit of 4 mm in its palm it holds."""
    stiff = load_workshop()
    stock = stock_of(stiff)
    palm = union([fist(), box((-12.0, -3.0, 0.0), (-1.0, 3.0, 6.0))])
    plain, bare = with_grip(kit_of(palm), GRIP, stiff.fits, stock)
    slit, cut = with_grip(kit_of(palm), Grip(**{**GRIP.__dict__, "slit_mm": 4.0}), stiff.fits, stock)
    assert bare is not None and cut is not None
    assert {f.verdict for f in plain.findings if f.check == "grip.lip"} == {"caution"}
    assert cut.lip_mm >= 2.0 * bare.lip_mm and cut.strain is not None and cut.strain <= stock.strain
    assert worst((*slit.findings, *grips(slit.part("hand_left"), cut, stock.wall_mm))) == "pass"
    # What the slit took more, by its closed form: as wide as the narrowest open slot, its end round.
    wide = max(stock.gap_mm, 0.3)
    more = plain.part("hand_left").solid.volume_mm3 - slit.part("hand_left").solid.volume_mm3
    assert more == pytest.approx(6.0 * (4.0 * wide - (bare.mouth_mm - cut.mouth_mm) * 1.5), rel=0.12)
    deep, none = with_grip(kit_of(palm), Grip(**{**GRIP.__dict__, "slit_mm": 30.0}), stiff.fits, stock)
    assert none is None and "slit" in deep.findings[-1].advice


def test_a_narrow_mouth_is_refused_by_its_strain_with_a_remedy() -> None:
    kit, cut = gripped(fist(), Grip(**{**GRIP.__dict__, "mouth_mm": 2.4}))
    (told,) = [f for f in kit.findings if f.check == "grip.spring"]
    assert told.verdict == "fail" and "mouth_mm" in told.advice and cut.strain is not None and cut.strain > 0.05


def test_a_closed_bore_takes_the_handle_from_its_end() -> None:
    kit, cut = gripped(fist(), Grip(**{**GRIP.__dict__, "opening": None}))
    assert cut.mouth_mm == 0.0 and cut.strain is None
    assert worst(grips(kit.part("hand_left"), cut, 0.6)) == "pass"
    took = fist().volume_mm3 - kit.part("hand_left").solid.volume_mm3
    assert took == pytest.approx(np.pi * (HANDLE / 2.0 + cut.clearance_mm) ** 2 * 6.0, rel=0.01)  # a cylinder's volume


def test_a_bore_that_breaks_out_or_misses_is_a_fail_with_a_remedy() -> None:
    kit, cut = gripped(fist(), Grip(**{**GRIP.__dict__, "point": (1.0, 0.0, 3.0), "opening": None}))
    (ring,) = [f for f in grips(kit.part("hand_left"), cut, 0.6) if f.check == "grip.ring"]
    assert ring.verdict == "fail" and "thinner handle" in ring.advice
    missed, none = with_grip(
        kit_of(fist()), Grip(**{**GRIP.__dict__, "point": (30.0, 0.0, 0.0)}), SHOP.fits, stock_of(SHOP)
    )
    assert none is None and missed.findings[0].verdict == "fail" and "point" in missed.findings[0].advice
    assert missed.parts[0].solid is not None and missed.balance.residual_mm3 == 0.0


def test_left_and_right_hands_are_mirror_images() -> None:
    mirror = np.diag([1.0, -1.0, 1.0, 1.0])
    lop = union([fist(), box((-1.0, 3.0, 0.0), (2.0, 4.2, 6.0))])  # a thumb on one side
    a, cut_a = gripped(lop)
    b, cut_b = gripped(lop.transformed(mirror))
    assert cut_a.mouth_mm == pytest.approx(cut_b.mouth_mm) and cut_a.push_n == pytest.approx(cut_b.push_n, rel=1e-3)
    assert a.parts[0].solid.volume_mm3 == pytest.approx(b.parts[0].solid.volume_mm3, rel=1e-6)


FILE = """\
schema = 1

[figure]
name = "fist"
sculpt = "fist.stl"
height_mm = 60.0

[skeleton]
template = "upright"

[grips.hand_left]
handle_mm = 4.0
point = [0.0, 0.0, 3.0]
axis = [0.0, 0.0, 1.0]
opening = [1.0, 0.0, 0.0]
"""


def test_a_figure_file_asks_for_grips_and_slips_name_their_line(tmp_path: Path) -> None:
    document = parse_figure(tmp_path / "figure.toml", FILE)
    assert isinstance(document.content, FigureFile) and grips_of(document) == (GRIP,)
    kit = grip_all(kit_of(fist()), grips_of(document), SHOP)
    assert worst(kit.findings) == "pass" and any(f.check == "grip.way" for f in kit.findings)
    for old, new, line in (
        ("opening = [1.0, 0.0, 0.0]", "opening = [0.0, 0.0, 1.0]", 11),
        ("axis = [0.0, 0.0, 1.0]", "axis = [0.0, 0.0, 0.0]", 11),
        ("handle_mm = 4.0", "handle = 4.0", 12),
    ):
        with pytest.raises(FigureFileError) as caught:
            parse_figure(tmp_path / "figure.toml", FILE.replace(old, new))
        assert caught.value.place.line == line, caught.value
    with pytest.raises(FigureFileError, match="no part hand_left"):
        check_grips(document, Skeleton("none", (Bone("trunk", None),), ()))


TOOL = """\
schema = 1
name = "boat hook"
mesh = "hook.stl"
handle_mm = 4.0
side = "left"
"""


def hook(folder: Path, head: float = 30.0) -> Path:
    """A staff of 4 mm with a barb on the mouth's side and a knob across it, ``head`` mm from the grip's middle."""
    solid = union(
        [
            cylinder(2.0, -20.0, 40.0),
            box((-1.0, -1.5, head), (6.0, 1.5, head + 4.0)),
            box((-1.0, 1.0, head), (1.0, 5.0, head + 3.0)),
        ]
    )
    (folder / "hook.stl").write_bytes(stl_bytes(solid.mesh))
    path = folder / "hook.toml"
    path.write_text(TOOL)
    return path


def held_in(folder: Path, head: float = 30.0, text: str = FILE) -> tuple[Kit, dict[str, Solid], dict[str, str]]:
    hook(folder, head)
    document = parse_figure(folder / "figure.toml", text.replace("handle_mm = 4.0", 'tool = "hook.toml"'))
    assert grips_of(document)[0].handle_mm == 4.0
    kit = grip_all(kit_of(fist()), grips_of(document), SHOP)
    tools, findings = hold_tools(document, kit, SHOP)
    return kit, tools, {f.check: f.verdict for f in findings}


def test_a_tool_of_the_locker_lies_in_the_hand_that_was_bored_for_it(tmp_path: Path) -> None:
    kit, tools, verdicts = held_in(tmp_path)
    (tool,) = tools.values()
    assert list(tools) == ["hand_left_boat_hook"] and verdicts == {"held.gap": "pass", "held.way": "pass"}
    assert tool.bounds[:, 2].tolist() == pytest.approx([-17.0, 43.0])  # the grip's middle is at z = 3
    gap = distance(Body(tool.mesh), Body(kit.part("hand_left").solid.mesh))[0]
    assert gap == pytest.approx(SHOP.fits.get("peg", 4.0).clearance_mm, abs=0.03)


def test_a_tool_whose_head_meets_the_hand_is_told(tmp_path: Path) -> None:
    _, _, verdicts = held_in(tmp_path, head=1.0)
    assert verdicts["held.gap"] == "fail"


def test_a_tool_without_its_handle_at_the_origin_is_refused_and_one_for_the_left_is_mirrored(tmp_path: Path) -> None:
    path = hook(tmp_path)
    left, right = read_tool(path, "left").solid, read_tool(path, "right").solid
    assert left.bounds[1, 1] == pytest.approx(5.0) and right.bounds[0, 1] == pytest.approx(-5.0)
    path.write_text(TOOL.replace("handle_mm = 4.0", "handle_mm = 4.4"))
    with pytest.raises(FigureFileError) as caught:
        read_tool(path)
    assert caught.value.code == "tool.handle" and caught.value.place.line == 4 and "handle_mm" in caught.value.hint
