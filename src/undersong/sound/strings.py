"""A plucked string, mode by mode.

A note is the sum of its string's modes, each a decaying sine. The places of the finger and of the
pickup set their levels, stiffness stretches their frequencies, losses set how fast each dies. The
sum is exact at any pitch, so a note is in tune to a fraction of a cent.

Conventions
-----------
Places along the string are distances from the bridge in mm. Modes are complex rates per second:
minus the decay, plus i times the angular frequency.

The model
---------
Frequencies: ``f_n = n f1 sqrt((1 + B n^2) / (1 + B))``; B grows with the inverse square of the
sounding length (trade handbook 8.4: 0.00031 for an open low B string [Kemp 2020]).
Levels: a string let go from a corner at p and heard by a velocity pickup at q has modes
``sin(n pi p) sin(n pi q) / n`` [Fletcher & Rossing 1998, 2.8]. The width of finger or pick, the
softness of the stroke, the pickup's aperture and its circuit each take away highs.
Losses: ``1 / tau_n = s0 + s2 f_n^2``; s0 grows up the neck (trade handbook 8.5). A second
polarisation, weaker and slower, gives the two-stage decay of a real string [Weinreich 1977].

The figures below were fitted to five sampled basses; `benchmarks/sound_bass.py` has the table.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from undersong.theory.pitch import SEMITONES_PER_OCTAVE, midi_to_hz

Floats = NDArray[np.float64]

SCALE_MM = 863.6
APERTURE_MM = 25.0
MAX_MODES = 80
HIGHEST_MODE_HZ = 6500.0
INAUDIBLE = 1e-6  # of a full-force note: -120 dB
SUM_BLOCK = 256  # samples that one row of the matrix product covers
SOFT_HZ_AT_FULL, SOFT_SLOPE = 1080.0, 1.7
SOFT_HZ_DB = 10.0  # dB of level for which the corner of the stroke doubles
PICK_HARDNESS = 1.45
SOFT_FALLS, SOFT_AT_OPEN_HZ = 0.43, 60.0  # thin strings yield more: the corner falls with pitch
EVEN_HZ = 70.0  # below this the ear takes little part in how loud a note seems
USUAL_DB = -6.5
NULL_FLOOR = 0.48
LOSS_DOUBLES_IN_FRETS = 17.0
SECOND_SHARE = 0.27
SECOND_LOSS = 0.45
SECOND_CENTS = 0.35
LEAD_TO_ARRIVAL_S = 0.0008


class Attack(StrEnum):
    """What strikes the string."""

    FINGER = "finger"
    PICK = "pick"


@dataclass(frozen=True, slots=True)
class BassSound:
    """An instrument and a hand.

    Parameters
    ----------
    attack
        Finger or pick.
    attack_mm, pickup_mm
        Where the string is struck and heard, in mm from the bridge.
    tone_hz
        Corner of the pickup's circuit; lower is darker.
    """

    attack: Attack = Attack.FINGER
    attack_mm: float = 101.0
    pickup_mm: float = 71.0
    tone_hz: float = 3000.0

    @property
    def width_mm(self) -> float:
        """How much string the finger or pick touches."""
        return 13.0 if self.attack is Attack.FINGER else 5.0


FINGERS = BassSound()
PICK = BassSound(Attack.PICK, tone_hz=3600.0)


@dataclass(frozen=True, slots=True)
class _Wire:
    """An open string: stiffness B, losses s0 in 1/s and s2 in 1/s per kHz squared."""

    stiffness: float
    loss: float
    loss_khz2: float


_WIRES = {
    23: _Wire(0.00031, 0.71, 0.57),
    28: _Wire(0.00016, 0.71, 0.48),
    33: _Wire(0.00010, 0.71, 0.40),
    38: _Wire(0.00007, 0.73, 0.33),
    43: _Wire(0.00005, 0.77, 0.29),
}


@dataclass(frozen=True, slots=True)
class Modes:
    """Modes of one sound: rates in 1/s, and levels, complex where a mode has a phase."""

    rates: NDArray[np.complex128]
    levels: Floats | NDArray[np.complex128]
    arrival_s: float  # from the release of the string to its first wave at the pickup


def modes_of(
    hz: float,
    *,
    open_midi: int,
    sound: BassSound,
    level_db: float = 0.0,
    damping: float = 0.0,
    damping_khz: float = 0.0,
) -> Modes:
    """The modes of a string stopped to sound `hz`.

    Parameters
    ----------
    hz
        Frequency of the first mode.
    open_midi
        The string's open pitch as a MIDI number.
    sound
        Instrument and hand.
    level_db
        How hard it is struck, 0 being as hard as it gets; softer is darker.
    damping, damping_khz
        Further losses of a hand on the string, in 1/s, and in 1/s per kHz.
    """
    wire = _WIRES[min(_WIRES, key=lambda midi: abs(midi - open_midi))]
    length_share = min(1.0, midi_to_hz(open_midi) / hz)
    length_mm = SCALE_MM * length_share
    stiffness = wire.stiffness / length_share**2
    count = np.arange(1, MAX_MODES + 1)
    mode_hz = count * hz * np.sqrt((1 + stiffness * count**2) / (1 + stiffness))
    keep = mode_hz < max(HIGHEST_MODE_HZ, 1.5 * hz)
    count, mode_hz = count[keep], mode_hz[keep]

    struck, heard = sound.attack_mm / length_mm, sound.pickup_mm / length_mm
    struck, heard = min(struck, 0.8), min(heard, 0.6)
    levels = _shape(count * struck) * _shape(count * heard) / count
    levels *= np.exp(-((np.pi * count * sound.width_mm / length_mm) ** 2) / 8)
    levels *= np.sinc(count * APERTURE_MM / length_mm)
    levels /= np.sqrt(1 + (mode_hz / sound.tone_hz) ** 4)
    even = np.sqrt(1 + (EVEN_HZ / mode_hz) ** 2)
    usual = levels / (1 + (mode_hz / _softness_hz(sound, open_midi, USUAL_DB)) ** SOFT_SLOPE)
    levels = levels / (1 + (mode_hz / _softness_hz(sound, open_midi, level_db)) ** SOFT_SLOPE)
    levels *= 10 ** (level_db / 20) / np.sqrt(np.sum((usual / even) ** 2))

    khz = mode_hz / 1000
    up_the_neck = length_share ** -(SEMITONES_PER_OCTAVE / LOSS_DOUBLES_IN_FRETS)
    loss = wire.loss * up_the_neck + wire.loss_khz2 * khz**2 + damping + damping_khz * khz
    angular = 2 * np.pi * mode_hz
    detuned = angular * 2 ** (SECOND_CENTS / 1200)
    return Modes(
        np.concatenate((-loss + 1j * angular, -loss * SECOND_LOSS + 1j * detuned)),
        np.concatenate((levels * (1 - SECOND_SHARE), levels * SECOND_SHARE)),
        abs(struck - heard) / (2 * hz),
    )


def _shape(places: Floats) -> Floats:
    """A mode's movement at a place; never quite still, for no finger or magnet is a point."""
    wave = np.sin(np.pi * places)
    return np.asarray(np.copysign(np.hypot(wave, NULL_FLOOR), wave) / np.hypot(1, NULL_FLOOR))


