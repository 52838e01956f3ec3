from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from undersong.drills.catalogue import CATALOGUE, Drill, drill_named, make_drill
from undersong.errors import UndersongError
from undersong.neck.effort import UNREACHABLE_MM
from undersong.neck.fingering import Wishes, finger_part
from undersong.neck.instrument import FingerSystem, Instrument, parse_tuning
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Articulation, Dynamic, Part
from undersong.theory.pitch import parse_pitch

NECKS = [
    Instrument(),
    Instrument(tuning=parse_tuning("five")),
    Instrument(tuning=parse_tuning("drop d")),
]
KEYS = [*MAJOR_KEYS, *MINOR_KEYS]
every_drill = pytest.mark.parametrize("drill", CATALOGUE, ids=lambda drill: drill.name)
FASTEST_HAND_MM_S = 2500.0


def degrees(part: Part) -> str:
    return " ".join(str(stroke.note.degree) for stroke in part.strokes)


def check_music(part: Part, bass: Instrument) -> None:
    """What holds of every drill: full bars, notes one by one, on the neck, under the hand."""
    assert part.length % part.meter.bar == 0
    assert part.length - part.notes[-1].end < part.meter.bar
    for before, after in zip(part.notes, part.notes[1:], strict=False):
        assert before.end <= after.at
    for note in part.notes:
        assert note.string is not None
        assert note.fret is not None
        assert bass.midi_at(note.string, note.fret) == note.pitch.midi
        assert note.degree is None or note.degree == part.key_at(note.at).degree_of(note.pitch.name)
    assert part.sections
    assert part.sections[0].at == 0


def test_there_are_more_than_thirty_and_the_two_of_the_contract() -> None:
    assert len(CATALOGUE) >= 30
    assert {"scale", "positions"} <= {drill.name for drill in CATALOGUE}
    assert [drill.level for drill in CATALOGUE] == sorted(drill.level for drill in CATALOGUE)


def test_every_drill_has_its_sentences_and_its_own_name() -> None:
    assert len({drill.name for drill in CATALOGUE}) == len(CATALOGUE)
    for drill in CATALOGUE:
        assert 1 <= drill.level <= 6
        for sentence in (drill.purpose, drill.listen_for, drill.common_mistakes):
            assert sentence[0].isupper()
            assert sentence.endswith(".")
            assert len(sentence) <= 100
        assert drill_named(drill.name) is drill


def test_names_are_read_as_typed() -> None:
    assert drill_named(" Positions ").name == "positions"
    assert drill_named("Root moves").name == "root-moves"
    assert drill_named("six_eight").name == "six-eight"


def test_a_wrong_name_gets_the_nearest_or_all() -> None:
    with pytest.raises(UndersongError, match="did you mean positions"):
        drill_named("position")
    with pytest.raises(UndersongError, match="there are scale"):
        drill_named("zzz")


@every_drill
def test_every_drill_in_many_keys(drill: Drill) -> None:
    # Six keys for each drill, so that the catalogue goes round all thirty on all three tunings;
    # benchmarks/drills.py makes the whole grid.
    first = CATALOGUE.index(drill)
    for place in range(first, first + 30, 5):
        key, bass = KEYS[place % len(KEYS)], NECKS[place % len(NECKS)]
        sheet = make_drill(drill.name, key, bass)
        check_music(sheet.part, bass)
        assert sheet.part.key == key
        told = finger_part(sheet.part, bass, wishes=Wishes(keep_places=True))
        assert max(told.stretch_mm) <= UNREACHABLE_MM
        assert told.hardest_mm_s <= FASTEST_HAND_MM_S, (key, told.hardest_mm_s)


@every_drill
@pytest.mark.parametrize("meter", ["3/4", "6/8", "7/8", "2/2"])
def test_every_drill_in_every_meter(drill: Drill, meter: str) -> None:
    sheet = make_drill(drill.name, parse_key("Eb"), meter=parse_meter(meter), tempo_bpm=55)
    check_music(sheet.part, Instrument())
    assert str(sheet.part.meter) == meter
    assert sheet.part.tempo_bpm == 55


