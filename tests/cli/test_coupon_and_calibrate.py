"""The first day at the printer: coupons out, answers in, and figures that are cut by what was felt."""

from __future__ import annotations

import json
from pathlib import Path

import lib3mf
import numpy as np
import pytest
import trimesh

from condyle.cli import calibrate as command
from condyle.cli.guesses import guess_line, guessed_joints
from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.skeleton import Bone, JointSpec, SeatedJoint, Skeleton
from condyle.figure.wishes import JointWish
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import frame_from_zx
from condyle.geometry.primitives import cylinder
from condyle.joints.coupons.halves import SERIES
from condyle.project import coupon_folder, printer_file
from condyle.workshop.bench import Workshop, load_workshop
from condyle.workshop.calibration.questions import with_answer
from tests.cli.figures import bar_figure, call, tree

FELT = ("will not go", "will not go", "tight", "tight", "good", "good", "loose")


@pytest.fixture(scope="module")
def coupon(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A coupon folder with walls and one ladder."""
    folder = tmp_path_factory.mktemp("first") / "coupon"
    coupon_folder.write_coupons(coupon_folder.CouponWish(folder, what=("ladder", "walls"), sizes_mm=(6.0,)))
    return folder


def filled(coupon: Path, folder: Path, felt: tuple[str, ...] = FELT) -> Path:
    """A sheet with a ladder's answers in a folder of its own."""
    text = (coupon / "answers.toml").read_text()
    for mark, answer in enumerate(felt, 1):
        text = with_answer(text, ("ladder", "ball", "6", "felt", str(mark)), answer)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "answers.toml").write_text(text)
    return folder / "answers.toml"


def test_the_files_of_a_coupon(coupon: Path) -> None:
    """3MF judged by lib3mf, STL by trimesh: closed bodies, apart, as many as were laid out, within 120 mm."""
    assert sorted(p.name for p in coupon.iterdir()) == [
        "answers.toml", "ladder-ball-6.3mf", "ladder-ball-6.stl", "walls.3mf", "walls.stl",
    ]  # fmt: skip
    body = trimesh.load(coupon / "ladder-ball-6.stl", process=True)
    assert body.is_watertight and body.body_count == 8 and body.volume > 0
    assert (np.ptp(body.bounds, axis=0)[:2] <= 120.0).all() and abs(body.bounds[0, 2]) < 1e-6
    model = lib3mf.Wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(coupon / "ladder-ball-6.3mf"))
    assert reader.GetWarningCount() == 0
    objects = model.GetMeshObjects()
    names = []
    while objects.MoveNext():
        mesh = objects.GetCurrentMeshObject()
        names.append(mesh.GetName())
        assert mesh.IsManifoldAndOriented()
    assert names == ["sockets", *(f"stud-{k}" for k in range(1, 8))]


def test_what_the_command_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = call(
        capsys,
        "coupon",
        "--out",
        tmp_path / "c",
        "--what",
        "ladder",
        "steps",
        "--family",
        "swivel",
        "peg",
        "--size",
        "5",
    )
    assert told.code == 0 and not told.err
    for words in ("ladder-swivel-5.3mf", "ladder-peg-5.3mf", "steps.3mf", "min", " g", "without supports", "children under three",
                  "hot", "condyle calibrate"):  # fmt: skip
        assert words in told.out, words
    assert "%" not in told.out  # no score of any simulation is shown
    sheet = (tmp_path / "c" / "answers.toml").read_text()
    assert "[ladder.swivel.5.felt]" in sheet and "[ladder.peg.5.felt]" in sheet and "glasses" in sheet


def test_a_ball_too_small_for_wide_steps_gets_a_closer_ladder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = call(capsys, "coupon", "--out", tmp_path / "c", "--family", "ball", "--size", "2.5")
    assert told.code == 0 and "ladder-ball-2p5.3mf" in told.out
    body = trimesh.load(tmp_path / "c" / "ladder-ball-2p5.stl", process=True)
    assert body.is_watertight and body.body_count == 8
    assert '[ladder.ball."2.5".felt]' in (tmp_path / "c" / "answers.toml").read_text()


def test_resin_is_handled_with_its_own_cautions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = call(capsys, "coupon", "--out", tmp_path / "c", "--what", "walls", "--printer", "resin-150", "--material",
                "resin-stiff")  # fmt: skip
    sheet = (tmp_path / "c" / "answers.toml").read_text()
    assert told.code == 0 and "gloves" in told.out and "fully cured" in told.out
    assert 'cure = "washed and cured"' in sheet and "gloves" in sheet


@pytest.mark.parametrize(
    ("more", "code", "words"),
    [
        (["--size", "6.3"], 2, "coupon.size"),
        (["--size", "6", "--count", "40"], 2, "coupon.count"),
        (["--printer", "no-such"], 2, "workshop.printers"),
        (["--material", "resin-ductile"], 2, "workshop.process"),
        (["--family", "knob"], 2, "usage"),
        (["--fits", "nowhere.toml"], 3, "toml.unreadable"),
    ],
)
def test_what_cannot_be_is_refused_and_leaves_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], code: int, words: str
) -> None:
    told = call(capsys, "coupon", "--out", tmp_path / "c", *more)
    assert told.code == code and words in told.err and not list(tmp_path.iterdir())


