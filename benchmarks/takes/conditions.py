"""How the recording was made: rooms, telephones, hum, clipping, codecs.

Each entry of `CONDITIONS` takes a `Recording` and a random generator and returns another. Several
are applied in the order in which they would happen to a sound: what else sounds, the room, the
circuit, the codec. What lies in the playing (`unchanged` here) is done where the Part is played,
in `corpus`.
"""

import io
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import soundfile as sf
from scipy.signal import butter, correlate, fftconvolve, istft, lfilter, sosfilt, stft

from takes.attack import RATE_HZ, Samples
from takes.bleed import (
    with_click,
    with_drums,
    with_other_drums,
    with_squeaks,
    with_talking,
    with_tuned_drums,
)
from takes.material import Rng
from takes.recording import Recording
from takes.walls import in_hall, in_kitchen

CODEC_BITS_S = 64000
CODEC_BLOCK_S = 1.0
MOST_CODEC_DELAY_S = 0.15
AGC_RATE_HZ = 1000
CLOCK_OFF = 1e-4
SUPPRESSED_TIMES, SUPPRESSED_LEAST, SUPPRESSED_SLOW, SUPPRESSED_BELOW_HZ = 3.0, 0.1, 0.6, 80.0


def in_room(recording: Recording, rng: Rng) -> Recording:
    """A room: direct sound, some early reflections, a diffuse tail dull and dying exponentially."""
    rt60_s, ratio_db = float(rng.uniform(0.25, 0.8)), float(rng.uniform(-2, 8))
    time_s = np.arange(round(rt60_s * RATE_HZ)) / RATE_HZ
    tail = np.zeros(len(time_s))
    for low_hz, high_hz, share in ((40, 300, 1.2), (300, 2000, 1.0), (2000, 9000, 0.6)):
        band = butter(2, (low_hz, high_hz), "bandpass", fs=RATE_HZ, output="sos")
        noise = sosfilt(band, rng.normal(0, 1, len(time_s)))
        tail += noise * 10 ** (-3 * time_s / (share * rt60_s))
    tail[: round(0.006 * RATE_HZ)] = 0
    for _ in range(8):
        tail[round(rng.uniform(0.002, 0.04) * RATE_HZ)] += rng.normal(0, 6)
    tail *= 10 ** (-ratio_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    wet = fftconvolve(recording.samples, tail)[: len(recording.samples)]
    facts = {**recording.facts, "rt60_s": round(rt60_s, 3), "direct_db": round(ratio_db, 1)}
    return replace(recording, samples=wet, facts=facts)


def gain_control(samples: Samples, rng: Rng) -> Samples:
    """Automatic gain: fast down, slow up, at most 18 dB up."""
    n_block = RATE_HZ // AGC_RATE_HZ
    blocks = np.abs(samples[: len(samples) // n_block * n_block]).reshape(-1, n_block).max(axis=1)
    attack, release = 1 - np.exp(-1 / 5), 1 - np.exp(-1 / rng.uniform(150, 500))
    held = np.empty(len(blocks))
    level = float(blocks.max())
    for k, peak in enumerate(blocks.tolist()):
        level += (attack if peak > level else release) * (peak - level)
        held[k] = level
    gain = np.minimum((0.5 / (held + 1e-4)) ** rng.uniform(0.4, 0.8), 8.0)
    place = (np.arange(len(samples)) - n_block / 2) / n_block
    out: Samples = samples * np.interp(place, np.arange(len(gain)), gain)
    return out


def by_phone(recording: Recording, rng: Rng) -> Recording:
    """A telephone on a chair: no fundamental, a narrow band, noise and automatic gain."""
    low_hz, high_hz = float(rng.uniform(150, 200)), float(rng.uniform(3400, 7000))
    high_pass = butter(2, low_hz, "highpass", fs=RATE_HZ, output="sos")
    low_pass = butter(4, high_hz, "lowpass", fs=RATE_HZ, output="sos")
    heard = sosfilt(low_pass, sosfilt(high_pass, recording.samples))
    heard = heard / np.abs(heard).max()
    heard = heard + rng.normal(0, 10 ** (rng.uniform(-62, -48) / 20), len(heard))
    facts = {**recording.facts, "band_hz": [round(low_hz), round(high_hz)]}
    return replace(recording, samples=gain_control(heard, rng), facts=facts)


def with_hum(recording: Recording, rng: Rng) -> Recording:
    """Mains hum at 50 or 60 Hz with its harmonics, a little off and steady."""
    mains_hz = float(rng.choice([50, 60])) * (1 + 0.001 * rng.normal())
    time_s = np.arange(len(recording.samples)) / RATE_HZ
    hum = np.zeros(len(time_s))
    for harmonic in (1, 2, 3, 4, 5, 7, 9):
        size = rng.uniform(0.3, 1.0) / harmonic
        hum += size * np.sin(2 * np.pi * (harmonic * mains_hz * time_s + rng.uniform()))
    level_db = float(rng.uniform(-32, -14))
    hum *= recording.level * 10 ** (level_db / 20) / np.sqrt(np.mean(hum**2))
    facts = {**recording.facts, "hum_hz": round(mains_hz, 3), "hum_db": round(level_db, 1)}
    return replace(recording, samples=recording.samples + hum, facts=facts)


def with_noise(recording: Recording, rng: Rng) -> Recording:
    """Noise that falls by about 3 dB an octave, 15 to 35 dB under the playing."""
    white = rng.normal(0, 1, len(recording.samples) + RATE_HZ)
    # three poles and zeros that follow 1/f within half a decibel (P. Kellet's filter, from memory)
    pink = lfilter(
        [0.049922035, -0.095993537, 0.050612699, -0.004408786],
        [1, -2.494956002, 2.017265875, -0.522189400],
        white,
    )[RATE_HZ:]
    level_db = float(rng.uniform(-35, -15))
    pink *= recording.level * 10 ** (level_db / 20) / np.sqrt(np.mean(pink**2))
    facts = {**recording.facts, "noise_db": round(level_db, 1)}
    return replace(recording, samples=recording.samples + pink, facts=facts)


def clipped(recording: Recording, rng: Rng) -> Recording:
    """Too hot an input: 6 to 14 dB over full scale, cut off flat."""
    over_db = float(rng.uniform(6, 14))
    hot = recording.samples / np.abs(recording.samples).max() * 10 ** (over_db / 20)
    facts = {**recording.facts, "clipped_db": round(over_db, 1)}
    return replace(recording, samples=np.clip(hot, -1, 1), facts=facts)


def with_dropouts(recording: Recording, rng: Rng) -> Recording:
    """A few gaps of 5 to 40 ms, as a busy machine or a bad radio link makes."""
    samples = recording.samples.copy()
    gaps = []
    for _ in range(int(rng.integers(2, 7))):
        at_s = float(rng.uniform(recording.start_s, recording.beats_s[-1]))
        length_s = float(rng.uniform(0.005, 0.04))
        samples[round(at_s * RATE_HZ) : round((at_s + length_s) * RATE_HZ)] = 0
        gaps.append([round(at_s, 4), round(length_s, 4)])
    facts = {**recording.facts, "dropouts_s": sorted(gaps)}
    return replace(recording, samples=samples, facts=facts)


def clock_drifting(recording: Recording, rng: Rng) -> Recording:
    """A recorder whose clock is 100 parts in a million off: every time in the file is stretched."""
    ratio = 1 + float(rng.choice([-1, 1])) * CLOCK_OFF
    place = np.arange(int(len(recording.samples) / ratio)) * ratio
    samples = np.interp(place, np.arange(len(recording.samples)), recording.samples)
    return replace(recording, samples=samples, facts={**recording.facts, "clock_ratio": ratio})


def suppressed(recording: Recording, rng: Rng) -> Recording:
    """Noise suppression as telephones do: in every band what is near the noise is turned down."""
    noisy = with_noise(recording, rng)
    frequency, _, spectrum = stft(noisy.samples, RATE_HZ, nperseg=1024, noverlap=768)
    power = np.abs(spectrum) ** 2
    floor = np.percentile(power, 15, axis=1, keepdims=True)
    gain = np.clip(1 - SUPPRESSED_TIMES * floor / np.maximum(power, 1e-20), SUPPRESSED_LEAST, 1)
    gain = lfilter([1 - SUPPRESSED_SLOW], [1, -SUPPRESSED_SLOW], gain, axis=1)
    gain[frequency < SUPPRESSED_BELOW_HZ] *= 0.3
    _, samples = istft(spectrum * gain, RATE_HZ, nperseg=1024, noverlap=768)
    kept = np.pad(samples, (0, len(noisy.samples)))[: len(noisy.samples)]
    return replace(noisy, samples=kept)


def buzzing(recording: Recording, rng: Rng) -> Recording:
    """A string that touches a fret: its loud half-waves are bent and their edges rattle."""
    level = recording.level * float(rng.uniform(0.8, 1.6))
    bent = np.where(recording.samples > level, level + 0.3 * (recording.samples - level), 0)
    bent = np.where(recording.samples > level, bent - recording.samples, 0)
    high = butter(2, 700, "highpass", fs=RATE_HZ, output="sos")
    rattle = float(rng.uniform(0.5, 2.0))
    samples = recording.samples + bent + rattle * sosfilt(high, bent)
    return replace(recording, samples=samples, facts={**recording.facts, "buzz": round(rattle, 2)})


def coded(recording: Recording, rng: Rng) -> Recording:
    """Through a lossy codec at about 64 kbit/s and back, its delay measured and taken out."""
    kind, subtype = (("MP3", "MPEG_LAYER_III"), ("OGG", "VORBIS"))[int(rng.integers(2))]
    samples = recording.samples / max(1.0, float(np.abs(recording.samples).max()))
    store = io.BytesIO()
    setting = (
        {"bitrate_mode": "CONSTANT", "compression_level": 0.875}
        if kind == "MP3"
        else {"compression_level": 0.6}
    )
    with sf.SoundFile(store, "w", RATE_HZ, 1, subtype, format=kind, **setting) as file:
        # one call for a whole minute of OGG crashes libsndfile 1.2
        for start in range(0, len(samples), round(CODEC_BLOCK_S * RATE_HZ)):
            file.write(samples[start : start + round(CODEC_BLOCK_S * RATE_HZ)])
    n_bytes = store.tell()
    store.seek(0)
    back, _ = sf.read(store)
    reach = round(MOST_CODEC_DELAY_S * RATE_HZ)
    match = correlate(np.pad(back, (0, reach)), samples, "full", "fft")
    delay = int(np.argmax(match[len(samples) - 1 : len(samples) - 1 + reach]))
    aligned = np.pad(back[delay:], (0, len(samples)))[: len(samples)]
    kbit_s = 8e-3 * n_bytes * RATE_HZ / len(samples)
    facts = {**recording.facts, "codec": kind, "kbit_s": round(kbit_s)}
    return replace(recording, samples=aligned, facts=facts)


def unchanged(recording: Recording, rng: Rng) -> Recording:
    """Nothing more to do: the condition lies in how the Part was played."""
    return recording


CONDITIONS: dict[str, Callable[[Recording, Rng], Recording]] = {
    "detuned": unchanged,
    "late-start": unchanged,
    "other-tempo": unchanged,
    "stops-halfway": unchanged,
    "false-start": unchanged,
    "buzz": buzzing,
    "squeaks": with_squeaks,
    "click": with_click,
    "drums": with_drums,
    "talking": with_talking,
    "room": in_room,
    "noise": with_noise,
    "hum": with_hum,
    "suppressed": suppressed,
    "phone": by_phone,
    "dropouts": with_dropouts,
    "clipped": clipped,
    "lossy": coded,
    "clock-drift": clock_drifting,
}
LATER: dict[str, Callable[[Recording, Rng], Recording]] = {
    "hammered": unchanged,
    "slides": unchanged,
    "ghosts": unchanged,
    "six-string": unchanged,
    "drop": unchanged,
    "kitchen": in_kitchen,
    "hall": in_hall,
    "tuned-drums": with_tuned_drums,
    "other-drums": with_other_drums,
}
"""Conditions that came later: apart, so that what is dealt from the others stays as it was."""
ORDER = {
    **{name: CONDITIONS[name] for name in list(CONDITIONS)[:10]},
    **LATER,
    **{name: CONDITIONS[name] for name in list(CONDITIONS)[10:]},
}
"""All, in the order in which they happen to a sound."""


def in_order(names: Sequence[str]) -> list[str]:
    """Conditions in the order in which they happen to a sound."""
    return [name for name in ORDER if name in names]


def under(recording: Recording, names: Sequence[str], rng: Rng) -> Recording:
    """The recording under these conditions, in their order."""
    for name in in_order(names):
        recording = ORDER[name](recording, rng)
    return recording
