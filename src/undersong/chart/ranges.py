"""Which keys suit a singer, and what each asks of the bass (trade handbook T2 and 4.9)."""

from __future__ import annotations

from dataclasses import dataclass

from undersong.chart.lownotes import LowNotes, low_notes
from undersong.chart.song import Song, in_key, moved
from undersong.errors import ChartMeaningError
from undersong.theory.interval import Interval
from undersong.theory.key import Key, key_on
from undersong.theory.pitch import MIDI_MAX, MIDI_MIN, Pitch, plain_pitch

_SEMITONES = 12


@dataclass(frozen=True, slots=True)
class KeyFit:
    """A key for a singer.

    `spare_low` and `spare_high` are semitones left between the melody and the singer's lowest and
    highest note; negative is out of reach. `semitones` is how far the song moves from its key.
    """

    key: Key
    semitones: int
    low: Pitch
    high: Pitch
    spare_low: int
    spare_high: int
    bass: LowNotes

    @property
    def fits(self) -> bool:
        """True where the whole melody lies within the singer's range."""
        return self.spare_low >= 0 and self.spare_high >= 0


def keys_for_singer(song: Song, low: Pitch, high: Pitch) -> tuple[KeyFit, ...]:
    """Every key for a singer's comfortable lowest and highest note, the best first.

    The melody's range is the one the chart's header states; it is sung in whichever octave fits
    best. Keys that fit come first, the melody nearest the middle of the voice before others; then
    the rest by how little is out of reach.

    Raises
    ------
    ChartMeaningError
        If the chart states no range, or the singer's range is upside down.
    """
    if song.melody is None:
        raise ChartMeaningError(
            f"{song.title} does not say how high it goes: write Range: A3 to D5 at the top."
        )
    if low >= high:
        raise ChartMeaningError(f"{low} to {high} is no range: write the lowest note first.")
    fits = [_fit(song, pitch_class, low, high) for pitch_class in range(_SEMITONES)]
    return tuple(sorted(fits, key=_order))


def _order(fit: KeyFit) -> tuple[int, int, int]:
    worst = min(fit.spare_low, fit.spare_high)
    return (-min(worst, 0), abs(fit.spare_low - fit.spare_high), abs(fit.semitones))


def _fit(song: Song, pitch_class: int, low: Pitch, high: Pitch) -> KeyFit:
    assert song.melody is not None
    bottom, top = song.melody[0].midi, song.melody[1].midi
    up = (pitch_class - song.key.tonic.pitch_class) % _SEMITONES
    shifts = [
        shift
        for shift in range(up - 3 * _SEMITONES, up + 3 * _SEMITONES, _SEMITONES)
        if bottom + shift >= MIDI_MIN and top + shift <= MIDI_MAX
    ]
    shift = max(
        shifts, key=lambda each: (min(bottom + each - low.midi, high.midi - top - each), -abs(each))
    )
    key = song.key if not up else key_on(pitch_class, song.key.mode)
    prefer_flats = key.signature < 0
    return KeyFit(
        key=key,
        semitones=shift,
        low=plain_pitch(bottom + shift, prefer_flats=prefer_flats),
        high=plain_pitch(top + shift, prefer_flats=prefer_flats),
        spare_low=bottom + shift - low.midi,
        spare_high=high.midi - top - shift,
        bass=low_notes(song, key),
    )


def by_interval(song: Song, interval: Interval) -> Song:
    """The song moved by an interval (``M2`` up, ``-m3`` down), in a key that a band would write."""
    return in_key(song, moved(song.key, interval))
