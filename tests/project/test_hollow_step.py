"""Parts hollowed on request: resin alone, the ledger kept, and the reason told where a part stays full."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from condyle.figure.kit import Balance, Kit, Part
from condyle.geometry.primitives import box
from condyle.project.cache import Cache
from condyle.project.hollow_step import hollow_kit
from condyle.project.part_tables import OwnPart
from condyle.project.watch import Watch
from condyle.workshop.bench import load_workshop

BODY, TIP = box((0, 0, 0), (20, 16, 24)), box((0, 0, 24), (4, 4, 40))
KIT = Kit((Part("body", "body", BODY), Part("tip", "tip", TIP)), (), Balance(9000.0, 7936.0, 1064.0, 0.0, 0.0))
RESIN = load_workshop("resin-150", "resin-stiff")


def asked(kit=KIT, workshop=RESIN, **walls):
    own = {n: OwnPart(None, None, w) for n, w in walls.items()}
    sculpt = box((-30, -30, -30), (60, 60, 60))
    return hollow_kit(own, 0.0, kit, sculpt, workshop, [b"inputs"], Cache(None), Watch())


def test_a_resin_part_is_hollowed_and_the_balance_still_closes():
    kit, (finding,) = asked(body=2.0)
    body = kit.part("body").solid
    mesh = trimesh.Trimesh(body.mesh.vertices, body.mesh.faces, process=False)
    took = BODY.volume_mm3 - mesh.volume
    assert mesh.is_watertight and took > 0.45 * BODY.volume_mm3
    assert kit.balance.residual_mm3 == pytest.approx(KIT.balance.residual_mm3, abs=1e-6)
    assert kit.balance.voids_mm3 - KIT.balance.voids_mm3 == pytest.approx(took, rel=1e-6)
    assert kit.part("tip").solid is TIP
    assert (finding.verdict, finding.target) == ("pass", 2.0)
    assert finding.measured is not None and finding.measured >= 2.0
    assert f"{took:.0f} mm³" in finding.advice


def test_the_same_request_gives_the_same_bytes():
    one, other = (asked(body=2.0)[0].part("body").solid.mesh for _ in range(2))
    assert np.array_equal(one.vertices, other.vertices) and np.array_equal(one.faces, other.faces)


def test_filament_and_small_parts_stay_full_and_say_why():
    kit, (finding,) = asked(workshop=load_workshop(), body=2.0)
    assert kit.part("body").solid is BODY
    assert finding.verdict == "caution" and "resin" in finding.advice
    kit, (finding,) = asked(tip=2.0)
    assert kit.part("tip").solid is TIP
    assert finding.verdict == "caution" and "stays full" in finding.advice
    # A part of its own workshop is asked by that one.
    mixed = replace(KIT)
    own = {"body": OwnPart(RESIN, None, 2.0)}
    sculpt = box((-30, -30, -30), (60, 60, 60))
    kit, (finding,) = hollow_kit(own, 0.0, mixed, sculpt, load_workshop(), [], Cache(None), Watch())
    assert finding.verdict == "pass"


def test_the_workshops_wall_is_for_every_resin_part_that_has_none_of_its_own():
    sculpt = box((-30, -30, -30), (60, 60, 60))
    own = {"tip": OwnPart(None, None, 0.0)}
    kit, findings = hollow_kit(own, 2.0, KIT, sculpt, RESIN, [b"inputs"], Cache(None), Watch())
    assert kit.part("body").solid.volume_mm3 < 0.6 * BODY.volume_mm3 and kit.part("tip").solid is TIP
    assert [f.subject for f in findings] == ["body"]
    # A filament printer fills its parts loosely by itself, and is not asked.
    assert hollow_kit({}, 2.0, KIT, sculpt, load_workshop(), [], Cache(None), Watch()) == (KIT, ())


def test_nothing_asked_changes_nothing():
    assert asked() == (KIT, ())
