"""Rooms with walls: what a microphone hears of a bass by all the ways its sound may take.

Every path by the walls of a box comes from a mirror image of the source [Allen and Berkley, Image
method for efficiently simulating small-room acoustics, JASA 65 (1979) 943], as loud as it is far
and weaker by what each wall on its way takes up, more or less in three bands. Unlike noise that
dies away this has the flutter and the standing waves of a real room, strong where a bass is.

Conventions
-----------
Metres and seconds; sound travels at 343 m/s. The direct sound is the first sample, 1.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import fftconvolve

from takes.attack import RATE_HZ, Samples
from takes.material import Rng
from takes.recording import Recording

SOUND_M_S = 343.0
BANDS_HZ = (250.0, 2000.0)
"""Where the lowest and the highest of the three bands meet the middle one."""
FROM_HZ = 25.0
"""Below this no room of such walls keeps its sound in."""


@dataclass(frozen=True, slots=True)
class Place:
    """A kind of room: its sides, how far the microphone is, what its walls take up of the energy.

    Pairs are least and most. What walls take up is for the middle band, common practice, no source;
    the low band takes up 0.5 to 1.2 times as much, the high one 1 to 1.8 times.
    """

    sides_m: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    away_m: tuple[float, float]
    taken_up: tuple[float, float]


KITCHEN = Place(((2.8, 4.5), (2.2, 3.4), (2.4, 2.7)), (0.3, 1.2), (0.1, 0.3))
HALL = Place(((10.0, 17.0), (7.0, 11.0), (3.5, 6.0)), (0.5, 2.5), (0.12, 0.3))


def images(side_m: float, source_m: float, microphone_m: float, most: int) -> tuple[Samples, ...]:
    """Mirror images along one side: distances, and how often each of its two walls was met."""
    turns = np.arange(-most, most + 1)
    n = np.concatenate((turns, turns))
    flipped = np.repeat((0, 1), len(turns))
    place = (1 - 2 * flipped) * source_m + 2 * n * side_m
    return place - microphone_m, np.abs(n - flipped), np.abs(n)


def impulse(
    sides_m: Samples,
    source_m: Samples,
    microphone_m: Samples,
    taken_up: Samples,
    length_s: float,
) -> Samples:
    """Impulse response of a room.

    Parameters
    ----------
    taken_up
        Share of energy, shape (3 bands, 3 sides, 2 walls).
    length_s
        How long to follow it.
    """
    reach_m = SOUND_M_S * length_s
    axes = [
        images(side, here, there, int(reach_m / (2 * side)) + 2)
        for side, here, there in zip(sides_m, source_m, microphone_m, strict=True)
    ]
    kept = np.log(np.sqrt(1 - taken_up))
    n_samples = round(length_s * RATE_HZ)
    bands = np.zeros((3, n_samples + 2))
    direct_m = float(np.linalg.norm(np.subtract(source_m, microphone_m)))
    x, x_low, x_high = axes[0]
    flat_y, flat_z = (grid.ravel() for grid in np.meshgrid(axes[1][0], axes[2][0], indexing="ij"))
    rows_y, rows_z = (
        grid.ravel()
        for grid in np.meshgrid(
            np.arange(len(axes[1][0])), np.arange(len(axes[2][0])), indexing="ij"
        )
    )
    for k in range(len(x)):
        far_m = np.sqrt(x[k] ** 2 + flat_y**2 + flat_z**2)
        near = far_m < reach_m + direct_m
        y, z, distance_m = rows_y[near], rows_z[near], far_m[near]
        late = (distance_m - direct_m) / SOUND_M_S * RATE_HZ
        whole = np.minimum(late.astype(np.intp), n_samples)
        part = np.clip(late - whole, 0, 1)
        for band in range(3):
            met = kept[band, 0, 0] * x_low[k] + kept[band, 0, 1] * x_high[k]
            for side, rows in ((1, y), (2, z)):
                met = met + kept[band, side, 0] * axes[side][1][rows]
                met = met + kept[band, side, 1] * axes[side][2][rows]
            size = np.exp(met) * direct_m / distance_m
            bands[band] += np.bincount(whole, size * (1 - part), n_samples + 2)[: n_samples + 2]
            bands[band] += np.bincount(whole + 1, size * part, n_samples + 2)[: n_samples + 2]
    return joined(bands[:, :n_samples])


def joined(bands: Samples) -> Samples:
    """Three bands as one response; what is the same in all, the direct sound, stays as it is."""
    n_fft = 2 * bands.shape[1]
    frequency = np.fft.rfftfreq(n_fft, 1 / RATE_HZ)
    low = 1 / (1 + (frequency / BANDS_HZ[0]) ** 4)
    high = 1 - 1 / (1 + (frequency / BANDS_HZ[1]) ** 4)
    weights = np.stack((low, 1 - low - high, high))
    echoes = bands.copy()
    echoes[:, 0] -= 1
    heard = (weights * np.fft.rfft(echoes, n_fft)).sum(axis=0)
    heard *= frequency**2 / (frequency**2 + FROM_HZ**2)
    out: Samples = np.fft.irfft(heard, n_fft)[: bands.shape[1]]
    out[0] += 1
    return out


def rt60_s(response: Samples) -> float:
    """Reverberation time: twice that from -5 to -35 dB of the energy still to come [ISO 3382]."""
    left = np.cumsum(response[::-1] ** 2)[::-1]
    level_db = 10 * np.log10(left / left[0] + 1e-12)
    first, last = (int(np.argmax(level_db < db)) for db in (-5, -35))
    return 2 * (last - first) / RATE_HZ


def heard_in(place: Place, recording: Recording, rng: Rng) -> Recording:
    """A recording as it sounds at some place of such a room."""
    sides_m = np.array([rng.uniform(*pair) for pair in place.sides_m])
    away_m = rng.uniform(*place.away_m)
    source_m = np.array([*rng.uniform(0.25, 0.75, 2) * sides_m[:2], rng.uniform(0.25, 0.5)])
    turn, rise_m = rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 0.9) * away_m
    flat_m = np.sqrt(away_m**2 - rise_m**2)
    moved = source_m + np.array([flat_m * np.cos(turn), flat_m * np.sin(turn), rise_m])
    microphone_m = np.clip(moved, 0.1, sides_m - 0.1)
    middle = rng.uniform(*place.taken_up) * rng.uniform(0.6, 1.4, (3, 2))
    taken_up = np.stack((middle * rng.uniform(0.5, 1.2), middle, middle * rng.uniform(1, 1.8)))
    volume, surface = np.prod(sides_m), 2 * np.sum(np.prod(sides_m) / sides_m)
    expected_s = 0.161 * volume / (surface * np.mean(taken_up[:2]))  # Sabine
    response = impulse(sides_m, source_m, microphone_m, np.minimum(taken_up, 0.9), expected_s)
    wet = fftconvolve(recording.samples, response)[: len(recording.samples)]
    direct_db = -10 * np.log10(np.sum(response[1:] ** 2))
    facts = {
        **recording.facts,
        "room_m": [round(float(side), 2) for side in sides_m],
        "away_m": round(float(np.linalg.norm(microphone_m - source_m)), 2),
        "rt60_s": round(rt60_s(response), 3),
        "direct_db": round(float(direct_db), 1),
    }
    return replace(recording, samples=wet, facts=facts)


def in_kitchen(recording: Recording, rng: Rng) -> Recording:
    """A small room with hard walls, the microphone at arm's length from the amplifier."""
    return heard_in(KITCHEN, recording, rng)


def in_hall(recording: Recording, rng: Rng) -> Recording:
    """A hall as churches have, the microphone a few steps from the amplifier."""
    return heard_in(HALL, recording, rng)
