"""Sounds by formula for the tests of the live ear: decaying harmonics, a steady player."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Note, Part
from undersong.theory.pitch import midi_to_hz, plain_pitch

RATE_HZ = 48_000
SCALE = (31, 33, 35, 36, 38, 40, 42, 43, 42, 40, 38, 36, 35, 33, 31, 26)


def scale_part(*, n_notes: int = len(SCALE), tempo_bpm: float = 90.0) -> Part:
    """The first notes of a scale in quarters; the last goes down to a low D."""
    notes = tuple(
        Note(Fraction(k, 4), Fraction(1, 4), plain_pitch(midi))
        for k, midi in enumerate(SCALE[:n_notes])
    )
    return Part("Scale", parse_key("G"), parse_meter("4/4"), tempo_bpm, notes)


def tone(
    midi: float, length_s: float, *, fundamental: float = 1.0, seed: int = 0
) -> NDArray[np.float64]:
    """A plucked note: twelve harmonics, the upper ones dying sooner, their phases by chance."""
    phase = np.random.default_rng(seed).uniform(0, 2 * np.pi, 13)
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    f0_hz = midi_to_hz(midi)
    out = np.zeros(len(t))
    for k in range(1, 13):
        size = fundamental if k == 1 else 1.0
        out += (
            size * np.exp(-t * (0.6 + 0.4 * k)) * np.sin(2 * np.pi * k * f0_hz * t + phase[k]) / k
        )
    return 0.15 * out * np.minimum(1, t / 0.002) * np.minimum(1, (length_s - t) / 0.02)


def plucked(
    part: Part, midis: Sequence[int | None], *, start_s: float = 0.5
) -> NDArray[np.float32]:
    """A steady player: one pitch for each note of the part, None for a note left out."""
    rng = np.random.default_rng(1)
    length_s = part.tempo_map.seconds_at(part.length)
    out = rng.normal(0, 1e-4, round((start_s + length_s + 0.8) * RATE_HZ))
    for place, (note, midi) in enumerate(zip(part.notes, midis, strict=True)):
        if midi is None:
            continue
        at = round((start_s + part.tempo_map.seconds_at(note.at)) * RATE_HZ)
        sound = tone(midi, 0.8 * part.tempo_map.seconds_at(note.length), seed=place)
        out[at : at + len(sound)] += sound
    return out.astype(np.float32)
