from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from undersong.errors import UnplayableError
from undersong.neck.effort import OpenStrings, Weights
from undersong.neck.fingering import Wishes, finger_part, fingered
from undersong.neck.instrument import FingerSystem, Instrument, parse_tuning
from undersong.neck.shapes import closed_shapes
from undersong.theory.key import MAJOR_KEYS, Degree, Key, parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Articulation, Note, Part, Voice
from undersong.theory.pitch import parse_pitch

BASS = Instrument()
CLOSED = OpenStrings.NEVER


def line(text: str, length: str = "1/4", tempo_bpm: float = 80) -> Part:
    """Notes of one length; a dash is a rest of that length."""
    unit = Fraction(length)
    notes = tuple(
        Note(unit * place, unit, parse_pitch(word))
        for place, word in enumerate(text.split())
        if word != "-"
    )
    return Part("line", parse_key("C"), FOUR_FOUR, tempo_bpm, notes)


def frets(part: Part) -> list[int | None]:
    return [note.fret for note in part.notes]


def fingers(part: Part) -> list[int | None]:
    return [note.finger for note in part.notes]


@pytest.mark.parametrize("system", FingerSystem)
@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
def test_closed_shapes_get_the_standard_fingers(key: Key, system: FingerSystem) -> None:
    # Where four frets lie under the hand (from fret 5, trade handbook 4.5) both systems agree;
    # below that one finger per fret keeps them, 1-2-4 does not.
    bass = Instrument(finger_system=system)
    for number in (1, 3, 4, 5, 6, 7):
        for shape in closed_shapes(bass, key, Degree(number)):
            if shape.lowest_fret < 5 and system is FingerSystem.ONE_TWO_FOUR:
                continue
            notes = (*shape.notes, *shape.notes[-2::-1])
            part = line(" ".join(str(key.spell(note.midi)) for note in notes))
            pinned = replace(
                part,
                notes=tuple(
                    replace(note, string=place.string, fret=place.fret)
                    for note, place in zip(part.notes, notes, strict=True)
                ),
            )
            done = fingered(pinned, bass, wishes=Wishes(keep_places=True))
            assert fingers(done) == [note.finger for note in notes], (number, shape.place)


@pytest.mark.parametrize("system", FingerSystem)
@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
def test_every_standard_shape_is_found_from_its_first_fret(key: Key, system: FingerSystem) -> None:
    # Places and fingers both, with nothing given but the first fret and no open strings: one
    # finger per fret everywhere, 1-2-4 where four frets lie under the hand.
    bass = Instrument(finger_system=system)
    for number in (1, 3, 4, 5, 6, 7):
        for shape in closed_shapes(bass, key, Degree(number)):
            if shape.lowest_fret < 5 and system is FingerSystem.ONE_TWO_FOUR:
                continue
            notes = (*shape.notes, *shape.notes[-2::-1])
            part = line(" ".join(str(key.spell(note.midi)) for note in notes))
            wishes = Wishes(open_strings=CLOSED, start_fret=shape.notes[0].fret)
            done = fingered(part, bass, wishes=wishes)
            assert frets(done) == [note.fret for note in notes], (number, shape.place)
            assert fingers(done) == [note.finger for note in notes], (number, shape.place)


def test_a_repeated_note_keeps_its_finger() -> None:
    done = fingered(line("D2 D2 D2 A1 A1 A1"), BASS, wishes=Wishes(open_strings=CLOSED))
    assert len(set(fingers(done)[:3])) == 1
    assert len(set(fingers(done)[3:])) == 1


def test_one_two_four_leaves_finger_three_out_low_on_the_neck() -> None:
    low = line("G1 A1 B1 C2 D2 C2 B1 A1 G1")
    simandl = Instrument(finger_system=FingerSystem.ONE_TWO_FOUR)
    done = finger_part(low, simandl, wishes=Wishes(open_strings=CLOSED, highest_fret=5))
    assert 3 not in fingers(done.part)


@pytest.mark.parametrize(
    ("scale", "places"),
    [
        ("F1 G1 A1 Bb1 C2 D2 E2 F2", "1(1) 3(4) 0(0) 1(1) 3(4) 0(0) 2(2) 3(4)"),
        ("G1 A1 B1 C2 D2 E2 F#2 G2", "3(2) 0(0) 2(1) 3(2) 0(0) 2(1) 4(4) 0(0)"),
    ],
    ids=["F, finger 1 at the first fret", "G, finger 1 at the second"],
)
def test_one_two_four_plays_the_first_scales_as_it_is_taught(scale: str, places: str) -> None:
    # The frame of a whole step from finger 1 to 4 with a half step from 1 to 2, open strings
    # used (trade handbook 4.5); these scales in it are common practice, no source.
    simandl = Instrument(finger_system=FingerSystem.ONE_TWO_FOUR)
    done = fingered(line(scale), simandl, wishes=Wishes(open_strings=OpenStrings.LIKED))
    assert " ".join(f"{note.fret}({note.finger})" for note in done.notes) == places


