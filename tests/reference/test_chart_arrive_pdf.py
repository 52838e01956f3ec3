"""PDF sheets made by three open libraries with differing text order, and what is no sheet.

Source: the PDF writers fpdf2, reportlab and matplotlib; python-docx for a word-processor file.
"""

import io

import pytest

pytest.importorskip("pdfplumber")
pytest.importorskip("fpdf")
pytest.importorskip("reportlab")

from sheet_pdfs import MAKERS, many_pages, scanned, two_copies, written_pdfs
from sheets import chords_right, make_sheet, over_words
from undersong.chart.arrive import read_sheet
from undersong.errors import ChartErrors

SHEETS = written_pdfs(32)


def test_every_maker_is_among_the_sheets() -> None:
    assert {sheet.name.partition(", ")[2] for sheet, _ in SHEETS} == set(MAKERS)


@pytest.mark.parametrize("sheet", range(len(SHEETS)), ids=lambda at: SHEETS[at][0].name)
def test_the_chords_of_a_pdf(sheet: int) -> None:
    known, data = SHEETS[sheet]
    right, total = chords_right(read_sheet(data, "sheet.pdf", known.settings), known.truth)
    assert right == total


def test_transposed_copies_of_one_song_are_read_once() -> None:
    sheet, data = two_copies(3)
    song = read_sheet(data, "sheet.pdf")
    assert song.key == sheet.key
    assert sum(len(section.bars) for section in song.sections) == sum(
        len(numbers) for _, numbers in sheet.sections
    )
    assert any("The same song follows" in remark.text for remark in song.report)


def test_a_scan_is_refused() -> None:
    with pytest.raises(ChartErrors, match="picture without text"):
        read_sheet(scanned(), "scan.pdf")


def test_too_many_pages_are_refused() -> None:
    with pytest.raises(ChartErrors, match="more than 40 pages"):
        read_sheet(many_pages(60), "book.pdf")


def test_a_file_of_another_word_processor_library() -> None:
    docx = pytest.importorskip("docx")
    document = docx.Document()
    sheet = make_sheet(5)
    for line in over_words(sheet, 5).split("\n"):
        document.add_paragraph(line)
    out = io.BytesIO()
    document.save(out)
    song = read_sheet(out.getvalue(), "sheet.docx")
    truth = [
        (name, [("0", str(chord)) for chord in sheet.letters(numbers)])
        for name, numbers in sheet.sections
    ]
    right, total = chords_right(song, truth)
    assert right == total
