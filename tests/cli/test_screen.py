"""The table of findings: grouped by joint in the skeleton's order, the worst first. Judged by reading what is drawn."""

from __future__ import annotations

import io

from rich.console import Console

from condyle.cli.screen import findings_table, tally
from condyle.finding import Finding

JOINTS = ["waist", "elbow_left"]
PAIRS = {frozenset(("pelvis", "chest")): "waist"}
FINDINGS = [
    Finding("wall.thickness", "hand_left", "caution", 0.7, 0.9, "mm", (1.0, 2.0, 3.0), "more flesh"),
    Finding("fit.insertion", "elbow_left upper_arm_left/elbow_left_link", "caution", 1.0, 2.0, "mm"),
    Finding("move.flex", "elbow_left", "fail", 10.0, 140.0, "°", None, "move the joint"),
    Finding("fit.skin_gap", "chest/pelvis", "unknown"),
    Finding("fit.free_gap", "waist", "pass", 0.2, 0.1, "mm"),
]


def drawn(*, everything: bool) -> list[str]:
    out = io.StringIO()
    Console(file=out, width=140).print(findings_table(FINDINGS, JOINTS, PAIRS, everything=everything))
    return [line.rstrip() for line in out.getvalue().splitlines() if line.strip()][2:]


def test_rows_come_by_joint_and_the_worst_first() -> None:
    rows = drawn(everything=False)
    assert [row.split()[0] for row in rows] == ["waist", "elbow_left", "(upper_arm_left/elbow_left_link)", "hand_left"]
    assert ["unknown" in rows[0], "fail" in rows[1], "caution" in rows[2], "caution" in rows[3]] == [True] * 4
    assert "more flesh at (1.0, 2.0, 3.0)" in rows[3]


def test_a_link_and_a_pair_are_named_in_full() -> None:
    findings = [
        Finding("wall.hardware", "elbow_left_link", "fail", 40_070.4, 0.9, "mm³"),
        Finding("seat.symmetry", "elbow_left/elbow_right", "caution"),
    ]
    out = io.StringIO()
    Console(file=out, width=140).print(findings_table(findings, JOINTS, {}, everything=False))
    assert "elbow_left (elbow_left_link)" in out.getvalue()
    assert "(elbow_left/elbow_right)" in out.getvalue()
    assert "40,070 mm³" in out.getvalue()


def test_what_is_said_of_many_is_said_once_below_with_all_their_names() -> None:
    lips = [
        Finding("joint.lip", f"joint_{k}", "caution", 0.05 + k / 100, 0.1, "mm", None, "try one first")
        for k in range(5)
    ]
    fails = [Finding("wall.hardware", f"part_{k}", "fail", 0.1, 0.9, "mm") for k in range(5)]
    out = io.StringIO()
    console = Console(file=out, width=160)
    console.print(findings_table([*lips, *FINDINGS, *fails], JOINTS, PAIRS, everything=False))
    text = out.getvalue()
    assert text.count("joint.lip") == 1 and text.count("try one first") == 1
    assert "0.05 mm to 0.09 mm" in " ".join(text.split())
    assert all(f"joint_{k}" in text for k in range(5))
    assert text.index("joint.lip") > text.index("hand_left")
    assert text.count("wall.hardware") == 5  # each fail by itself
    console.print(findings_table(lips, JOINTS, PAIRS, everything=True))
    assert out.getvalue().count("joint.lip") == 6


def test_what_passed_is_shown_on_request() -> None:
    assert len(drawn(everything=True)) == len(drawn(everything=False)) + 1


def test_the_tally_counts_in_words() -> None:
    assert tally(FINDINGS) == "1 fail, 2 caution, 1 unknown, 1 pass"
    assert tally([]) == "no findings"
