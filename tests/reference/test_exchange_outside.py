"""What other programs and the published schema make of our files.

Sources: the MusicXML 4.0 schema (W3C Music Notation Community Group, 2021, as carried by the
package `musicxml`); music21 10, mido 1.3 and pretty_midi 0.2 as independent readers; General
MIDI 1 for programs and channels.
"""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from typing import Any

import mido
import music21
import pytest
from hypothesis import HealthCheck, given, settings
from lxml import etree

from exchange_parts import PARTS
from musicxml_schema import musicxml_schema
from strategies import parts
from undersong.exchange import midi_bytes, musicxml_bytes, part_from_midi, part_from_musicxml
from undersong.theory.part import Note, Part, Stroke

SCHEMA = musicxml_schema()
MILLISECOND = 1e-3
FINGER_BASS = 33  # General MIDI program 34, counted from 0

Row = tuple[Fraction, Fraction, int]
each_part = pytest.mark.parametrize("part", PARTS.values(), ids=PARTS.keys())


def struck(part: Part) -> list[Row]:
    return sorted((s.at, s.length, s.note.pitch.midi) for s in part.strokes)


@each_part
def test_the_published_schema_accepts_our_musicxml(part: Part) -> None:
    SCHEMA.assertValid(etree.fromstring(musicxml_bytes(part)))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(parts())
def test_the_published_schema_accepts_any_part(part: Part) -> None:
    SCHEMA.assertValid(etree.fromstring(musicxml_bytes(part)))


def test_the_schema_refuses_a_broken_file() -> None:
    root = etree.fromstring(musicxml_bytes(PARTS["four_four"]))
    note = root.find("part/measure/note")
    assert note is not None
    note.insert(0, etree.Element("type"))
    assert not SCHEMA.validate(root)


def music21_score(part: Part) -> Any:
    text = musicxml_bytes(part).decode()
    return music21.converter.parseData(text, format="musicxml")


def music21_rows(stream: Any) -> list[Row]:
    """(place, length, MIDI) of every sounding note, ties joined, in whole notes."""
    rows: list[Row] = []
    for found in stream.flatten().notes:
        if isinstance(found, music21.harmony.Harmony):
            continue
        for head in found.notes if found.isChord else [found]:
            tie = head.tie.type if head.tie is not None else None
            at, length = Fraction(found.offset) / 4, Fraction(found.quarterLength) / 4
            before = [i for i, row in enumerate(rows) if row[0] + row[1] == at]
            same = [i for i in before if rows[i][2] == head.pitch.midi]
            if tie in ("stop", "continue") and same:
                place, had, midi = rows[same[-1]]
                rows[same[-1]] = (place, had + length, midi)
            else:
                rows.append((at, length, head.pitch.midi))
    return sorted(rows)


@each_part
def test_music21_reads_every_note_of_the_staff(part: Part) -> None:
    staff = music21_score(part).parts[0]
    assert music21_rows(staff) == struck(part)


@each_part
def test_music21_reads_the_same_notes_strings_and_frets_on_the_tab(part: Part) -> None:
    if part.notes[0].string is None:
        assert len(music21_score(part).parts) == 1
        return
    tab = music21_score(part).parts[1]
    assert music21_rows(tab) == struck(part)
    read = []
    for found in tab.flatten().notes:
        marks = {type(each): each.number for each in found.articulations}
        if found.tie is None or found.tie.type == "start":
            string = marks[music21.articulations.StringIndication]
            read.append((string, marks[music21.articulations.FretIndication]))
    assert read == [(s.note.string, s.note.fret) for s in part.strokes]


@each_part
def test_music21_spells_the_notes_as_we_do(part: Part) -> None:
    staff = music21_score(part).parts[0]
    read = [
        n.pitch.nameWithOctave.replace("-", "b")
        for n in staff.flatten().notes
        if not isinstance(n, music21.harmony.Harmony) and (n.tie is None or n.tie.type == "start")
    ]
    assert read == [str(s.note.pitch) for s in part.strokes]


@each_part
def test_music21_sees_meters_keys_and_a_clef_an_octave_down(part: Part) -> None:
    staff = music21_score(part).parts[0].flatten()
    meters = [sign.ratioString for sign in staff.getElementsByClass("TimeSignature")]
    assert meters[0] == str(part.meter)
    assert meters[1:] == [str(mark.meter) for mark in part.meter_marks]
    keys = [sign.sharps for sign in staff.getElementsByClass("KeySignature")]
    assert keys == [part.key.signature, *(mark.key.signature for mark in part.key_marks)]
    assert staff.getElementsByClass("Clef")[0].octaveChange == -1