def test_a_shift_is_made_during_an_open_string_when_time_is_short() -> None:
    part = line("F1 G1 A1 D3 C3", length="1/16", tempo_bpm=120)
    fingering = finger_part(part, BASS)
    opens = [note.fret == 0 for note in fingering.part.notes]
    assert opens[2]
    assert "on the open A" in " ".join(fingering.words())


def test_a_rest_is_time_to_shift_in() -> None:
    hurried = finger_part(line("F1 C3", "1/16", 160), BASS, wishes=Wishes(open_strings=CLOSED))
    rested = finger_part(line("F1 - C3", "1/16", 160), BASS, wishes=Wishes(open_strings=CLOSED))
    assert rested.terms["hurry"] < hurried.terms["hurry"]
    assert rested.hardest_mm_s <= hurried.hardest_mm_s


def test_tied_notes_are_one_stroke_and_share_their_place() -> None:
    notes = (
        Note(Fraction(0), Fraction(1), parse_pitch("C2"), tied=True),
        Note(Fraction(1), Fraction(1), parse_pitch("C2")),
    )
    fingering = finger_part(Part("tie", parse_key("C"), FOUR_FOUR, 80, notes), BASS)
    first, second = fingering.part.notes
    assert (first.string, first.fret, first.finger) == (second.string, second.fret, second.finger)
    assert len(fingering.hands) == 1


def test_a_slid_note_stays_on_its_string() -> None:
    part = line("C2 F2")
    slid = replace(
        part, notes=(part.notes[0], replace(part.notes[1], articulation=Articulation.SLIDE))
    )
    wishes = Wishes(open_strings=CLOSED)
    crossing = fingered(part, BASS, wishes=wishes)
    sliding = fingered(slid, BASS, wishes=wishes)
    assert crossing.notes[0].string != crossing.notes[1].string
    assert sliding.notes[0].string == sliding.notes[1].string


def test_a_note_that_rings_on_keeps_its_string_and_its_hand() -> None:
    part = line("D2 E2")
    long = replace(part.notes[0], length=Fraction(1, 2))
    wishes = Wishes(open_strings=CLOSED)
    ringing = finger_part(replace(part, notes=(long, part.notes[1])), BASS, wishes=wishes)
    low, high = ringing.part.notes
    assert low.string != high.string
    assert ringing.hands[0] == ringing.hands[1]
    assert ringing.terms["cut short"] == 0
    apart = finger_part(part, BASS, wishes=wishes)
    assert apart.part.notes[0].string == apart.part.notes[1].string


def test_wishes_bound_the_choice() -> None:
    part = line("G1 D2 G2 B2")
    low = finger_part(part, BASS, wishes=Wishes(highest_fret=5))
    assert max(note.fret or 0 for note in low.part.notes) <= 5
    closed = finger_part(part, BASS, wishes=Wishes(open_strings=CLOSED))
    assert min(note.fret or 0 for note in closed.part.notes) > 0
    start = finger_part(line("D2 G2"), BASS, wishes=Wishes(start_fret=10))
    assert (start.part.notes[0].string, start.part.notes[0].fret) == (4, 10)
    assert low.cost <= closed.cost


def test_liked_open_strings_are_used_and_avoided_ones_are_not() -> None:
    part = line("G2 A2 G2 A2")
    liked = fingered(part, BASS, wishes=Wishes(open_strings=OpenStrings.LIKED))
    avoided = fingered(part, BASS, wishes=Wishes(open_strings=OpenStrings.AVOIDED))
    assert liked.notes[0].fret == 0
    assert avoided.notes[0].fret != 0


def test_the_part_says_which_tuning_was_fingered() -> None:
    drop = Instrument(tuning=parse_tuning("drop d"))
    part = fingered(line("D1 G1"), drop)
    assert part.tuning == (26, 33, 38, 43)
    assert frets(part) == [0, 5]


def test_left_and_right_hands_finger_alike() -> None:
    part = line("F1 A1 C2 F2 A2 C3")
    assert fingered(part, Instrument(left_handed=True)) == fingered(part, BASS)


def test_small_hands_stretch_less() -> None:
    part = line("F1 Ab1 F1 Ab1 Bb1 Db2")
    wishes = Wishes(open_strings=CLOSED, highest_fret=6)
    wide = finger_part(part, Instrument(hand_span_mm=130), wishes=wishes)
    small = finger_part(part, Instrument(hand_span_mm=85), wishes=wishes)
    assert small.hands != wide.hands or small.cost > wide.cost


