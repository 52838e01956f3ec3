"""Made packs read back: every page of the demo's packs and of odd songs, by two libraries.

PDFium measures ink and draws, pypdf reads the catalogue, and an independent checker (the package
`page-validation`) holds the file against PDF/UA-1 [ISO 14289-1:2014].
"""

from __future__ import annotations

import datetime
import io
import re

import page as pdf_checker
import pdfplumber
import pypdf
import pytest

from page_reading import Leaf, Letter, catalogue, leaves, loose_fonts, outside, touching
from page_songs import (
    EDITION,
    LONG_TITLE,
    ODD_CHARTS,
    demo_pack,
    demo_set,
    demo_songs,
    made_demo_pack,
    odd_pack,
    odd_song,
    packed,
)
from undersong.chart.roadmap import duration_s
from undersong.drills.catalogue import drill_named, make_drill
from undersong.errors import PageError
from undersong.exchange import musicxml_bytes
from undersong.neck.instrument import Instrument
from undersong.page.pack import (
    Edition,
    PackPlayer,
    chart_pdf,
    chart_png,
    chart_svg,
    drill_pdf,
    pack_pdf,
    part_pdf,
)
from undersong.theory.key import parse_key

UA_1 = pdf_checker.ValidationProfile.PDF_UA_1
DEMO = [(0, "a4", "print"), (0, "letter", "print"), (1, "letter", "large"), (2, "a4", "black")]
SHEET_AND_LOOK = (("a4", "print"), ("letter", "large"))
ODD = [(name, *pair) for name in ODD_CHARTS for pair in SHEET_AND_LOOK]


def assert_pages_are_whole(pdf: bytes) -> None:
    """Nothing clipped, nothing over another, and something on every page."""
    for leaf in leaves(pdf):
        assert leaf.letters, f"page {leaf.number} is empty"
        assert not outside(leaf), f"page {leaf.number}"
        assert not leaf.inks_the_edge, f"page {leaf.number}"
        assert not touching(leaf), f"page {leaf.number}"
        assert EDITION.words in " ".join(leaf.text.split()), f"page {leaf.number}"


def assert_conforms(pdf: bytes) -> None:
    """PDF/UA-1 by an outside checker."""
    report = pdf_checker.validate_pdf_bytes(pdf, profile=UA_1)
    assert report.is_compliant, [failure.message for failure in report.failures][:5]
    assert report.rules.total > 100


@pytest.mark.parametrize(("place", "sheet", "look"), DEMO)
def test_every_page_of_a_demo_pack_is_whole(place: int, sheet: str, look: str) -> None:
    assert_pages_are_whole(demo_pack(place, sheet, look))


@pytest.mark.parametrize(("name", "sheet", "look"), ODD)
def test_every_page_of_an_odd_pack_is_whole(name: str, sheet: str, look: str) -> None:
    pdf = odd_pack(name, sheet, look)
    assert_pages_are_whole(pdf)
    assert loose_fonts(pdf) == []
    assert_conforms(pdf)


@pytest.mark.parametrize(("place", "sheet", "look"), DEMO)
def test_a_demo_pack_is_tagged_and_its_fonts_embedded(place: int, sheet: str, look: str) -> None:
    pdf = demo_pack(place, sheet, look)
    assert_conforms(pdf)
    assert loose_fonts(pdf) == []
    said = catalogue(pdf)
    player = demo_set().players[place]
    assert said.title == f"First Sunday of Advent, 29 November 2026: {player.name}"
    assert said.language == "en"
    assert said.is_tagged
    assert said.has_structure
    assert said.shows_title


def test_a_pack_has_a_page_for_each_thing_and_a_bookmark_to_it() -> None:
    marks = catalogue(demo_pack(0)).bookmarks
    for song in demo_songs():
        assert song.title in marks
        assert f"{song.title}: the line" in marks
        assert f"{song.title}: on the neck" in marks
    assert any(mark.endswith("to loop first") for mark in marks)
    assert {"First Sunday of Advent", "Iris", "This week", "Hands and ears"} <= set(marks)


def test_the_words_of_a_pack_can_be_found() -> None:
    text = " ".join(catalogue(demo_pack(0)).text.split())
    assert "Sunday, 29 November 2026" in text
    for song in demo_songs():
        assert song.title in text
    for words in ("♭7", "2-(7)", "♯4dim", "Sung by Mara", "Roadmap", "up a string, same fret"):
        assert words in text, words


def test_the_cover_sends_to_the_right_pages() -> None:
    reader = pypdf.PdfReader(io.BytesIO(demo_pack(0)))
    cover = reader.pages[0].extract_text()
    for song in demo_songs():
        mark = next(
            each
            for each in reader.outline
            if isinstance(each, pypdf.generic.Destination) and each.title == song.title
        )
        number = (reader.get_destination_page_number(mark) or 0) + 1
        row = cover[cover.index(song.title) :]
        minutes, seconds = divmod(round(duration_s(song)), 60)
        after = row[row.index(f"{minutes}:{seconds:02}") :].split()
        assert int(after[1]) == number, song.title


def test_a_long_title_is_printed_whole_and_bookmarked_whole() -> None:
    said = catalogue(odd_pack("title"))
    assert len(f"{LONG_TITLE} Tonight") >= 90
    assert f"{LONG_TITLE} Tonight" in said.bookmarks
    assert f"{LONG_TITLE} Tonight" in " ".join(said.text.split())


def test_a_song_of_120_bars_is_all_there() -> None:
    text = catalogue(odd_pack("long")).text
    assert "120 bars" in text
    assert "continued" in text


