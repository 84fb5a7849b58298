"""The book as a PDF, read by an independent library, and as one web page."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser

import numpy as np
import pypdf
import pytest

from condyle.book.bind import bind
from condyle.book.chapters.safety import cautions_at, safety_entries
from condyle.book.chapters.verdicts import amount, spoken, to_look_at
from condyle.book.matter import (
    Arc,
    JointEntry,
    Matter,
    PartEntry,
    PlateEntry,
    ReachDrawing,
    StepEntry,
    Swatch,
    Table,
    Trouble,
    Verdicts,
)
from condyle.book.page import web_page
from condyle.finding import Finding
from condyle.geometry.raster import png_bytes

NAMES = [f"limb_{k}_left" for k in range(12)]


def matter() -> Matter:
    grey = png_bytes(np.full((60, 80, 3), 180, dtype=np.uint8))
    square = (((10.0, 10.0), (30.0, 10.0), (30.0, 40.0), (10.0, 40.0)),)
    table = Table("A table", ("part", "value"), tuple((n.replace("_", " "), "1 mm") for n in NAMES), "A note.")
    return Matter(
        figure="tide & <lamp> keeper",
        subtitle="a kit of 12 parts",
        facts=(("height", "150 mm"),),
        cover="grey.png",
        apart="grey.png",
        verdicts=(Verdicts("fit", "Do the parts fit?", 1, 2, 0, 9),),
        troubles=(Trouble("fail", "elbow left", "fit.gap", "0.05 mm", "0.1 mm", "Widen the kerf."),),
        joints=(
            JointEntry("elbow_left", "hinge", "6 mm", "limb 0 and limb 1", True, (("holds", "20 N·mm"),),
                       (Arc("flex", (0.0, 140.0), (-5.0, 121.0), "-6 ± 0.4° / +122 ± 0.5°"), Arc("twist", None, None)), "limb 1",
                       ReachDrawing(tuple((15.0 + 30.0 * k, 40.0, 60.0) for k in range(12)), 60.0), ("Relief took 3 mm³.",)),
            JointEntry("wrist_left", "ball", "", "limb 1 and limb 2", False, (), (), ""),
        ),
        parts=tuple(PartEntry(str(k), n, "grey.png", (("mass", "2 g"),), ("flat on its cut face",)) for k, n in enumerate(NAMES, 1)),
        plates=(PlateEntry("build-01", 200.0, 200.0, tuple((f"{k} {n}", square) for k, n in enumerate(NAMES, 1)), (("time", "2 h"),)),),
        finishing=(table,),
        finish_words=("Fill first.",),
        schedule=(table,),
        assembly=tuple(StepEntry(k, f"{n} into chest", ("Push.",), "grey.png", ((0.2, 0.2), (0.7, 0.6))) for k, n in enumerate(NAMES, 1)),
        assembly_words=("Fit dry.",),
        safety=safety_entries("resin", magnets=True),
        record=(Table("Route", ("part", "printed"), tuple((n, "") for n in NAMES)),),
        coupons=(table,),
        swatches=(Swatch("red", (200, 30, 20), "12 cm²"), Swatch("blue", (20, 40, 180), "3 cm²")),
        colour_map="grey.png",
        colours=(table,),
        masks=(table,),
        mask_words=("Push a cap over each ball.",),
        mask_picture="grey.png",
        cost=(table,),
        spares=(table,),
        cautions=cautions_at("resin"),
        pictures={"grey.png": grey},
    )  # fmt: skip


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return bind(matter())


def text_of(data: bytes) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages))


def test_the_same_matter_gives_the_same_bytes(pdf: bytes) -> None:
    assert bind(matter()) == pdf
    assert web_page(matter()) == web_page(matter())


def test_every_chapter_and_every_name_can_be_read(pdf: bytes) -> None:
    text = text_of(pdf)
    for words in (
        "tide & <lamp> keeper", "At a glance", "The kit", "Joints", "Not built", "121°", "Parts", "Plates", "Fits",
        "Putting it together", "Finishing", "Colours", "Masks and holders", "Order of work", "Cost, time and spares",
        "Working safely", "16 CFR 1501", "not a toy", "local rules", "qualified person", "Record", "Mind:",
    ):  # fmt: skip
        assert words in text, words
    for name in NAMES:
        # Parts, its plate, its step, two tables at least, and the record.
        assert text.count(name.replace("_", " ")) >= 6, name


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("us-letter", (215.9, 279.4))])
def test_paper(paper: str, size: tuple[float, float]) -> None:
    """ISO 216 A4, and ANSI/ASME Y14.1 A (letter), in mm; a point is 1/72 inch."""
    reader = pypdf.PdfReader(io.BytesIO(bind(matter(), paper)))  # type: ignore[arg-type]
    assert 12 <= len(reader.pages) <= 30
    for page in reader.pages:
        box = page.mediabox
        assert (float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72) == pytest.approx(size, abs=0.1)


def test_fonts_are_inside(pdf: bytes) -> None:
    """ISO 32000-1, 9.9: an embedded font has a font file in its descriptor."""
    fonts = 0
    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        for font in (page["/Resources"].get("/Font") or {}).values():
            for inner in font.get_object().get("/DescendantFonts", [font.get_object()]):
                descriptor = inner.get_object()["/FontDescriptor"]
                assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor.get_object())
                fonts += 1
    assert fonts >= 3


def test_no_date_and_no_name_of_the_machine(pdf: bytes) -> None:
    data = pypdf.PdfReader(io.BytesIO(pdf)).metadata
    assert data is not None
    assert data.title == "tide & <lamp> keeper, build book"
    assert "/CreationDate" not in data or str(data["/CreationDate"]).startswith("D:1970")


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.words: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag not in ("script", "link", "iframe", "object")
        self.links += [v or "" for k, v in attrs if k in ("src", "href")]
        if tag == "img":
            assert dict(attrs)["alt"]
        if tag not in ("meta", "img", "br", "path", "circle", "polygon"):
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Lines and circles of a drawing close themselves."""

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_the_page_fetches_nothing_and_says_the_same() -> None:
    reader = _Page()
    reader.feed(web_page(matter()).decode())
    assert reader.open == []
    assert reader.links
    assert all(link.startswith("data:image/png;base64,") for link in reader.links)
    words = " ".join(reader.words)
    for name in NAMES:
        assert name.replace("_", " ") in words
    for said in ("tide & <lamp> keeper", "Masks and holders", "16 CFR 1501", "121°"):
        assert said in words


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [(0.00897, "mm", "under 0.01 mm"), (0.012, "mm", "0.012 mm"), (1234.5, "mm³", "1,234 mm³"), (12.345, "g", "12.3 g"),
     (0.0, "mm", "0 mm"), (None, "mm", ""), (-0.004, "mm", "over -0.01 mm"), (0.0072, "", "0.0072")],
)  # fmt: skip
def test_numbers_have_three_digits_at_most(value: float | None, unit: str, said: str) -> None:
    assert amount(value, unit) == said


def test_what_many_parts_share_is_said_once_with_their_names_and_the_worst_first() -> None:
    told = [
        Finding("print.bearing", n, "caution", 2.0 + k, 1.0, "mm²", None, f"supports touch {n}")
        for k, n in enumerate(NAMES)
    ]
    fail = Finding("wall.hardware", "hip_left", "fail", 0.2, 0.9, "mm", None, "hip_left is thin: clearance_mm = 0.1")
    (first, many), more = to_look_at([*told, fail, Finding("fit.gap", "neck", "pass")])
    assert more == 0
    assert (first.verdict, first.subjects) == ("fail", "hip left")
    assert first.advice == "hip left is thin: clearance_mm = 0.1"
    assert all(n.replace("_", " ") in many.subjects for n in NAMES)
    assert (many.measured, many.wanted) == ("2 to 13 mm²", "1 mm²")
    assert many.advice.startswith("limb_11_left") or many.advice.startswith("limb 11 left")


def test_names_lose_their_underscores_and_keys_keep_them() -> None:
    words = "upper_arm_left meets knee_right_link: clearance_mm = 0.1, or [stand] sole_mm"
    assert spoken(words) == "upper arm left meets knee right link: clearance_mm = 0.1, or [stand] sole_mm"
