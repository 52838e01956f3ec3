from dataclasses import replace
from fractions import Fraction

import pytest

from undersong.errors import TheoryError
from undersong.theory.chord import parse_number_chord
from undersong.theory.excerpt import excerpt, looped, section_bars
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR, Meter
from undersong.theory.part import ChordMark, KeyMark, MeterMark, Note, Part, SectionMark
from undersong.theory.pitch import plain_pitch
from undersong.theory.tempo import TempoMark

QUARTER = Fraction(1, 4)


def song(pickup: str = "0") -> Part:
    """Four bars of quarters on rising pitches, after a pick-up if asked."""
    early = Fraction(pickup)
    count = int((4 + early) / QUARTER)
    notes = tuple(Note(k * QUARTER, QUARTER, plain_pitch(30 + k)) for k in range(count))
    return Part(
        "Song",
        parse_key("G"),
        FOUR_FOUR,
        100,
        notes,
        pickup=early,
        sections=(
            SectionMark(early, "Verse"),
            SectionMark(early + 2, "Chorus"),
            SectionMark(early + 3, "Verse", 2),
        ),
        chords=tuple(
            ChordMark(early + k, parse_number_chord(number))
            for k, number in enumerate(("1", "4", "5", "1"))
        ),
    )


def midis(part: Part) -> list[int]:
    return [note.pitch.midi for note in part.notes]


def test_excerpt_takes_whole_bars() -> None:
    part = excerpt(song(), 2, 3)
    assert midis(part) == list(range(34, 42))
    assert (part.notes[0].at, part.length) == (Fraction(0), Fraction(2))
    assert part.pickup == 0
    assert [mark.name for mark in part.sections] == ["Chorus"]
    assert str(part.chord_at(Fraction(0))) == "4"
    assert str(part.chord_at(Fraction(1))) == "5"


def test_excerpt_with_the_pick_up_keeps_it() -> None:
    part = excerpt(song("1/4"), 0, 1)
    assert (part.pickup, part.length) == (QUARTER, Fraction(5, 4))
    assert midis(part) == list(range(30, 35))
    assert excerpt(song("1/4"), 1, 1).pickup == 0


def test_notes_across_the_edges_are_cut() -> None:
    long = replace(song(), notes=(Note(Fraction(1, 2), Fraction(2), plain_pitch(40), tied=True),))
    part = excerpt(long, 2, 2)
    assert [(note.at, note.length, note.tied) for note in part.notes] == [
        (Fraction(0), Fraction(1), False)
    ]


def test_on_paper_a_note_rung_in_is_left_out() -> None:
    long = replace(song(), notes=(Note(Fraction(1, 2), Fraction(2), plain_pitch(40)),))
    assert midis(excerpt(long, 2, 3)) == [40]
    assert midis(excerpt(long, 2, 3, rung_in=False)) == []


def test_a_pick_up_alone_keeps_its_place_in_the_bar_and_can_be_looped() -> None:
    part = excerpt(song("1/4"), 0, 0)
    assert (part.pickup, part.length) == (QUARTER, QUARTER)
    assert [bar.number for bar in part.bars] == [0]
    assert midis(looped(part, 3)) == [30, 30, 30]


def test_excerpt_takes_over_key_meter_and_tempo() -> None:
    changed = replace(
        song(),
        length=Fraction(2) + 2 * Fraction(3, 4),
        notes=song().notes[:14],
        key_marks=(KeyMark(Fraction(1), parse_key("A")),),
        meter_marks=(MeterMark(Fraction(2), Meter(3, 4)),),
        tempo_marks=(TempoMark(Fraction(1), 80.0), TempoMark(Fraction(11, 4), 60.0)),
    )
    part = excerpt(changed, 3, 4)
    assert (str(part.meter), part.tempo_bpm, str(part.key)) == ("3/4", 80.0, str(parse_key("A")))
    assert [bar.length for bar in part.bars] == [Fraction(3, 4)] * 2
    assert part.tempo_marks == (TempoMark(Fraction(3, 4), 60.0),)
    whole_s = changed.tempo_map.seconds_at(changed.length) - changed.tempo_map.seconds_at(
        Fraction(2)
    )
    assert part.tempo_map.seconds_at(part.length) == pytest.approx(whole_s)


def test_sections_by_name_and_time_round() -> None:
    assert section_bars(song(), "verse") == (1, 2)
    assert section_bars(song(), "Verse", 2) == (4, 4)
    assert section_bars(song("1/4"), "Chorus") == (3, 3)
    assert midis(excerpt(song("1/4"), *section_bars(song("1/4"), "Chorus"))) == list(range(39, 43))
    with pytest.raises(TheoryError, match=r"no section 'Bridge' \(Verse, Chorus\)"):
        section_bars(song(), "Bridge")


def test_bars_that_are_not_there() -> None:
    with pytest.raises(TheoryError, match="has bars 1 to 4"):
        excerpt(song(), 5, 9)
    with pytest.raises(TheoryError, match="has no bars"):
        excerpt(replace(song(), notes=(), length=Fraction(0)), 1, 1)
    with pytest.raises(TheoryError, match="at least once"):
        looped(song(), 0)


def test_loop_repeats_everything_but_the_pick_up() -> None:
    part = looped(song("1/4"), 3)
    assert part.length == QUARTER + 12
    assert midis(part) == [30] + list(range(31, 47)) * 3
    assert [mark.visit for mark in part.sections if mark.name == "Chorus"] == [1, 2, 3]
    assert [bar.number for bar in part.bars] == list(range(13))


def test_loop_goes_back_to_the_first_key_meter_and_tempo() -> None:
    changed = replace(
        song(),
        key_marks=(KeyMark(Fraction(2), parse_key("A")),),
        tempo_marks=(TempoMark(Fraction(2), 50.0),),
    )
    part = looped(changed, 2)
    assert str(part.key_at(Fraction(4))) == str(parse_key("G"))
    assert str(part.key_at(Fraction(6))) == str(parse_key("A"))
    once_s = changed.tempo_map.seconds_at(changed.length)
    assert part.tempo_map.seconds_at(part.length) == pytest.approx(2 * once_s)


def test_fast_halves_are_counted_as_the_eighths_of_a_later_meter() -> None:
    half_time, later = Meter(2, 2), Meter(7, 8)
    part = Part(
        "Song",
        parse_key("G"),
        half_time,
        110,
        (Note(Fraction(0), QUARTER, plain_pitch(30)),),
        length=Fraction(1) + later.bar,
        meter_marks=(MeterMark(Fraction(1), later),),
    )
    rest = excerpt(part, 2, 2)
    assert rest.tempo_bpm == pytest.approx(110 * half_time.beat / later.beat)
    lasts_s = rest.tempo_map.seconds_at(rest.length)
    whole_s = part.tempo_map.seconds_at(part.length)
    assert lasts_s == pytest.approx(whole_s - part.tempo_map.seconds_at(Fraction(1)))
    with pytest.raises(TheoryError, match="cannot be played"):
        part.at_tempo(440)
