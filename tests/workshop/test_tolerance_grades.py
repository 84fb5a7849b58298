"""IT grades against ISO 286-1: its table, and the formula behind it."""

from __future__ import annotations

import math

import pytest

from condyle.errors import UsageError
from condyle.workshop.tolerance import GRADES, accuracy_in_words, grade_near, tolerance_mm
from tests.published import Published

# ISO 286-1, standard tolerances in µm for 6 to 10 mm, IT6 to IT13.
SIX_TO_TEN = dict(zip([f"IT{n}" for n in range(6, 14)], [9, 15, 22, 36, 58, 90, 150, 220], strict=True))


@pytest.mark.parametrize(("grade", "micron"), SIX_TO_TEN.items())
def test_table_six_to_ten(published: Published, grade: str, micron: float) -> None:
    found = tolerance_mm(grade, 8.0) * 1000
    source = "ISO 286-1, table of standard tolerances"
    published(f"standard tolerance {grade} over 6 to 10 mm", found, micron, unit="µm", tolerance=0.05, source=source)


@pytest.mark.parametrize(("low", "high"), [(3, 6), (6, 10), (10, 18)])
def test_table_follows_its_formula(low: float, high: float) -> None:
    # i = 0.45·D^⅓ + 0.001·D µm, D the geometric mean of the range; IT6 10i, IT7 16i, IT8 25i, IT9 40i, IT10 64i, IT11 100i,
    # then tenfold every five grades (ISO 286-1, from memory). The table is rounded to whole µm: within 10 %.
    mean = math.sqrt(low * high)
    unit = 0.45 * mean ** (1 / 3) + 0.001 * mean
    for grade, times in {6: 10, 7: 16, 8: 25, 9: 40, 10: 64, 11: 100, 12: 160, 13: 250, 14: 400, 16: 1000}.items():
        assert tolerance_mm(f"IT{grade}", mean) * 1000 == pytest.approx(times * unit, rel=0.1), grade


def test_ranges_include_their_upper_end() -> None:
    # "over 6 up to and including 10" (ISO 286-1).
    found = [tolerance_mm("IT7", size) for size in (3.0, 6.0, 6.001, 10.0, 18.0)]
    assert found == pytest.approx([0.010, 0.012, 0.015, 0.015, 0.018])


@pytest.mark.parametrize("size", [2.0, 5.0, 8.0, 15.0])
def test_grades_rise_and_name_themselves(size: float) -> None:
    widths = [tolerance_mm(grade, size) for grade in GRADES]
    assert len(widths) == 20 and widths == sorted(set(widths))
    assert [grade_near(width, size) for width in widths] == list(GRADES)


def test_printer_accuracy_in_words() -> None:
    assert accuracy_in_words(0.055, 8.0) == "about IT13"  # 4 × 0.055 = 0.22 mm, IT13 at 8 mm
    assert accuracy_in_words(0.0225, 8.0) == "about IT11"


def test_nonsense_is_refused() -> None:
    for call, code in [
        (lambda: tolerance_mm("IT19", 8.0), "tolerance.grade"),
        (lambda: tolerance_mm("IT7", 0.0), "tolerance.size"),
        (lambda: tolerance_mm("IT7", 19.0), "tolerance.size"),
        (lambda: tolerance_mm("IT7", math.nan), "tolerance.size"),
        (lambda: grade_near(0.0, 8.0), "tolerance.width"),
    ]:
        with pytest.raises(UsageError) as caught:
            call()
        assert caught.value.code == code
