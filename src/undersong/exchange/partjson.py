"""A Part as JSON, and back without loss.

Conventions
-----------
Places and lengths are strings holding exact fractions of a whole note from the start of the
part. Pitches sound as written. The keys of the contract are always there; every further key is
left out where it would say what is the case anyway (a plain note, no pick-up, straight time).

============  ===================================================================
part          title, key, meter, tempo_bpm, notes
and           voice, pickup, length, key_marks [at, key], meter_marks [at, meter],
              tempo_marks [at, tempo_bpm, beat], sections [at, name, visit],
              chords [at, number or null], swing [unit, ratio], tuning [MIDI, low to high],
              minor_habit "relative" where numbers of a minor key count from its relative major
note          at, length, midi, pitch, degree, chord, string, fret, finger
and           articulation, dynamic, accented, tied, why
============  ===================================================================

`tempo_bpm` counts the meter's own beat. Reading asks for title, key, meter, tempo_bpm and
notes, and for each note at, length and midi (or pitch); a missing pitch is spelled by the key.
Keys that are not ours are passed over, unless they look like one of ours misspelt.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from operator import attrgetter

from undersong.errors import ExchangeError, TheoryError
from undersong.exchange.bounds import checked_count, checked_length, checked_size
from undersong.exchange.fields import Fields
from undersong.exchange.marks import in_force
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import Key, MinorHabit, parse_degree, parse_key
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
)
from undersong.theory.pitch import Pitch, parse_pitch
from undersong.theory.tempo import Swing, TempoMark

_PART_KEYS = (
    "title", "key", "meter", "tempo_bpm", "notes", "voice", "pickup", "length", "key_marks",
    "meter_marks", "tempo_marks", "sections", "chords", "swing", "tuning",
    "minor_habit",
)  # fmt: skip
_NOTE_KEYS = (
    "at", "length", "midi", "pitch", "degree", "chord", "string", "fret", "finger",
    "articulation", "dynamic", "accented", "tied", "why",
)  # fmt: skip
_MAX_STRING, _MAX_FRET, _MAX_FINGER = 12, 36, 4


def part_to_json(part: Part) -> dict[str, object]:
    """The part as plain values for `json.dumps`; `part_from_json` gives the same part back."""
    rows: dict[str, object] = {
        "title": part.title,
        "key": str(part.key),
        "meter": str(part.meter),
        "tempo_bpm": _plain_number(part.tempo_bpm),
    }
    if part.voice is not Voice.BASS:
        rows["voice"] = part.voice.value
    if part.pickup:
        rows["pickup"] = str(part.pickup)
    if replace(part, length=Fraction(0)).length != part.length:
        rows["length"] = str(part.length)
    rows.update({name: marks for name, marks in _marks_to_json(part).items() if marks})
    if part.swing is not None:
        rows["swing"] = {"unit": str(part.swing.unit), "ratio": str(part.swing.ratio)}
    if part.tuning is not None:
        rows["tuning"] = list(part.tuning)
    if part.minor_habit is not MinorHabit.TONIC:
        rows["minor_habit"] = part.minor_habit.value
    rows["notes"] = [_note_to_json(note) for note in part.notes]
    return rows


def _marks_to_json(part: Part) -> dict[str, list[dict[str, object]]]:
    return {
        "key_marks": [{"at": str(m.at), "key": str(m.key)} for m in part.key_marks],
        "meter_marks": [{"at": str(m.at), "meter": str(m.meter)} for m in part.meter_marks],
        "tempo_marks": [
            {"at": str(m.at), "tempo_bpm": _plain_number(m.tempo_bpm), "beat": str(m.beat)}
            for m in part.tempo_marks
        ],
        "sections": [{"at": str(m.at), "name": m.name, "visit": m.visit} for m in part.sections],
        "chords": [{"at": str(m.at), "number": _text_or_none(m.chord)} for m in part.chords],
    }


def _note_to_json(note: Note) -> dict[str, object]:
    row: dict[str, object] = {
        "at": str(note.at),
        "length": str(note.length),
        "midi": note.pitch.midi,
        "pitch": str(note.pitch),
        "degree": _text_or_none(note.degree),
        "chord": _text_or_none(note.chord),
        "string": note.string,
        "fret": note.fret,
        "finger": note.finger,
    }
    if note.articulation is not Articulation.PLAIN:
        row["articulation"] = note.articulation.value
    if note.dynamic is not Dynamic.MF:
        row["dynamic"] = note.dynamic.value
    if note.accented:
        row["accented"] = True
    if note.tied:
        row["tied"] = True
    if note.why is not None:
        row["why"] = note.why
    return row


def _text_or_none(value: object) -> str | None:
    return None if value is None else str(value)


def _plain_number(value: float) -> float | int:
    return int(value) if value == int(value) else value


def part_from_json(source: str | bytes | Mapping[str, object]) -> Part:
    """The part that JSON text, or the values read from it, describe.

    Raises
    ------
    ExchangeError
        One sentence: what is wrong, in which note or mark, and what would be right.
    """
    fields = Fields(_values(source), "", _PART_KEYS)
    try:
        return _part(fields)
    except TheoryError as error:
        raise ExchangeError(f"The part cannot be: {error}") from error


def _values(source: str | bytes | Mapping[str, object]) -> object:
    if isinstance(source, Mapping):
        return source
    try:
        data = source.encode() if isinstance(source, str) else source
        return json.loads(checked_size(data, "JSON").decode("utf-8-sig"))
    except json.JSONDecodeError as error:
        raise ExchangeError(
            f"This JSON breaks off or is mistyped at line {error.lineno}, column {error.colno}: "
            "save it again where it was made."
        ) from error
    except UnicodeError as error:
        raise ExchangeError("This is not JSON: the file is not UTF-8 text.") from error
    except (RecursionError, ValueError) as error:
        raise ExchangeError("This is not a part: its JSON is too deep or too long.") from error


def _part(fields: Fields) -> Part:
    key = fields.parsed("key", parse_key, "a key such as G, Bb or F#m")
    meter = fields.parsed("meter", parse_meter, "a meter such as 4/4 or 6/8")
    key_marks = tuple(
        KeyMark(row.at("at"), row.parsed("key", parse_key, "a key such as G, Bb or F#m"))
        for row in fields.rows("key_marks", ("at", "key"))
    )
    part = Part(
        title=fields.text("title"),
        key=key,
        meter=meter,
        tempo_bpm=fields.number("tempo_bpm"),
        notes=(),
        voice=fields.choice("voice", Voice, Voice.BASS),
        pickup=fields.wholes("pickup", Fraction(0)),
        key_marks=key_marks,
        meter_marks=_meter_marks(fields),
        tempo_marks=_tempo_marks(fields, meter),
        sections=tuple(
            SectionMark(row.at("at"), row.text("name"), row.whole("visit", 1, 999) or 1)
            for row in fields.rows("sections", ("at", "name", "visit"))
        ),
        chords=tuple(
            ChordMark(
                row.at("at"),
                row.parsed_or_none("number", parse_number_chord, "a chord number such as 1 or 5/7"),
            )
            for row in fields.rows("chords", ("at", "number"))
        ),
        swing=_swing(fields),
        tuning=_tuning(fields),
        minor_habit=fields.choice("minor_habit", MinorHabit, MinorHabit.TONIC),
    )
    rows = fields.rows("notes", _NOTE_KEYS, required=True)
    checked_count(len(rows))
    key_at = in_force([KeyMark(Fraction(0), key), *key_marks])
    notes = sorted((_note(row, key_at) for row in rows), key=attrgetter("at"))
    end = max((note.end for note in notes), default=Fraction(0))
    length = fields.wholes("length", Fraction(0))
    checked_length(max(end, length))
    return replace(part, notes=tuple(notes), length=length)


def _meter_marks(fields: Fields) -> tuple[MeterMark, ...]:
    return tuple(
        MeterMark(row.at("at"), row.parsed("meter", parse_meter, "a meter such as 4/4 or 6/8"))
        for row in fields.rows("meter_marks", ("at", "meter"))
    )


def _tempo_marks(fields: Fields, meter: Meter) -> tuple[TempoMark, ...]:
    return tuple(
        row.made(TempoMark, row.at("at"), row.number("tempo_bpm"), row.wholes("beat", meter.beat))
        for row in fields.rows("tempo_marks", ("at", "tempo_bpm", "beat"))
    )


def _swing(fields: Fields) -> Swing | None:
    row = fields.inner("swing", ("unit", "ratio"))
    if row is None:
        return None
    return row.made(Swing, row.wholes("unit", Fraction(1, 8)), row.wholes("ratio", Fraction(2)))


def _tuning(fields: Fields) -> tuple[int, ...] | None:
    strings = fields.value("tuning")
    if strings is None:
        return None
    if not isinstance(strings, list | tuple) or not all(
        isinstance(each, int) and 0 <= each <= 127 for each in strings
    ):
        raise fields.wrong("tuning", "the MIDI numbers of the strings, low to high")
    return tuple(int(each) for each in strings)


def _note(row: Fields, key_at: Callable[[Wholes], KeyMark | None]) -> Note:
    at = row.at("at")
    mark = key_at(at)
    assert mark is not None  # there is one at 0
    return row.made(
        Note,
        at=at,
        length=row.wholes("length"),
        pitch=_pitch(row, mark.key),
        degree=row.parsed_or_none("degree", parse_degree, "a degree such as 1 or b7"),
        chord=row.parsed_or_none("chord", parse_number_chord, "a chord number such as 1 or 5/7"),
        string=row.whole("string", 1, _MAX_STRING),
        fret=row.whole("fret", 0, _MAX_FRET),
        finger=row.whole("finger", 0, _MAX_FINGER),
        articulation=row.choice("articulation", Articulation, Articulation.PLAIN),
        dynamic=row.choice("dynamic", Dynamic, Dynamic.MF),
        accented=row.flag("accented"),
        tied=row.flag("tied"),
        why=row.text("why") if row.value("why") is not None else None,
    )


def _pitch(row: Fields, key: Key) -> Pitch:
    midi = row.whole("midi", 0, 127)
    if row.value("pitch") is None:
        if midi is None:
            raise row.missing("midi", "a MIDI number such as 43")
        return key.spell(midi)
    pitch = row.parsed("pitch", parse_pitch, "a note name and octave such as Bb1")
    if midi is not None and pitch.midi != midi:
        raise ExchangeError(
            f"{row.where}'midi' {midi} and 'pitch' {pitch} disagree: "
            f"{pitch} is MIDI {pitch.midi}; give one of them, or two that agree."
        )
    return pitch