def test_the_same_pack_has_the_same_bytes() -> None:
    again = made_demo_pack(0, "a4", "print")
    assert again == demo_pack(0)


def test_a_new_edition_is_seen_on_every_page() -> None:
    song = odd_song("one bar")
    edition = Edition(datetime.date(2026, 11, 28), "4")
    for leaf in leaves(chart_pdf(song, edition=edition)):
        assert "edition 4, made 28 November 2026" in " ".join(leaf.text.split())


def test_every_look_and_sheet_is_named_when_wrong() -> None:
    song = odd_song("one bar")
    with pytest.raises(PageError, match="no look called gold: choose print, large, black"):
        chart_pdf(song, edition=EDITION, look="gold")
    with pytest.raises(PageError, match="choose a4 or letter"):
        chart_pdf(song, edition=EDITION, sheet="a3")


def test_a_pack_without_songs_is_a_cover_and_care() -> None:
    pdf = pack_pdf(
        "Empty", None, (), PackPlayer("Lea", 1, Instrument()), musicxml=musicxml_bytes,
        edition=EDITION,
    )  # fmt: skip
    assert len(list(leaves(pdf))) == 2
    assert_conforms(pdf)


def test_letters_of_a_minor_song_are_those_of_its_chart() -> None:
    song = demo_songs()[3]  # in Em, counted from G: its 6- is Em, its 3 is B
    assert str(song.key) == "Em"
    pdf = pack_pdf(
        "Letters", None, packed((song,), 1, Instrument()), PackPlayer("Lea", 1, Instrument()),
        musicxml=musicxml_bytes, edition=EDITION, with_letters=True,
    )  # fmt: skip
    words = set(catalogue(pdf).text.split())
    assert {"Em", "B7", "C", "Am7"} <= words
    assert not {"C♯m", "G♯7", "A♯m"} & words


def test_a_drill_is_a_page_of_its_own() -> None:
    drill, key = drill_named("scale"), parse_key("Ab")
    sheet = make_drill("scale", key)
    pdf = drill_pdf(
        sheet.part, Instrument(), musicxml=musicxml_bytes, edition=EDITION,
        purpose=drill.purpose, listen_for=drill.listen_for, mistakes=drill.common_mistakes,
        remarks=sheet.remarks,
    )  # fmt: skip
    assert_pages_are_whole(pdf)
    assert_conforms(pdf)
    text = " ".join(catalogue(pdf).text.split())
    assert sheet.part.title == "Scale of Ab"
    assert "Scale of A♭" in text
    assert "Ab" not in text.split()


def test_any_line_is_staff_and_tab() -> None:
    (song,) = packed((odd_song("twelve"),), 2, Instrument())
    pdf = part_pdf(song.part, musicxml=musicxml_bytes, edition=EDITION)
    assert_pages_are_whole(pdf)
    assert catalogue(pdf).title == song.part.title


def test_a_chart_is_also_a_picture() -> None:
    song = demo_songs()[4]
    svg = chart_svg(song, ground="evening")
    assert svg.startswith("<svg")
    assert "♯4" in svg
    png = chart_png(song, width_px=500)
    assert int.from_bytes(png[16:20], "big") == 500
    with pytest.raises(PageError, match="has one page: there is no page 2"):
        chart_svg(song, page=2)


# The checks themselves have to be able to fail.

LETTER = Letter("1", 100, 100, 108, 110)


def leaf(*letters: Letter) -> Leaf:
    return Leaf(1, 595, 842, "", letters, inks_the_edge=False)


def test_the_check_sees_letters_over_one_another() -> None:
    near = Letter("2", 104, 104, 112, 114)
    assert touching(leaf(LETTER, near)) == [(LETTER, near)]
    assert not touching(leaf(LETTER, Letter("2", 108, 100, 116, 110)))


def test_the_check_sees_a_letter_that_leaves_the_page() -> None:
    off = Letter("2", 590, 100, 598, 110)
    assert outside(leaf(LETTER, off)) == [off]


def test_the_check_sees_loose_fonts_and_missing_tags() -> None:
    writer = pypdf.PdfWriter()
    page = writer.add_blank_page(595, 842)
    font = pypdf.generic.DictionaryObject(
        {
            pypdf.generic.NameObject("/Type"): pypdf.generic.NameObject("/Font"),
            pypdf.generic.NameObject("/Subtype"): pypdf.generic.NameObject("/Type1"),
            pypdf.generic.NameObject("/BaseFont"): pypdf.generic.NameObject("/Helvetica"),
        }
    )
    fonts = pypdf.generic.DictionaryObject({pypdf.generic.NameObject("/F1"): font})
    page[pypdf.generic.NameObject("/Resources")] = pypdf.generic.DictionaryObject(
        {pypdf.generic.NameObject("/Font"): fonts}
    )
    out = io.BytesIO()
    writer.write(out)
    assert loose_fonts(out.getvalue()) == ["/Helvetica"]
    assert not catalogue(out.getvalue()).is_tagged
    assert not pdf_checker.validate_pdf_bytes(out.getvalue(), profile=UA_1).is_compliant


def test_the_boxes_to_tick_are_seen_on_black() -> None:
    pdf = demo_pack(2, look="black")
    week = next(leaf for leaf in leaves(pdf) if "This week" in leaf.text)
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        boxes = [each for each in document.pages[week.number - 1].rects if each["stroke"]]
    assert len(boxes) == len(re.findall(r"\d min\b", week.text))
    assert all(max(box["stroking_color"]) > 0.5 for box in boxes)
