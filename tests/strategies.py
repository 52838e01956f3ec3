"""Hypothesis generators shared by the tests.

`parts()` makes any Part there can be; `bass_parts()` one a bassist could be handed: one note at
a time, in its octaves, ties that lead somewhere, string and fret that give the pitch.
"""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from undersong.theory.chord import QUALITIES, NumberChord
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Degree, Key, MinorHabit
from undersong.theory.meter import Meter, Wholes, parse_meter
from undersong.theory.part import (
    Articulation,
    ChordMark,
    Dynamic,
    KeyMark,
    MeterMark,
    Note,
    Part,
    SectionMark,
    Voice,
    in_order,
)
from undersong.theory.pitch import Pitch, plain_pitch
from undersong.theory.tempo import Swing, TempoMark

METERS = tuple(
    parse_meter(text)
    for text in ("4/4", "3/4", "6/8", "12/8", "2/2", "9/8", "5/4", "7/8", "2/4", "3/8")
)
# Plain, dotted, tripled, five in the time of four; some longer than a bar.
LENGTHS = tuple(
    Fraction(upper, lower)
    for lower, uppers in {
        1: (1,),
        2: (1, 3),
        4: (1, 3, 9),
        6: (1,),
        8: (1, 3, 5, 7),
        12: (1,),
        16: (1, 3),
        20: (1,),
        24: (1,),
        32: (1,),
    }.items()
    for upper in uppers
)
TUNINGS = (
    (28, 33, 38, 43),
    (26, 33, 38, 43),
    (23, 28, 33, 38, 43),
    (23, 28, 33, 38, 43, 48),
)
GAPS = (Fraction(0),) * 8 + LENGTHS[:8]

keys: SearchStrategy[Key] = st.sampled_from(MAJOR_KEYS + MINOR_KEYS)
meters: SearchStrategy[Meter] = st.sampled_from(METERS)
tempos: SearchStrategy[float] = st.integers(40, 240).map(lambda halves: halves / 2 + 20)
degrees: SearchStrategy[Degree] = st.builds(Degree, st.integers(1, 7), st.integers(-1, 1))
number_chords: SearchStrategy[NumberChord] = st.builds(
    NumberChord, degrees, st.sampled_from(QUALITIES), st.none() | degrees
)
names: SearchStrategy[str] = st.sampled_from(
    ("Intro", "Verse", "Chorus", "Bridge", "Tag & out", "Strophe Ä", "<Outro>")
)
titles: SearchStrategy[str] = st.text(min_size=1, max_size=20)


@st.composite
def bar_lines(draw: DrawFn, meter: Meter, pickup: Wholes) -> tuple[MeterMark, ...]:
    """Meter changes that fall on bar lines."""
    marks, at = [], pickup
    for _ in range(draw(st.integers(0, 2))):
        at += meter.bar * draw(st.integers(1, 3))
        meter = draw(meters)
        marks.append(MeterMark(at, meter))
    return tuple(marks)


@st.composite
def bass_notes(
    draw: DrawFn, key: Key, tuning: tuple[int, ...] | None, most: int
) -> tuple[Note, ...]:
    """One note at a time, from the start, with rests between some of them."""
    notes: list[Note] = []
    at, tied_pitch = Fraction(0), None
    for _ in range(draw(st.integers(0, most))):
        at += Fraction(0) if tied_pitch else draw(st.sampled_from(GAPS))
        string = fret = None
        pitch = tied_pitch
        if pitch is None and tuning is not None:
            string, fret = draw(st.integers(1, len(tuning))), draw(st.integers(0, 15))
            pitch = key.spell(tuning[-string] + fret)
        elif pitch is None:
            pitch = draw(spelled(key))
        elif notes:
            string, fret = notes[-1].string, notes[-1].fret
        note = draw(decorated(at, draw(st.sampled_from(LENGTHS)), pitch, string, fret))
        notes.append(note)
        at, tied_pitch = note.end, note.pitch if note.tied else None
    return tuple(notes)


