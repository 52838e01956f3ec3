"""Hypothesis generators of charts: songs with every feature the chart language has."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from undersong.chart.song import Bar, ChordEvent, KeyChange, OrderItem, Section, Song, Style
from undersong.theory.chord import QUALITIES, NumberChord
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Degree, MinorHabit, Mode
from undersong.theory.meter import Meter, Wholes, parse_meter
from undersong.theory.pitch import plain_pitch

METERS = tuple(parse_meter(text) for text in ("4/4", "3/4", "6/8", "12/8", "2/2", "5/4", "7/8"))
KEYS = (*MAJOR_KEYS, *MINOR_KEYS)
NAMES = (
    "Intro",
    "Verse 1",
    "Verse 2",
    "Pre-Chorus",
    "Chorus",
    "Bridge",
    "Tag",
    "Última vez",
    "Letzte Strophe",
    "A",
    "Vamp (quiet)",
)
WORDS = (
    "build",
    "out",
    "full",
    "softly, then more",
    "watch for the cue",
    "3 voices",
    "key",
    "up 2",
    "3/4",
    '"so"',
)

degrees: SearchStrategy[Degree] = st.builds(
    Degree, st.integers(1, 7), st.sampled_from((0, 0, 0, -1, 1))
)
number_chords: SearchStrategy[NumberChord] = st.builds(
    NumberChord, degrees, st.sampled_from(QUALITIES), st.none() | degrees
)
changes: SearchStrategy[KeyChange] = st.builds(
    KeyChange, semitones=st.integers(-11, 11).filter(bool)
) | st.builds(KeyChange, key=st.sampled_from(KEYS))


@st.composite
def _events(draw: DrawFn, length: Wholes, meter: Meter) -> tuple[ChordEvent, ...]:
    kind = draw(st.sampled_from(("whole", "beats", "eighths", "thirds", "none")))
    if kind == "none":
        return ()
    unit = {
        "whole": length,
        "beats": meter.beat,
        "eighths": Fraction(1, 8),
        "thirds": meter.beat / 3,
    }[kind]
    slots = [place * unit for place in range(int(length / unit) + 1) if place * unit < length]
    chosen = draw(st.sets(st.sampled_from(slots), min_size=1, max_size=5))
    return tuple(draw(_event(at, length)) for at in sorted(chosen))


@st.composite
def _event(draw: DrawFn, at: Wholes, length: Wholes) -> ChordEvent:
    if draw(st.integers(0, 9)) == 0:
        return ChordEvent(at, None)
    pushes = [Fraction(n, 16) for n in range(1, 5) if Fraction(n, 16) < length]
    is_plain = draw(st.integers(0, 2)) > 0 or not pushes
    return ChordEvent(
        at,
        draw(number_chords),
        held=draw(st.integers(0, 5)) == 0,
        stopped=draw(st.integers(0, 5)) == 0,
        push=Fraction(0) if is_plain else draw(st.sampled_from(pushes)),
        fermata=draw(st.integers(0, 9)) == 0,
    )


@st.composite
def _bar(draw: DrawFn, meter: Meter, *, is_pickup: bool = False) -> Bar:
    if is_pickup:
        length = draw(st.sampled_from([Fraction(n, 8) for n in range(1, 8)]))
        if length < meter.bar:
            return Bar(draw(_events(length, meter)), meter, pickup=length)
    if draw(st.integers(0, 9)) == 0:
        meter = draw(st.sampled_from(METERS))
    few_words = st.lists(st.sampled_from(WORDS), max_size=2, unique=True)
    has_more = draw(st.integers(0, 6)) == 0
    return Bar(
        draw(_events(meter.bar, meter)),
        meter,
        directions=tuple(draw(few_words)) if has_more else (),
        key_change=draw(changes) if draw(st.integers(0, 12)) == 0 else None,
    )


@st.composite
def _passage(draw: DrawFn, meter: Meter) -> tuple[Bar, ...]:
    bars = draw(st.lists(_bar(meter), min_size=1, max_size=6))
    kind = draw(st.sampled_from(("plain", "plain", "repeat", "endings")))
    if kind == "plain":
        return tuple(bars)
    bars[0] = replace(bars[0], opens_repeat=True)
    if kind == "repeat":
        bars[-1] = replace(bars[-1], closes_repeat=draw(st.integers(2, 4)))
        return tuple(bars)
    groups = draw(st.sampled_from((((1,), (2,)), ((1, 2), (3,)), ((1,), (2,), (3,)))))
    for group in groups:
        for bar in draw(st.lists(_bar(meter), min_size=1, max_size=2)):
            plain = replace(bar, directions=(), key_change=None)
            bars.append(replace(plain, endings=group))
    return tuple(bars)


@st.composite
def _section(draw: DrawFn, name: str, meter: Meter) -> Section:
    bars: tuple[Bar, ...] = ()
    if draw(st.integers(0, 4)) == 0:
        bars = (draw(_bar(meter, is_pickup=True)),)
    for passage in draw(st.lists(_passage(meter), min_size=1, max_size=3)):
        bars += passage
    notes = draw(st.lists(st.sampled_from(WORDS), max_size=1))
    return Section(name, bars, draw(st.sampled_from((1, 1, 1, 2, 3))), tuple(notes))


@st.composite
def songs(draw: DrawFn, *, style: Style = Style.NUMBERS) -> Song:
    """Any chart: pick-ups, odd bars, repeats, endings, key changes, an order with lifts."""
    meter = draw(st.sampled_from(METERS))
    key = draw(st.sampled_from(KEYS))
    names = draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=4, unique=True))
    if style is Style.LETTERS:
        names = [name for name in names if name != "A"] or ["Verse 1"]
    sections = tuple(draw(_section(name, meter)) for name in names)
    items = st.builds(
        OrderItem,
        st.sampled_from(names),
        st.integers(1, 3),
        st.none() | changes,
        st.booleans(),
    )
    low = draw(st.integers(40, 60))
    return Song(
        title=draw(st.sampled_from(("Slow Water, Bright Stone", "Fünf Brücken", "No. 4"))),
        key=key,
        meter=meter,
        sections=sections,
        tempo_bpm=draw(st.integers(40, 200)) / draw(st.sampled_from((1, 1, 2))),
        order=tuple(draw(st.lists(items, max_size=6))),
        feel=draw(st.sampled_from(("", "swing", "straight, laid back"))),
        minor_habit=draw(st.sampled_from(MinorHabit))
        if key.mode is Mode.MINOR
        else MinorHabit.RELATIVE,
        melody=draw(st.none() | st.just((plain_pitch(low), plain_pitch(low + 14)))),
        notes=tuple(draw(st.lists(st.sampled_from(WORDS), max_size=2))),
        style=style,
    )
