"""The whole diver on the plate: what no maker would forgive does not happen."""

from __future__ import annotations

import numpy as np
import pytest

from condyle.build.process import rules_of
from condyle.demo.diver import diver
from condyle.figure.parting import part
from condyle.figure.seating import seat
from condyle.figure.skeleton_file import load_template
from condyle.geometry.solid import solid_from_mesh
from condyle.proof.print import prints
from condyle.workshop.bench import load_workshop


@pytest.mark.slow
def test_the_diver_prints():
    workshop = load_workshop()
    sculpt = solid_from_mesh(diver(60_000))
    skeleton = load_template("upright")
    kit = part(sculpt, skeleton, seat(sculpt, skeleton).joints, workshop)
    proof = prints(kit, sculpt, workshop)
    rules = rules_of(workshop.printer)
    assert set(proof.parts) == {p.name for p in kit.parts}
    assert [f for f in proof.findings if f.verdict == "fail"] == []
    for name, told in proof.parts.items():
        solid = kit.part(name).solid
        low = solid.mesh.transformed(told.orientation.transform).bounds[0]
        assert low[2] == pytest.approx(0.0, abs=1e-6)
        # Each island has a column of its own within two widths of a column of its middle: a long one is held at its ends.
        tops = np.array([c.place for c in told.columns]).reshape(-1, 3)
        for spot in told.of("island"):
            assert np.linalg.norm(tops - spot.place, axis=1).min() < 2.0 * rules.column_mm
        # What lies best needs less than standing as the figure does would, on the whole: never more support than part.
        assert told.support_mm3 < solid.volume_mm3
        assert len(told.orientation.alternatives) == 2
    # A boot stands on its sole.
    for side in ("left", "right"):
        assert proof.parts[f"foot_{side}"].orientation.direction @ [0, 0, 1] > 0.999
    fits = {f.subject: f for f in proof.fits}
    assert len(fits) >= 20
    for fit in fits.values():
        # The printer eats about 0.1 mm per side; steps and lying bores change that by less.
        assert -0.16 < fit.gap_mm - fit.drawn_mm < 0.0, fit.subject