def test_a_folder_with_answers_is_never_replaced(coupon: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = tree(coupon)
    told = call(capsys, "coupon", "--out", coupon, "--what", "walls")
    assert told.code == 2 and "out.not_empty" in told.err and tree(coupon) == before


def test_interrupted_coupons_leave_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> bytes:
        raise KeyboardInterrupt

    monkeypatch.setattr(coupon_folder, "stl_bytes", stop)
    with pytest.raises(KeyboardInterrupt):
        coupon_folder.write_coupons(coupon_folder.CouponWish(tmp_path / "c", what=("walls",)))
    assert not list(tmp_path.iterdir())


def test_answers_become_a_printer_file(coupon: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = filled(coupon, tmp_path / "c")
    told = call(capsys, "calibrate", tmp_path / "c", "--into", tmp_path / "mine.toml")
    assert told.code == 0 and not told.err
    fit = load_workshop(str(tmp_path / "mine.toml")).fits.get("ball", 6.0)
    assert f"{fit.clearance_mm:+.3f} mm" in told.out and f"{fit.low_mm:+.3f} and" in told.out
    for words in (
        "begun from the card filament-200",
        "90 % sure",
        "Still guesses",
        "hinge",
        "children under three",
        "[workshop]",
    ):
        assert words in told.out, words
    assert "% of prints" not in told.out and "reliab" not in told.out
    again = call(capsys, "calibrate", sheet, "--into", tmp_path / "mine.toml")
    assert again.code == 0 and "already" in again.out


def test_nothing_is_asked_off_a_terminal(coupon: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = call(capsys, "calibrate", coupon, "--into", tmp_path / "mine.toml")
    assert told.code == 3 and "calibration.empty" in told.err and "answers.toml, line" in told.err
    assert not (tmp_path / "mine.toml").exists()


def test_bad_answers_name_file_line_and_remedy(
    coupon: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = filled(coupon, tmp_path / "c")
    call(capsys, "calibrate", sheet, "--into", tmp_path / "mine.toml")
    before = (tmp_path / "mine.toml").read_bytes()
    sheet.write_text(sheet.read_text().replace('7 = "loose"', '7 = "wobbly"').replace("print = 1", "print = 2"))
    told = call(capsys, "calibrate", sheet, "--into", tmp_path / "mine.toml")
    line = next(k for k, words in enumerate(sheet.read_text().splitlines(), 1) if "wobbly" in words)
    assert told.code == 3 and f"answers.toml, line {line}" in told.err and "'falls out'" in told.err
    assert (tmp_path / "mine.toml").read_bytes() == before


def test_questions_at_a_terminal(
    coupon: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Numbers, words and their beginnings are answers; Enter leaves a blank; nonsense is asked again; a full stop ends."""
    folder = tmp_path / "c"
    folder.mkdir()
    (folder / "answers.toml").write_text((coupon / "answers.toml").read_text())
    said = iter(["whole", "", "gaps", "x", "", "", "", "5", "wil", "tight", "good", "", "."])
    monkeypatch.setattr("builtins.input", lambda _: next(said))
    monkeypatch.setattr(command.sys.stdin, "isatty", lambda: True)
    monkeypatch.setattr(command.sys.stdout, "isatty", lambda: True)
    told = call(capsys, "calibrate", folder, "--into", tmp_path / "mine.toml")
    assert told.code == 0 and "first letters" in told.out
    text = (folder / "answers.toml").read_text()
    walls = text[text.index("[walls.stood]") :].splitlines()[1:7]
    assert [w.split("#")[0].split("=")[1].strip() for w in walls] == ['"whole"', '""', '"gaps"', '""', '""', '""']
    felt = text[text.index("[ladder.ball.6.felt]") :].splitlines()[1:6]
    assert [f.split("#")[0].split("=")[1].strip() for f in felt] == [
        '"will not go"', '"will not go"', '"tight"', '"good"', '""',
    ]  # fmt: skip
    assert "# drawn" in felt[0]
    with pytest.raises(StopIteration):
        next(said)


@pytest.fixture
def mine(coupon: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """A printer file in which the ladder's answers stand."""
    call(capsys, "calibrate", filled(coupon, tmp_path / "c"), "--into", tmp_path / "mine.toml")
    return tmp_path / "mine.toml"


def test_joints_are_cut_by_what_was_felt(mine: Path) -> None:
    """The same bar parted with the starter's fits and with the measured ones: the socket's radius moves by the difference."""
    shops = load_workshop(), load_workshop(fits_file=mine)
    fits = [shop.fits.get("ball", 6.0) for shop in shops]
    assert abs(fits[1].clearance_mm - fits[0].clearance_mm) > 0.02
    kits = [parted(shop) for shop in shops]
    assert [k.joints[0].clearance_mm for k in kits] == [f.clearance_mm for f in fits]
    moved = [after - before for before, after in zip(*(radii(k) for k in kits), strict=True)]
    # One side is the ball, which stays; the other is the socket.
    assert min(moved, key=abs) == pytest.approx(0.0, abs=0.005)
    assert max(moved, key=abs) == pytest.approx(fits[1].clearance_mm - fits[0].clearance_mm, abs=0.012)


def parted(workshop: Workshop) -> Kit:
    """A round bar of two bones with a 6 mm ball joint in its middle."""
    spec = JointSpec("middle", "ball", "lower", "upper", (0.0, 0.0, 0.5), wanted={"flex": (-20.0, 20.0)})
    skeleton = Skeleton("bar", (Bone("lower", None), Bone("upper", "lower")), (spec,), 70.0)
    frame = frame_from_zx(np.array([0.0, 0.0, 35.0]), np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    seated = [SeatedJoint(spec, frame, (0.0, 0.0, 1.0), source="hand")]
    return part(cylinder(10.0, 0.0, 70.0), skeleton, seated, workshop, {"middle": JointWish(kind="ball", size_mm=6.0)})


def radii(kit: Kit) -> list[float]:
    """Of each part, the distance from the joint's centre to its first surface, over level rays a little up and down."""
    turn, rise = np.meshgrid(np.linspace(0.0, 2 * np.pi, 240, endpoint=False), np.radians([-12.0, -8.0, 8.0, 12.0]))
    ways = np.stack([np.cos(turn) * np.cos(rise), np.sin(turn) * np.cos(rise), np.sin(rise)], axis=-1).reshape(-1, 3)
    out = []
    for piece in sorted(kit.parts, key=lambda p: p.name):
        reach = Bvh(piece.solid.mesh).rays(np.tile([0.0, 0.0, 35.0], (len(ways), 1)), ways)
        out.append(float(np.median(reach[(reach > 2.7) & (reach < 3.3)])))
    return out


@pytest.mark.slow
def test_a_figure_file_refers_to_it(mine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    figure = bar_figure(tmp_path / "bar")
    text = figure.read_text() + 'kind = "ball"\nsize = 6.0\n'
    for name, more in (("before", ""), ("after", '\n[workshop]\nfits = "../mine.toml"\n')):
        figure.write_text(text + more)
        assert call(capsys, "make", figure, "--out", tmp_path / name).code in (0, 1)
        joint = json.loads((tmp_path / name / "proof.json").read_text())["joints"][0]
        shop = load_workshop(fits_file=mine if more else None)
        assert joint["clearance_mm"] == pytest.approx(shop.fits.get("ball", 6.0).clearance_mm)


def test_printer_file_is_written_whole(
    coupon: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> str:
        return "schema = "

    sheet = filled(coupon, tmp_path / "c")
    monkeypatch.setattr(printer_file, "with_results", broken)
    told = call(capsys, "calibrate", sheet, "--into", tmp_path / "mine.toml")
    assert told.code == 3 and not (tmp_path / "mine.toml").exists()


def test_joints_cut_by_a_guess_are_named_with_their_coupon(mine: Path) -> None:
    joints = [
        {
            "kind": "ball",
            "size": 6.0,
            "clearance_mm": load_workshop().fits.get("ball", 6.0).clearance_mm,
            "built": True,
        },
        {"kind": "peg", "size": 4.0, "clearance_mm": load_workshop().fits.get("peg", 4.0).clearance_mm, "built": True},
        {"kind": "peg", "size": 4.0, "clearance_mm": load_workshop().fits.get("peg", 4.0).clearance_mm, "built": True},
        {"kind": "hinge", "size": 6.0, "clearance_mm": 0.2, "built": True},  # set by hand
        {"kind": "custom", "size": 6.0, "clearance_mm": 0.2, "built": True},
        {"kind": "swivel", "size": None, "clearance_mm": None, "built": False},
    ]
    assert guessed_joints(joints, load_workshop()) == {("ball", 6.0): 1, ("peg", 4.0): 2}
    line = guess_line(joints, load_workshop())
    assert (
        "condyle coupon --family peg --size 4 --printer filament-200 --material pla" in line and "ball 6, peg 4" in line
    )
    shop = load_workshop(str(mine))
    felt = [{**joints[0], "clearance_mm": shop.fits.get("ball", 6.0).clearance_mm}]
    assert guess_line(felt, shop) == ""


def test_a_peg_between_sizes_is_measured_on_the_nearest_coupon() -> None:
    """An insert's peg is as thick as its flesh allows; coupons come in their series."""
    peg = {
        "kind": "peg",
        "size": 6.864,
        "clearance_mm": load_workshop().fits.get("peg", 6.864).clearance_mm,
        "built": True,
    }
    line = guess_line([peg], load_workshop())
    size = float(line.split("--size ")[1].split()[0])
    assert size in SERIES["peg"] and abs(size - 6.864) == min(abs(s - 6.864) for s in SERIES["peg"])
    assert "peg 6.9 mm" in line
