"""What a key asks of the bottom of the instrument (trade handbook T9 and 4.9).

A bar wants a low note where the lowest note of one of its chords, at the lowest octave any
common bass has (down to B0), lies below the lowest string in question. The octave above is
always there, and often clearer: the count is for choosing, it forbids nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from undersong.chart.roadmap import PlayedBar, unrolled
from undersong.chart.song import Song, in_key
from undersong.theory.key import Key, key_on
from undersong.theory.pitch import Pitch, PitchName

LOWEST_MIDI = {"four-string": 28, "low string dropped": 26, "five-string": 23}
"""MIDI number of the lowest open string: E1, D1, B0."""

_BOTTOM_MIDI = min(LOWEST_MIDI.values())
_SEMITONES = 12


@dataclass(frozen=True, slots=True)
class LowNotes:
    """How a key lies for a song.

    `below` counts the played bars that want a note below the lowest string, by tuning; `bars` is
    how many are played in all. `tonic` is the lowest home note of a four-string, and
    `tonic_is_low` tells that an octave below it exists on a five-string. `ends_low` tells that
    the last chord is one of those that want it.
    """

    key: Key
    bars: int
    below: dict[str, int]
    tonic: Pitch
    tonic_is_low: bool
    ends_low: bool


def low_notes(song: Song, key: Key | None = None) -> LowNotes:
    """How the song's own key, or another, lies on four strings, dropped, and on five."""
    moved = song if key is None else in_key(song, key)
    bars = unrolled(moved)
    lows = [_lowest_midis(bar, moved) for bar in bars]
    below = {
        name: sum(min(midis, default=lowest) < lowest for midis in lows)
        for name, lowest in LOWEST_MIDI.items()
    }
    tonic = moved.key.tonic
    four = LOWEST_MIDI["four-string"]
    last = next((midis[-1] for midis in reversed(lows) if midis), four)
    return LowNotes(
        key=moved.key,
        bars=len(bars),
        below=below,
        tonic=tonic.at_or_above(four),
        tonic_is_low=_lowest_midi(tonic) < four,
        ends_low=last < four,
    )


def low_note_table(song: Song) -> tuple[LowNotes, ...]:
    """One row for each of the twelve keys a band would write, upward from C."""
    rows = []
    for pitch_class in range(_SEMITONES):
        key = key_on(pitch_class, song.key.mode)
        same = song.key.tonic.pitch_class == pitch_class
        rows.append(low_notes(song, song.key if same else key))
    return tuple(rows)


def _lowest_midis(bar: PlayedBar, song: Song) -> list[int]:
    """Of each chord in a bar, the lowest octave of its lowest note that any common bass has."""
    key = song.counted_in(bar.key)
    return [
        _lowest_midi(key.name_of(event.chord.lowest))
        for event in bar.events
        if event.chord is not None
    ]


def _lowest_midi(name: PitchName) -> int:
    return name.at_or_above(_BOTTOM_MIDI).midi
