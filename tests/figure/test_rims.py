"""Rims of cuts: none is left thinner than two printed lines, what was taken is told, and the ledger still closes.

Thickness is that of the proof: the largest inner ball (Ma, Bae & Choi, The Visual Computer 28 (2012), 7-19, from memory),
by code that shares nothing with the fields that took the feather edges off.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from condyle.figure.parting import fall
from condyle.figure.parting.blunt import Blunted, blunted
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.bvh import Bvh
from condyle.geometry.mesh import Mesh
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import subtract
from condyle.joints.stock import stock_of
from condyle.proof.wall import _balls, probes_of, thinnest
from condyle.workshop.bench import load_workshop
from tests.figure.limbs import Parted, parted, solid
from tests.figure.test_parting import whole
from tests.seating import bodies

STOCK = stock_of(load_workshop())
WALL = 2.0 * STOCK.line_mm
needs_data = pytest.mark.skipif(not bodies.available(), reason="the data set is not installed")


@cache
def hand(blunt: bool) -> Parted:
    """A human body of a data set, whose cuts leave chest and thighs at grazing angles."""
    sculpt, skeleton = solid(bodies.body("base").mesh), load_template("upright")
    with pytest.MonkeyPatch.context() as patch:
        if not blunt:
            patch.setattr(fall, "blunted", lambda parts, *_, **__: [Blunted(p, {}) for p in parts])
        return parted(sculpt, seat(sculpt, skeleton).joints, skeleton=skeleton)


def least(mesh: Mesh) -> float:
    bvh = Bvh(mesh)
    wall = thinnest(probes_of(mesh, bvh), bvh)
    return 99.0 if wall is None else wall.thickness_mm


def feathers_mm2(mesh: Mesh) -> float:
    """Area of skin over flesh thinner than half of two lines."""
    bvh = Bvh(mesh)
    probes = probes_of(mesh, bvh)
    probes = probes.chosen(probes.depths < WALL)
    if not len(probes.points):
        return 0.0
    size, _, walls = _balls(probes.points, probes.normals, probes.depths, bvh)
    return float(probes.areas[walls & (size < 0.5 * WALL)].sum())


@needs_data
@pytest.mark.slow
def test_grazing_cuts_leave_no_feather_edges() -> None:
    """Next to none: specks of a tenth of a square millimetre may stay, and the proof's wall.thickness tells each."""
    # The head has lids and lips of its own that are thin in the sculpt.
    without = sum(feathers_mm2(p.mesh) for p in hand(False).kit.parts if p.name != "head")
    assert without > 1.0, "no cut of this body grazes: the test shows nothing"
    left = {p.name: feathers_mm2(p.mesh) for p in hand(True).kit.parts if p.name != "head"}
    assert max(left.values()) < 0.1, left
    assert sum(left.values()) < 0.1 * without


@needs_data
@pytest.mark.slow
def test_what_was_taken_off_rims_is_told_and_counted() -> None:
    told = {f.subject: f for f in hand(True).kit.findings if f.check == "part.rims"}
    taken = sum(p.solid.volume_mm3 for p in hand(False).cut.parts) - sum(
        p.solid.volume_mm3 for p in hand(True).cut.parts
    )
    assert told and all(f.unit == "mm³" and f.verdict == "pass" for f in told.values())
    assert set(told) <= {j.name for j in hand(True).kit.joints if j.built}
    # Hardware fills a little of it again.
    assert sum(f.measured or 0.0 for f in told.values()) == pytest.approx(taken, rel=0.05, abs=0.1)
    whole(hand(True))


def wedge(angle_deg: float) -> float:
    """The thickness left of a wedge of this angle, cut by a marked plane tool."""
    block = box((0.0, -6.0, -10.0), (20.0, 6.0, 0.0))
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    lean = np.array([[c, 0, s, 0], [0, 1, 0, 0], [-s, 0, c, 0], [0, 0, 0, 1]])
    tool, mark = box((-40.0, -20.0, -40.0), (40.0, 20.0, 0.0)).transformed(lean).marked()
    flesh = subtract(block, [tool])
    (done,) = blunted([flesh], {mark: "cut"}, [], STOCK)
    assert done.flesh.volume_mm3 + sum(t.volume_mm3 for t in done.taken.get("cut", ())) == pytest.approx(
        flesh.volume_mm3, abs=1e-6
    )
    return least(done.flesh.mesh)


@pytest.mark.parametrize("angle_deg", [6.0, 12.0, 20.0, 28.0])
def test_a_wedge_ends_as_thick_as_two_lines(angle_deg: float) -> None:
    """Whatever its angle: a ball of two line widths reaches every place of what is left (to the fields' own 0.1 mm)."""
    assert wedge(angle_deg) >= WALL - 0.1


def test_sound_edges_are_left_alone() -> None:
    tool, mark = cylinder(3.0, -1.0, 20.0, "outside").marked()
    flesh = subtract(box((-10, -10, 0), (10, 10, 10)), [tool])
    (done,) = blunted([flesh], {mark: "cut"}, [], STOCK)
    assert done.taken == {}
