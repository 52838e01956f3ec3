"""A bass by formula (decaying harmonics) and a click beside it, for the tests of the ear.

Good enough to ask whether the ear does what it says; never used to say how well it hears.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Note, Part
from undersong.theory.pitch import midi_to_hz, parse_pitch

Samples = NDArray[np.float32]
RATE_HZ = 16000
SCALE = ("G1", "A1", "B1", "C2", "D2", "E2", "F#2", "G2")


def part_of(*names: str, tempo_bpm: float = 90.0, meter: str = "4/4", of: int = 4) -> Part:
    """Notes of one length, `1/of` each."""
    notes = tuple(
        Note(Fraction(k, of), Fraction(1, of), parse_pitch(name)) for k, name in enumerate(names)
    )
    return Part("Scale", parse_key("G"), parse_meter(meter), tempo_bpm, notes)


def asked(part: Part) -> list[int | None]:
    return [note.pitch.midi for note in part.notes]


def plucked(
    part: Part,
    midis: Sequence[int | None],
    *,
    start_s: float = 0.5,
    late_ms: NDArray[np.float64] | float = 0.0,
    share: float = 0.9,
    noise: float = 1e-4,
    cents: float = 0.0,
) -> Samples:
    """One pitch for each note of the part, None for a note left out, `share` of its length long."""
    rng = np.random.default_rng(1)
    late_s = np.broadcast_to(np.asarray(late_ms, float), len(midis)) / 1000
    length_s = part.tempo_map.seconds_at(part.length)
    latest_s = max(0.0, float(late_s.max()))
    out = rng.normal(0, noise, int((start_s + length_s + latest_s + 0.5) * RATE_HZ))
    for note, midi, late in zip(part.notes, midis, late_s, strict=True):
        if midi is None:
            continue
        at = round((start_s + late + part.tempo_map.seconds_at(note.at)) * RATE_HZ)
        n = round(share * part.tempo_map.seconds_at(note.length) * RATE_HZ)
        t = np.arange(n) / RATE_HZ
        f0 = midi_to_hz(midi + cents / 100) * (1 + 0.0005 * rng.normal())
        tone = sum(
            np.exp(-t * (2 + k)) * np.sin(2 * np.pi * (k * f0 * t + rng.uniform())) / k
            for k in range(1, 12)
        )
        pick = rng.normal(0, 0.2, n) * np.exp(-t / 0.004)
        shape = np.minimum(1, t / 0.002) * np.minimum(1, (n / RATE_HZ - t) / 0.02)
        out[at : at + n] += 0.15 * (tone + pick) * shape
    return out.astype(np.float32)


def jitter_ms(count: int, *, spread_ms: float = 8.0, seed: int = 3) -> NDArray[np.float64]:
    """A player's own unevenness, mean 0."""
    drawn = np.random.default_rng(seed).normal(0, spread_ms, count)
    return np.asarray(drawn - drawn.mean())


def with_clicks(
    sound: Samples, at_s: Sequence[float], hz: Sequence[float], level: float
) -> Samples:
    """A dying beep at each time; `hz` may differ from beat to beat."""
    out = sound.copy()
    t = np.arange(round(0.06 * RATE_HZ)) / RATE_HZ
    for when, tone in zip(at_s, hz, strict=True):
        at = round(when * RATE_HZ)
        beep = level * np.sin(2 * np.pi * tone * t) * np.exp(-t / 0.012)
        out[at : at + len(beep)] += beep[: len(out) - at].astype(np.float32)
    return out
