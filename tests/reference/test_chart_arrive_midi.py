"""MIDI import against music21: the chords it wrote as notes are the chords heard.

Source: music21 10.5 (chord tones of `roman.RomanNumeral`, its MIDI writer), mido 1.3.
"""

import io
from typing import Any

import mido
import pytest
from music21 import chord, key, meter, note, roman, stream
from music21.midi.translate import streamToMidiFile

from undersong.chart.arrive import read_sheet
from undersong.chart.roadmap import unrolled
from undersong.chart.song import Song
from undersong.errors import ChartErrors

untyped: Any = stream  # parts of music21 carry no types
LOOPS = ("I V vi IV", "vi IV I V", "I vi ii V", "I IV I V", "I iii IV V", "IV V vi I")
KEYS = ("C", "G", "D", "A", "E", "F", "B-", "E-", "A-")


def midi_of(figures: list[str], tonic: str, quarters: float = 4.0) -> tuple[bytes, list[int]]:
    """A pad of whole bars over a bass, and the roots that music21 wrote."""
    pad: Any = untyped.Part()
    bass: Any = untyped.Part()
    pad.append(key.Key(tonic))
    pad.append(meter.TimeSignature("4/4"))
    roots = []
    for figure in figures:
        numeral = roman.RomanNumeral(figure, key.Key(tonic))
        roots.append(numeral.root().pitchClass)
        pad.append(chord.Chord(numeral.pitches, quarterLength=quarters))
        bass.append(note.Note(numeral.bass().name + "2", quarterLength=quarters))
    file = streamToMidiFile(untyped.Score([pad, bass]))
    return bytes(file.writestr()), roots


def heard(song: Song) -> list[int]:
    return [
        event.chord.in_key(song.number_key).root.pitch_class
        for played in unrolled(song)
        for event in played.events
        if event.chord is not None
    ]


@pytest.mark.parametrize("tonic", KEYS)
def test_loops_in_many_keys(tonic: str) -> None:
    for loop in LOOPS:
        data, roots = midi_of(loop.split() * 2, tonic)
        song = read_sheet(data, "loop.mid")
        assert heard(song) == roots
        assert song.key.tonic.pitch_class == key.Key(tonic).tonic.pitchClass


def test_two_chords_in_a_bar() -> None:
    data, roots = midi_of(["I", "V", "vi", "IV", "I", "IV", "V", "I"], "G", quarters=2.0)
    song = read_sheet(data, "halves.mid")
    assert heard(song) == roots
    assert all(len(played.events) == 2 for played in unrolled(song))


def test_kinds_and_basses() -> None:
    data, _ = midi_of(["I", "V6", "ii7", "V7", "I"], "D")
    song = read_sheet(data, "kinds.mid")
    chords = [str(e.chord) for played in unrolled(song) for e in played.events]
    assert chords == ["1", "5/7", "2-(7)", "5(7)", "1"]


def test_the_drums_are_not_listened_to() -> None:
    file = mido.MidiFile()
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.Message("note_on", channel=9, note=36, velocity=90, time=0))
    track.append(mido.Message("note_off", channel=9, note=36, time=480))
    out = io.BytesIO()
    file.save(file=out)
    with pytest.raises(ChartErrors, match="no notes"):
        read_sheet(out.getvalue(), "drums.mid")


def test_a_broken_file_is_refused_in_a_sentence() -> None:
    data, _ = midi_of(["I", "V"], "C")
    for end in (4, 14, 20, 40):
        with pytest.raises(ChartErrors):
            read_sheet(data[:end], "broken.mid")


def test_doubtful_bars_are_in_the_report() -> None:
    file = mido.MidiFile()
    track = mido.MidiTrack()
    file.tracks.append(track)
    for pitch in (60, 61, 62, 63, 64, 65):
        track.append(mido.Message("note_on", note=pitch, velocity=90, time=0))
    for place, pitch in enumerate((60, 61, 62, 63, 64, 65)):
        track.append(mido.Message("note_off", note=pitch, time=0 if place else 1920))
    out = io.BytesIO()
    file.save(file=out)
    song = read_sheet(out.getvalue(), "cluster.mid")
    assert any("Bar 1" in remark.text and "sure" in remark.text for remark in song.report)
