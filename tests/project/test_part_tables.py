"""[parts.NAME]: own printers, materials and ways up, and what is said about names that no part has."""

from __future__ import annotations

from pathlib import Path

import pytest

from condyle.errors import FigureFileError
from condyle.figure.parting import part
from condyle.project.joints import wishes
from condyle.project.part_tables import mixed_wishes, own_parts, with_own
from condyle.project.pipeline import open_figure, seat_joints, take_in_sculpt
from condyle.project.watch import Watch
from condyle.proof import prove
from condyle.workshop.bench import load_workshop
from condyle.workshop.mixed import between
from tests.cli.figures import bar_figure


def with_tables(folder: Path, joint: str, tables: str) -> Path:
    path = bar_figure(folder)
    path.write_text(path.read_text() + joint + "\n" + tables)
    return path


def test_an_insert_takes_its_own_material_and_way_up(tmp_path: Path) -> None:
    path = with_tables(
        tmp_path,
        'insert = "stud"',
        '[parts.middle_stud]\nmaterial = "petg"\nup = [0.0, 1.0, 0.0]\n[parts.lower]\nmaterial = "abs"\n',
    )
    opened = open_figure(path, keep=False)
    own = own_parts(opened.document, opened.skeleton)
    taken = take_in_sculpt(opened, Watch())
    joints, _ = seat_joints(opened, taken, Watch())
    asked = mixed_wishes(wishes(opened.document, opened.skeleton), opened.skeleton, opened.workshop, own)
    kit = with_own(part(taken.intake.solid, opened.skeleton, joints, opened.workshop, asked), own, opened.workshop)
    stud, lower, upper = kit.part("middle_stud"), kit.part("lower"), kit.part("upper")
    assert stud.workshop is not None and stud.workshop.material.name == "petg" and stud.build_up == (0.0, 1.0, 0.0)
    assert lower.workshop is not None and lower.workshop.material.name == "abs" and upper.workshop is None
    proof = prove(kit, taken.intake.solid, opened.skeleton, opened.workshop, workers=1)
    for name, card in (("middle_stud", "petg"), ("lower", "abs"), ("upper", "pla")):
        density = load_workshop(material=card).material.density_g_cm3.value
        assert proof.parts[name].mass_g == pytest.approx(kit.part(name).solid.volume_mm3 * density / 1000.0)


def test_fits_between_two_printers_lie_half_way() -> None:
    one, other = load_workshop("filament-200").fits, load_workshop("resin-200", "resin-stiff").fits
    mixed = between(one, other)
    for kind, size in (("ball", 6.0), ("peg", 4.0), ("hinge", 5.0)):
        a, b, m = (f.get(kind, size) for f in (one, other, mixed))
        assert m.clearance_mm == pytest.approx((a.clearance_mm + b.clearance_mm) / 2.0) and m.n == 0
        assert m.low_mm <= min(a.low_mm, b.low_mm) and m.high_mm >= max(a.high_mm, b.high_mm)


SLIPS = [
    ("", "[parts.lowre]\nmaterial = 'abs'\n", "figure.unknown_part", "lower"),
    ("", "[parts.middle_stud]\nmaterial = 'abs'\n", "figure.unknown_part", 'insert = "stud"'),
    ("", "[parts.lower]\nmaterial = 'oak'\n", "workshop.materials", "known"),
    ("", "[parts.lower]\ncolour = 'red'\n", "toml.unknown_key", ""),
    ("", "[parts.lower]\nup = [0.0, 0.0, 0.0]\n", "toml.value", ""),
    ('insert = "magnet"', "", "toml.value", ""),
]


@pytest.mark.parametrize(("joint", "tables", "code", "hint"), SLIPS)
def test_slips_are_refused_with_their_line(joint: str, tables: str, code: str, hint: str, tmp_path: Path) -> None:
    path = with_tables(tmp_path, joint, tables)
    with pytest.raises(FigureFileError) as caught:
        opened = open_figure(path, keep=False)
        own_parts(opened.document, opened.skeleton)
    assert caught.value.code == code and hint in caught.value.hint
    assert caught.value.place.line is not None and str(caught.value.place.file) == str(path)
