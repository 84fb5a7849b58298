"""The base and the spare studs lie on plates with the parts. Volumes and places are judged by trimesh."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from condyle.export import kit_files
from condyle.figure.kit import Balance, Kit, Part
from condyle.figure.soles import Soled
from condyle.geometry.formats import read_scene_bytes
from condyle.geometry.primitives import box, cylinder, sphere
from condyle.geometry.solid import union
from condyle.project.builds_step import pace_of, plan_builds
from condyle.project.cache import Cache
from condyle.project.extras_step import lay_extras
from condyle.project.figure_file import parse_figure
from condyle.project.watch import Watch
from condyle.proof.mass import part_masses
from condyle.proof.print import prints
from condyle.workshop.bench import load_workshop

STUD = union([sphere(2.0), cylinder(1.2, -4.0, 0.0), cylinder(1.6, -8.0, -4.0)])
FIGURE = """schema = 1
[figure]
name = "bar"
sculpt = "bar.stl"
height_mm = 60
[skeleton]
template = "upright"
"""
BASE = union([cylinder(18.0, -6.0, 0.0), cylinder(1.5, -1.0, 5.0)])


def test_a_base_and_a_second_stud_are_nested_with_the_parts(tmp_path) -> None:  # type: ignore[no-untyped-def]
    shop = load_workshop()
    parts = (
        Part("arm", "arm", box((-5, -5, 0), (5, 5, 20))),
        Part("wrist_stud", "arm", STUD, build_up=(1.0, 0.0, 0.0)),
    )
    kit = Kit(parts, (), Balance(0.0, 0.0, 0.0, 0.0, 0.0))
    printed = prints(kit, parts[0].solid, shop, {"wrist_stud": np.array([1.0, 0.0, 0.0])}, workers=1)
    written = kit_files(kit, accessories={"stand_base": BASE})
    masses = {n: m.printed.mass_g for n, m in part_masses(kit, shop).items()}
    document = parse_figure(tmp_path / "figure.toml", FIGURE)
    extras = lay_extras(
        document, Soled(kit, BASE, (), ()), kit, written, masses, printed, shop, (b"x",), Cache(None), Watch()
    )
    assert sorted(extras.meshes) == ["stand_base", "wrist_stud_spare"]
    assert extras.masses_g["wrist_stud_spare"] == masses["wrist_stud"]
    # Printed full it would weigh its volume, a hundred and more cubic millimetres of it loose inside.
    full = BASE.volume_mm3 * shop.material.density_g_cm3.value / 1000.0
    assert 0.3 * full < extras.masses_g["stand_base"] < full
    builds = plan_builds(
        {**written.meshes, **extras.meshes}, {**masses, **extras.masses_g}, extras.among(printed),
        {"arm": shop, "wrist_stud": shop, **extras.workshops}, lambda each: pace_of(each, tmp_path / "none"),
    )  # fmt: skip
    named = [n for b in builds.document() for n in b["parts"]]
    assert sorted(named) == ["arm", "stand_base", "wrist_stud", "wrist_stud_spare"]
    grams = sum(b.use.material_g for b in builds.builds)
    assert grams >= sum(masses.values()) + sum(extras.masses_g.values()) - 1e-6
    for data in builds.files.values():
        meshes = {m.name: m.mesh for m in read_scene_bytes(data, "build.3mf").meshes}
        lying = {n: trimesh.Trimesh(m.vertices, m.faces) for n, m in meshes.items()}
        if "stand_base" in lying:
            base = lying["stand_base"]
            assert base.is_watertight and base.bounds[0][2] == pytest.approx(0.0, abs=1e-3)
            # Its plate down: the peg is the highest of it.
            assert base.bounds[1][2] == pytest.approx(11.0, abs=0.05)
            assert base.volume == pytest.approx(BASE.volume_mm3, rel=0.02)
    assert set(extras.hashes()) == set(extras.meshes)
