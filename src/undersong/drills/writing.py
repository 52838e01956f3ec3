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
from functools import cache

from undersong.drills.drill import DrillSheet, Setting
from undersong.errors import UnplayableError
from undersong.neck.fingering import Wishes, fingered
from undersong.neck.shapes import Place
from undersong.theory.chord import NumberChord, diatonic_chords, number_of
from undersong.theory.key import DEGREES, Degree, Key
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import (
    Articulation,
    ChordMark,
    Dynamic,
    Note,
    Part,
    SectionMark,
)
from undersong.theory.pitch import MIDI_MAX, SEMITONES_PER_OCTAVE, Pitch, PitchName, plain_pitch
from undersong.theory.tempo import Swing

QUARTER = Fraction(1, 4)
EIGHTH = Fraction(1, 8)


@dataclass(frozen=True, slots=True)
class Tone:
    """A scale step from the tonic and its alteration in semitones."""

    step: int
    shift: int = 0


@dataclass(frozen=True, slots=True)
class Event:
    """A note or a rest, in the order of playing.

    `pitch` stands in for a tone where the note has no place in the key; with neither it rests.
    """

    length: Wholes
    tone: Tone | None = None
    chord: NumberChord | None = None
    place: Place | None = None
    articulation: Articulation = Articulation.PLAIN
    dynamic: Dynamic = Dynamic.MF
    accented: bool = False
    why: str | None = None
    section: str | None = None
    pitch: Pitch | None = None

    @property
    def is_rest(self) -> bool:
        """True where nothing is played."""
        return self.tone is None and self.pitch is None


def pulse(meter: Meter) -> Wholes:
    """The plain walking length of a meter: its beat, an eighth in compound time."""
    return Fraction(1, meter.unit) if meter.is_compound else min(meter.beat, QUARTER)


def pitch_name_of(key: Key, tone: Tone) -> PitchName:
    """The name of a tone, spelled by its degree."""
    name = _names_of(key)[tone.step % DEGREES]
    if not tone.shift:
        return name
    return replace(name, alteration=name.alteration + tone.shift)


def chord_on(key: Key, step: int, *, sevenths: bool = False) -> NumberChord:
    """The key's own chord on a scale step."""
    return number_of(diatonic_chords(key, sevenths=sevenths)[step % DEGREES], key)


def tone_of(key: Key, degree: Degree) -> Tone:
    """A degree as a step of the key and its alteration against it."""
    step = degree.number - 1
    return Tone(step, degree.alteration - key.degrees[step].alteration)


def semitones_of(key: Key, tone: Tone) -> int:
    """Semitones of a tone above its tonic."""
    octave, place = divmod(tone.step, DEGREES)
    return _steps_of(key)[place] + SEMITONES_PER_OCTAVE * octave + tone.shift


@cache
def _steps_of(key: Key) -> tuple[int, ...]:
    return tuple(degree.interval.semitones for degree in key.degrees)


@cache
def _names_of(key: Key) -> tuple[PitchName, ...]:
    return key.names


def in_bars(
    tones: Sequence[Tone],
    meter: Meter,
    *,
    length: Wholes | None = None,
    chord: NumberChord | None = None,
    section: str | None = None,
) -> list[Event]:
    """Tones in full bars: on the pulse, or twice as fast if that saves a bar; the last fills up."""
    unit = length if length is not None else pulse(meter)
    if length is None and unit * len(tones) > meter.bar:
        unit /= 2
    before = unit * (len(tones) - 1)
    left = -before % meter.bar or meter.bar
    events = [Event(unit, tone, chord) for tone in tones[:-1]]
    events.append(Event(left, tones[-1], chord))
    events[0] = replace(events[0], section=section)
    return events


def pulses(
    tone: Tone, meter: Meter, *, chord: NumberChord | None = None, section: str | None = None
) -> list[Event]:
    """One bar of one tone on every pulse."""
    unit = pulse(meter)
    events = [Event(unit, tone, chord) for _ in range(int(meter.bar / unit))]
    events[0] = replace(events[0], section=section)
    return events


def held(
    tone: Tone, meter: Meter, *, chord: NumberChord | None = None, section: str | None = None
) -> Event:
    """One tone for a whole bar."""
    return Event(meter.bar, tone, chord, section=section)


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
    above = {semitones_of(setting.key, tone) for tone in tones}
    name = setting.key.tonic
    tonics = range(name.at_or_above(0).midi, MIDI_MAX + 1, SEMITONES_PER_OCTAVE)

    def outside(tonic: int) -> int:
        return sum(not setting.allows(tonic + semitones) for semitones in above)

    def far(tonic: int) -> int:
        return abs(tonic - setting.lowest_midi)

    best = min(tonics, key=lambda tonic: (outside(tonic), far(tonic)))
    return name.with_midi(best), outside(best) == 0


def sheet(
    setting: Setting,
    title: str,
    events: Sequence[Event],
    *,
    tonic: Pitch | None = None,
    remarks: Iterable[str] = (),
    wishes: Wishes | None = None,
    swing: Swing | None = None,
) -> DrillSheet:
    """Events as a fingered part, and the remarks.

    Without a `tonic` the lowest that keeps everything in range is taken; notes that no tonic
    keeps in range are moved by octaves, with a remark.
    """
    tones = [event.tone for event in events if event.tone is not None]
    said = list(remarks)
    if events[0].section is None:
        events = [replace(events[0], section=title.split(" in ")[0]), *events[1:]]
    if tonic is None:
        tonic, fits = lowest_tonic(setting, tones)
        if not fits:
            said.append(
                "The exercise is wider than the range: notes outside it are moved by an octave."
            )
    part = replace(write_part(setting, title, events, tonic), swing=swing)
    pinned = any(event.place is not None for event in events)
    wished = wishes if wishes is not None else Wishes(keep_places=pinned)
    return DrillSheet(fingered(part, setting.instrument, wishes=wished), tuple(said))


def write_part(setting: Setting, title: str, events: Sequence[Event], tonic: Pitch) -> Part:
    """Events as a part in full bars, not fingered yet."""
    notes: list[Note] = []
    sections: list[SectionMark] = []
    chords: list[ChordMark] = []
    at = Fraction(0)
    for event in events:
        if event.section is not None:
            sections.append(SectionMark(at, event.section))
        if event.chord is not None and (not chords or chords[-1].chord != event.chord):
            chords.append(ChordMark(at, event.chord))
        if not event.is_rest:
            pitch = event.pitch or _pitch_of(setting, tonic, event.tone or Tone(0))
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


def nearest_in_range(setting: Setting, name: PitchName, midi: int) -> Pitch:
    """The pitch of a name that is nearest to a MIDI number among those in range.

    Raises
    ------
    UnplayableError
        If the range, or the neck, has no such note.
    """
    octaves = [
        other
        for other in range(name.at_or_above(0).midi, MIDI_MAX + 1, SEMITONES_PER_OCTAVE)
        if setting.allows(other) and setting.instrument.places(other)
    ]
    if not octaves:
        raise UnplayableError(
            f"There is no {name} within the range of this exercise "
            f"({plain_pitch(setting.lowest_midi)} to {plain_pitch(setting.highest_midi)}): "
            "widen the range.",
            midi=midi,
        )
    return name.with_midi(min(octaves, key=lambda other: abs(other - midi)))


def _pitch_of(setting: Setting, tonic: Pitch, tone: Tone) -> Pitch:
    midi = tonic.midi + semitones_of(setting.key, tone)
    return nearest_in_range(setting, pitch_name_of(setting.key, tone), midi)


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
                degree=None if event.tone is None else setting.key.degree_of(pitch.name),
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
