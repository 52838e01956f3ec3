"""A Part as a Standard MIDI File.

Conventions
-----------
Written straight, even where the part swings, so that places come back exactly; the swing rides
along as a text event. Tied notes come out as one stroke. Tempo counts quarter notes in the file
and the meter's own beat here (a dotted quarter in 6/8). A pick-up bar is a bar of its own length
under its own time signature. Places are exact where a grid of up to 32 767 steps a quarter note
can hold them all, else rounded as `bounds` says.

MIDI carries no spelling, degree, chord, string, fret or finger, and no way of striking a note.

References
----------
Standard MIDI Files 1.0 (RP-001): format 1, track 1 holds tempo and meter. General MIDI 1 (RP-003):
program 34 "Electric Bass (finger)", 90 "Pad 2 (warm)", counted from 1; percussion on channel 10.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from operator import itemgetter
from typing import Any

import mido

from undersong.errors import ExchangeError
from undersong.exchange.bounds import grid_of, on_grid
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import Dynamic, Part, Stroke, Voice
from undersong.theory.tempo import TempoMark

USUAL_GRID = 480
MAX_TEMPO_US = 0xFFFFFF  # the tempo event holds three bytes
DRUM_CHANNEL = 9  # channel 10, counted from 0
PROGRAM = {Voice.BASS: 33, Voice.PAD: 89, Voice.DRUMS: 0}  # counted from 0
# Even steps with room for an accent above each (common practice, no source).
VELOCITY = {
    Dynamic.PP: 32,
    Dynamic.P: 48,
    Dynamic.MP: 64,
    Dynamic.MF: 80,
    Dynamic.F: 96,
    Dynamic.FF: 112,
}
ACCENT_VELOCITY = 8
Message = Any  # mido carries no types


def midi_bytes(part: Part) -> bytes:
    """The part as a MIDI file of format 1, one track of notes.

    Notes of one pitch that overlap (a pad may hold them) go to further tracks of the same name,
    so that each keeps its own end.
    """
    per_quarter = grid_of(part, USUAL_GRID)
    part = on_grid(part, per_quarter)
    file = mido.MidiFile(type=1, ticks_per_beat=per_quarter)

    def ticks(place: Wholes) -> int:
        return int(place * 4 * per_quarter)

    file.tracks.append(_track(_conductor(part, ticks), ticks(part.length)))
    for layer in _layers(part.strokes):
        head = _head(part)
        file.tracks.append(_track([*head, *_note_events(layer, part, ticks)], ticks(part.length)))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _track(events: Iterable[tuple[int, Message]], end: int) -> mido.MidiTrack:
    """Absolute ticks to a track of deltas; order within one tick is kept."""
    track, now = mido.MidiTrack(), 0
    for tick, message in sorted(events, key=itemgetter(0)):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(end - now, 0)))
    return track


def _conductor(part: Part, ticks: Callable[[Wholes], int]) -> Iterator[tuple[int, Message]]:
    meta = mido.MetaMessage
    yield 0, meta("track_name", name=_raw(part.title))
    swing = "none" if part.swing is None else f"{_ratio(part.swing.unit)} {part.swing.ratio}"
    yield 0, meta("text", text=f"undersong pickup {part.pickup} swing {swing}")
    for at, meter in _signatures(part):
        yield ticks(at), meta("time_signature", numerator=meter.upper, denominator=meter.unit)
    yield 0, meta("key_signature", key=str(part.key_at(Fraction(0))))
    for key_mark in part.key_marks:
        if key_mark.at > 0:
            yield ticks(key_mark.at), meta("key_signature", key=str(key_mark.key))
    for tempo in part.tempo_map.marks:
        yield ticks(tempo.at), meta("set_tempo", tempo=_quarter_us(tempo))
    for section in part.sections:
        yield ticks(section.at), meta("marker", text=_raw(section.name))


def _raw(text: str) -> str:
    """UTF-8 bytes in the Latin-1 that mido writes (its charset option is not safe in threads)."""
    return text.encode().decode("latin-1")


def _ratio(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}"


def _signatures(part: Part) -> Iterator[tuple[Wholes, Meter]]:
    """Meters by bar; the pick-up's own length as a meter where it can be written as one."""
    before = None
    for bar in part.bars:
        meter = bar.meter
        if bar.number == 0 and part.length > part.pickup:
            unit = max(bar.length.denominator, meter.unit)
            upper = bar.length * unit
            if unit <= 32 and upper.denominator == 1 and upper <= 32:
                meter = Meter(int(upper), unit)
        if meter != before or bar.number == 1:
            yield bar.at, meter
        before = meter
    if before is None:
        yield Fraction(0), part.meter


def _quarter_us(mark: TempoMark) -> int:
    microseconds = round(60e6 / (mark.tempo_bpm * float(mark.beat) * 4))
    if not 1 <= microseconds <= MAX_TEMPO_US:
        raise ExchangeError(
            f"MIDI cannot carry {mark.tempo_bpm:g} beats a minute of {mark.beat} each: "
            "write the tempo in longer beats."
        )
    return microseconds


def _layers(strokes: Iterable[Stroke]) -> list[list[Stroke]]:
    """Strokes in as few layers as it takes for no pitch to overlap itself within one."""
    layers: list[list[Stroke]] = [[]]
    ends: list[dict[int, Wholes]] = [{}]
    for stroke in strokes:
        midi = stroke.note.pitch.midi
        free = (place for place, busy in enumerate(ends) if busy.get(midi, 0) <= stroke.at)
        place = next(free, len(layers))
        if place == len(layers):
            layers.append([])
            ends.append({})
        layers[place].append(stroke)
        ends[place][midi] = stroke.end
    return layers


def _head(part: Part) -> list[tuple[int, Message]]:
    channel = DRUM_CHANNEL if part.voice is Voice.DRUMS else 0
    return [
        (0, mido.MetaMessage("track_name", name=part.voice.value.capitalize())),
        (0, mido.Message("program_change", channel=channel, program=PROGRAM[part.voice])),
    ]


def _note_events(
    strokes: Iterable[Stroke], part: Part, ticks: Callable[[Wholes], int]
) -> list[tuple[int, Message]]:
    channel = DRUM_CHANNEL if part.voice is Voice.DRUMS else 0
    offs, ons = [], []
    for stroke in strokes:
        note = stroke.note
        velocity = VELOCITY[note.dynamic] + (ACCENT_VELOCITY if note.accented else 0)
        on = mido.Message(
            "note_on", channel=channel, note=note.pitch.midi, velocity=min(velocity, 127)
        )
        ons.append((ticks(stroke.at), on))
        off = mido.Message("note_off", channel=channel, note=note.pitch.midi, velocity=64)
        offs.append((ticks(stroke.end), off))
    return [*offs, *ons]  # at one tick the old note ends before the new one starts
