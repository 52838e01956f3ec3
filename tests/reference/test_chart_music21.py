"""Letters of every number in every key against music21, for every kind of chord we read.

Source: music21 10.5 (key signatures and scales from `key.Key`, roman numerals resolved by
`roman.RomanNumeral`, chord names read by `harmony.ChordSymbol`, intervals by
`interval.Interval`).
"""

import pytest
from music21 import harmony, interval, key, pitch, roman

from undersong.chart.degrees import letters, numbers
from undersong.chart.show import chart_json
from undersong.chart.song import KeyChange, Song, in_key
from undersong.chart.text import parse_song
from undersong.theory.chord import QUALITIES, Chord, NumberChord, Quality
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Degree, Key, Mode
from undersong.theory.pitch import PitchName

# Kinds music21 names otherwise, or not at all: its own figure for the same chord.
FIGURES = {
    "power": "power",
    "suspended fourth": "sus4",
    "six nine": "6add9",
    "minor six nine": "m6add9",
    "minor major seventh": "mM7",
    "half-diminished seventh": "ø7",
    "augmented major seventh": "+M7",
    "seventh flat five": "7b5",
    "major ninth": "M9",
    "major thirteenth": "M13",
    "suspended ninth": "7sus4add9",
    "suspended seventh": "7sus4",
    "added second": "add2",
    "added ninth": "add9",
    "minor added ninth": "madd9",
    "added fourth": "add4",
}


def their_name(name: PitchName) -> str:
    return name.letter + ("#" * name.alteration if name.alteration > 0 else "-" * -name.alteration)


def our_name(name: str) -> str:
    return name.replace("-", "b")


def their_key(ours: Key) -> key.Key:
    tonic = their_name(ours.tonic)
    return key.Key(tonic if ours.mode is Mode.MAJOR else tonic.lower())


@pytest.mark.parametrize("ours", [*MAJOR_KEYS, *MINOR_KEYS], ids=str)
def test_signature_and_scale(ours: Key) -> None:
    theirs = their_key(ours)
    assert ours.signature == theirs.sharps
    names = [our_name(each.name) for each in theirs.pitches[:7]]
    assert [str(name) for name in ours.names] == names


@pytest.mark.parametrize("ours", MAJOR_KEYS, ids=str)
def test_every_degree_as_a_roman_numeral(ours: Key) -> None:
    for number, figure in enumerate(["I", "II", "III", "IV", "V", "VI", "VII"], start=1):
        for alteration, sign in ((0, ""), (-1, "b"), (1, "#")):
            chord = letters(NumberChord(Degree(number, alteration)), ours)
            theirs = roman.RomanNumeral(sign + figure, their_key(ours))
            assert str(chord.root) == our_name(theirs.root().name)
            minor = roman.RomanNumeral(sign + figure.lower(), their_key(ours))
            tones = [our_name(each.name) for each in minor.pitches]
            ours_minor = letters(NumberChord(Degree(number, alteration), QUALITIES[1]), ours)
            assert [str(name) for _, name in ours_minor.tones] == tones


@pytest.mark.parametrize("kind", QUALITIES, ids=lambda kind: kind.name)
def test_the_tones_of_every_kind_in_every_key(kind: Quality) -> None:
    """The kind as a number on each degree, in letters, against music21's reading of its name."""
    wanted = their_tones(kind)
    eleventh = interval.Interval("P4")
    for ours in MAJOR_KEYS:
        for degree in ours.degrees:
            chord = letters(NumberChord(degree, kind), ours)
            root = pitch.Pitch(their_name(chord.root))
            names = {our_name(step.transposePitch(root).name) for step in wanted}
            if kind.name.endswith("thirteenth"):
                # music21 stacks every third; players leave the 11th out (common practice).
                names.discard(our_name(eleventh.transposePitch(root).name))
            assert {str(name) for _, name in chord.tones} == names
            assert numbers(chord, ours) == NumberChord(degree, kind)


def their_tones(kind: Quality) -> list[interval.Interval]:
    """Intervals above the root of music21's chord of this kind, read on C."""
    figure = FIGURES.get(kind.name)
    if figure is None:
        figure = kind.letter_tail.replace("(", "").replace(")", "")
    symbol = harmony.ChordSymbol("C" + figure)
    root = pitch.Pitch("C3")
    return [interval.Interval(root, pitch.Pitch(each.name + "5")) for each in symbol.pitches]


@pytest.mark.parametrize("home", MAJOR_KEYS, ids=str)
def test_a_song_moved_to_every_key(home: Key) -> None:
    """Each chord moves by the interval between the two home notes, as music21 moves it."""
    song = parse_song(
        f"Title: T\nKey: {home}\nTempo: 72\n\nV\n| 1 | 5/7 | 2-(7) | b7 | #4dim | 4- | 3(7) |\n"
    )
    before = names_in(song)
    for new in MAJOR_KEYS:
        move = interval.Interval(
            pitch.Pitch(their_name(home.tonic) + "4"), pitch.Pitch(their_name(new.tonic) + "4")
        )
        moved = [
            our_name(move.transposePitch(pitch.Pitch(name.replace("b", "-"))).name)
            for name in before
        ]
        assert names_in(in_key(song, new)) == moved


def names_in(song: Song) -> list[str]:
    key_now = song.number_key
    found: list[str] = []
    for bar in song.sections[0].bars:
        for event in bar.events:
            if event.chord is not None:
                chord: Chord = event.chord.in_key(key_now)
                found.append(str(chord.root))
                found.append(str(chord.lowest))
    return found


def test_the_letters_of_the_json_are_those_of_the_key_in_force() -> None:
    song = parse_song("Title: T\nKey: D\nTempo: 72\n\nV\n| 1 |\n-- up 2\n| 5/7 |\n")
    bars = chart_json(song)["sections"][0]["bars"]
    up = interval.Interval("M2").transposePitch(pitch.Pitch("D4"))
    five = roman.RomanNumeral("V6", key.Key(up.name))
    assert bars[1]["chords"][0]["letters"] == f"{five.root().name}/{five.bass().name}"
    assert song.sections[0].bars[1].key_change == KeyChange(semitones=2)