@every_drill
def test_every_drill_stays_in_the_range_or_says_that_it_cannot(drill: Drill) -> None:
    low, high = parse_pitch("F1"), parse_pitch("F3")
    sheet = make_drill(drill.name, parse_key("F"), lowest=low, highest=high)
    assert all(low.midi <= note.pitch.midi <= high.midi for note in sheet.part.notes)


@every_drill
@pytest.mark.parametrize(
    "bass",
    [
        Instrument(tuning=parse_tuning("C1,G1,D2,A2")),
        Instrument(tuning=parse_tuning("E1,A1")),
        Instrument(tuning=parse_tuning("E1"), frets=24),
        Instrument(frets=12, finger_system=FingerSystem.ONE_TWO_FOUR, hand_span_mm=85),
        Instrument(fretless=True, left_handed=True, scale_mm=762),
    ],
    ids=["fifths", "two strings", "one string", "small hand", "fretless"],
)
def test_every_drill_on_odd_necks(drill: Drill, bass: Instrument) -> None:
    if drill.name == "positions" and bass.strings == 1:
        with pytest.raises(UndersongError, match="under the hand"):
            make_drill(drill.name, parse_key("Db"), bass)
        return
    check_music(make_drill(drill.name, parse_key("Db"), bass).part, bass)


@every_drill
def test_the_same_seed_gives_the_same_drill(drill: Drill) -> None:
    key = parse_key("A")
    assert make_drill(drill.name, key, seed=7) == make_drill(drill.name, key, seed=7)


@pytest.mark.parametrize("name", ["call-outs", "sight-reading"])
def test_another_seed_gives_another_page_and_says_which(name: str) -> None:
    one, two = (make_drill(name, parse_key("G"), seed=seed) for seed in (1, 2))
    assert degrees(one.part) != degrees(two.part)
    assert "seed 1" in one.remarks[0]


@pytest.mark.parametrize(
    ("name", "start"),
    [
        # trade handbook 6: X3, X4, X5, X11, X12, X15, X16
        ("thirds", "1 3 2 4 3 5 4 6 5 7 6 1 7 2 1 6 7 5 6 4 5 3 4 2 3 1"),
        ("fours", "1 2 3 4 2 3 4 5 3 4 5 6 4 5 6 7 5 6 7 1"),
        ("arpeggios", "1 3 5 1 5 3 1 4 6 1 4 1 6 4 5 7 2 5 2 7 5 1"),
        ("octaves", "1 1 2 2 3 3 4 4 5 5 4 4 3 3 2 2 1 1"),
        ("passing-notes", "1 1 1 3 4 4 4 4 5 5 5 7 1 1 1 1"),
        ("tenths", "1 3 2 4 3 5 4 6 5 7 6 1"),
        ("approach", "1 1 1 #4 5 5 5 #5 6 6 6 3 4"),
        ("slash-basses", "1 1 1 1 3 3 3 3 4 4 4 4 5 5 5 5 6 6 6 6 7 7 7 7 1 1 1 1 6 6 6 6 1"),
        ("triads", "1 3 5 2 4 6 3 5 7 4 6 1 5 7 2 6 1 3 7 2 4 1"),
        ("harmonic-minor", "6 7 1 2 3 4 #5 6 #5 4 3 2 1 7 6"),
        ("pentatonics", "1 2 3 5 6 1 6 5 3 2 1 6 1 2 3 5 6"),
    ],
)
def test_drills_play_what_their_name_says(name: str, start: str) -> None:
    assert degrees(make_drill(name, parse_key("G")).part).startswith(start)


def test_root_moves_hold_all_forty_two_pairs() -> None:
    strokes = make_drill("root-moves", parse_key("G")).part.strokes
    bars = [strokes[place : place + 4] for place in range(0, len(strokes) - 1, 4)]
    pairs = {(str(bar[0].note.degree), str(bar[1].note.degree)) for bar in bars}
    assert len(bars) == len(pairs) == 42
    for a, b, high, same in bars:
        assert a.note.pitch.midi < b.note.pitch.midi < high.note.pitch.midi
        assert high.note.pitch.midi == a.note.pitch.midi + 12
        assert same.note.pitch == b.note.pitch