@each_part
def test_music21_plays_at_our_tempo(part: Part) -> None:
    marks = music21_score(part).parts[0].flatten().getElementsByClass("MetronomeMark")
    quarters = [mark.getQuarterBPM() for mark in marks]
    asked = [mark.tempo_bpm * float(mark.beat) * 4 for mark in part.tempo_map.marks]
    assert quarters == pytest.approx(asked)


def test_music21_names_the_chords() -> None:
    part = PARTS["four_four"]
    found = music21_score(part).parts[0].flatten().getElementsByClass("ChordSymbol")
    for symbol, mark in zip(found, part.chords, strict=True):
        assert mark.chord is not None
        chord = mark.chord.in_key(part.key_at(mark.at))
        assert symbol.root().name.replace("-", "b") == str(chord.root)
        assert symbol.bass().name.replace("-", "b") == str(chord.lowest)
        tones = {name.pitch_class for _, name in chord.tones} | {chord.lowest.pitch_class}
        assert {pitch.pitchClass for pitch in symbol.pitches} == tones


def test_music21_fills_every_bar() -> None:
    for part in PARTS.values():
        for bar, measure in zip(
            part.bars, music21_score(part).parts[0].getElementsByClass("Measure"), strict=True
        ):
            assert Fraction(measure.duration.quarterLength) / 4 == bar.length


def mido_rows(file: mido.MidiFile) -> list[Row]:
    rows: list[Row] = []
    for track in file.tracks:
        now, started = 0, dict[int, int]()
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                started[message.note] = now
            elif message.type in ("note_off", "note_on"):
                on = started.pop(message.note)
                quarter = file.ticks_per_beat * 4
                rows.append((Fraction(on, quarter), Fraction(now - on, quarter), message.note))
    return sorted(rows)


@each_part
def test_mido_reads_every_note(part: Part) -> None:
    file = mido.MidiFile(file=io.BytesIO(midi_bytes(part)))
    assert file.type == 1
    assert mido_rows(file) == struck(part)
    programs = [m.program for track in file.tracks for m in track if m.type == "program_change"]
    assert programs == [FINGER_BASS]


@each_part
def test_pretty_midi_hears_the_notes_when_our_tempo_map_says(part: Part) -> None:
    pretty_midi = pytest.importorskip("pretty_midi")
    heard = pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(part))).instruments[0].notes
    straight = replace(part, swing=None).tempo_map
    for note, stroke in zip(sorted(heard, key=lambda n: n.start), part.strokes, strict=True):
        assert note.pitch == stroke.note.pitch.midi
        assert note.start == pytest.approx(straight.seconds_at(stroke.at), abs=MILLISECOND)
        assert note.end == pytest.approx(straight.seconds_at(stroke.end), abs=MILLISECOND)


@each_part
def test_music21_reads_our_midi(part: Part) -> None:
    score: Any = music21.converter.parseData(
        midi_bytes(part), format="midi", quantizePost=False, forceSource=True
    )
    read = sorted(
        (Fraction(n.offset).limit_denominator(960) / 4, n.pitch.midi)
        for n in score.flatten().notes
        if n.tie is None or n.tie.type == "start"
    )
    assert read == sorted((s.at, s.note.pitch.midi) for s in part.strokes)


def framed(stroke: Stroke) -> tuple[object, ...]:
    return (stroke.at, stroke.length, stroke.note.pitch)


@each_part
def test_a_musicxml_file_that_music21_writes_reads_back(part: Part) -> None:
    score = music21_score(replace(part, tuning=None, notes=_unfingered(part)))
    text = music21.musicxml.m21ToXml.GeneralObjectExporter(score).parse()
    back = part_from_musicxml(text)
    assert [framed(s) for s in back.strokes] == [framed(s) for s in part.strokes]
    assert back.pickup == part.pickup
    assert [(b.at, b.length) for b in back.bars] == [(b.at, b.length) for b in part.bars]


def _unfingered(part: Part) -> tuple[Note, ...]:
    return tuple(replace(n, string=None, fret=None, finger=None) for n in part.notes)


@each_part
def test_a_midi_file_that_mido_writes_reads_back(part: Part) -> None:
    file = mido.MidiFile(type=0, ticks_per_beat=960)
    track = file.add_track("Electric Bass")
    events = []
    for row in struck(part):
        on, length, midi = int(row[0] * 3840), int(row[1] * 3840), row[2]
        events += [(on + length, 0, midi), (on, 90, midi)]
    now = 0
    for tick, velocity, midi in sorted(events):
        message = mido.Message("note_on", note=midi, velocity=velocity, time=tick - now)
        track.append(message)
        now = tick
    out = io.BytesIO()
    file.save(file=out)
    assert struck(part_from_midi(out.getvalue())) == struck(part)
