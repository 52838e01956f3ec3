"""MIDI files: chords inferred bar by bar from the notes, each with how sure it is.

Each half bar, and each whole bar, is matched against the common kinds of chord on every root, by
how long each pitch class sounds in it; a bar is split where its halves are told apart clearly. The
lowest note names the bass. Channel 10 is percussion [General MIDI] and is passed over.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

import mido

from undersong.chart.keyfind import find_key
from undersong.chart.sheet import LETTER_KEY, Sheet, SheetSettings, song_from
from undersong.chart.song import Bar, ChordEvent, Section, Song
from undersong.errors import ChartErrors, ChartMeaningError, ChartSyntaxError, TheoryError
from undersong.theory.chord import Chord, Quality, number_of, quality
from undersong.theory.key import Key, key_on, parse_key
from undersong.theory.meter import FOUR_FOUR, Meter, Wholes
from undersong.theory.pitch import PitchName, plain_pitch

MAX_MIDI_BYTES = 5_000_000
MAX_MIDI_BARS = 2_000
SURE_FROM = 0.6
_DRUMS = 9
_TEMPLATES = (
    "major",
    "minor",
    "seventh",
    "minor seventh",
    "major seventh",
    "suspended fourth",
    "suspended second",
    "diminished",
    "half-diminished seventh",
    "diminished seventh",
    "augmented",
    "sixth",
    "added ninth",
    "power",
)
# The plain kinds are preferred where the notes leave it open (common practice, no source).
_RANK_COST = 0.012
_MISSING_COST = 0.25
_OUTSIDE_COST = 1.0
_BASS_BONUS = 0.12
_TRIAD = 3
_EXTRA_TONE_COST = 0.22  # a tune's passing note makes no seventh chord
_START_SHARE = 16  # the bass is the lowest note struck in the first sixteenth of a stretch
_SPLIT_GAIN = 0.15
_SPLIT_GAIN_WITH_BASS = 0.0  # the bass moves to another root: the clearest sign of a new chord


@dataclass(frozen=True, slots=True)
class _Sounding:
    """A note: MIDI number, start and end in ticks."""

    midi: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class _Match:
    """The chord that fits a stretch best; `score` up to about 1, `sure` against the next root."""

    root: int
    kind: Quality
    bass: int
    score: float
    sure: float


@dataclass(slots=True)
class _Track:
    """What a file says of time: meters and keys by tick, the first tempo."""

    notes: list[_Sounding]
    meters: list[tuple[int, Meter]]
    keys: list[tuple[int, Key]]
    tempo_us: int | None
    name: str
    ticks_per_whole: int


def song_from_midi(
    data: bytes, settings: SheetSettings | None = None, *, source: str | None = None
) -> Song:
    """Read a MIDI file.

    Raises
    ------
    ChartErrors
        If it is no MIDI file, is too long for a song, or has no notes to hear chords in.
    """
    settings = settings or SheetSettings()
    if len(data) > MAX_MIDI_BYTES:
        raise _refused("This MIDI file is too large to be a song.", source)
    try:
        file = mido.MidiFile(file=io.BytesIO(data), clip=True)
    except (OSError, EOFError, ValueError, KeyError, IndexError, TypeError):
        raise _refused("This is not a MIDI file that can be read.", source) from None
    if file.ticks_per_beat <= 0:
        raise _refused("This MIDI file counts time in film frames, not in beats.", source)
    track = _gathered(file)
    if not track.notes:
        message = "There are no notes in this MIDI file to hear chords in."
        raise ChartErrors([ChartMeaningError(message, source=source)])
    sheet = _sheet(track, settings, source)
    return song_from(sheet, settings, source=source)


def _refused(message: str, source: str | None) -> ChartErrors:
    return ChartErrors([ChartSyntaxError(message, source=source)])


def _gathered(file: mido.MidiFile) -> _Track:
    found = _Track([], [], [], None, "", 4 * file.ticks_per_beat)
    for track in file.tracks:
        now = 0
        open_notes: dict[tuple[int, int], int] = {}
        for message in track:
            now += int(message.time)
            if message.type in ("note_on", "note_off"):
                _note(message, now, open_notes, found)
            elif message.type == "time_signature":
                _meter(message, now, found)
            elif message.type == "key_signature":
                found.keys.append((now, parse_key(message.key)))
            elif message.type == "set_tempo" and found.tempo_us is None:
                found.tempo_us = int(message.tempo)
            elif message.type == "track_name" and not found.name and message.name.strip():
                found.name = message.name.strip()
    found.meters.sort(key=lambda each: each[0])
    found.keys.sort(key=lambda each: each[0])
    return found


def _note(
    message: mido.Message, now: int, open_notes: dict[tuple[int, int], int], found: _Track
) -> None:
    if message.channel == _DRUMS:
        return
    key = (message.channel, message.note)
    start = open_notes.pop(key, None)
    if start is not None and now > start:
        found.notes.append(_Sounding(message.note, start, now))
    if message.type == "note_on" and message.velocity > 0:
        open_notes[key] = now


def _meter(message: mido.MetaMessage, now: int, found: _Track) -> None:
    try:
        found.meters.append((now, Meter(message.numerator, message.denominator)))
    except TheoryError:
        return  # a signature no band could count: the one before stays


def _sheet(track: _Track, settings: SheetSettings, source: str | None) -> Sheet:
    sheet = Sheet(title=track.name)
    sheet.meter = settings.meter or (track.meters[0][1] if track.meters else FOUR_FOUR)
    if track.tempo_us:
        tempo_bpm = 60e6 / track.tempo_us / (4 * float(sheet.meter.beat))
        sheet.tempo_bpm = round(min(400.0, max(10.0, tempo_bpm)), 3)
    matches: list[tuple[Meter, list[tuple[Wholes, _Match | None]]]] = []
    for meter, start, end in _bar_ticks(track, sheet.meter, source):
        matches.append((meter, _heard(track, start, end, meter)))
    key = track.keys[0][1] if track.keys else _key_of(matches)
    sheet.key = key if track.keys else None
    sheet.sections.append(Section("Song", tuple(_bars(matches, key, sheet))))
    sheet.visits.append("Song")
    return sheet


def _bar_ticks(track: _Track, meter: Meter, source: str | None) -> list[tuple[Meter, int, int]]:
    end = max(note.end for note in track.notes)
    changes = dict(track.meters)
    bars = []
    at = 0
    while at < end:
        meter = changes.get(at, meter)
        ticks = int(meter.bar * track.ticks_per_whole)
        bars.append((meter, at, at + max(1, ticks)))
        at += max(1, ticks)
        if len(bars) > MAX_MIDI_BARS:
            raise _refused(f"More than {MAX_MIDI_BARS} bars cannot be one song.", source)
    return bars


def _heard(track: _Track, start: int, end: int, meter: Meter) -> list[tuple[Wholes, _Match | None]]:
    """The chord of a bar, or of its two halves where they differ clearly."""
    whole = _best(track.notes, start, end)
    if meter.beats % 2 or whole is None:
        return [(Fraction(0), whole)]
    middle = (start + end) // 2
    first, second = _best(track.notes, start, middle), _best(track.notes, middle, end)
    if (
        first is None
        or second is None
        or (first.root, first.kind, first.bass)
        == (
            second.root,
            second.kind,
            second.bass,
        )
    ):
        return [(Fraction(0), whole)]
    moves = first.root != second.root and first.bass != second.bass
    gain = _SPLIT_GAIN_WITH_BASS if moves else _SPLIT_GAIN
    if (first.score + second.score) / 2 < whole.score + gain:
        return [(Fraction(0), whole)]
    return [(Fraction(0), first), (meter.bar / 2, second)]


def _best(notes: Iterable[_Sounding], start: int, end: int) -> _Match | None:
    weights = [0.0] * 12
    sounding: list[int] = []
    at_start: list[int] = []
    for note in notes:
        overlap = min(note.end, end) - max(note.start, start)
        if overlap <= 0:
            continue
        weights[note.midi % 12] += overlap
        sounding.append(note.midi)
        if note.start <= start + (end - start) // _START_SHARE:
            at_start.append(note.midi)
    total = sum(weights)
    if total == 0:
        return None
    weights = [weight / total for weight in weights]
    bass = min(at_start or sounding) % 12
    scored = sorted(
        (
            (_score(weights, root, quality(name), rank, bass), root, name)
            for root in range(12)
            for rank, name in enumerate(_TEMPLATES)
        ),
        key=lambda each: -each[0],
    )
    score, root, name = scored[0]
    other = next(each[0] for each in scored if each[1] != root)
    sure = max(0.0, min(1.0, 0.5 + 2.0 * (score - other)))
    return _Match(root, quality(name), bass, score, sure)


def _score(weights: list[float], root: int, kind: Quality, rank: int, bass: int) -> float:
    tones = {(root + interval.semitones) % 12 for interval in kind.intervals}
    inside = sum(weights[tone] for tone in tones)
    missing = sum(weights[tone] == 0 for tone in tones) / len(tones)
    score = inside - _OUTSIDE_COST * (1 - inside) - _MISSING_COST * missing * 2
    extra = _EXTRA_TONE_COST if len(tones) > _TRIAD else 0.0
    return score - extra - _RANK_COST * rank + (_BASS_BONUS if bass == root else 0.0)


def _key_of(matches: list[tuple[Meter, list[tuple[Wholes, _Match | None]]]]) -> Key:
    chords = [
        Chord(plain_pitch(60 + match.root).name, match.kind)
        for _, bar in matches
        for _, match in bar
        if match is not None
    ]
    guess = find_key(chords)
    return key_on(guess.key.tonic.pitch_class, guess.key.mode)


def _bars(
    matches: list[tuple[Meter, list[tuple[Wholes, _Match | None]]]], key: Key, sheet: Sheet
) -> Iterable[Bar]:
    before: Chord | None = None
    for number, (meter, bar) in enumerate(matches, start=1):
        events = []
        for at, match in bar:
            chord = None if match is None else _spelled(match, key)
            if match is not None and match.sure < SURE_FROM:
                sheet.remark(0, 0, "guessed", f"Bar {number}: {chord}, {match.sure:.0%} sure.")
            if chord != before or at == 0:
                counted = None if chord is None else number_of(chord, LETTER_KEY)
                events.append(ChordEvent(at, counted))
            before = chord
        yield Bar(tuple(events), meter)


def _spelled(match: _Match, key: Key) -> Chord:
    root = _name(match.root, key)
    bass = None if match.bass == match.root else _name(match.bass, key)
    return Chord(root, match.kind, bass)


def _name(pitch_class: int, key: Key) -> PitchName:
    return key.spell(60 + pitch_class).name
