"""The typesetter's door: sheets, signs no face has, words that are not markup, same bytes."""

from __future__ import annotations

import datetime
import io

import pypdf
import pytest

from undersong.errors import PageError
from undersong.page.carepage import care, dose_minutes
from undersong.page.ground import PAPER, PRINT
from undersong.page.marks import Drawing, text
from undersong.page.pdf import (
    SHEETS,
    Document,
    document_pdf,
    drawing_png,
    drawn,
    figure,
    said,
    sheet_named,
)

MM_PER_PT = 25.4 / 72


def one_page(source: str, *, title: str = "T") -> bytes:
    made_on = datetime.date(2026, 11, 24)
    return document_pdf(Document(title, (source,), SHEETS["a4"], PRINT, "foot", made_on))


@pytest.mark.parametrize(
    ("name", "width_mm", "height_mm"),
    [
        ("a4", 210.0, 297.0),
        ("A4", 210.0, 297.0),
        ("letter", 215.9, 279.4),
        ("US Letter", 215.9, 279.4),
    ],
)
def test_sheets_have_the_published_sizes(name: str, width_mm: float, height_mm: float) -> None:
    # ISO 216; ANSI/ASME Y14.1
    sheet = sheet_named(name)
    assert (sheet.width_mm, sheet.height_mm) == (width_mm, height_mm)
    pdf = document_pdf(Document("T", ('#text("x")',), sheet, PRINT))
    box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert float(box.width) * MM_PER_PT == pytest.approx(width_mm, abs=0.05)
    assert float(box.height) * MM_PER_PT == pytest.approx(height_mm, abs=0.05)


def test_an_unknown_sheet_is_named_with_the_choices() -> None:
    with pytest.raises(PageError, match="no sheet called a5: choose a4 or letter"):
        sheet_named("a5")


def test_a_sign_no_face_has_is_named() -> None:
    with pytest.raises(PageError, match="The sign 😀 cannot be printed"):
        one_page(said("smile 😀"))


def test_a_missing_sign_in_a_picture_is_found_too() -> None:
    drawing = Drawing(50, 20, (text(5, 10, "😀", 5.0),), "d", "d")
    with pytest.raises(PageError, match="cannot be printed"):
        one_page(figure(drawing, PRINT))


@pytest.mark.parametrize("words", ["Ça ira", "Στάσις", "Žluť", "Łódź", "Ночь", "B♭ F♯ 𝄪𝄫 △7 ø7"])
def test_words_of_other_tongues_are_printed(words: str) -> None:
    text_back = pypdf.PdfReader(io.BytesIO(one_page(said(words)))).pages[0].extract_text()
    assert words in text_back


@pytest.mark.parametrize(
    "words", ['#import "x"', "= head $x$ *b* _i_ `c`", '"quoted\\" #', "a\\b", "] #pagebreak() ["]
)
def test_words_are_never_markup(words: str) -> None:
    drawing = Drawing(180, 20, (text(5, 10, words, 5.0, heading=1),), words, words)
    pdf = one_page(said(words) + "\n" + drawn(drawing, PRINT), title=words)
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert len(reader.pages) == 1
    assert words in reader.pages[0].extract_text()
    assert reader.metadata is not None
    assert reader.metadata.title == words


def test_the_same_pages_make_the_same_bytes() -> None:
    assert one_page(said("x")) == one_page(said("x"))


def test_a_picture_is_as_wide_as_asked() -> None:
    drawing = Drawing(100, 50, (text(5, 20, "♭", 9.0),))
    png = drawing_png(drawing, PAPER, width_px=400)
    assert int.from_bytes(png[16:20], "big") == 400
    assert int.from_bytes(png[20:24], "big") == 200


@pytest.mark.parametrize("width_px", [0, 15, 20_001])
def test_a_silly_picture_is_refused(width_px: int) -> None:
    with pytest.raises(PageError, match="16 to 20000"):
        drawing_png(Drawing(100, 50, ()), PAPER, width_px=width_px)


@pytest.mark.parametrize(
    ("level_db", "minutes"), [(85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15)]
)
def test_the_sound_dose_is_the_published_table(level_db: int, minutes: float) -> None:
    # NIOSH 98-126, as in trade handbook 9.1
    assert dose_minutes(level_db) == pytest.approx(minutes)


def test_the_page_on_care_sends_to_qualified_people() -> None:
    page = pypdf.PdfReader(io.BytesIO(one_page(care(PRINT)))).pages[0].extract_text()
    said_there = " ".join(page.split())
    for words in (
        "qualified people come first",
        "clinician",
        "electrician",
        "hearing professional",
    ):
        assert words in said_there
