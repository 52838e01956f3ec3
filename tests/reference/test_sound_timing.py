"""Rendered audio against the score, by a detector and a pitch estimator that know nothing of it.

The times expected are worked out by hand from tempo and meter. Pitches are those of the MIDI tuning
standard: note 69 is 440 Hz, twelve equal steps to the octave (MIDI 1.0; ISO 16:1975).
"""

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from undersong.sound.bass import Bass
from undersong.sound.mix import Levels, render_part
from undersong.sound.schedule import ClickPlan, NoteEvent
from undersong.sound.strings import FINGERS, PICK, BassSound
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Articulation, Dynamic, Note, Part
from undersong.theory.pitch import plain_pitch

RATE_HZ = 44100
MS = 0.001
CENT = 1.0
ONSET_TOLERANCE_S = 1 * MS  # asked for by the job; a 44.1 kHz sample is 0.02 ms
PITCH_TOLERANCE_CENTS = 2 * CENT
MIN_GAP_S = 0.02
LONGEST_PERIOD_S = 0.034  # of a low B string

Sound = NDArray[np.floating[Any]]


def onsets_s(sound: Sound, quiet_s: float) -> NDArray[np.float64]:
    """Where the wave leaves a stretch that was quiet against what follows it."""
    size = np.abs(sound)
    n_before, n_after = round(quiet_s * RATE_HZ), round(0.04 * RATE_HZ)
    before = maximum_filter1d(size, n_before, origin=(n_before - 1) // 2)
    after = maximum_filter1d(size, n_after, origin=-(n_after // 2))
    quiet = (before < 0.08 * after) & (after > 0.02 * size.max())
    ends = np.flatnonzero(quiet[:-1] & ~quiet[1:])
    apart = np.diff(ends, prepend=-RATE_HZ) > MIN_GAP_S * RATE_HZ
    return np.asarray(ends[apart] / RATE_HZ)


def eighths(meter: str, tempo_bpm: float, bars: int = 1) -> Part:
    m = parse_meter(meter)
    eighth = Fraction(1, 8)
    pitches = (28, 33, 40, 43, 23)
    notes = tuple(
        Note(
            k * eighth,
            eighth,
            plain_pitch(pitches[k % 5]),
            articulation=Articulation.SHORT,
            dynamic=Dynamic.F,
        )
        for k in range(int(bars * m.bar / eighth))
    )
    return Part("Test", parse_key("G"), m, tempo_bpm, notes)


# Beats in a bar, and eighths in a beat, as the trade counts them.
METERS = {
    "4/4": (4, 2),
    "3/4": (3, 2),
    "2/4": (2, 2),
    "6/8": (2, 3),
    "12/8": (4, 3),
    "5/4": (5, 2),
    "7/8": (7, 1),
}


@pytest.mark.parametrize("meter", METERS)
@pytest.mark.parametrize("tempo_bpm", [40, 97, 220])
def test_clicks_are_where_the_score_has_them(meter: str, tempo_bpm: float) -> None:
    beats, _ = METERS[meter]
    mix = render_part(
        eighths(meter, tempo_bpm),
        levels=Levels(bass=None),
        count_in=False,
        click=ClickPlan(subdivided=False),
    )
    expected = mix.start_s + np.arange(beats) * 60 / tempo_bpm
    found = onsets_s(mix.samples[:, 0], 0.02)
    assert len(found) == len(expected)
    assert np.abs(found - expected).max() < ONSET_TOLERANCE_S


def is_long_enough(meter: str, tempo_bpm: float) -> bool:
    """Shorter than two periods of a low B there is nothing to detect an onset by."""
    eighth_s = 60 / tempo_bpm / METERS[meter][1]
    return eighth_s / 2 >= LONGEST_PERIOD_S * 1.2


@pytest.mark.parametrize(
    ("meter", "tempo_bpm"),
    [(meter, bpm) for meter in METERS for bpm in (40, 97, 220) if is_long_enough(meter, bpm)],
)
def test_notes_are_where_the_score_has_them(meter: str, tempo_bpm: float) -> None:
    beats, eighths_in_beat = METERS[meter]
    eighth_s = 60 / tempo_bpm / eighths_in_beat
    mix = render_part(eighths(meter, tempo_bpm), levels=Levels(click=None), count_in=False)
    expected = mix.start_s + np.arange(beats * eighths_in_beat) * eighth_s
    found = onsets_s(mix.samples.mean(axis=1), LONGEST_PERIOD_S)
    assert len(found) == len(expected)
    assert np.abs(found - expected).max() < ONSET_TOLERANCE_S


def first_partial_hz(sound: Sound, near_hz: float) -> float:
    """Frequency of the strongest bin near a frequency: parabola on a log spectrum, padded."""
    n_bins = 1 << 18
    spectrum = np.abs(np.fft.rfft(sound * np.blackman(len(sound)), n_bins))
    low, high = (round(near_hz * share * n_bins / RATE_HZ) for share in (0.94, 1.06))
    top = low + int(np.argmax(spectrum[low:high]))
    left, middle, right = np.log(spectrum[top - 1 : top + 2])
    return float((top + 0.5 * (left - right) / (left - 2 * middle + right)) * RATE_HZ / n_bins)


@pytest.mark.parametrize("sound", [FINGERS, PICK])
@pytest.mark.parametrize("articulation", [Articulation.PLAIN, Articulation.HAMMERED])
def test_every_note_is_in_tune(sound: BassSound, articulation: Articulation) -> None:
    bass = Bass(RATE_HZ, sound=sound)
    for midi in range(23, 63, 3):
        note = Note(Fraction(0), Fraction(1), plain_pitch(midi), articulation=articulation)
        tail = bass.note(NoteEvent(0.0, 1.5, note))[round(0.2 * RATE_HZ) : round(1.4 * RATE_HZ)]
        standard_hz = 440 * 2 ** ((midi - 69) / 12)
        cents = 1200 * np.log2(first_partial_hz(tail, standard_hz) / standard_hz)
        assert abs(cents) < PITCH_TOLERANCE_CENTS, midi


def test_slide_ends_in_tune() -> None:
    note = Note(Fraction(0), Fraction(1), plain_pitch(36), articulation=Articulation.SLIDE)
    sound = Bass(RATE_HZ).note(NoteEvent(0.0, 1.5, note, from_midi=33, lead_s=0.09))
    tail = sound[round(0.3 * RATE_HZ) : round(1.4 * RATE_HZ)]
    standard_hz = 440 * 2 ** ((36 - 69) / 12)
    assert abs(1200 * np.log2(first_partial_hz(tail, standard_hz) / standard_hz)) < 2 * CENT


def test_stiff_string_partials_are_as_measured_by_kemp() -> None:
    """Kemp 2020: about 100 cents at partial 10 of a bass B string stopped at fret 12."""
    bass = Bass(RATE_HZ, tuning=(23, 28, 33, 38, 43))
    note = Note(Fraction(0), Fraction(1), plain_pitch(35), string=5, dynamic=Dynamic.FF)
    sound = bass.note(NoteEvent(0.0, 1.5, note))[: round(1.2 * RATE_HZ)]
    first = first_partial_hz(sound, 440 * 2 ** ((35 - 69) / 12))
    tenth = first_partial_hz(sound, first * 10 * 2 ** (100 / 1200))
    assert 1200 * np.log2(tenth / (10 * first)) == pytest.approx(100, abs=5)
