"""The maker's printer file as text: started from a card, given new derived values, its history only ever added to."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence

import tomlkit
from tomlkit.items import InlineTable, Table

from condyle.workshop.calibration.calibrate import Calibration
from condyle.workshop.calibration.records import Record
from condyle.workshop.fits import Fit
from condyle.workshop.printer import CALIBRATED, PrinterFile
from condyle.workshop.values import Measured

_HISTORY = re.compile(r"^[ \t]*\[\[[ \t]*history[ \t]*\]\]", re.MULTILINE)

_HEAD = """\
# My printer. Begun from the card {card!r}; `condyle calibrate` writes what your coupons told. Name it in figure.toml:
# [workshop] printer = "{name}", or fits = "{name}" for its fits and materials alone.
"""

_HISTORY_HEAD = """
# What was felt and read, oldest first. Only ever added to; every derived value above follows from it and from [before].
"""


def started_from(card_text: str, card: str, name: str) -> str:
    """A printer file of the maker's own, from a card's text."""
    return _HEAD.format(card=card, name=name) + card_text


def with_results(text: str, file: PrinterFile, found: Calibration, added: Sequence[Record]) -> str:
    """The text with new records at its end and derived values renewed; what was in the history stays to the byte."""
    at = _HISTORY.search(text)
    head, tail = (text, "") if at is None else (text[: at.start()], text[at.start() :])
    comment = _HISTORY_HEAD.strip("\n")
    head = head.replace(comment, "").rstrip("\n") + "\n"
    document = tomlkit.parse(head)
    if "before" not in document:
        document["before"] = _before(file)
    for name, number in found.printer.items():
        document[name] = _number(number)
    for material, numbers in found.materials.items():
        table = _table(_table(document, "materials"), material)
        for name, number in numbers.items():
            table[name] = _number(number)
    for family, sizes in found.neighbours.items():
        for size, fit in sizes.items():
            _table(_table(document, "fits"), family)[_size(size)] = _fit(fit)
    for result in found.fits:
        _table(_table(document, "fits"), result.family)[_size(result.size_mm)] = _fit(result.fit)
    kept = tomlkit.dumps(document).rstrip("\n") + "\n" + _HISTORY_HEAD
    entries = "".join("\n" + record_text(r) for r in added)
    return kept + (tail.rstrip("\n") + "\n" if tail else "") + entries


def record_text(record: Record) -> str:
    """One ``[[history]]`` entry."""
    lines = ["[[history]]"]
    values = record.model_dump(by_alias=True, exclude_none=True, exclude_defaults=False)
    order = ["what", "date", "coupon", "print", *(k for k in values if k not in ("what", "date", "coupon", "print"))]
    for key in order:
        if values[key] not in ("", []):
            lines.append(f"{key} = {json.dumps(values[key], ensure_ascii=False)}")
    return "\n".join(lines) + "\n"


def _before(file: PrinterFile) -> Table:
    table = tomlkit.table()
    numbers = tomlkit.table()
    for name in CALIBRATED:
        numbers[name] = _number(file.before[name])
    table["numbers"] = numbers
    if file.fits_before.by_kind:
        fits = tomlkit.table(is_super_table=True)
        for family, sizes in file.fits_before.by_kind.items():
            inner = tomlkit.table(is_super_table=True)
            for size, fit in sizes.items():
                inner[_size(size)] = _fit(fit)
            fits[family] = inner
        table["fits"] = fits
    return table


def _table(parent: tomlkit.TOMLDocument | Table, name: str) -> Table:
    if name not in parent:
        parent[name] = tomlkit.table(is_super_table=True)
    found = parent[name]
    assert isinstance(found, Table)
    return found


def _number(m: Measured) -> InlineTable:
    table = tomlkit.inline_table()
    table.update({"value": m.value, "sd": m.sd, "source": m.source})
    return table


def _fit(fit: Fit) -> Table:
    table = tomlkit.table()
    table["clearance_mm"] = _number(Measured(fit.clearance_mm, fit.sd_mm, fit.source))
    table["low"], table["high"], table["n"] = fit.low_mm, fit.high_mm, fit.n
    under: Mapping[str, str] = {k: getattr(fit, k) for k in ("material", "build", "supports", "cure")}
    for key, value in under.items():
        if value:
            table[key] = value
    if fit.also:
        others = tomlkit.aot()
        for other in fit.also:
            others.append(_fit(other))
        table["also"] = others
    return table


def _size(size: float | None) -> str:
    return "default" if size is None else f"{size:g}"
