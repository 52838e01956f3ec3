"""The chart page: what stands on it, where, and how tall."""

from __future__ import annotations

from itertools import pairwise

import pytest

from page_songs import ODD_CHARTS, demo_songs, odd_song
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.page.chartbar import chord_runs, letter_runs
from undersong.page.chartpage import LEAST_FIGURE_MM, chart_pages, lines_of_bars, order_words
from undersong.page.lettering import CAP_EM
from undersong.page.marks import Drawing, Line, Shape, Text
from undersong.page.pdf import SHEETS
from undersong.theory.chord import parse_chord, parse_number_chord

HEADER = "Title: T\nKey: G\nMeter: 4/4\nTempo: 72\n\nVerse\n"
HAIR_MM = 0.15  # texts of neighbours may touch by less than a hair line
A4, LETTER = SHEETS["a4"], SHEETS["letter"]


def pages_of(text: str, *, with_letters: bool = False) -> tuple[Drawing, ...]:
    return pages(parse_song(text), with_letters=with_letters)


def pages(
    song: Song, sheet: str = "a4", *, with_letters: bool = False, is_large: bool = False
) -> tuple[Drawing, ...]:
    size = SHEETS[sheet]
    return chart_pages(
        song,
        size.inner_width_mm,
        size.inner_height_mm,
        with_letters=with_letters,
        is_large=is_large,
    )


def numbers(drawing: Drawing) -> list[Text]:
    """The numbers of the chart: the texts as tall as the figures."""
    tallest = LEAST_FIGURE_MM / CAP_EM - 0.01
    return [t for t in drawing.texts if t.size_mm >= tallest and t.y > 18 and not t.heading]


def overlapping(drawing: Drawing) -> list[tuple[str, str]]:
    texts = drawing.texts
    return [
        (a.plain, b.plain)
        for place, a in enumerate(texts)
        for b in texts[place + 1 :]
        if a.bounds.overlaps(b.bounds, slack_mm=HAIR_MM)
    ]


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("song", demo_songs(), ids=lambda song: song.title)
def test_a_demo_chart_is_one_page_to_read_from_afar(song: Song, sheet: str) -> None:
    (page,) = pages(song, sheet)
    bars = [bar for section in song.sections for bar in section.bars]
    chords = sum(event.chord is not None for bar in bars for event in bar.events)
    assert len(numbers(page)) == chords
    assert all(t.size_mm * CAP_EM >= LEAST_FIGURE_MM - 0.001 for t in numbers(page))


@pytest.mark.parametrize("is_large", [False, True], ids=["usual", "large"])
@pytest.mark.parametrize("with_letters", [False, True], ids=["numbers", "letters"])
@pytest.mark.parametrize("sheet", SHEETS)
def test_no_word_is_printed_over_another(sheet: str, with_letters: bool, is_large: bool) -> None:  # noqa: FBT001
    songs = (*demo_songs(), *(odd_song(name) for name in ODD_CHARTS))
    for song in songs:
        for page in pages(song, sheet, with_letters=with_letters, is_large=is_large):
            assert not overlapping(page), song.title


@pytest.mark.parametrize("is_large", [False, True], ids=["usual", "large"])
@pytest.mark.parametrize("sheet", SHEETS)
def test_everything_lies_on_the_sheet(sheet: str, is_large: bool) -> None:  # noqa: FBT001
    for song in (*demo_songs(), *(odd_song(name) for name in ODD_CHARTS)):
        for page in pages(song, sheet, with_letters=True, is_large=is_large):
            for mark in page.marks:
                box = mark.bounds
                assert box.left >= -1.0, (song.title, mark)
                assert box.top >= -1.0, (song.title, mark)
                assert box.right <= page.width_mm + 1.0, (song.title, mark)
                assert box.bottom <= page.height_mm + 1.0, (song.title, mark)


def test_the_overlap_check_can_fail() -> None:
    (page,) = pages_of(HEADER + "| 1 | 5/7 |\n")
    moved = Drawing(page.width_mm, page.height_mm, (*page.marks, *page.marks))
    assert overlapping(moved)


def test_a_long_song_goes_on_at_its_full_height() -> None:
    drawings = pages(odd_song("long"))
    assert len(drawings) > 1
    for page in drawings:
        assert all(t.size_mm * CAP_EM >= LEAST_FIGURE_MM - 0.001 for t in numbers(page))
    assert any("The Long Road (D), continued" in t.plain for t in drawings[1].texts)


def test_four_bars_stand_on_a_line() -> None:
    (page,) = pages_of(HEADER + "| 1 | 4 | 5 | 1 | 6- |\n")
    rows = sorted({round(t.y, 2) for t in numbers(page)})
    assert [sum(round(t.y, 2) == row for t in numbers(page)) for row in rows] == [4, 1]


def test_a_dense_line_is_not_broken_while_smaller_figures_hold_it() -> None:
    text = HEADER + "| 2-(7) 5(7) | 1 4 | 6- 5/7 | 4 |\n"
    (page,) = pages_of(text)
    assert len({round(t.y, 2) for t in numbers(page)}) == 1


