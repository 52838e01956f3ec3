"""Drums and pad: the players a line is practised with."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from line_charts import chart
from undersong.chart.text import parse_song
from undersong.lines import Feel, drum_part, pad_part
from undersong.theory.part import Part, Voice

F = Fraction
KICK, SNARE, CRASH = 36, 38, 49


def places(part: Part, key: int) -> list[Fraction]:
    return [note.at for note in part.notes if note.pitch.midi == key]


def test_four_on_the_floor_is_a_kick_on_every_beat() -> None:
    song = parse_song("Title: A\nKey: G\nChorus\n| 1 | 4 | 5 |\n")
    drums = drum_part(song, feel=Feel.FLOOR)
    assert drums.voice is Voice.DRUMS
    assert [at for at in places(drums, KICK) if at < 2] == [F(n, 4) for n in range(8)]


def test_the_snare_falls_on_two_and_four_and_in_half_time_on_three() -> None:
    song = parse_song("Title: A\nKey: G\nChorus\n| 1 | 4 | 5 |\n")
    assert [at for at in places(drum_part(song), SNARE) if at < 1] == [F(1, 4), F(3, 4)]
    half = drum_part(song, feel=Feel.HALF_TIME)
    assert [at for at in places(half, SNARE) if at < 1] == [F(1, 2)]


def test_a_push_moves_the_kick_and_silence_stops_the_band() -> None:
    song = parse_song("Title: A\nKey: G\nChorus\n| 1 | <<4 | 0 | 1! | 1 |\n")
    drums = drum_part(song)
    kicks = places(drums, KICK)
    assert F(7, 8) in kicks
    assert F(1) not in kicks
    assert not [note for note in drums.notes if 2 <= note.at < 3]
    assert {note.pitch.midi for note in drums.notes if 3 <= note.at < 4} == {KICK, CRASH}


def test_the_pad_holds_every_chord_till_the_next() -> None:
    pad = pad_part(chart("plain"))
    assert pad.voice is Voice.PAD
    assert {note.at for note in pad.notes} == {mark.at for mark in pad.chords}
    first = [note for note in pad.notes if note.at == 0]
    assert {note.pitch.name.pitch_class for note in first} == {7, 11, 2}
    assert all(note.length == 1 for note in first)


def test_the_pads_voices_move_little() -> None:
    pad = pad_part(chart("plain"))
    chords = [
        sorted(note.pitch.midi for note in pad.notes if note.at == mark.at) for mark in pad.chords
    ]
    moves = [
        min(abs(low - high) for low in before)
        for before, after in pairwise(chords)
        for high in after
    ]
    assert max(moves) <= 4
    assert all(53 <= midi <= 76 for chord in chords for midi in chord)


def test_the_pad_is_silent_where_nobody_plays_and_short_on_a_stop() -> None:
    pad = pad_part(parse_song("Title: A\nKey: G\n| 1 | 0 | 1! |\n"))
    assert not [note for note in pad.notes if 1 <= note.at < 2]
    assert {note.length for note in pad.notes if note.at == 2} == {F(1, 8)}
