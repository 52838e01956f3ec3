"""Lines as a leader asks for them: levels, feels, seeds, wishes bar by bar, signs of the chart."""

from __future__ import annotations

from fractions import Fraction
from importlib import resources
from itertools import pairwise

import pytest

from line_charts import chart
from undersong.chart.text import parse_song
from undersong.errors import LineError, UnplayableError
from undersong.lines import (
    LEVELS,
    BarWish,
    Feel,
    LineSheet,
    another_idea,
    free_bar,
    line_report,
    parse_feel,
    pin_bar,
    simplify_bar,
    write_line,
)
from undersong.lines.write import FASTEST_SHIFT_MM_S
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.theory.part import Articulation, Note, Part

F = Fraction
SONG = chart("plain")
SIGNS = chart("signs")


def line(text: str, level: int) -> LineSheet:
    return write_line(parse_song(f"Title: A\nKey: G\n{text}"), level=level)


def in_bar(part: Part, number: int) -> list[Note]:
    bar = next(each for each in part.bars if each.number == number)
    return [note for note in part.notes if bar.at <= note.at < bar.at + bar.length]


def heard(part: Part, number: int) -> tuple[tuple[Fraction, int], ...]:
    return tuple((note.at, note.pitch.midi) for note in in_bar(part, number))


def degrees(notes: list[Note]) -> list[str]:
    return [str(note.degree) for note in notes]


def test_level_one_is_one_long_root_for_each_chord() -> None:
    part = write_line(SONG, level=1).part
    assert degrees(in_bar(part, 2)) == ["7"]
    assert [note.length for note in in_bar(part, 2)] == [F(1)]
    assert [note.length for note in in_bar(part, 5)] == [F(3, 4), F(1, 4)]


def test_every_note_says_why_it_is_there() -> None:
    part = write_line(SONG, level=4).part
    whys = [note.why for note in part.notes]
    assert "the 7, written after the slash in 5/7" in whys
    assert any(why and why.startswith("chromatic approach to the ") for why in whys)
    assert part.notes[-1].why == "root of the 1, the last note: end it together"


def test_a_diamond_rings_a_stop_is_short_and_a_push_is_early() -> None:
    part = write_line(SIGNS, level=4).part
    held = in_bar(part, 1)
    assert [(n.length, n.articulation) for n in held] == [(F(1), Articulation.HELD)]
    stop = next(n for n in part.notes if n.articulation is Articulation.SHORT)
    assert stop.length == F(1, 8)
    assert stop.accented
    pushed = in_bar(part, 3)[-1]
    assert part.place_of(pushed.at) == (3, F(9, 2))
    assert pushed.why == "root of the 4, pushed an eighth early"
    assert not [n for n in in_bar(part, 4) if part.place_of(n.at)[1] == 1]


def test_silence_and_bass_out_are_kept_and_told() -> None:
    sheet = write_line(SIGNS, level=6)
    quiet = [
        bar for bar, idea in zip(sheet.part.bars, sheet.ideas, strict=True) if idea == "bass out"
    ]
    assert len(quiet) == 2
    assert not any(in_bar(sheet.part, bar.number) for bar in quiet)
    assert "silence" in sheet.ideas


def test_each_section_may_have_its_own_level() -> None:
    sheet = write_line(SONG, level=4, section_levels={"verse": 1})
    verse = [n for n in sheet.part.notes if n.at < 8]
    assert len(verse) == len([n for n in write_line(SONG, level=1).part.notes if n.at < 8])
    assert len([n for n in sheet.part.notes if 8 <= n.at < 16]) > 8


def test_another_idea_changes_that_bar_alone_each_time() -> None:
    sheet = write_line(SONG, level=4)
    seen = {heard(sheet.part, 3)}
    for _ in range(4):
        sheet = another_idea(SONG, sheet, 3)
        seen.add(heard(sheet.part, 3))
    assert len(seen) == 5
    assert sheet.asked.wish(3).idea == 4


