"""The page as a maker uses it, in Chromium. The journeys are in the .mjs files beside this one: WCAG 2.2 by axe-core's
rules, requests by the browser's own account of them."""

from __future__ import annotations

import shutil

import pytest

from condyle.atlas.export import export
from condyle.atlas.jobs import perform
from condyle.atlas.worker import Order
from condyle.project.coupon_folder import CouponWish, write_coupons
from condyle.project.watch import Watch
from tests.cli.figures import SKELETON, bar_figure, bar_stl

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def made_bar(tmp_path_factory):
    path = bar_figure(tmp_path_factory.mktemp("made") / "bar")
    perform(Order("make", path, path.parent / "kit", {}), Watch())
    return path


@pytest.fixture
def bar(made_bar, tmp_path):
    shutil.copytree(made_bar.parent, tmp_path / "bar")
    return tmp_path / "bar" / made_bar.name


def test_from_a_dropped_sculpt_to_a_downloaded_kit(browser, served, tmp_path):
    sculpt = tmp_path / "given.stl"
    sculpt.write_bytes(bar_stl())
    figure = tmp_path / "work" / "figure.toml"
    figure.parent.mkdir()
    (figure.parent / "skeleton.toml").write_text(SKELETON)
    browser("path.mjs", served(figure), sculpt, figure, tmp_path / "taken", limit_s=1500.0)
    assert (tmp_path / "taken" / "kit.3mf").read_bytes()[:2] == b"PK"
    assert (tmp_path / "taken" / "book.pdf").read_bytes()[:5] == b"%PDF-"


def test_no_plate_has_a_serious_barrier_on_either_paper(browser, served, bar):
    browser("plates.mjs", served(bar))


def test_masks_contact_and_what_droops_are_told_and_a_front_is_found_by_turning(browser, served, bar):
    browser("told.mjs", served(bar), bar)


def test_everything_by_keys(browser, served, bar):
    browser("keys.mjs", served(bar), bar, "middle")


def test_coupon_results_are_entered(browser, served, bar):
    write_coupons(CouponWish(bar.parent / "coupons", what=("ladder",), families=("ball",), sizes_mm=(6.0,)))
    browser("coupons.mjs", served(bar), bar, bar.parent / "coupons" / "answers.toml")


def test_a_copy_shows_and_poses_without_a_server(browser, bar, tmp_path):
    export(bar, bar.parent / "kit", tmp_path / "copy.html")
    browser("copy.mjs", (tmp_path / "copy.html").as_uri())