@st.composite
def spelled(draw: DrawFn, key: Key) -> Pitch:
    """A bass pitch spelled by the key or by its neighbour's name."""
    midi = draw(st.integers(23, 60))
    if draw(st.booleans()):
        return key.spell(midi)
    return plain_pitch(midi, prefer_flats=draw(st.booleans()))


@st.composite
def decorated(
    draw: DrawFn, at: Wholes, length: Wholes, pitch: Pitch, string: int | None, fret: int | None
) -> Note:
    """A note with everything that can be written on it."""
    return Note(
        at,
        length,
        pitch,
        degree=draw(st.none() | degrees),
        chord=draw(st.none() | number_chords),
        string=string,
        fret=fret,
        finger=draw(st.none() | st.integers(0, 4)) if string else None,
        articulation=draw(st.sampled_from(Articulation)),
        dynamic=draw(st.sampled_from(Dynamic)),
        accented=draw(st.booleans()),
        tied=draw(st.integers(0, 5)) == 0,
        why=draw(st.none() | st.text(max_size=10)),
    )


@st.composite
def loose_notes(draw: DrawFn, key: Key, most: int) -> tuple[Note, ...]:
    """Notes at any place, several at once and over one another."""
    places = st.integers(0, 48).map(lambda steps: Fraction(steps, 24))
    rows = draw(st.lists(st.tuples(places, st.sampled_from(LENGTHS)), max_size=most))
    return in_order(
        draw(decorated(at, length, draw(spelled(key)), None, None)) for at, length in rows
    )


@st.composite
def _around(
    draw: DrawFn, key: Key, voice: Voice, notes: tuple[Note, ...], tuning: tuple[int, ...] | None
) -> Part:
    meter = draw(meters)
    pickup = Fraction(draw(st.integers(0, 3)), 8) % meter.bar
    meter_marks = draw(bar_lines(meter, pickup))
    shell = Part("", key, meter, 60, notes, pickup=pickup, meter_marks=meter_marks)
    last = int(shell.length * 8) - 1
    places = st.integers(1, last).map(lambda eighths: Fraction(eighths, 8))

    def at_places() -> list[Wholes]:
        return sorted(draw(st.sets(places, max_size=3))) if last > 0 else []

    return Part(
        title=draw(titles),
        key=key,
        meter=meter,
        tempo_bpm=draw(tempos),
        notes=notes,
        voice=voice,
        pickup=pickup,
        length=shell.length + draw(st.sampled_from((0, 0, 1, 2))) * meter.bar,
        key_marks=tuple(KeyMark(at, draw(keys)) for at in at_places()),
        meter_marks=tuple(mark for mark in meter_marks if mark.at < shell.length),
        tempo_marks=tuple(TempoMark(at, draw(tempos), meter.beat) for at in at_places()),
        sections=tuple(SectionMark(at, draw(names)) for at in at_places()),
        chords=tuple(ChordMark(at, draw(st.none() | number_chords)) for at in at_places()),
        swing=draw(st.none() | st.just(Swing()) | st.just(Swing(Fraction(1, 16), Fraction(3, 2)))),
        tuning=tuning,
        minor_habit=draw(st.sampled_from(MinorHabit)),
    )


@st.composite
def bass_parts(draw: DrawFn, *, most: int = 12) -> Part:
    """A part for one bass, fingered or not."""
    key, tuning = draw(keys), draw(st.none() | st.sampled_from(TUNINGS))
    return draw(_around(key, Voice.BASS, draw(bass_notes(key, tuning, most)), tuning))


@st.composite
def parts(draw: DrawFn, *, most: int = 12) -> Part:
    """Any part: bass, drums or pad, with every kind of mark."""
    if draw(st.booleans()):
        return draw(bass_parts(most=most))
    key, voice = draw(keys), draw(st.sampled_from(Voice))
    return draw(_around(key, voice, draw(loose_notes(key, most)), None))
