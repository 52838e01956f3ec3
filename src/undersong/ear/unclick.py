"""A click's own wave, learnt from all its strokes, and taken out of a take.

Equal waves add up where the bass under them does not, so the mean over the strokes, weighted by
how little else sounds there, is the click alone; what still differs from stroke to stroke says, at
every frequency, how far the mean can be believed. Every stroke is then fitted above
`click.FROM_HZ`, where the bass hardly reaches, and subtracted at all frequencies.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from undersong.ear.attack import Attacks
from undersong.ear.click import (
    LEARNT_OVER_S,
    LEAST_RISE,
    ON_COMB_S,
    Comb,
    Sound,
    high_part,
    sounds_of,
    strokes_of,
)
from undersong.ear.frames import RATE_HZ, Samples

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Spectra = NDArray[np.complex128]

LEAD, LENGTH, FADE = 16, 880, 240
"""Samples of a wave before its attack, in all, and of its end that fade."""
N_FFT = 1024
FITTED = 240
"""Samples of a wave by which a stroke is fitted."""
AROUND = 280
BELIEF = 2.0
SMOOTHED, ATTACK_SHARE = 16, 0.1
"""An attack is where energy over 2 ms reaches a tenth of its largest."""
SEARCH, FINER = 3, 16
TURNS = 3
PIECE_S = 20.0
RECENT = 64
LEAST_GAIN, MOST_GAIN, SOFTEST = 0.4, 2.5, 0.1
LEAST_LIKE = 0.3
SURE_LIKE = 0.6
CLEAR_LIKE, LEAST_CLEAR = 0.9, 3
STEADY_GAIN = 0.05
LEAST_HEARD, LEAST_HEARD_SHARE = 5, 0.4


@dataclass(frozen=True, slots=True)
class Click:
    """A click heard in a take.

    Attributes
    ----------
    comb
        Its beats.
    strokes_s
        Shape (n_strokes,): when it was heard, beats and subdivisions, increasing.
    """

    comb: Comb
    strokes_s: Floats


@dataclass(frozen=True, slots=True)
class Wave:
    """One of a click's sounds, learnt.

    `full` and `high` have shape (LENGTH,): its wave, and what of it lies above `click.FROM_HZ`.
    `dated` is where in it the attack lies, in samples after a stroke's place.
    """

    sound: Sound
    full: Floats
    high: Floats
    dated: float


def without_click(samples: Samples, found: Attacks, beat_s: float) -> tuple[Samples, Click] | None:
    """A take with its click taken out, and the click; None where none is heard.

    Parameters
    ----------
    samples
        Shape (n_samples,), at `RATE_HZ`.
    found
        Its attacks.
    beat_s
        The beat asked, in seconds.
    """
    kept = found.high > LEAST_RISE
    onset_s, low = found.onset_s[kept], found.low[kept]
    if len(onset_s) == 0:
        return None
    early = onset_s < onset_s[0] + LEARNT_OVER_S
    end = int((onset_s[0] + LEARNT_OVER_S + 1) * RATE_HZ)
    high = high_part(samples[:end])
    strokes = strokes_of(samples[:end], high, onset_s[early], low[early])
    heard = sounds_of(strokes, onset_s[early], beat_s)
    if heard is None:
        return None
    comb, sounds = heard
    waves = [_wave(samples, sound) for sound in sounds]
    comb = replace(comb, start_s=comb.start_s + (waves[0].dated - sounds[0].dated) / RATE_HZ)
    out, click = _taken_out(samples, comb, waves)
    return (out, click) if _is_steady(click) else None


def _is_steady(click: Click) -> bool:
    """True where enough beats of the comb were heard for it to be a click."""
    if len(click.strokes_s) < LEAST_HEARD:
        return False
    beats = np.ptp(click.strokes_s) / click.comb.period_s
    return bool(len(click.strokes_s) >= LEAST_HEARD_SHARE * beats)


def _wave(samples: Samples, sound: Sound) -> Wave:
    """The mean of all strokes of a sound, in step with one another."""
    weight = 1 / (_around(samples, sound.at) + 1e-12)
    full = _mean_wave(samples, sound.at, weight)
    return Wave(
        sound, full, high_part(full.astype(np.float32)).astype(np.float64), _attack_of(full)
    )


def _attack_of(wave: Floats) -> float:
    """Samples after a stroke's place at which its energy reaches a share of its largest.

    A learnt wave is clean enough to be dated by its own beginning, closer than any one stroke.
    """
    energy = np.convolve(wave**2, np.ones(SMOOTHED) / SMOOTHED, mode="same")
    return float(np.argmax(energy >= ATTACK_SHARE * energy.max()) - LEAD)


def _around(samples: Samples, at: Floats) -> Floats:
    """Energy before and well after each stroke: what sounds there beside the click."""
    total = np.concatenate(([0.0], np.cumsum(samples.astype(np.float64) ** 2)))
    place = np.round(at).astype(np.intp)

    def between(first: int, last: int) -> Floats:
        ends = [np.clip(place + each, 0, len(samples)) for each in (first, last)]
        return np.asarray(total[ends[1]] - total[ends[0]])

    energy = between(-AROUND, -LEAD) + between(2 * AROUND, 3 * AROUND)
    return np.asarray(energy + 0.01 * np.median(energy))


def _shape() -> Floats:
    shape = np.ones(LENGTH)
    shape[:LEAD] = np.sin(0.5 * np.pi * np.arange(LEAD) / LEAD) ** 2
    shape[-FADE:] = np.cos(0.5 * np.pi * np.arange(FADE) / FADE) ** 2
    return shape


def _turned(spectra: Spectra, later: Floats) -> Spectra:
    """Spectra of waves moved later by some samples, fractions included."""
    omega = 2 * np.pi * np.fft.rfftfreq(N_FFT)
    return np.asarray(spectra * np.exp(-1j * omega * later[:, None]))


def _mean_wave(samples: Samples, at: Floats, weight: Floats) -> Floats:
    whole = np.floor(at).astype(np.intp)
    padded = np.pad(samples, (LEAD, LENGTH + 1))
    pieces = padded[np.maximum(whole, 0)[:, None] + np.arange(LENGTH)] * _shape()
    spectra = _turned(np.fft.rfft(pieces, N_FFT), -(at - whole))
    share = (weight / weight.sum())[:, None]
    mean = (share * spectra).sum(axis=0)
    spread = (share**2 * np.abs(spectra - mean) ** 2).sum(axis=0)
    belief = np.maximum(0.0, 1 - BELIEF * spread / np.maximum(np.abs(mean) ** 2, 1e-20))
    return np.asarray(np.fft.irfft(mean * belief, N_FFT)[:LENGTH] * _shape())


def _usual_gain(high: Samples, wave: Wave) -> float:
    """Median gain of the strokes a wave was learnt from."""
    whole = np.round(wave.sound.at).astype(np.intp)
    shape = wave.high[:FITTED]
    pieces = np.pad(high, (LEAD, FITTED))[whole[:, None] + np.arange(FITTED)]
    return float(np.median(pieces @ shape)) / float(shape @ shape + 1e-20)


@dataclass(frozen=True, slots=True)
class Fit:
    """A sound fitted at every place of the comb where it may be, each of shape (n_places,).

    `at` in samples, `gain` over the wave learnt, `like` the correlation, `held` if it is there.
    """

    at: Floats
    gain: Floats
    like: Floats
    held: NDArray[np.bool_]


def _fit(high: Samples, offset: int, at: Floats, wave: Wave, usual_gain: float) -> Fit:
    """One sound at some places.

    Parameters
    ----------
    high
        Part of a take above `click.FROM_HZ`, beginning at sample `offset`.
    at
        Shape (n_places,): samples at which strokes are expected.
    """
    shape = wave.high[:FITTED]
    size = float(np.sqrt(shape @ shape)) + 1e-12
    padded = np.pad(high, (LEAD + SEARCH, FITTED + 2 * SEARCH))
    whole = np.clip(np.floor(at).astype(np.intp) - offset, 0, len(high))
    pieces = padded[whole[:, None] + np.arange(FITTED + 2 * SEARCH)].astype(np.float64)
    windows = np.lib.stride_tricks.sliding_window_view(pieces, FITTED, axis=1)
    cross = _between_samples(windows @ shape)
    energy = (windows[:, SEARCH] ** 2).sum(axis=1)
    top = cross.argmax(axis=1)
    most = cross[np.arange(len(top)), top]
    best, gain = most / (np.sqrt(energy) + 1e-9) / size, most / size**2
    moved = top / FINER - SEARCH
    sure = best > SURE_LIKE
    usual = (gain > LEAST_GAIN * usual_gain) & (gain < MOST_GAIN * usual_gain)
    held = ((best > LEAST_LIKE) & usual) | (sure & (gain > SOFTEST * usual_gain))
    clear = np.flatnonzero(best > CLEAR_LIKE)
    moved = whole + offset + moved - at
    if len(clear) >= LEAST_CLEAR and _spread(gain[clear]) < STEADY_GAIN * np.median(gain[clear]):
        # Such a click is as loud under a note as where it stands clear.
        gain = np.full(len(at), np.median(gain[clear]))
    trusted = clear if len(clear) >= LEAST_CLEAR else np.flatnonzero(sure)
    middle = np.median(moved[trusted]) if len(trusted) else 0.0
    moved = np.where(best > (CLEAR_LIKE if len(clear) >= LEAST_CLEAR else SURE_LIKE), moved, middle)
    place = at + moved
    return Fit(place, gain, best, held)


def _taken_out(samples: Samples, comb: Comb, waves: list[Wave]) -> tuple[Samples, Click]:
    """Every stroke of a click fitted and subtracted, piece by piece as the comb is followed on."""
    out = samples.copy()
    strokes_s: list[Floats] = []
    beats_s = np.zeros(0)
    usual = [_usual_gain(high_part(samples[: _end(w)]), w) for w in waves]
    step = round(PIECE_S * RATE_HZ)
    for first in range(0, len(samples), step):
        start, last = max(0, first - N_FFT), min(first + step, len(samples))
        high = high_part(samples[start : last + N_FFT])
        for turn in range(TURNS):
            places = [_places(comb, wave, first, last) for wave in waves]
            fits = [
                _fit(high, start, at, wave, gain)
                for at, wave, gain in zip(places, waves, usual, strict=True)
            ]
            held = _one_at_a_time(waves, fits)
            if turn < TURNS - 1:
                comb = _fitted_again(
                    comb, np.append(beats_s[-RECENT:], _beats_s(waves, fits, held))
                )
        beats_s = np.append(beats_s, _beats_s(waves, fits, held))
        for wave, fit, each in zip(waves, fits, held, strict=True):
            _subtract(out, wave.full, fit.at[each], fit.gain[each])
            strokes_s.append((fit.at[each] + wave.dated) / RATE_HZ)
    return out, Click(_fitted_again(comb, beats_s), np.sort(np.concatenate(strokes_s)))


def _beats_s(waves: list[Wave], fits: list[Fit], held: list[NDArray[np.bool_]]) -> Floats:
    """When the strokes on the beat that are surely there were heard, unordered."""
    sure = [
        (fit.at[each & (fit.like > SURE_LIKE)] + wave.dated) / RATE_HZ
        for wave, fit, each in zip(waves, fits, held, strict=True)
        if wave.sound.part_of_beat == 0
    ]
    return np.concatenate(sure)


def _end(wave: Wave) -> int:
    return int(wave.sound.at.max()) + LENGTH


def _between_samples(values: Floats) -> Floats:
    """Rows of samples of a smooth curve, `FINER` times as dense, by its spectrum."""
    count = values.shape[1]
    # Mirrored, so that the row's ends meet and no ripple runs in from them.
    mirrored = np.concatenate((values, values[:, ::-1]), axis=1)
    dense = np.fft.irfft(np.fft.rfft(mirrored), 2 * count * FINER) * FINER
    return np.asarray(dense[:, : (count - 1) * FINER + 1])


def _spread(values: Floats) -> float:
    """Median distance from the median."""
    return float(np.median(np.abs(values - np.median(values))))


def _places(comb: Comb, wave: Wave, first: int, last: int) -> Floats:
    """Samples in [first, last) where a sound of the click is expected."""
    start = (comb.start_s + wave.sound.part_of_beat * comb.period_s) * RATE_HZ - wave.dated
    period = comb.period_s * RATE_HZ
    beats = np.arange(np.ceil((first - start) / period), np.ceil((last - start) / period))
    return np.asarray(start + beats * period)


def _one_at_a_time(waves: list[Wave], fits: list[Fit]) -> list[NDArray[np.bool_]]:
    """Which places each sound holds: two sounds of one part of the beat never sound at once."""
    held = [fit.held.copy() for fit in fits]
    for one, wave in enumerate(waves):
        for other in range(one):
            if waves[other].sound.part_of_beat != wave.sound.part_of_beat:
                continue
            near = np.abs(fits[one].at[:, None] - fits[other].at) < 2 * SEARCH + RATE_HZ * ON_COMB_S
            for mine, yours in zip(*np.nonzero(near), strict=True):
                mine_wins = fits[one].like[mine] > fits[other].like[yours]
                held[one][mine] &= mine_wins
                held[other][yours] &= not mine_wins
    return held


def _fitted_again(comb: Comb, beats_s: Floats) -> Comb:
    """The comb through the beats heard last."""
    on_comb = beats_s[np.abs(comb.off_s(beats_s)) < ON_COMB_S]
    beat = np.round((on_comb - comb.start_s) / comb.period_s)
    if len(on_comb) < 4 or np.ptp(beat) < 3:
        return comb
    period, start = np.polyfit(beat, on_comb, 1)
    return Comb(float(start), float(period))


def _subtract(out: Samples, wave: Floats, at: Floats, gain: Floats) -> None:
    """Take a wave out of a recording, in place, at some samples, fractions included."""
    if len(at) == 0:
        return
    whole = np.floor(at).astype(np.intp)
    spectrum = np.fft.rfft(wave, N_FFT)
    moved = np.fft.irfft(_turned(spectrum[None, :], at - whole), N_FFT) * gain[:, None]
    for place, each in zip(whole - LEAD, moved, strict=True):
        first, last = max(0, place), min(len(out), place + N_FFT)
        if last > first:
            out[first:last] -= each[first - place : last - place].astype(np.float32)