def test_the_cycle_names_twelve_roots_and_comes_home() -> None:
    part = make_drill("cycle", parse_key("C")).part
    names = " ".join(str(note.pitch.name) for note in part.notes)
    assert names == "C F Bb Eb Ab Db Gb B E A D G C"  # trade handbook 6, X9
    assert part.notes[0].degree is None


def test_pushed_notes_come_early_and_are_held_over_the_bar_line() -> None:
    part = make_drill("pushes", parse_key("G")).part
    pushed = [stroke for stroke in part.strokes if stroke.note.why]
    assert pushed
    for stroke in pushed:
        assert stroke.at % 1 == Fraction(7, 8)
        assert stroke.end % 1 == Fraction(1, 4)
    assert all(stroke.at % 1 != 0 or stroke.note.degree for stroke in part.strokes)


def test_rests_marks_and_swing_are_written() -> None:
    key = parse_key("G")
    stops = make_drill("stops", key).part
    assert any(b.at > a.end for a, b in zip(stops.notes, stops.notes[1:], strict=False))
    assert {note.articulation for note in stops.notes[:4]} == {Articulation.SHORT}
    swell = make_drill("swell", key).part
    assert [note.dynamic for note in swell.notes if note.at.denominator == 1][:8][::7] == [
        Dynamic.PP,
        Dynamic.FF,
    ]
    assert make_drill("shuffle", key).part.swing is not None
    ghosts = {note.articulation for note in make_drill("dead-notes", key).part.notes}
    assert Articulation.GHOST in ghosts
    assert sum(note.accented for note in make_drill("accents", key).part.notes) == 8
    assert str(make_drill("six-eight", key).part.meter) == "6/8"


def test_hammered_and_slid_notes_stay_on_their_string() -> None:
    for name in ("hammers", "slides"):
        notes = make_drill(name, parse_key("C")).part.notes
        for before, note in pairwise(notes):
            if note.articulation in (Articulation.HAMMERED, Articulation.SLIDE):
                assert note.string == before.string


def test_the_key_slide_changes_key_and_prepares_it() -> None:
    part = make_drill("key-slide", parse_key("D")).part
    assert str(part.key_at(part.length)) == "E"
    prepared = next(note for note in part.notes if note.at == part.key_marks[0].at)
    assert str(prepared.pitch.name) == "B"  # check value 68


def test_a_song_s_changes_weight_its_hardest_moves() -> None:
    chords = tuple(parse_number_chord(text) for text in "1 5/7 6- 4 b7 1".split())  # noqa: SIM905
    part = make_drill("changes", parse_key("G"), progression=chords).part
    names = [mark.name for mark in part.sections]
    assert names[0] == "Changes: 1 5/7 6- 4 b7 1"
    assert names[-2:] == ["Changes again", "Home"]
    moves = [name for name in names if name.startswith("Move")]
    assert len(moves) == 2
    first = next(note for note in part.notes if note.at == 1)
    assert str(first.degree) == "7"


def test_hands_are_warned_where_they_tire() -> None:
    for name in ("endurance", "four-fingers"):
        assert "Stop at once if anything hurts" in make_drill(name, parse_key("G")).remarks[-1]


def test_a_range_without_open_strings_or_long_strings_says_what_is_done_instead() -> None:
    key, low = parse_key("C"), parse_pitch("A2")
    damped = make_drill("open-strings", key, lowest=low)
    assert "No open string lies in this range" in damped.remarks[0]
    short = Instrument(frets=9)
    for name in ("one-string", "shifts"):
        assert "fingered freely" in make_drill(name, key, short).remarks[0]


def test_four_fingers_without_a_note_in_range_is_refused_in_words() -> None:
    piccolo = Instrument(parse_tuning("piccolo"), frets=5)
    low, high = parse_pitch("E1"), parse_pitch("E2")
    with pytest.raises(UndersongError, match="No note of frets 2 to 5 lies in the range"):
        make_drill("four-fingers", parse_key("C"), piccolo, lowest=low, highest=high)