def _softness_hz(sound: BassSound, open_midi: int, level_db: float) -> float:
    """Corner above which a stroke has little force: lower for soft strokes and for flesh."""
    hard = PICK_HARDNESS if sound.attack is Attack.PICK else 1.0
    yields = (midi_to_hz(open_midi) / SOFT_AT_OPEN_HZ) ** -SOFT_FALLS
    return float(SOFT_HZ_AT_FULL * hard * yields * 2 ** (level_db / SOFT_HZ_DB))


def ring(modes: Modes, n_samples: int, sample_rate_hz: int) -> Floats:
    """The sum of the modes, shape (n_samples,), from just before the first wave is heard.

    Notes
    -----
    With ``t = k M + m`` each mode is a product of a part that depends on k and one that depends
    on m, so the whole sum is one matrix product: exact, and far cheaper than a sine a sample.
    """
    start_s = max(0.0, modes.arrival_s - LEAD_TO_ARRIVAL_S)
    heard = np.abs(modes.levels) > INAUDIBLE
    step = modes.rates[heard] / sample_rate_hz
    begin = modes.levels[heard] * np.exp(modes.rates[heard] * start_s)
    fine = np.exp(np.outer(step, np.arange(SUM_BLOCK)))
    rows = -(-n_samples // SUM_BLOCK)
    coarse = np.empty((rows, len(step)), np.complex128)
    coarse[0], coarse[1:] = begin, np.exp(step * SUM_BLOCK)
    np.cumprod(coarse, axis=0, out=coarse)
    # What has died away is set to nothing: sums of the tiniest numbers are very slow.
    coarse = np.where(np.abs(coarse) > INAUDIBLE, coarse, 0)
    # Only the imaginary part is wanted, Re a Im b + Im a Re b: one real product.
    left = np.hstack((coarse.real, coarse.imag)).astype(np.float32)
    right = np.vstack((fine.imag, fine.real)).astype(np.float32)
    return np.asarray((left @ right).reshape(-1)[:n_samples])


def glide(modes: Modes, pitch_share: Floats, sample_rate_hz: int) -> Floats:
    """The sum of the modes while the pitch moves.

    Parameters
    ----------
    modes
        As for the pitch it arrives at.
    pitch_share
        Frequency at each sample, as a share of the arrival's, shape (n_samples,).
    sample_rate_hz
        Samples a second.
    """
    turned = np.cumsum(pitch_share) / sample_rate_hz
    t_s = np.arange(len(pitch_share)) / sample_rate_hz
    out = np.zeros(len(pitch_share))
    for rate, level in zip(modes.rates, modes.levels, strict=True):
        if abs(level) > 1e-4:
            out += level * np.exp(rate.real * t_s) * np.sin(rate.imag * turned)
    return out
