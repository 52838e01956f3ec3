"""What goes out comes back: JSON whole, MIDI and MusicXML without loss of a note."""

import json
from contextlib import suppress
from fractions import Fraction

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from strategies import bass_parts, parts
from undersong.errors import ExchangeError
from undersong.exchange import (
    midi_bytes,
    musicxml_bytes,
    part_from_json,
    part_from_midi,
    part_from_musicxml,
    part_to_json,
    read_part,
)
from undersong.theory.meter import Wholes
from undersong.theory.part import Part, Stroke

few = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def struck(part: Part) -> list[tuple[Wholes, Wholes, int]]:
    return sorted((s.at, s.length, s.note.pitch.midi) for s in part.strokes)


@few
@given(parts())
def test_json_gives_the_same_part_back(part: Part) -> None:
    text = json.dumps(part_to_json(part))
    assert part_from_json(text) == part
    assert part_from_json(text.encode()) == part
    assert part_from_json(part_to_json(part)) == part


@few
@given(parts())
def test_midi_loses_no_note(part: Part) -> None:
    back = part_from_midi(midi_bytes(part))
    assert struck(back) == struck(part)


@few
@given(bass_parts())
def test_midi_keeps_what_frames_the_notes(part: Part) -> None:
    back = part_from_midi(midi_bytes(part))
    assert back.title == part.title
    assert back.voice is part.voice
    assert (back.pickup, back.length, back.swing) == (part.pickup, part.length, part.swing)
    assert [bar.at for bar in back.bars] == [bar.at for bar in part.bars]
    for place in (Fraction(0), part.length / 2, part.length):
        assert back.key_at(place) == part.key_at(place)
        asked_s, read_s = (each.tempo_map.seconds_at(place) for each in (part, back))
        assert abs(asked_s - read_s) <= 1e-5 * max(1.0, asked_s)  # MIDI counts whole µs
    assert [(m.at, m.name) for m in back.sections] == [(m.at, m.name) for m in part.sections]
    assert [s.note.dynamic for s in back.strokes] == [s.note.dynamic for s in part.strokes]


@few
@given(parts())
def test_musicxml_loses_no_note(part: Part) -> None:
    back = part_from_musicxml(musicxml_bytes(part))
    assert struck(back) == struck(part)


@few
@given(bass_parts())
def test_musicxml_keeps_what_is_written_on_the_notes(part: Part) -> None:
    back = part_from_musicxml(musicxml_bytes(part))
    assert [on_paper(s) for s in back.strokes] == [on_paper(s) for s in part.strokes]
    for read, asked in zip(back.strokes, part.strokes, strict=True):
        assert asked.note.chord in (None, read.note.chord)


def on_paper(stroke: Stroke) -> tuple[object, ...]:
    note = stroke.note
    return (
        *(stroke.at, stroke.length, note.pitch, note.degree, note.string, note.fret, note.finger),
        *(note.articulation, note.dynamic, note.accented),
    )


@few
@given(bass_parts())
def test_musicxml_keeps_what_frames_the_notes(part: Part) -> None:
    back = part_from_musicxml(musicxml_bytes(part))
    assert (back.voice, back.swing) == (part.voice, part.swing)
    if part.length:  # a part without a bar is written as one bar of rest
        assert (back.pickup, back.length) == (part.pickup, part.length)
        assert [(b.at, b.meter) for b in back.bars] == [(b.at, b.meter) for b in part.bars]
    assert [(m.at, m.name) for m in back.sections] == [(m.at, m.name) for m in part.sections]
    if part.chords:
        assert back.chords == part.chords
    for place in (Fraction(0), part.length / 2, part.length):
        assert back.key_at(place) == part.key_at(place)
        asked_s, read_s = (each.tempo_map.seconds_at(place) for each in (part, back))
        assert abs(asked_s - read_s) <= 1e-6 * max(1.0, asked_s)


@few
@given(st.binary(max_size=200), st.sampled_from((".mid", ".musicxml", ".mxl", ".json", "")))
def test_no_bytes_do_harm(data: bytes, suffix: str) -> None:
    for head in (b"", b"MThd\x00\x00\x00\x06\x00\x01\x00\x01\x01\xe0MTrk\x00\x00\x00\x99"):
        with suppress(ExchangeError):
            read_part(head + data, "take" + suffix)


@few
@given(bass_parts(), st.data())
def test_a_bitten_midi_file_does_no_harm(part: Part, data: st.DataObject) -> None:
    raw = bytearray(midi_bytes(part))
    for _ in range(data.draw(st.integers(1, 6))):
        raw[data.draw(st.integers(14, len(raw) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(raw)))
    with suppress(ExchangeError):
        part_from_midi(bytes(raw[:cut]))


@few
@given(bass_parts(most=4), st.data())
def test_a_bitten_musicxml_file_does_no_harm(part: Part, data: st.DataObject) -> None:
    raw = bytearray(musicxml_bytes(part))
    for _ in range(data.draw(st.integers(1, 4))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(32, 126))
    with suppress(ExchangeError):
        part_from_musicxml(bytes(raw))
