"""What else the microphone hears: a click, drums, people talking, fingers squeaking.

Each function takes a `Recording` and a random generator and returns another; the times of what was
added are in its facts.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
from scipy.signal import butter, lfilter, sosfilt

from takes.attack import RATE_HZ, Samples
from takes.material import Rng
from takes.recording import Recording, placed
from takes.sources import drum_kit, varispeed

KICK, SNARE, HAT, WOOD_BLOCK, SIDE_STICK = 36, 38, 42, 76, 37
ORCHESTRA, ORCHESTRA_HAT = 48, 28
"""In the orchestra kit timpani lie on the keys of the hats, and its pedal hat on this one (General
MIDI Level 2, percussion sets, from memory; `survey` measures the hat of every kit)."""
INSTEAD = {
    KICK: (35, 36, 41, 43, 45, 47, 61, 64, 66),
    SNARE: (37, 38, 39, 48, 50, 60, 62, 65),
    HAT: (42, 44, 46, 51, 53, 54, 56, 69, 70, 75),
}
"""Percussion that may be struck in place of each, by its General MIDI key: none that is a kick or a
snare of the report split (key 40 of FluidR3's first kit is the snare of its jazz kit)."""
LOUDEST = {KICK: (0.5, 1.0), SNARE: (0.4, 1.0), HAT: (0.1, 0.5)}
MADE_SHARE = 0.35
FULL_VELOCITY = 108
FORMANTS_HZ = ((700, 1200), (300, 2300), (500, 900), (450, 1700))


@cache
def kit_sound(name: str, piece: int, velocity: int) -> Samples:
    """One stroke of a sampled drum kit, by its font and program (`fluid-24`)."""
    font, _, program = name.partition("-")
    key = ORCHESTRA_HAT if (int(program), piece) == (ORCHESTRA, HAT) else piece
    return drum_kit(font, int(program)).raw(key, velocity)[: 2 * RATE_HZ]


def at_level(samples: Samples, peak: float) -> Samples:
    """Scaled to a largest sample of `peak`."""
    gain = peak / float(np.abs(samples).max())
    return gain * samples


def click_sound(which: int, *, accented: bool) -> Samples:
    """A tick: a sine burst, a filtered tick of noise, a wood block or a side stick."""
    n_samples = round(0.06 * RATE_HZ)
    time_s = np.arange(n_samples) / RATE_HZ
    if which == 0:
        return np.sin(2 * np.pi * (1500 if accented else 1000) * time_s) * np.exp(-time_s / 0.012)
    if which == 1:
        noise = np.random.default_rng(7).normal(0, 1, n_samples) * np.exp(-time_s / 0.004)
        band = (3000, 7000) if accented else (2000, 5000)
        tick: Samples = sosfilt(butter(2, band, "bandpass", fs=RATE_HZ, output="sos"), noise)
        return tick
    piece = WOOD_BLOCK + (0 if accented else 1) if which == 2 else SIDE_STICK
    return kit_sound("fluid-0", piece, 110 if accented else 90)


def with_click(recording: Recording, rng: Rng) -> Recording:
    """A click leaks in on every beat, from a bar before the Part to its end."""
    which = int(rng.integers(4))
    loud = recording.level * 10 ** (rng.uniform(-14, 6) / 20) * 3
    strokes = [
        (
            at_s,
            at_level(
                click_sound(which, accented=k % recording.beats_a_bar == 0),
                loud if k % recording.beats_a_bar == 0 else 0.7 * loud,
            ),
        )
        for k, at_s in enumerate(recording.beats_s)
    ]
    leak = placed(strokes, len(recording.samples))
    facts = {**recording.facts, "clicks_s": [round(s, 6) for s in recording.beats_s]}
    return replace(recording, samples=recording.samples + leak, facts=facts)


def with_tuned_drums(recording: Recording, rng: Rng) -> Recording:
    """As `with_drums`, the kit's heads tighter or slacker: played at another speed, each piece."""
    speeds = {piece: 2 ** float(rng.uniform(-1, 0.7)) for piece in (KICK, SNARE, HAT)}
    kit = _one_of(recording.kits, rng)
    return _along(
        recording,
        rng,
        kit,
        lambda piece, loud: varispeed(kit_sound(kit, piece, loud), speeds[piece]),
    )


def with_other_drums(recording: Recording, rng: Rng) -> Recording:
    """As `with_drums`, each piece drawn: any percussion of any kit at any speed, or a made drum."""
    pieces = {piece: _drawn(piece, recording.kits, rng) for piece in (KICK, SNARE, HAT)}
    return _along(
        recording, rng, "drawn", lambda piece, loud: (loud / FULL_VELOCITY) ** 1.6 * pieces[piece]
    )


def _drawn(piece: int, kits: tuple[str, ...], rng: Rng) -> Samples:
    loud = float(rng.uniform(*LOUDEST[piece]))
    if piece != HAT and rng.uniform() < MADE_SHARE:
        return at_level(made_drum(rng, noisy=piece == SNARE), loud)
    while True:
        kit = _one_of(kits, rng)
        key = INSTEAD[piece][int(rng.integers(len(INSTEAD[piece])))]
        sound = kit_sound(kit, key, FULL_VELOCITY)
        if np.abs(sound).max() > 0:  # not every kit has every piece
            return at_level(varispeed(sound, 2 ** float(rng.uniform(-1, 0.7))), loud)


def made_drum(rng: Rng, *, noisy: bool) -> Samples:
    """A head that rings at a falling pitch, and the noise of the stroke."""
    time_s = np.arange(RATE_HZ) / RATE_HZ
    lowest_hz = rng.uniform(110, 260) if noisy else rng.uniform(38, 120)
    hz = lowest_hz * (1 + rng.uniform(0, 3) * np.exp(-time_s / rng.uniform(0.005, 0.04)))
    head = np.sin(2 * np.pi * np.cumsum(hz) / RATE_HZ) * np.exp(-time_s / rng.uniform(0.03, 0.4))
    corners_hz = np.sort(np.exp(rng.uniform(np.log(150), np.log(15_000), 2))) * (0.8, 1.25)
    band = butter(1, corners_hz, "bandpass", fs=RATE_HZ, output="sos")
    hiss = sosfilt(band, rng.normal(0, 1, RATE_HZ)) * np.exp(-time_s / rng.uniform(0.003, 0.12))
    hiss *= rng.uniform(0.5, 3) if noisy else rng.uniform(0, 0.6)
    made: Samples = head + hiss / np.abs(hiss).max()
    return made


def with_drums(recording: Recording, rng: Rng) -> Recording:
    """A sampled kit plays along from the Part's start, a few milliseconds loose, and leaks in."""
    kit = _one_of(recording.kits, rng)
    return _along(recording, rng, kit, lambda piece, loud: kit_sound(kit, piece, loud))


def _one_of(kits: tuple[str, ...], rng: Rng) -> str:
    return kits[int(rng.integers(len(kits)))]


def _along(
    recording: Recording, rng: Rng, kit: str, struck: Callable[[int, int], Samples]
) -> Recording:
    """Kick, snare and hat play along; `struck` sounds one of them at a velocity."""
    n_bar = recording.beats_a_bar
    beat_s = recording.beats_s[1] - recording.beats_s[0]
    strokes: list[tuple[float, int]] = []
    for k, at_s in enumerate(recording.beats_s[n_bar:]):
        strokes += [(at_s, HAT), (at_s + beat_s / 2, HAT)]
        strokes.append((at_s, SNARE if k % 2 else KICK))
        if k % n_bar == n_bar - 2 and rng.uniform() < 0.5:
            strokes.append((at_s + beat_s / 2, KICK))
    loose = [(at_s + float(rng.normal(0, 0.004)), piece) for at_s, piece in strokes]
    sounds = [(s, struck(p, 6 * int(rng.integers(12, FULL_VELOCITY // 6 + 1)))) for s, p in loose]
    leak = placed(sounds, len(recording.samples))
    loud = recording.level * 10 ** (rng.uniform(-18, -4) / 20)
    leak = leak * loud / np.sqrt(np.mean(leak**2))
    heard = [[round(s, 6), p] for s, p in sorted(loose)]
    return replace(
        recording,
        samples=recording.samples + leak,
        facts={**recording.facts, "drum_kit": kit, "drums_s_and_midi": heard},
    )


def babble(length_s: float, rng: Rng) -> Samples:
    """Something like a person talking: syllables of a voiced buzz through moving formants."""
    n_samples = round(length_s * RATE_HZ)
    out = np.zeros(n_samples)
    at = 0
    pitch_hz = rng.uniform(95, 220)
    while at < n_samples:
        n_syllable = min(round(rng.uniform(0.1, 0.28) * RATE_HZ), n_samples - at)
        glide = pitch_hz * (1 + 0.1 * rng.normal() * np.linspace(0, 1, n_syllable))
        buzz = np.diff(np.floor(np.cumsum(glide) / RATE_HZ), prepend=0.0)
        source = buzz + 0.03 * rng.normal(0, 1, n_syllable)
        voice = np.zeros(n_syllable)
        for formant_hz in FORMANTS_HZ[int(rng.integers(len(FORMANTS_HZ)))]:
            pole = 0.985 * np.exp(2j * np.pi * formant_hz / RATE_HZ)
            voice += lfilter([1], [1, -2 * pole.real, abs(pole) ** 2], source)
        out[at : at + n_syllable] = voice * np.hanning(n_syllable)
        at += n_syllable + round(rng.exponential(0.08) * RATE_HZ)
    return out


def with_talking(recording: Recording, rng: Rng) -> Recording:
    """Someone talks before the Part begins and after it has ended."""
    until_s = recording.start_s - rng.uniform(0.5, 0.9)
    from_s = recording.beats_s[-1] + 2 * (recording.beats_s[1] - recording.beats_s[0])
    end_s = from_s + rng.uniform(1.5, 3.5)
    loud = recording.level * 10 ** (rng.uniform(-6, 6) / 20)
    samples = np.pad(
        recording.samples, (0, max(0, round(end_s * RATE_HZ) - len(recording.samples)))
    )
    words = []
    for begin_s, finish_s in ((0.1, until_s), (from_s, end_s)):
        talk = babble(finish_s - begin_s, rng)
        words.append((begin_s, talk * loud / np.sqrt(np.mean(talk**2))))
    spans = [[round(b, 3), round(b + len(w) / RATE_HZ, 3)] for b, w in words]
    return replace(
        recording,
        samples=samples + placed(words, len(samples)),
        facts={**recording.facts, "talking_s": spans},
    )


def with_squeaks(recording: Recording, rng: Rng) -> Recording:
    """Fingers squeak along a wound string here and there: gliding noise without a pitch."""
    squeaks = []
    for _ in range(int(rng.integers(3, 9))):
        at_s = float(rng.uniform(recording.start_s, recording.beats_s[-1]))
        n_samples = round(rng.uniform(0.04, 0.14) * RATE_HZ)
        centre_hz = float(rng.uniform(900, 2600))
        band = butter(2, (0.7 * centre_hz, 1.4 * centre_hz), "bandpass", fs=RATE_HZ, output="sos")
        squeak = sosfilt(band, rng.normal(0, 1, n_samples)) * np.hanning(n_samples) ** 0.7
        peak = recording.level * 10 ** (rng.uniform(-16, -4) / 20)
        squeaks.append((at_s, at_level(squeak, peak)))
    facts = {**recording.facts, "squeaks_s": sorted(round(at_s, 4) for at_s, _ in squeaks)}
    noise = placed(squeaks, len(recording.samples))
    return replace(recording, samples=recording.samples + noise, facts=facts)
