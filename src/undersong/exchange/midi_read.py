"""A Part from a Standard MIDI File: ours, or another program's with one bass in it.

Conventions
-----------
Places are exact fractions, straight from the ticks; nothing is moved to a grid. Pitches are
spelled by the key in force. A first bar that is shorter than the next meter's is a pick-up.
Velocities of other programs' files are a performance, not written dynamics, and are passed over.
A note that is never ended ends with its track; one of no length lasts a tick.

References
----------
Standard MIDI Files 1.0 (RP-001): 4/4 and 120 quarter notes a minute where nothing is said.
"""

from __future__ import annotations

import io
import re
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction

import mido

from undersong.errors import ExchangeError, TheoryError
from undersong.exchange.bounds import MAX_GRID, checked_count, checked_length, checked_size
from undersong.exchange.choose import Candidate, chosen
from undersong.exchange.marks import in_force, meter_marks, sections_of, tempo_mark, told_in
from undersong.exchange.midi_write import ACCENT_VELOCITY, DRUM_CHANNEL, VELOCITY, Message
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR, Meter, Wholes
from undersong.theory.part import KeyMark, MeterMark, Note, Part, Voice
from undersong.theory.tempo import Swing, TempoMark

_BASS_PROGRAMS, _PAD_PROGRAMS = range(32, 40), range(88, 96)  # General MIDI 1, counted from 0
_DEFAULT_TEMPO_US = 500_000
_TOUCH = {
    velocity + extra: (dynamic, bool(extra))
    for dynamic, velocity in VELOCITY.items()
    for extra in (0, ACCENT_VELOCITY)
}
_OWN_TEXT = re.compile(r"undersong pickup (\d+(?:/\d+)?) swing (?:none|(\d+/\d+) (\d+(?:/\d+)?))")


@dataclass
class _Found:
    """What a MIDI file holds, in ticks."""

    names: dict[int, str] = field(default_factory=dict)
    programs: dict[tuple[int, int], int] = field(default_factory=dict)
    notes: dict[tuple[int, int], list[tuple[int, int, int, int]]] = field(
        default_factory=lambda: defaultdict(list)
    )  # (track, channel): (on, off, midi, velocity)
    keys: dict[int, str] = field(default_factory=dict)
    meters: dict[int, tuple[int, int]] = field(default_factory=dict)
    tempos: dict[int, int] = field(default_factory=dict)
    markers: list[tuple[int, str]] = field(default_factory=list)
    own: re.Match[str] | None = None
    end: int = 0


def part_from_midi(data: bytes, *, which: str | None = None) -> Part:
    """The bass part of a MIDI file.

    Parameters
    ----------
    data
        The file's bytes, format 0 or 1.
    which
        Name of the track to take, or its number counted from 1; None takes the one that is a
        bass by its name or its program, or the only one there is.

    Raises
    ------
    ExchangeError
        If this is no MIDI file, or several tracks could be meant: the sentence lists them.
    """
    file = _opened(checked_size(data, "MIDI"))
    found = _Found()
    for number, track in enumerate(file.tracks):
        _read_track(number, track, found)
    try:
        return _part(found, Fraction(1, 4 * file.ticks_per_beat), which)
    except TheoryError as error:
        raise ExchangeError(f"The MIDI file cannot be read as a part: {error}") from error


def _opened(data: bytes) -> mido.MidiFile:
    if not data.startswith(b"MThd"):
        raise ExchangeError("This is not a MIDI file: it does not begin with 'MThd'.")
    try:
        file = mido.MidiFile(file=io.BytesIO(data), clip=True)
    # mido lets these through from truncated or senseless bytes.
    except (OSError, EOFError, ValueError, LookupError, TypeError, ArithmeticError) as error:
        raise ExchangeError(
            f"The MIDI file is damaged: {str(error) or 'it ends too soon'}."
        ) from error
    except mido.KeySignatureError as error:
        raise ExchangeError(f"The MIDI file is damaged: {error}.") from error
    if file.type == 2:
        raise ExchangeError("The MIDI file holds separate songs (format 2): save one as format 1.")
    if not 1 <= file.ticks_per_beat <= MAX_GRID:
        raise ExchangeError("The MIDI file counts film frames, not beats: save it in beats.")
    return file


def _read_track(number: int, track: mido.MidiTrack, found: _Found) -> None:
    now = 0
    sounding: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
    for message in track:
        now += message.time
        if message.type == "note_on" and message.velocity > 0:
            sounding[message.channel, message.note].append((now, message.velocity))
        elif message.type in ("note_on", "note_off"):
            started = sounding[message.channel, message.note]
            if started:
                on, velocity = started.pop(0)
                note = (on, max(now, on + 1), message.note, velocity)
                found.notes[number, message.channel].append(note)
        elif message.type == "program_change":
            found.programs.setdefault((number, message.channel), message.program)
        elif message.is_meta:
            _read_meta(number, now, message, found)
    for (channel, midi), started in sounding.items():  # never ended: they end with the track
        for on, velocity in started:
            found.notes[number, channel].append((on, max(now, on + 1), midi, velocity))
    found.end = max(found.end, now)
    checked_count(sum(len(notes) for notes in found.notes.values()))


