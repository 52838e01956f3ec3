"""Hands and eyes: damping, finger by finger, shifts, crossings, slurs and slides, sight-reading."""

from __future__ import annotations

import random
from dataclasses import replace

from undersong.drills.drill import Drill, DrillSheet, Setting
from undersong.drills.patterns import steps
from undersong.drills.rhythm import COMPOUND_CELLS, HANDS_REMARK, SIMPLE_CELLS, cell_bar
from undersong.drills.writing import Event, Tone, chord_on, evenly, held, pulse, semitones_of, sheet
from undersong.errors import UnplayableError
from undersong.neck.geometry import is_four_finger_frame
from undersong.neck.shapes import HAND_FRETS
from undersong.theory.key import DEGREES
from undersong.theory.part import Articulation

SIGHT_READING_BARS = 8
STEP_SHARE = 0.7  # of melodic moves that go by step; common practice, no source
FIRST_COMFORTABLE_FRET = 5


def make_open_strings(setting: Setting) -> DrillSheet:
    """Each open string struck, then damped, up and down (trade handbook 6, X19)."""
    bass, unit = setting.instrument, pulse(setting.meter)
    up = [string for string in range(bass.strings, 0, -1) if setting.allows(bass.open_midi(string))]
    events: list[Event] = []
    for string in [*up, *up[-2::-1]]:
        pitch = bass.tuning.strings[-string]
        sounding = unit * max(int(setting.meter.bar / unit) // 2, 1)
        events.append(Event(sounding, pitch=pitch, place=(string, 0), why="strike, then damp"))
        if sounding < setting.meter.bar:
            events.append(Event(setting.meter.bar - sounding))
    if not up:
        return make_stopped(setting)
    events[0] = replace(events[0], section="Open strings")
    return sheet(setting, "Open strings", events)


def make_stopped(setting: Setting) -> DrillSheet:
    """Where the range holds no open string: the tonic struck and damped."""
    events = [
        held(Tone(0), setting.meter, chord=chord_on(setting.key, 0), section="Strike, then damp")
    ]
    remark = "No open string lies in this range: the tonic is struck and damped instead."
    return sheet(setting, "Open strings", events, remarks=[remark])


def make_four_fingers(setting: Setting) -> DrillSheet:
    """Fingers 1 2 3 4 on four neighbouring frets of every string, up and back."""
    bass = setting.instrument
    hand = _comfortable_hand(setting)
    frets = range(hand, hand + HAND_FRETS)
    places = [
        (string, fret)
        for string in range(bass.strings, 0, -1)
        for fret in frets
        if setting.allows(bass.midi_at(string, fret))
    ]
    if not places:
        raise UnplayableError(
            f"No note of frets {hand} to {hand + HAND_FRETS - 1} lies in the range of this "
            "exercise: widen the range, or choose another tuning."
        )
    row = [*places, *places[-2::-1]]
    lengths = evenly([Tone(0)] * len(row), setting.meter)
    events = [
        replace(event, tone=None, pitch=setting.key.spell(bass.midi_at(*place)), place=place)
        for event, place in zip(lengths, row, strict=True)
    ]
    events[0] = replace(events[0], section=f"Frets {hand} to {hand + HAND_FRETS - 1}")
    return sheet(setting, f"Four fingers from fret {hand}", events, remarks=[HANDS_REMARK])


def _comfortable_hand(setting: Setting) -> int:
    """The lowest fret where four fingers lie at ease, not below the fifth."""
    bass = setting.instrument
    top = bass.frets - HAND_FRETS + 1
    for fret in range(FIRST_COMFORTABLE_FRET, top + 1):
        in_range = any(
            setting.allows(bass.midi_at(string, fret)) for string in range(1, bass.strings + 1)
        )
        if in_range and is_four_finger_frame(fret, bass):
            return fret
    return max(min(FIRST_COMFORTABLE_FRET, top), 1)


def make_shifts(setting: Setting) -> DrillSheet:
    """Two notes in one place, the next two a step higher, on one string."""
    row = [number for low in range(6) for number in (low, low + 1)]
    tones = steps([*row, *row[::-1]])
    bass, chord = setting.instrument, chord_on(setting.key, 0)
    top = semitones_of(setting.key, Tone(6))
    for string in range(bass.strings, 0, -1):
        tonic = setting.key.tonic.at_or_above(max(setting.lowest_midi, bass.open_midi(string) + 1))
        fret = tonic.midi - bass.open_midi(string)
        if fret + top <= bass.frets and setting.allows(tonic.midi + top):
            events = [
                replace(event, place=(string, fret + semitones_of(setting.key, tone)))
                for event, tone in zip(
                    evenly(tones, setting.meter, chord=chord, section=f"String {string}"),
                    tones,
                    strict=True,
                )
            ]
            return sheet(setting, f"Shifts in {setting.key}", events, tonic=tonic)
    events = evenly(tones, setting.meter, chord=chord, section="Shifts")
    remark = "No single string has room for it here: the notes are fingered freely."
    return sheet(setting, f"Shifts in {setting.key}", events, remarks=[remark])


def make_crossings(setting: Setting) -> DrillSheet:
    """1 5 2 6 3 7 up the scale and back: the next string on every note."""
    lows = [*range(5), *range(3, -1, -1)]
    tones = steps([number for low in lows for number in (low, low + 4)])
    events = evenly(
        [*tones, Tone(0)], setting.meter, chord=chord_on(setting.key, 0), section="Crossings"
    )
    return sheet(setting, f"Crossings in {setting.key}", events)


def make_hammers(setting: Setting) -> DrillSheet:
    """The scale in pairs: the second note of each is sounded by the fretting hand."""
    return _slurred(setting, "Hammered pairs", Articulation.HAMMERED)


def make_slides(setting: Setting) -> DrillSheet:
    """The scale in pairs: the second note of each is slid into."""
    return _slurred(setting, "Slides", Articulation.SLIDE)


def _slurred(setting: Setting, title: str, articulation: Articulation) -> DrillSheet:
    row = [number for low in range(DEGREES) for number in (low, low + 1)]
    events = evenly(
        steps([*row, DEGREES]), setting.meter, chord=chord_on(setting.key, 0), section=title
    )
    events = [
        replace(event, articulation=articulation) if place % 2 else event
        for place, event in enumerate(events)
    ]
    return sheet(setting, f"{title} in {setting.key}", events)


def make_sight_reading(setting: Setting) -> DrillSheet:
    """Eight bars nobody has seen: mostly steps, some leaps, home at the end; seeded."""
    rng = random.Random(setting.seed)
    cells = (COMPOUND_CELLS if setting.meter.is_compound else SIMPLE_CELLS)[:3]
    chord = chord_on(setting.key, 0)
    events: list[Event] = []
    step = 0
    for bar in range(SIGHT_READING_BARS - 1):
        _, cell = rng.choice(cells)
        section = "Read" if bar == 0 else None
        for event in cell_bar(
            setting.meter, cell, Event(setting.meter.bar, Tone(0), chord, section=section)
        ):
            events.append(replace(event, tone=Tone(step)))
            step = _next_step(rng, step)
    events.append(held(Tone(0), setting.meter, chord=chord))
    remark = f"This page is seed {setting.seed}: play it once, then take another seed."
    return sheet(setting, f"Sight-reading in {setting.key}", events, remarks=[remark])


def _next_step(rng: random.Random, step: int) -> int:
    size = 1 if rng.random() < STEP_SHARE else rng.choice((2, 2, 3, 4))
    moved = step + size * rng.choice((-1, 1))
    return moved if 0 <= moved <= DEGREES + 1 else step + (1 if step <= 1 else -1)


TECHNIQUE = (
    Drill(
        name="open-strings",
        title="Open strings, damped",
        level=1,
        purpose="Left and right hand damping: one string at a time.",
        listen_for="Silence after each note, from all the strings.",
        common_mistakes="Other strings ringing along; the damping hand arrives with a slap.",
        make=make_open_strings,
    ),
    Drill(
        name="four-fingers",
        title="Four fingers",
        level=1,
        purpose="A finger for every fret, each with its own even tone.",
        listen_for="Finger 3 and finger 4 as clear as the first two.",
        common_mistakes="Fingers flying off the string; pressing too hard.",
        make=make_four_fingers,
    ),
    Drill(
        name="shifts",
        title="Shifts",
        level=3,
        purpose="The hand moving as one piece, thumb and all, by a step at a time.",
        listen_for="No slide heard, unless you meant one.",
        common_mistakes="The thumb stays behind; the last note before the shift is cut short.",
        make=make_shifts,
    ),
    Drill(
        name="crossings",
        title="String crossings",
        level=2,
        purpose="A new string on every note, both hands together.",
        listen_for="The string just left, silent.",
        common_mistakes="The plucking hand arrives first; uneven loudness from string to string.",
        make=make_crossings,
    ),
    Drill(
        name="hammers",
        title="Hammered pairs",
        level=4,
        purpose="Two notes for one pluck, the second as loud as the first.",
        listen_for="The second note on time and not weaker.",
        common_mistakes="The second note comes early; the finger lands between two frets.",
        make=make_hammers,
    ),
    Drill(
        name="slides",
        title="Slides",
        level=4,
        purpose="From one note into the next without lifting the finger.",
        listen_for="The arrival on the beat, not the departure.",
        common_mistakes="Leaving late and arriving late; the pressure let go on the way.",
        make=make_slides,
    ),
    Drill(
        name="sight-reading",
        title="Sight-reading",
        level=3,
        purpose="Eight new bars at first sight, without stopping.",
        listen_for="The pulse going on, even where a note is lost.",
        common_mistakes="Going back to mend a note; looking at the hand.",
        make=make_sight_reading,
    ),
)