def test_a_note_below_the_neck_is_named_with_its_nearest_octave() -> None:
    with pytest.raises(
        UnplayableError, match=r"Bar 1, beat 2: D1 is not on this neck .* octave .* is D2"
    ) as refused:
        fingered(line("E1 D1"), BASS)
    assert (refused.value.midi, refused.value.nearest_midi, refused.value.index) == (26, 38, 1)


def test_a_note_the_wishes_leave_no_place_for_says_where_it_lies() -> None:
    with pytest.raises(UnplayableError, match=r"A2 cannot be played .* string 1 fret 2"):
        fingered(line("A2"), BASS, wishes=Wishes(highest_fret=1))
    part = line("A2")
    wrong = replace(part, notes=(replace(part.notes[0], string=4, fret=9),))
    with pytest.raises(UnplayableError, match="on string 4 at fret 9"):
        fingered(wrong, BASS, wishes=Wishes(keep_places=True))


def together(*chords: str) -> Part:
    """Chords in quarters, each its notes from low to high."""
    notes = tuple(
        Note(Fraction(place, 4), Fraction(1, 4), parse_pitch(word))
        for place, chord in enumerate(chords)
        for word in chord.split()
    )
    return Part("together", parse_key("C"), FOUR_FOUR, 80, notes)


def test_two_notes_at_once_are_held_by_one_hand() -> None:
    # A tenth: root with finger 2, the tenth two strings over with finger 3 (handbook X15).
    fingering = finger_part(together("A1 C#3", "D2 F3", "G1 B2"), BASS)
    notes = fingering.part.notes
    for low, high in zip(notes[::2], notes[1::2], strict=True):
        assert low.string != high.string
        assert BASS.midi_at(high.string or 0, high.fret or 0) == high.pitch.midi
    assert len(fingering.hands) == len(fingering.points) == 6
    assert fingering.hands[::2] == fingering.hands[1::2]
    assert sum(fingering.points) == pytest.approx(fingering.cost)
    octave = finger_part(together("G1 G2"), BASS, wishes=Wishes(open_strings=CLOSED)).part
    assert [(note.string, note.fret) for note in octave.notes] == [(4, 3), (2, 5)]
    assert octave.notes[0].finger != octave.notes[1].finger


def test_what_one_hand_cannot_hold_is_refused_in_a_sentence() -> None:
    with pytest.raises(UnplayableError, match="one hand cannot hold E1 and F1 together"):
        fingered(together("E1 F1"), BASS)
    with pytest.raises(UnplayableError, match=r"C2 and E2 and G2 start together; .* two notes"):
        fingered(together("C2 E2 G2"), BASS)


def test_drums_have_no_strings() -> None:
    with pytest.raises(UnplayableError, match="drums part has no strings"):
        fingered(replace(line("C2"), voice=Voice.DRUMS), BASS)


def test_an_empty_part_is_an_answer() -> None:
    fingering = finger_part(line(""), BASS)
    assert (fingering.cost, fingering.hands, fingering.hardest_mm_s) == (0, (), 0)
    assert fingering.words() == ("Nothing to play.",)


def test_the_words_tell_the_start_and_every_shift() -> None:
    wishes = Wishes(open_strings=CLOSED)
    still = finger_part(line("G1 B1 D2"), BASS, wishes=wishes)
    assert still.words()[-1] == "The hand never shifts."
    moving = finger_part(line("F1 C3"), BASS, wishes=wishes)
    assert moving.words()[0] == "Start in first position."
    assert moving.words()[1].startswith("Bar 1, beat 2: shift up to ")


def test_weights_are_not_negative() -> None:
    with pytest.raises(ValueError, match="shift"):
        Weights(shift=-1)


@pytest.mark.parametrize("tempo_bpm", [60, 80, 120, 160])
@pytest.mark.parametrize("words", ["D2 A1 D2 G2", "A1 D2 G2 A1"])
def test_a_run_on_one_note_stays_on_one_string(words: str, tempo_bpm: float) -> None:
    notes = " ".join(word for word in words.split() for _ in range(8))
    part = fingered(line(notes, "1/8", tempo_bpm), BASS)
    for place in range(0, len(part.notes), 8):
        run = part.notes[place : place + 8]
        assert len({(note.string, note.fret) for note in run}) == 1, words


def test_after_a_long_rest_a_note_may_lie_elsewhere() -> None:
    def places(rest: str) -> list[tuple[int | None, int | None]]:
        part = line(f"F1 Gb1 C2 {rest} C2 Eb2 C2 Bb2 C2 Eb3", "1/4", 100)
        return [(note.string, note.fret) for note in fingered(part, BASS).notes[2:4]]

    assert places("-") == places("- -") == [(3, 3), (3, 3)]
    assert places("- - -") == [(3, 3), (4, 8)]