def _read_meta(number: int, now: int, message: Message, found: _Found) -> None:
    if message.type == "track_name":
        found.names.setdefault(number, _text(message.name))
    elif message.type == "time_signature":
        found.meters[now] = (message.numerator, message.denominator)
    elif message.type == "key_signature":
        found.keys[now] = message.key
    elif message.type == "set_tempo":
        found.tempos[now] = message.tempo
    elif message.type == "marker":
        found.markers.append((now, _text(message.text)))
    elif message.type == "text" and found.own is None:
        found.own = _OWN_TEXT.fullmatch(message.text)


def _text(raw: str) -> str:
    """Text events have no charset of their own: UTF-8 where it fits, else Latin-1."""
    try:
        return raw.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return raw


def _part(found: _Found, tick: Fraction, which: str | None) -> Part:
    sources = _sources(found, which)
    rows = sorted(note for source in sources for note in found.notes[source])
    end = max([found.end, *(row[1] for row in rows)]) * tick
    checked_length(end)
    pickup, meter, later = _meters(found, tick)
    tempos = _tempos(found, tick, [MeterMark(Fraction(0), meter), *later])
    keys = [KeyMark(at * tick, parse_key(key)) for at, key in sorted(found.keys.items())]
    first_key = keys.pop(0).key if keys and keys[0].at == 0 else parse_key("C")
    names = (found.names.get(0), found.names.get(sources[0][0]), "Untitled")
    shell = Part(
        title=next(name for name in names if name),
        key=first_key,
        meter=meter,
        tempo_bpm=told_in(tempos[0], meter.beat),
        notes=(),
        voice=_voice(found, sources[0]),
        pickup=pickup,
        key_marks=tuple(keys),
        meter_marks=tuple(later),
        tempo_marks=tuple(tempos[1:]),
        sections=sections_of((at * tick, name) for at, name in found.markers),
        swing=_swing(found.own),
    )
    keys_at = in_force([KeyMark(Fraction(0), first_key), *keys])
    notes = tuple(_note(row, tick, keys_at, is_own=found.own is not None) for row in rows)
    # Other programs' files end anywhere: theirs last to the end of the bar they end in.
    return replace(shell, notes=notes, length=end if found.own else Fraction(0))


def _sources(found: _Found, which: str | None) -> list[tuple[int, int]]:
    """The (track, channel) pairs to take: several only where we wrote one part in layers."""
    groups: dict[tuple[str | int, int], list[tuple[int, int]]] = defaultdict(list)
    for source in sorted(found.notes):
        track, channel = source
        name = found.names.get(track, "") if found.own else ""
        groups[name or track, channel].append(source)
    if not groups and found.own:
        return [(0, 0)]  # a part of ours that rests throughout
    heads = [sources[0] for sources in groups.values()]
    candidates = [
        Candidate(
            found.names.get(head[0], ""),
            is_bass=found.programs.get(head, -1) in _BASS_PROGRAMS,
            is_drums=head[1] == DRUM_CHANNEL,
        )
        for head in heads
    ]
    return list(groups.values())[chosen(candidates, which)]


def _voice(found: _Found, source: tuple[int, int]) -> Voice:
    if source[1] == DRUM_CHANNEL:
        return Voice.DRUMS
    return Voice.PAD if found.programs.get(source) in _PAD_PROGRAMS else Voice.BASS


def _meters(found: _Found, tick: Fraction) -> tuple[Wholes, Meter, list[MeterMark]]:
    """Pick-up, first meter, later changes."""
    signs = [(at * tick, Meter(*sign)) for at, sign in sorted(found.meters.items())]
    if not signs or signs[0][0] > 0:
        signs.insert(0, (Fraction(0), FOUR_FOUR))
    pickup = Fraction(found.own[1]) if found.own else _pickup(signs)
    if pickup and len(signs) > 1 and signs[1][0] == pickup:
        del signs[0]
    signs[0] = (pickup, signs[0][1])
    first = signs[0][1]
    return pickup, first, meter_marks(signs)[1:]


def _pickup(signs: list[tuple[Wholes, Meter]]) -> Wholes:
    if len(signs) > 1 and signs[1][0] == signs[0][1].bar < signs[1][1].bar:
        return signs[1][0]
    return Fraction(0)


def _tempos(found: _Found, tick: Fraction, meters: list[MeterMark]) -> list[TempoMark]:
    events = {0: _DEFAULT_TEMPO_US, **found.tempos}
    meter_at = in_force(meters)
    tempos: list[TempoMark] = []
    for at, quarter_us in sorted(events.items()):
        place = at * tick
        meter_mark = meter_at(place) or meters[0]
        beat = meter_mark.meter.beat
        mark = tempo_mark(place, quarter_us, beat)
        if not tempos or (mark.tempo_bpm, mark.beat) != (tempos[-1].tempo_bpm, tempos[-1].beat):
            tempos.append(mark)
    return tempos


def _swing(own: re.Match[str] | None) -> Swing | None:
    return Swing(Fraction(own[2]), Fraction(own[3])) if own and own[2] else None


def _note(
    row: tuple[int, int, int, int],
    tick: Fraction,
    key_at: Callable[[Wholes], KeyMark | None],
    *,
    is_own: bool,
) -> Note:
    on, off, midi, velocity = row
    mark = key_at(on * tick)
    assert mark is not None  # there is one at 0
    note = Note(on * tick, (off - on) * tick, mark.key.spell(midi))
    if is_own and velocity in _TOUCH:
        dynamic, accented = _TOUCH[velocity]
        return replace(note, dynamic=dynamic, accented=accented)
    return note
