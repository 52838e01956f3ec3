"""Parts that between them hold what a bass part can: meters, pick-up, tuplets, ties, strings."""

from __future__ import annotations

from fractions import Fraction

from undersong.theory.chord import parse_number_chord
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter, parse_wholes
from undersong.theory.part import (
    Articulation,
    ChordMark,
    Dynamic,
    KeyMark,
    MeterMark,
    Note,
    Part,
    SectionMark,
)
from undersong.theory.pitch import parse_pitch
from undersong.theory.tempo import Swing, TempoMark

F = Fraction
FOUR = (28, 33, 38, 43)  # trade handbook 4.1
FIVE = (23, 28, 33, 38, 43)
SIX = (23, 28, 33, 38, 43, 48)
_OPEN_FRETS = 5


def line(text: str, key: str, tuning: tuple[int, ...] | None = FOUR) -> tuple[Note, ...]:
    """Notes one after another: ``G1:1/4`` a note, ``r:1/8`` a rest, ``G1:1/4:accent`` ..."""
    notes, at = [], F(0)
    for word in text.split():
        name, length, *marks = word.split(":")
        if name != "r":
            notes.append(_note(name, at, parse_wholes(length), key, tuning, marks))
        at += parse_wholes(length)
    return tuple(notes)


def _note(
    name: str, at: F, length: F, key: str, tuning: tuple[int, ...] | None, marks: list[str]
) -> Note:
    pitch = parse_pitch(name)
    string = fret = None
    if tuning is not None:
        places = [(s, pitch.midi - tuning[-s]) for s in range(len(tuning), 0, -1)]
        string, fret = next(
            ((s, f) for s, f in places if 0 <= f < _OPEN_FRETS),
            (1, pitch.midi - tuning[-1]),
        )
    words = {each.value for each in Articulation} & set(marks)
    loud = {each.value for each in Dynamic} & set(marks)
    return Note(
        at,
        length,
        pitch,
        degree=parse_key(key).degree_of(pitch.name),
        string=string,
        fret=fret,
        finger=None if fret is None else min(fret, 4),
        articulation=Articulation(words.pop()) if words else Articulation.PLAIN,
        dynamic=Dynamic(loud.pop()) if loud else Dynamic.MF,
        accented="accent" in marks,
        tied="tied" in marks,
    )


def _chords(text: str) -> tuple[ChordMark, ...]:
    pairs = (word.split("@") for word in text.split())
    return tuple(ChordMark(parse_wholes(at), parse_number_chord(chord)) for chord, at in pairs)


PARTS = {
    "four_four": Part(
        "Slow Water, Bright Stone",
        parse_key("G"),
        parse_meter("4/4"),
        72,
        line(
            "D2:1/8 G1:3/8:f G1:1/8 B1:1/4 D2:1/4:short C2:1/8 C2:1/4 C2:1/8 E2:1/4:slide "
            "G2:1/2 F#2:1/8 E2:1/8:accent D2:1/4 D2:1/16 E2:1/16 F#2:1/16 G2:1/16 A1:3/16 "
            "B1:1/16 r:1/4 G1:1/4:ghost G1:5/4:p G1:1/8 F1:1/8 Bb1:1/8:muted G#1:1/8 A1:1/8 "
            "C2:1/8:hammered D2:1/4 G1:1/2",
            "G",
        ),
        pickup=F(1, 8),
        sections=(SectionMark(F(1, 8), "Verse"), SectionMark(F(17, 8), "Chorus")),
        chords=_chords("1@1/8 4@9/8 5/7@13/8 2-7@17/8 b7@25/8 5sus@33/8 6-@37/8 1maj7@41/8"),
        tuning=FOUR,
    ),
    "six_eight": Part(
        "Lanterns on the Hill",
        parse_key("D"),
        parse_meter("6/8"),
        56,
        line(
            "D1:3/8 A1:3/8 D2:1/4 C2:1/8 B1:1/8 A1:1/8 G1:1/8 F#1:1/8 A1:1/4 D1:3/4 E1:1/16 "
            "F#1:1/16 G1:1/8 A1:1/8 r:3/8 B0:3/8 D1:1/8 r:1/4 D1:9/8 r:3/8",
            "D",
            FIVE,
        ),
        key_marks=(KeyMark(F(9, 4), parse_key("Eb")),),
        tempo_marks=(TempoMark(F(3), 60, F(3, 8)),),
        tuning=FIVE,
    ),
    "three_four": Part(
        "The Long Way Round",
        parse_key("Em"),
        parse_meter("3/4"),
        100,
        line(
            "B0:1/4 E1:3/4 B0:1/4:tied B0:1/8 A2:3/8 r:1/4 C3:1/8 E3:1/8 D3:1/8 C3:1/8 B2:1/8 "
            "A2:1/8 E1:1/2 E1:3/4",
            "Em",
            SIX,
        ),
        pickup=F(1, 4),
        tuning=SIX,
    ),
    "twelve_eight": Part(
        "River Stair",
        parse_key("Bb"),
        parse_meter("12/8"),
        66,
        line(
            "Bb1:3/4 Bb1:1/4 C2:1/8 D2:3/8 Eb2:3/2 F1:1/8 r:1/8 F1:1/8 G1:1/4 A1:1/8 Bb1:3/4 "
            "Bb1:3/16 C2:3/16 D2:9/8",
            "Bb",
        ),
        meter_marks=(MeterMark(F(9, 2), parse_meter("4/4")),),
    ),
    "tuplets": Part(
        "Small Hours",
        parse_key("C"),
        parse_meter("4/4"),
        90,
        line(
            "C2:1/12 D2:1/12 E2:1/12 F2:1/6 E2:1/12 D2:1/6 r:1/12 C2:1/4 C2:1/6 D2:1/6 E2:1/6 "
            "C2:1/20 D2:1/20 E2:1/20 F2:1/20 G2:1/20 C2:1/4 C2:1/6 C2:1/3 D2:1/24 E2:1/24 "
            "F2:1/24 E2:1/8 C2:1/4",
            "C",
            None,
        ),
        swing=Swing(),
    ),
}