@pytest.mark.parametrize("level", [4, 6])
@pytest.mark.parametrize("name", ["plain", "signs", "pickup and odd bars"])
def test_a_wish_for_one_bar_changes_no_note_of_any_other(name: str, level: int) -> None:
    song = chart(name)
    sheet = write_line(song, level=level)
    numbers = [bar.number for bar in sheet.part.bars]
    before = {number: heard(sheet.part, number) for number in numbers}
    for wished in numbers[1::9]:
        for change in (another_idea, simplify_bar):
            part = change(song, sheet, wished).part
            after = {number: heard(part, number) for number in numbers}
            assert [n for n in numbers if n != wished and after[n] != before[n]] == []


def test_wishes_for_neighbours_leave_the_rest_as_it_was() -> None:
    plain = write_line(SONG, level=6)
    sheet = plain
    for bar in (5, 3, 4, 7):
        sheet = simplify_bar(SONG, simplify_bar(SONG, another_idea(SONG, sheet, bar), bar), bar)
    others = [bar.number for bar in plain.part.bars if bar.number not in (3, 4, 5, 7)]
    assert [heard(sheet.part, n) for n in others] == [heard(plain.part, n) for n in others]
    assert all(sheet.asked.wish(bar).level == 4 for bar in (3, 4, 5, 7))


def test_after_the_last_idea_comes_the_first() -> None:
    first = write_line(SONG, level=2)
    sheet = first
    for _ in range(len(_ideas_of_bar(first, 3))):
        sheet = another_idea(SONG, sheet, 3)
    assert heard(sheet.part, 3) == heard(first.part, 3)


def _ideas_of_bar(sheet: LineSheet, bar: int) -> list[tuple[tuple[Fraction, int], ...]]:
    """What the bar sounds like, idea by idea, till it comes round."""
    found = [heard(sheet.part, bar)]
    while True:
        sheet = another_idea(SONG, sheet, bar)
        if heard(sheet.part, bar) == found[0]:
            return found
        found.append(heard(sheet.part, bar))


def test_simplifying_goes_down_to_held_roots_and_no_further() -> None:
    sheet = write_line(SONG, level=3)
    for _ in range(4):
        sheet = simplify_bar(SONG, sheet, 12)
    assert sheet.asked.wish(12).level == 1
    assert len(in_bar(sheet.part, 12)) == 1
    assert in_bar(sheet.part, 11) != []


def test_a_pinned_bar_stays_through_another_seed_and_level() -> None:
    sheet = pin_bar(SONG, write_line(SONG, level=4), 6)
    kept = [(n.at, n.pitch, n.length) for n in in_bar(sheet.part, 6)]
    again = write_line(SONG, level=2, seed=3, bars=dict(sheet.asked.bars))
    assert [(n.at, n.pitch, n.length) for n in in_bar(again.part, 6)] == kept
    assert again.ideas[5] == "pinned"
    freed = free_bar(SONG, again, 6)
    assert freed.part == write_line(SONG, level=2, seed=3).part


def test_pinned_notes_may_be_anything_the_instrument_has() -> None:
    note = in_bar(write_line(SONG, level=1).part, 4)[0]
    own = (
        Note(F(0), F(1, 4), note.pitch, note.degree, note.chord, why="the leader's"),
        Note(F(1, 2), F(1, 2), note.pitch, note.degree, note.chord, why="the leader's"),
    )
    sheet = write_line(SONG, level=5, bars={4: BarWish(pinned=own)})
    assert [n.why for n in in_bar(sheet.part, 4)] == ["the leader's"] * 2


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"level": 0}, "no level 0: levels go from 1, held roots, to 6, melodic lines"),
        ({"level": 7}, "no level 7"),
        (
            {"level": 2, "section_levels": {"Coda": 1}},
            "no section called Coda: it has Verse, Chorus",
        ),
        ({"level": 2, "section_levels": {"Verse": 9}}, "no level 9"),
        ({"level": 2, "bars": {99: BarWish()}}, "no bar 99: its bars as played are 1 to 32"),
    ],
)
def test_what_cannot_be_asked_is_said(asked: dict[str, object], sentence: str) -> None:
    with pytest.raises(LineError, match=sentence):
        write_line(SONG, **asked)  # type: ignore[arg-type]


def test_an_instrument_without_the_notes_says_which() -> None:
    with pytest.raises(UnplayableError, match="Bar 1"):
        write_line(SONG, level=1, instrument=Instrument(parse_tuning("Ab1"), frets=5))


