"""The face of the pages: its signs and its widths, read from the font files by fonttools."""

from __future__ import annotations

from importlib.resources import files

import pytest
from fontTools.ttLib import TTFont

from undersong.page.lettering import (
    BOLD,
    CAP_EM,
    REGULAR,
    UNITS_PER_EM,
    em_of_figures,
    fitting_size,
    points,
    prose_signs,
    text_width,
    wrapped,
)

FONTS = files("undersong.page") / "fonts"
STYLES = {REGULAR: "Regular", BOLD: "Bold"}
MUSICAL = "♭♮♯𝄪𝄫△◇←→↑↓°ø×–"


def font(weight: int) -> TTFont:
    with (FONTS / f"UndersongText-{STYLES[weight]}.ttf").open("rb") as file:
        return TTFont(file, lazy=False)


@pytest.mark.parametrize("weight", STYLES)
def test_every_sign_of_a_chart_is_in_the_face(weight: int) -> None:
    own = font(weight).getBestCmap()
    assert not [sign for sign in MUSICAL + "0123456789-+()/#b" if ord(sign) not in own]


@pytest.mark.parametrize("weight", STYLES)
def test_widths_are_those_of_the_font_file(weight: int) -> None:
    face = font(weight)
    own = face.getBestCmap()
    assert face["head"].unitsPerEm == UNITS_PER_EM
    for code, name in own.items():
        advance = face["hmtx"][name][0] / UNITS_PER_EM
        assert text_width(chr(code), 1.0, weight) == pytest.approx(advance)


@pytest.mark.parametrize("weight", STYLES)
def test_figures_are_as_tall_as_reckoned(weight: int) -> None:
    face = font(weight)
    glyph = face["glyf"][face.getBestCmap()[ord("1")]]
    assert glyph.yMax / UNITS_PER_EM == pytest.approx(CAP_EM, abs=0.02)
    assert em_of_figures(9.0) * CAP_EM == pytest.approx(9.0)


@pytest.mark.parametrize("weight", STYLES)
def test_the_figure_nought_has_no_slash(weight: int) -> None:
    # two contours, outer and inner; a slash would make three
    face = font(weight)
    assert face["glyf"][face.getBestCmap()[ord("0")]].numberOfContours == 2


def test_the_licence_travels_with_the_face() -> None:
    assert "SIL OPEN FONT LICENSE Version 1.1" in (FONTS / "OFL.txt").read_text("utf-8")
    assert "SIL Open Font License" in font(REGULAR)["name"].getDebugName(13)


def test_a_point_is_a_seventy_second_of_an_inch() -> None:
    assert points(25.4) == pytest.approx(72)


def test_lines_hold_as_many_words_as_fit() -> None:
    assert wrapped("one two three", 4.0, 1000) == ("one two three",)
    lines = wrapped("one two three", 4.0, text_width("one two", 4.0) + 0.01)
    assert lines == ("one two", "three")


def test_a_word_too_long_for_any_line_is_broken() -> None:
    lines = wrapped("a" * 40, 4.0, 30.0)
    assert len(lines) > 1
    assert "".join(lines) == "a" * 40


def test_text_shrinks_before_a_word_is_broken() -> None:
    room = text_width("Breakdown", 4.0)
    assert fitting_size("Breakdown", 5.0, room, 2) <= 4.0
    assert fitting_size("Tag", 5.0, room, 2) == 5.0


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("the low Bb of bar 3", "the low B♭ of bar 3"),
        ("F# and C#m, then Ebm.", "F♯ and C♯m, then E♭m."),
        ("Abide, Ebb and Ab3 stay", "Abide, Ebb and Ab3 stay"),
        ("a b is a letter; #3 is a number", "a b is a letter; #3 is a number"),
    ],
)
def test_note_names_in_prose_have_musical_signs(typed: str, printed: str) -> None:
    assert prose_signs(typed) == printed


def test_a_line_may_end_after_a_hyphen_but_not_within_a_chord() -> None:
    narrow_mm = text_width("Chorus", 5.0) * 1.05
    assert wrapped("Pre-Chorus", 5.0, narrow_mm) == ("Pre-", "Chorus")
    assert wrapped("Pre-Chorus", 5.0, 100.0) == ("Pre-Chorus",)
    assert wrapped("the 2-7 chord", 5.0, 100.0) == ("the 2-7 chord",)
    assert "2-" not in wrapped("6 2-7", 5.0, text_width("2-7", 5.0) * 1.05)
    assert fitting_size("Pre-Chorus", 5.0, narrow_mm, 2) == 5.0
