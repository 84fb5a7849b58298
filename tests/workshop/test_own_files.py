"""The maker's own files: overrides that work, and every mistake on its line."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from condyle.errors import FigureFileError, UsageError
from condyle.workshop.bench import load_workshop
from condyle.workshop.fits import Fit, Fits, parse_fits
from condyle.workshop.material import parse_material
from condyle.workshop.printer import parse_printer


def card(what: str, name: str) -> str:
    return (resources.files("condyle.workshop") / "cards" / what / f"{name}.toml").read_text(encoding="utf-8")


def line_with(text: str, start: str) -> int:
    return next(i for i, line in enumerate(text.splitlines(), 1) if line.startswith(start))


FIT = """
[fits.{key}]
clearance_mm = {{ value = {value}, sd = 0.01, source = "measured on 2026-11-20" }}
low = {low}
high = {high}
n = 12
"""


def fit_text(key: str, value: float, low: float = -0.5, high: float = 0.5) -> str:
    return FIT.format(key=key, value=value, low=low, high=high)


def test_a_printer_file_brings_its_own_fits(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(card("printers", "filament-200") + fit_text("ball.6", -0.06) + fit_text('ball."7.5"', -0.07))
    shop = load_workshop(str(path))
    starter = load_workshop()
    assert shop.printer.name == "mine" and shop.printer.line_mm == starter.printer.line_mm
    assert (shop.fits.get("ball", 6.0).clearance_mm, shop.fits.get("ball", 6.0).n) == (-0.06, 12)
    assert shop.fits.get("ball", 7.5).clearance_mm == -0.07
    assert shop.fits.get("ball", 8.0) == starter.fits.get("ball", 8.0)
    assert shop.fits.get("ball", 6.5) == starter.fits.get("ball", 6.5)  # the family default
    assert shop.fits.get("peg", 3.0) == starter.fits.get("peg", 3.0)


def test_fits_file_goes_over_the_printers(tmp_path: Path) -> None:
    printer, fits = tmp_path / "mine.toml", tmp_path / "fits.toml"
    printer.write_text(card("printers", "filament-200") + fit_text("ball.6", -0.06) + fit_text("peg.4", 0.11))
    fits.write_text("schema = 1\n" + fit_text("ball.6", -0.02))
    shop = load_workshop(str(printer), fits_file=fits)
    assert shop.fits.get("ball", 6).clearance_mm == -0.02
    assert shop.fits.get("peg", 4).clearance_mm == 0.11
    # Another printer's whole file may lend its fits, but not across processes.
    assert load_workshop(fits_file=printer).fits.get("peg", 4).clearance_mm == 0.11
    with pytest.raises(FigureFileError, match="filament printer"):
        load_workshop("resin-200", "resin-ductile", fits_file=printer)


def test_a_measured_default_outweighs_guesses_for_single_sizes() -> None:
    guess, found = Fit(-0.03, -0.1, 0.1, 0, "prior: x"), Fit(-0.05, -0.06, -0.04, 20, "measured")
    own = Fit(-0.01, -0.02, 0.0, 8, "measured")
    merged = Fits({"ball": {None: guess, 6.0: guess, 8.0: own}}).overridden_by(Fits({"ball": {None: found}}))
    assert merged.get("ball", 6.0) == found
    assert merged.get("ball", 8.0) == own


def test_windows_line_ends_and_a_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + card("printers", "resin-150").replace("\n", "\r\n").encode())
    assert load_workshop(str(path), "resin-ductile").printer.plate_mm == (150.0, 150.0, 200.0)


PRINTER_SLIPS = [
    ("layer_mm", "layers_mm = 1", "toml.unknown_key", "unknown key layers_mm"),
    ("layer_mm", 'layer_mm = "thin"', "toml.value", "layer_mm"),
    ("layer_mm", "layer_mm = 0.2", "toml.value", "layer_mm"),
    ("layer_mm", 'layer_mm = { value = "0.2", sd = 0.1, source = "x" }', "toml.value", "layer_mm.value"),
    ("layer_mm", 'layer_mm = { value = true, sd = 0.1, source = "x" }', "toml.value", "layer_mm.value"),
    ("layer_mm", 'layer_mm = { value = 0.2, source = "x" }', "toml.missing_key", "layer_mm.sd is missing"),
    ("layer_mm", 'layer_mm = { value = 0.2, sd = -0.1, source = "x" }', "toml.value", "layer_mm.sd"),
    ("layer_mm", 'layer_mm = { value = 0.2, sd = 0.1, source = "" }', "toml.value", "layer_mm.source"),
    ("layer_mm", 'layer_mm = { value = nan, sd = 0.1, source = "x" }', "toml.value", "layer_mm.value"),
    ("layer_mm", 'layer_mm = { value = -0.2, sd = 0.1, source = "x" }', "toml.value", "outside what is possible"),
    ("layer_mm", 'layer_mm = { value = 0.2, sd = 0, source = "prior: x" }', "toml.value", "cannot be certain"),
    ("layer_mm", 'layer_mm = { value = 0.2, sd = 0.1, src = "x", source = "y" }', "toml.unknown_key", "layer_mm.src"),
    ("overhang_deg", 'overhang_deg = { value = 120, sd = 1, source = "x" }', "toml.value", "outside what is possible"),
    ("plate_mm", "plate_mm = [200.0, 200.0]", "toml.value", "plate_mm"),
    ("plate_mm", "plate_mm = [200.0, 200.0, -1.0]", "toml.value", "plate_mm.2"),
    ("process", 'process = "magic"', "toml.value", "process"),
    ("schema", "schema = 2", "toml.value", "schema"),
    ("schema", "schema = 1 2", "toml.syntax", "not valid TOML"),
]


@pytest.mark.parametrize(("key", "line", "code", "words"), PRINTER_SLIPS)
def test_a_slip_in_a_printer_file_is_named_with_its_line(key: str, line: str, code: str, words: str) -> None:
    text = card("printers", "filament-150")
    at = line_with(text, key + " ")
    lines = text.splitlines()
    lines[at - 1] = line
    with pytest.raises(FigureFileError) as caught:
        parse_printer("\n".join(lines), "mine", "mine.toml")
    error = caught.value
    assert (error.code, error.place.file, error.place.line) == (code, "mine.toml", at)
    assert words in error.message


FIT_SLIPS = [
    (fit_text("knob.6", 0.0), "fits.knob", 3),
    (fit_text("ball.six", 0.0), "(got 'six')", 3),
    (fit_text("ball.6.5", 0.0), '"6.5"', 3),
    (fit_text("ball.900", 0.0), "(got '900')", 3),
    (fit_text("ball.6", 0.3, high=0.1), "in this order", 3),
    (fit_text("ball.6", 7.0, high=9.0), "outside what is possible", 4),
    (fit_text("ball.6", 0.0).replace("n = 12", "n = 0"), "n = 0 is a prior", 3),
    (fit_text("ball.6", 0.0).replace("n = 12", "n = 1.5"), "fits.ball.6.n", 7),
    (fit_text("ball.6", 0.0).replace("n = 12", "n = 12\nmood = 1"), "unknown key fits.ball.6.mood", 8),
]


@pytest.mark.parametrize(("text", "words", "line"), FIT_SLIPS)
def test_a_slip_in_the_fits(text: str, words: str, line: int) -> None:
    with pytest.raises(FigureFileError) as caught:
        parse_fits("schema = 1\n" + text, "fits.toml")
    assert words in caught.value.message
    assert caught.value.place.line == line


def test_a_material_whose_repeated_strain_is_the_larger() -> None:
    text = card("materials", "pla").replace("value = 0.0072", "value = 0.072")
    with pytest.raises(FigureFileError, match="cannot exceed strain_once"):
        parse_material(text, "mine", "mine.toml")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"schema = 1\n\xff\xfe")
    cases = [
        (str(tmp_path / "none.toml"), "toml.unreadable"),
        (str(tmp_path / "nul\0.toml"), "toml.unreadable"),
        (str(binary), "toml.encoding"),
    ]
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    cases.append((str(folder), "toml.unreadable"))
    empty = tmp_path / "empty.toml"
    empty.write_text("")
    cases.append((str(empty), "toml.missing_key"))
    for name, code in cases:
        with pytest.raises(FigureFileError) as caught:
            load_workshop(name)
        assert caught.value.code == code, name


def test_asking_for_a_fit_that_is_not_there() -> None:
    fits = load_workshop().fits
    for kind, size, code in [("knob", 6.0, "fit.kind"), ("ball", -1.0, "fit.size"), ("ball", float("nan"), "fit.size")]:
        with pytest.raises(UsageError) as caught:
            fits.get(kind, size)
        assert caught.value.code == code
