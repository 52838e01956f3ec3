"""Engraving: lines of four bars, the page's own words, nothing outside, any ground."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from lxml import etree

from undersong.drills.catalogue import make_drill
from undersong.errors import PageError
from undersong.exchange import musicxml_bytes
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.page.ground import BLACK, PRINT, Ground
from undersong.page.lettering import BOLD, FAMILY, text_width
from undersong.page.notation import BARS_A_LINE, LARGE_STAFF_MM, System, engraved
from undersong.page.packpages import swing_words
from undersong.theory.key import Key, parse_key
from undersong.theory.tempo import Swing

SVG = "{http://www.w3.org/2000/svg}"
WIDTH_MM = 180.0


def lines(
    name: str = "scale",
    key: str = "G",
    *,
    bass: Instrument | None = None,
    ground: Ground = PRINT,
    staff_mm: float = 7.2,
    with_letters: bool = False,
) -> tuple[System, ...]:
    sheet = make_drill(name, parse_key(key), bass or Instrument())
    return engraved(
        musicxml_bytes(sheet.part),
        width_mm=WIDTH_MM,
        ground=ground,
        staff_mm=staff_mm,
        with_letters=with_letters,
    )


def words(system: System) -> list[etree._Element]:
    return list(etree.fromstring(system.svg.encode()).iter(f"{SVG}text"))


def bars(system: System) -> int:
    return len(re.findall(r'class="measure"', system.svg))


def test_four_bars_stand_on_a_line() -> None:
    found = [bars(system) for system in lines("positions")]
    assert max(found) <= BARS_A_LINE
    assert sum(found) == len(make_drill("positions", parse_key("G")).part.bars)


def test_degrees_are_printed_under_their_notes() -> None:
    degrees = [degree for system in lines() for degree in system.degrees]
    part = make_drill("scale", parse_key("G")).part
    assert degrees == [str(note.degree) for note in part.notes]
    (first,) = lines()[:1]
    root = etree.fromstring(first.svg.encode())
    note = root.find(f".//{SVG}g[@class='note']")
    assert note is not None
    head = note.find(f".//{SVG}g[@class='notehead']/{SVG}use")
    assert head is not None
    left = float(re.findall(r"[\d.]+", head.get("transform", ""))[0])
    degree = note.find(f".//{SVG}g[@class='syl']/{SVG}text")
    assert degree is not None
    assert left < float(degree.get("x", "nan")) < left + 250  # a head is 234 wide


def test_flats_and_sharps_are_musical_signs() -> None:
    key: Key = parse_key("Ebm")
    assert "b3" in {str(note.degree) for note in make_drill("scale", key).part.notes}
    degrees = {degree for system in lines(key="Ebm") for degree in system.degrees}
    assert "♭3" in degrees
    assert not {degree for degree in degrees if "b" in degree}


def test_every_word_is_in_the_face_of_the_pages() -> None:
    for system in lines("positions", with_letters=True):
        root = etree.fromstring(system.svg.encode())
        inner = root.find(f"{SVG}svg")
        assert inner is not None
        assert inner.get("font-family") == FAMILY
        assert not root.xpath("//*[local-name()='tspan']")
        assert not re.search("[\ue000-\uf8ff]", "".join(str(t.text) for t in words(system)))


def test_words_lie_on_the_line_of_music() -> None:
    for key in ("G", "B", "Gb"):
        for system in lines("positions", key, bass=Instrument(parse_tuning("five"))):
            root = etree.fromstring(system.svg.encode())
            height = float(root.get("viewBox", "").split()[3]) * 10
            for text in words(system):
                size = float(text.get("font-size", "0"))
                y, x = float(text.get("y", "nan")), float(text.get("x", "nan"))
                wide = text_width(str(text.text), size, BOLD)
                half = wide / 2 if text.get("text-anchor") == "middle" else wide
                assert y - 0.7 * size + _shift(text) >= 0, text.text
                assert y + _shift(text) <= height, text.text
                assert x - (half if text.get("text-anchor") == "middle" else 0) >= -100
                assert x + half <= WIDTH_MM * 100


def _shift(text: etree._Element) -> float:
    """The vertical shift of the groups a text stands in."""
    shift = 0.0
    for above in text.iterancestors():
        match = re.match(r"translate\(([-\d.]+), ([-\d.]+)\)", above.get("transform", ""))
        shift += float(match[2]) if match else 0.0
    return shift


def test_notes_wear_the_ink_of_the_ground() -> None:
    for system in lines(ground=BLACK):
        inner = etree.fromstring(system.svg.encode()).find(f"{SVG}svg")
        assert inner is not None
        assert inner.get("color") == inner.get("fill") == BLACK.ink


def test_a_larger_staff_makes_taller_lines() -> None:
    usual, large = lines()[0], lines(staff_mm=LARGE_STAFF_MM)[0]
    assert large.height_mm > usual.height_mm * 1.15
    assert large.width_mm == usual.width_mm == WIDTH_MM


def test_bars_are_numbered_as_on_the_chart() -> None:
    xml = musicxml_bytes(make_drill("positions", parse_key("G")).part)
    later = engraved(xml, width_mm=WIDTH_MM, ground=PRINT, first_bar=21)
    numbers = [
        text.text
        for system in later
        for text in words(system)
        if (parent := text.getparent()) is not None and parent.get("class", "").startswith("mNum")
    ]
    assert numbers[0] == "21"


def test_the_same_music_makes_the_same_line() -> None:
    assert lines() == lines()


def test_what_it_shows_is_said_in_words() -> None:
    assert lines()[0].in_words.startswith("Staff and tab. The chords are 1. The degrees are 1, 2")


@pytest.mark.parametrize("data", [b"", b"no music", b"<score-partwise/>"])
def test_what_is_no_music_is_refused(data: bytes) -> None:
    with pytest.raises(PageError, match="cannot be engraved"):
        engraved(data, width_mm=WIDTH_MM, ground=PRINT)


def test_what_the_page_says_in_words_is_not_engraved_again() -> None:
    part = replace(make_drill("scale", parse_key("G")).part, swing=Swing())
    said = [text.text for s in engraved(musicxml_bytes(part), width_mm=WIDTH_MM, ground=PRINT)
            for text in words(s)]  # fmt: skip
    assert "Swing" in musicxml_bytes(part).decode()
    assert "Swing" not in said
    assert swing_words(part) == "Swing: a pair of eighths is played long and short, 2 to 1."
    assert swing_words(replace(part, swing=None)) == ""