def test_numbers_stand_on_their_beats() -> None:
    (page,) = pages_of(HEADER + "| 1 4 | 1 4 5 6 | 1 / 5 / |\n")
    marks = numbers(page)
    lines = sorted({m.x1 for m in page.marks if isinstance(m, Line) and m.x1 == m.x2})
    inside = [[t.left for t in marks if a < t.left < b] for a, b in pairwise(lines)]
    assert [len(bar) for bar in inside] == [2, 4, 2]
    assert inside[1] == sorted(inside[1])  # four in a bar leave no room to stand on the beat
    for bar, (left, right) in zip((inside[0], inside[2]), ((0, 1), (2, 3)), strict=True):
        width = lines[right] - lines[left]
        assert (bar[1] - bar[0]) / width == pytest.approx(0.45, abs=0.08)


def test_uneven_chords_have_a_dot_for_each_beat() -> None:
    even = pages_of(HEADER + "| 1 4 |\n")[0]
    uneven = pages_of(HEADER + "| 1... 4. |\n")[0]
    dots = [sum(isinstance(mark, Shape) for mark in page.marks) for page in (even, uneven)]
    assert dots == [0, 4]


def test_the_head_names_key_meter_and_tempo() -> None:
    (page,) = pages_of(HEADER.replace("Key: G", "Key: Bb") + "| 1 |\n")
    words = [t.plain for t in page.texts]
    assert {"T", "B♭", "4/4", "72", "key", "meter", "tempo"} <= set(words)
    assert [t.bookmark for t in page.texts if t.heading == 1] == ["T"]


def test_signs_of_the_hand_are_drawn() -> None:
    plain = pages_of(HEADER + "| 1 | 1 | 1 | 1 |\n")[0]
    signed = pages_of(HEADER + "| <1> | <<1 | 1! | 1(hold) |\n")[0]
    kinds = [type(mark).__name__ for mark in signed.marks]
    assert kinds.count("Shape") - [type(m).__name__ for m in plain.marks].count("Shape") == 4
    assert "Curve" in kinds  # the fermata's arc


def test_silence_is_a_sign_not_a_number() -> None:
    (page,) = pages_of(HEADER + "| 1 | 0 |\n")
    assert [t.plain for t in numbers(page)] == ["1"]


def test_letters_stand_small_under_the_numbers() -> None:
    (page,) = pages_of(HEADER + "| 5/7 | 2-7 |\n", with_letters=True)
    five = numbers(page)[0]
    letter = next(t for t in page.texts if t.plain == "D/F♯")
    assert letter.y > five.y
    assert letter.size_mm < five.size_mm
    assert letter.left == pytest.approx(five.left)


def test_a_key_change_is_boxed_and_named() -> None:
    text = HEADER + "| 1 |\nChorus\n-- up 1\n| 1 |\n"
    (page,) = pages_of(text)
    assert any(t.plain == "Up a half step: Key of A♭" for t in page.texts)
    (page,) = pages_of(text, with_letters=True)
    assert [t.plain for t in page.texts if t.plain in ("G", "A♭")] == ["G", "G", "A♭"]


def test_the_roadmap_counts_the_bars() -> None:
    (page,) = pages_of(HEADER + "| 1 | 4 | 5 |\nTag\n| 1 |\nOrder: Verse x2, Tag\n")
    words = [t.plain for t in page.texts]
    foot = words[words.index("Roadmap") + 1 :]
    assert foot == ["Verse ×2", "6", "Tag", "1", "7 bars, 0:23 min"]


def test_an_open_repeat_waits_for_the_cue() -> None:
    song = parse_song(HEADER + "| 1 |\nOrder: Verse x?\n")
    assert order_words(song.playing_order[0]) == "Verse, round until the cue"


def test_lines_break_where_something_begins() -> None:
    song = parse_song(HEADER + "| 1 | 4 |\n-- build\n| 5 |\n|: 1 | 4 :|\n| 1 |\n")
    assert list(lines_of_bars(song.sections[0].bars)) == [[0, 1], [2], [3, 4], [5]]


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("b7", "♭7"), ("#4dim", "♯4dim"), ("2-(7)", "2-(7)"), ("5/b7", "5/♭7"),
        ("5sus", "5sus"), ("#4m7b5", "♯4m7♭5"), ("5(7#9)", "5(7♯9)"), ("4(add9)", "4(add9)"),
    ],
)  # fmt: skip
def test_numbers_are_printed_with_musical_signs(typed: str, printed: str) -> None:
    assert "".join(run.text for run in chord_runs(parse_number_chord(typed))) == printed


@pytest.mark.parametrize(
    ("typed", "printed"), [("Bbmaj7", "B♭maj7"), ("F#m7b5/C", "F♯m7♭5/C"), ("Cdim", "Cdim")]
)
def test_letters_are_printed_with_musical_signs(typed: str, printed: str) -> None:
    assert "".join(run.text for run in letter_runs(parse_chord(typed))) == printed
