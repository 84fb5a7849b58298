"""Which measurement of a fit counts is decided by how the parts will lie, and the kit is cut accordingly."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from condyle.book.chapters.fits import fit_table
from condyle.cli.main import main
from condyle.figure.kit import Kit
from condyle.figure.layfigure import lay_figure
from condyle.figure.parting import part
from condyle.figure.skeleton_file import load_template, parse_skeleton
from condyle.joints.stock import stock_of
from condyle.project.fit_step import several_fits, with_planned_wishes
from condyle.project.pipeline import prove_figure
from condyle.project.watch import Watch
from condyle.proof.hold.capacity import HoldWanted, grips
from condyle.proof.planned import planned_build, with_planned_fits
from condyle.workshop.bench import Workshop, load_workshop
from condyle.workshop.fits import Fit, Fits

SHOP = load_workshop()
BAR = (
    'schema = 1\nname = "bar"\nheight_mm = 80\n[bones.post]\n[bones.arm]\nparent = "post"\n'
    '[joints.middle]\nkind = "ball"\nsize = 8.0\nparent = "post"\nchild = "arm"\ncentre = [0.0, 0.0, 0.5]\nthick = 0.11\n'
    "wanted = { flex = [-20.0, 20.0] }\n"
)
UPRIGHT = Fit(-0.04, -0.06, -0.02, 7, "measured on 2026-11-20: 7 joints felt", 0.012, "pla", "upright", "none")
LYING = Fit(0.05, 0.03, 0.07, 7, "measured on 2026-11-21: 7 joints felt", 0.012, "pla", "lying", "none")


@cache
def bar() -> Kit:
    lay = lay_figure(parse_skeleton(BAR, "bar.toml"), 80.0, SHOP.fits, stock_of(SHOP))
    return part(lay.sculpt, lay.skeleton, list(lay.joints), SHOP)


def laid(columns: tuple[Any, ...] = (), **ups: tuple[float, float, float]) -> Any:
    """What the printing step tells of parts: the direction up of each, and its columns."""
    return SimpleNamespace(parts={
        n: SimpleNamespace(orientation=SimpleNamespace(direction=np.array(up) / np.linalg.norm(up)), columns=columns)
        for n, up in ups.items()
    })  # fmt: skip


def shop_with(*fits: Fit) -> Workshop:
    first, *others = fits
    return replace(SHOP, fits=SHOP.fits.overridden_by(Fits({"ball": {8.0: replace(first, also=tuple(others))}})))


WAYS: list[tuple[dict[str, Any], str]] = [
    ({"post": (0, 0, 1), "arm": (0, 0, -1)}, "upright"),  # as the coupon: stud or mouth up on both plates
    ({"post": (0, 0, 1), "arm": (0, 0.6, -1)}, "leaning"),  # 31 degrees off
    ({"post": (0, 0, 1), "arm": (1, 0, 0)}, "lying"),
    ({"post": (0, 1, 0), "arm": (0, 0, -1)}, "lying"),
    ({"post": (0, 0, 1), "arm": (0, 0, 1)}, "upside down"),
]


@pytest.mark.parametrize(("ups", "words"), WAYS)
def test_how_parts_lie_in_the_words_of_the_coupons(ups: dict[str, Any], words: str) -> None:
    assert planned_build(bar().joints[0], {n: np.array(v) / np.linalg.norm(v) for n, v in ups.items()}) == words


def test_the_link_of_a_double_hinge_lies_on_its_coupon() -> None:
    lay = lay_figure(load_template("upright"), 150.0, SHOP.fits, stock_of(SHOP), only=("elbow_left",))
    (elbow,) = part(lay.sculpt, lay.skeleton, list(lay.joints), SHOP).joints
    z, x = elbow.seated.frame.z, elbow.seated.frame.x
    ends = {"upper_arm_left": z, "forearm_left": -z}
    assert planned_build(elbow, {**ends, "elbow_left_link": x}) == "link lying"
    assert planned_build(elbow, {**ends, "elbow_left_link": z}) == "link standing"
    assert planned_build(elbow, {**ends, "forearm_left": x, "elbow_left_link": x}) == "lying"


def test_the_way_it_lies_decides_which_measurement_is_drawn() -> None:
    kit, shop = bar(), shop_with(UPRIGHT, LYING)
    assert several_fits(kit, shop, {}) and not several_fits(kit, shop_with(UPRIGHT), {})
    as_coupon, flat = laid(**WAYS[0][0]), laid(**WAYS[2][0])
    assert with_planned_wishes(kit, as_coupon, shop, {}) == {}
    wish = with_planned_wishes(kit, flat, shop, {})["middle"]
    assert wish.fits is not None and wish.fits.get("ball", 8.0).clearance_mm == LYING.clearance_mm
    again = part_with(wish)
    assert again.joints[0].clearance_mm == LYING.clearance_mm
    # A clearance that the maker wrote is the maker's.
    assert (
        with_planned_wishes(kit, flat, shop, {"middle": replace(wish, fits=None, clearance_mm=0.0)})["middle"].fits
        is None
    )


def part_with(wish: Any) -> Kit:
    lay = lay_figure(parse_skeleton(BAR, "bar.toml"), 80.0, SHOP.fits, stock_of(SHOP))
    return part(lay.sculpt, lay.skeleton, list(lay.joints), SHOP, {"middle": wish})


def test_felt_otherwise_is_a_first_guess_and_said_so() -> None:
    """Only felt upright: lying, or with supports on the ball, it is a guess, wider, and its grip is less sure."""
    shop = shop_with(UPRIGHT)
    centre = bar().joints[0].axles[0].centre
    touching = SimpleNamespace(touches=2, stands_on=None, place=centre)
    told = {}
    for name, how in {"coupon": laid(**WAYS[0][0]), "lying": laid(**WAYS[2][0]),
                      "supports": laid((touching,), **WAYS[0][0])}.items():  # fmt: skip
        kit, (finding,) = with_planned_fits(bar(), how, shop, {})
        told[name] = (finding, kit.joints[0].fit, grips(kit, shop, HoldWanted())["middle"])
    assert [f.verdict for f, _, _ in told.values()] == ["pass", "unknown", "unknown"]
    assert told["coupon"][0].measured == 7.0 and told["coupon"][2].measured
    for name, word in (("lying", "build lying"), ("supports", "supports touching the joint")):
        finding, fit, grip = told[name]
        assert word in finding.advice and "first guess" in finding.advice and "upright" in finding.advice
        assert fit is not None and fit.n == 0 and fit.spread_mm > UPRIGHT.spread_mm + 0.02 and not grip.measured
        assert grip.new.high - grip.new.low > told["coupon"][2].new.high - told["coupon"][2].new.low


def test_the_book_calls_a_guess_what_was_felt_otherwise() -> None:
    shop = shop_with(UPRIGHT)
    joints = [{"name": "middle", "kind": "ball", "size": 8.0, "built": True}]
    for how, stands_on in ((laid(**WAYS[0][0]), "7 printed"), (laid(**WAYS[2][0]), "a guess")):
        kit, _ = with_planned_fits(bar(), how, shop, {})
        fit = kit.joints[0].fit
        assert fit is not None
        table = fit_table(joints, shop, {"middle": fit})
        assert table is not None and [row[4] for row in table.rows] == [stands_on]
    untold = fit_table(joints, shop)
    assert untold is not None and untold.rows[0][4] == "7 printed"


def calibrated(folder: Path) -> None:
    """A printer file from two sheets: the same ladder felt upright, and felt 0.08 mm looser to be good when lying."""
    for number, (build, felt) in enumerate((("upright", ("will not go", "tight", "good", "good", "loose", "falls out")),
                                            ("lying", ("will not go", "will not go", "will not go", "tight", "good", "good")))):  # fmt: skip
        answers = "\n".join(f'{k} = "{f}"' for k, f in enumerate(felt, 1))
        (folder / "answers.toml").write_text(
            f'schema = 1\ncoupon = "ladder {number}"\ndate = "2026-11-2{number}"\n[printed]\nprinter = "filament-200"\n'
            f'material = "pla"\n[ladder.ball.8]\nbuild = "{build}"\ndrawn_mm = [-0.12, -0.08, -0.04, 0.0, 0.04, 0.08]\n'
            f"[ladder.ball.8.felt]\n{answers}\n"
        )
        assert main(["calibrate", str(folder / "answers.toml"), "--into", str(folder / "mine.toml"), "--no-ask"]) == 0


def test_a_printer_file_keeps_what_was_felt_either_way(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    calibrated(tmp_path)
    assert "pla, lying" in (said := capsys.readouterr().out) and "pla, upright" in said
    fit = load_workshop(str(tmp_path / "mine.toml")).fits.get("ball", 8.0)
    (other,) = fit.also
    assert (fit.build, fit.n, other.build, other.n) == ("lying", 6, "upright", 6)
    assert 0.04 < fit.clearance_mm - other.clearance_mm < 0.12
    assert fit.elsewhere(build="upright").clearance_mm == other.clearance_mm
    assert fit.elsewhere(build="upside down").n == 0
    # A size that was never felt is guessed from the sizes that were felt the same way.
    six = load_workshop(str(tmp_path / "mine.toml")).fits.get("ball", 6.0)
    lying, upright = six.elsewhere(build="lying"), six.elsewhere(build="upright")
    assert lying.n == upright.n == 0 and 0.03 < lying.clearance_mm - upright.clearance_mm < 0.12
    petg = load_workshop(str(tmp_path / "mine.toml"), "petg").fits.get("ball", 8.0).elsewhere(build="upright")
    assert petg.n == 0 and petg.clearance_mm == other.clearance_mm


@pytest.mark.slow
def test_the_kit_is_cut_for_the_way_that_its_parts_will_lie(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    calibrated(tmp_path)
    (tmp_path / "bar.toml").write_text(BAR)
    main(
        [
            "layfigure",
            str(tmp_path / "bar.toml"),
            "--out",
            str(tmp_path / "bar"),
            "--printer",
            str(tmp_path / "mine.toml"),
        ]
    )
    capsys.readouterr()
    figure = tmp_path / "bar" / "figure.toml"
    text, drawn = figure.read_text(), {}
    for name, (post, arm) in {"upright": ([0, 0, 1], [0, 0, -1]), "lying": ([0, 1, 0], [0, 1, 0])}.items():
        figure.write_text(
            f"{text}\n[parts.post]\nup = {[float(v) for v in post]}\n[parts.arm]\nup = {[float(v) for v in arm]}\n"
        )
        result = prove_figure(figure, Watch(), keep=False)
        (joint,) = result.kit.joints
        drawn[name] = joint.clearance_mm
        assert joint.fit is not None and joint.fit.build == name
        assert [f.verdict for f in result.findings if f.check == "fit.measured"] == [
            "pass" if joint.fit.n else "unknown"
        ]
    known = load_workshop(str(tmp_path / "mine.toml")).fits.get("ball", 8.0)
    assert drawn == {"lying": known.clearance_mm, "upright": known.also[0].clearance_mm}
