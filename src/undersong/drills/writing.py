"""From scale steps and lengths to a fingered part in full bars.

Conventions
-----------
A `Tone` counts scale steps from a tonic: 0 is the tonic, 7 its octave, -1 the note below; a
`shift` raises or lowers it by semitones (a raised 4 is ``Tone(3, 1)``). An `Event` is a tone or a
rest with its length in whole notes. A note that crosses a bar line is written as tied notes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from undersong.drills.drill import DrillSheet, Setting
from undersong.errors import UnplayableError
from undersong.neck.fingering import Wishes, fingered
from undersong.neck.shapes import Place
from undersong.theory.chord import NumberChord, diatonic_chords, number_of
from undersong.theory.key import DEGREES, Key
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import (
    Articulation,
    ChordMark,
    Dynamic,
    Note,
    Part,
    SectionMark,
)
from undersong.theory.pitch import SEMITONES_PER_OCTAVE, Pitch

QUARTER = Fraction(1, 4)
EIGHTH = Fraction(1, 8)


@dataclass(frozen=True, slots=True)
class Tone:
    """A scale step from the tonic and its alteration in semitones."""

    step: int
    shift: int = 0


@dataclass(frozen=True, slots=True)
class Event:
    """A note or (without a tone) a rest, in the order of playing."""

    length: Wholes
    tone: Tone | None = None
    chord: NumberChord | None = None
    place: Place | None = None
    articulation: Articulation = Articulation.PLAIN
    dynamic: Dynamic = Dynamic.MF
    accented: bool = False
    why: str | None = None
    section: str | None = None


def pulse(meter: Meter) -> Wholes:
    """The plain walking length of a meter: its beat, an eighth in compound time."""
    return Fraction(1, meter.unit) if meter.is_compound else min(meter.beat, QUARTER)


def pitch_of(key: Key, tonic: Pitch, tone: Tone) -> Pitch:
    """The pitch of a tone above a tonic, spelled by its degree."""
    octave, place = divmod(tone.step, DEGREES)
    name = key.names[place]
    above = (name.pitch_class - tonic.name.pitch_class) % SEMITONES_PER_OCTAVE
    midi = tonic.midi + above + octave * SEMITONES_PER_OCTAVE
    if not tone.shift:
        return name.with_midi(midi)
    raised = replace(name, alteration=name.alteration + tone.shift)
    return raised.with_midi(midi + tone.shift)


def chord_on(key: Key, step: int, *, sevenths: bool = False) -> NumberChord:
    """The key's own chord on a scale step."""
    return number_of(diatonic_chords(key, sevenths=sevenths)[step % DEGREES], key)


def evenly(
    tones: Sequence[Tone],
    meter: Meter,
    *,
    length: Wholes | None = None,
    chord: NumberChord | None = None,
    section: str | None = None,
) -> list[Event]:
    """Tones of one length, the last held to the end of its bar or, if that is near, of the next."""
    unit = pulse(meter) if length is None else length
    before = unit * (len(tones) - 1)
    left = -before % meter.bar or meter.bar
    last = left if left >= 2 * unit else left + meter.bar
    events = [Event(unit, tone, chord) for tone in tones[:-1]]
    events.append(Event(last, tones[-1], chord))
    events[0] = replace(events[0], section=section)
    return events


def lowest_tonic(setting: Setting, tones: Iterable[Tone]) -> tuple[Pitch, bool]:
    """The lowest tonic from which all tones lie in range, and whether there is one.

    Where there is none, the tonic that keeps most of them in range.
    """
    wanted = set(tones)
    name = setting.key.tonic
    tonics = [
        name.with_midi(midi)
        for midi in range(setting.lowest_midi - 24, setting.highest_midi + 13)
        if midi % SEMITONES_PER_OCTAVE == name.pitch_class
    ]

    def outside(tonic: Pitch) -> int:
        pitches = (pitch_of(setting.key, tonic, tone) for tone in wanted)
        return sum(not setting.allows(pitch.midi) for pitch in pitches)

    best = min(tonics, key=lambda tonic: (outside(tonic), tonic.midi))
    return best, outside(best) == 0


def sheet(
    setting: Setting,
    title: str,
    events: Sequence[Event],
    *,
    tonic: Pitch | None = None,
    remarks: Iterable[str] = (),
    wishes: Wishes | None = None,
) -> DrillSheet:
    """Events as a fingered part, and the remarks.

    Without a `tonic` the lowest that keeps everything in range is taken; notes that no tonic
    keeps in range are moved by octaves, with a remark.
    """
    tones = [event.tone for event in events if event.tone is not None]
    said = list(remarks)
    if tonic is None:
        tonic, fits = lowest_tonic(setting, tones)
        if not fits:
            said.append(
                "The exercise is wider than the range: notes outside it are moved by an octave."
            )
    part = _part(setting, title, events, tonic)
    pinned = any(event.place is not None for event in events)
    wished = wishes if wishes is not None else Wishes(keep_places=pinned)
    return DrillSheet(fingered(part, setting.instrument, wishes=wished), tuple(said))


def _part(setting: Setting, title: str, events: Sequence[Event], tonic: Pitch) -> Part:
    notes: list[Note] = []
    sections: list[SectionMark] = []
    chords: list[ChordMark] = []
    at = Fraction(0)
    for event in events:
        if event.section is not None:
            sections.append(SectionMark(at, event.section))
        if event.chord is not None and (not chords or chords[-1].chord != event.chord):
            chords.append(ChordMark(at, event.chord))
        if event.tone is not None:
            pitch = _in_range(setting, pitch_of(setting.key, tonic, event.tone))
            notes.extend(_written(setting, event, pitch, at))
        at += event.length
    length = at + -at % setting.meter.bar
    return Part(
        title,
        setting.key,
        setting.meter,
        setting.tempo_bpm,
        tuple(notes),
        length=length,
        sections=tuple(sections),
        chords=tuple(chords),
    )


def _in_range(setting: Setting, pitch: Pitch) -> Pitch:
    octaves = sorted(
        (
            midi
            for midi in range(pitch.midi % SEMITONES_PER_OCTAVE, 128, SEMITONES_PER_OCTAVE)
            if setting.allows(midi) and setting.instrument.places(midi)
        ),
        key=lambda midi: abs(midi - pitch.midi),
    )
    if not octaves:
        raise UnplayableError(
            f"There is no {pitch.name} within the range of this exercise "
            f"(MIDI {setting.lowest_midi} to {setting.highest_midi}): widen the range."
        )
    return pitch if octaves[0] == pitch.midi else pitch.name.with_midi(octaves[0])


def _written(setting: Setting, event: Event, pitch: Pitch, at: Wholes) -> list[Note]:
    """One event as one note, or as tied notes where it crosses bar lines."""
    string, fret = event.place if event.place is not None else (None, None)
    notes: list[Note] = []
    end = at + event.length
    while at < end:
        bar_end = at + (-at % setting.meter.bar or setting.meter.bar)
        stop = min(end, bar_end)
        first = not notes
        notes.append(
            Note(
                at,
                stop - at,
                pitch,
                degree=setting.key.degree_of(pitch.name),
                chord=event.chord,
                string=string,
                fret=fret,
                articulation=event.articulation if first else Articulation.PLAIN,
                dynamic=event.dynamic,
                accented=event.accented and first,
                tied=stop < end,
                why=event.why if first else None,
            )
        )
        at = stop
    return notes