def test_a_chart_of_silence_is_a_line_of_rests() -> None:
    sheet = line("| 0 | 0 |", 6)
    assert sheet.part.notes == ()
    assert sheet.part.length == 2
    assert sheet.report.lines() == ("There is nothing to play.",)


def test_a_pickup_bar_is_played_and_marked() -> None:
    part = line("| pickup 5. | 1 | 4 |", 4).part
    assert part.pickup == F(1, 4)
    assert part.place_of(part.notes[0].at) == (0, F(4))
    assert str(part.notes[0].pitch) == "D2"


def test_a_lift_moves_the_roots_and_the_marks() -> None:
    part = write_line(chart("lift"), level=3).part
    assert [str(mark.key) for mark in part.key_marks] == ["E"]
    first = next(n for n in part.notes if n.at == part.key_marks[0].at)
    assert (str(first.pitch.name), str(first.degree)) == ("E", "1")


@pytest.mark.parametrize(("name", "home"), [("minor from six", "6"), ("minor from one", "1")])
def test_minor_songs_keep_their_own_numbers(name: str, home: str) -> None:
    part = write_line(chart(name), level=4).part
    assert str(part.notes[0].degree) == home
    assert str(part.notes[-1].degree) == home


def test_a_shuffle_is_written_straight_and_marked_swung() -> None:
    part = write_line(SONG, level=2, feel=Feel.SHUFFLE).part
    assert part.swing is not None
    assert all((note.at * 8).denominator == 1 for note in part.notes)


def test_five_strings_and_six_are_fingered() -> None:
    for name in ("five", "six", "tenor", "drop d"):
        instrument = Instrument(parse_tuning(name))
        part = write_line(SONG, level=6, instrument=instrument).part
        assert part.tuning == instrument.tuning.midis
        assert all(note.string for note in part.notes)


def test_a_bar_with_an_impossible_shift_is_written_simpler_and_said() -> None:
    song = parse_song("Title: A\nKey: G\nTempo: 200\nChorus\n-- full\n| 1 | 4 | #4 | b2 |\n")
    one_string = Instrument(parse_tuning("E1"), frets=24)
    sheet = write_line(song, level=6, instrument=one_string)
    assert sheet.report.hardest_shift_mm_s <= FASTEST_SHIFT_MM_S
    assert "Bar 1 is written simpler: there is no time for the shift." in sheet.remarks
    assert write_line(song, level=6).remarks == ()


def test_levels_are_named_in_order() -> None:
    assert [level.number for level in LEVELS] == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize("level", range(1, 7))
def test_a_line_plays_like_the_level_it_was_written_at(level: int) -> None:
    report = write_line(SONG, level=level).report
    assert report.level == level
    assert report.lines()[-1].endswith("as asked.")
    harder = line_report(write_line(SONG, level=level).part, level=7 - level)
    side = "easier" if level < 7 - level else "harder"
    assert side in harder.lines()[-1]


@pytest.mark.parametrize("level", range(2, 7))
def test_a_note_struck_again_stays_on_its_string(level: int) -> None:
    text = resources.files("undersong.demo") / "songs" / "slow-water-bright-stone.txt"
    song = parse_song(text.read_text("utf-8"))
    strokes = write_line(song, level=level).part.strokes
    for before, after in pairwise(strokes):
        if before.note.pitch == after.note.pitch and before.end == after.at:
            assert before.note.string == after.note.string, float(after.at)


@pytest.mark.parametrize("name", ["shuffle", "half-time", "straight eighths"])
def test_a_feel_that_six_eight_has_no_room_for_is_told(name: str) -> None:
    song = parse_song("Title: A\nKey: G\nMeter: 6/8\n\nVerse\n| 1 | 4 |\n")
    plain, asked = (write_line(song, level=3, feel=each) for each in (None, parse_feel(name)))
    assert asked.part == plain.part
    assert plain.remarks == ()
    assert asked.remarks == (
        f"The feel {name} changes nothing here: the beat of 6/8 divides in three as it is, "
        "and the 6/8 rhythm is played.",
    )
