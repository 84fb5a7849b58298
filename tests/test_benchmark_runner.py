"""The benchmark runner's table, judged by eye: rows, missing cells, text as it is."""

from __future__ import annotations

from dataclasses import dataclass

from benchmarks.__main__ import markdown, peak_mib


@dataclass
class Row:
    name: str
    ratio: float


def test_rows_become_a_table() -> None:
    table = "| name | ratio |\n| --- | --- |\n| a | 1.235 |\n| b | 2 |"
    assert markdown([Row("a", 1.23456), Row("b", 2.0)]) == table
    assert markdown([{"name": "a", "ratio": 1.23456}, {"name": "b", "ratio": 2}]) == table
    assert markdown([{"a": 1}, {"b": 2}]) == "| a | b |\n| --- | --- |\n| 1 |  |\n|  | 2 |"
    assert markdown("as it is") == "as it is"
    assert markdown(None) == markdown([]) == ""


def test_peak_memory_is_in_mebibytes() -> None:
    peak = peak_mib()
    # An interpreter takes some mebibytes and less than a tebibyte: a slip of 1024 would leave this range.
    assert peak is None or 4 < peak < 1_000_000
