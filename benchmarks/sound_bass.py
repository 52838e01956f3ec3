"""Our plucked string beside sampled basses.

For every string from low B to G, open and at frets 5 and 12: the levels of the first ten
harmonics against their sum, 0.1, 0.5, 1 and 2 s after the attack; the fall of the whole in dB a
second; the time from 10 to 90 % of the attack's energy. Ours counts as one of them where it lies
within the spread of the sampled ones, widened by `SLACK_DB` (a listener would not notice).

    python benchmarks/sound_bass.py [--plots FOLDER]

The sampled basses are those the takes are made from (`benchmarks/takes/README.md`): five electric
basses of three independent makers. The plots in docs/sound are made with `--plots docs/sound`.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))

from takes.attack import RATE_HZ
from takes.sources import sound
from undersong.sound.bass import Bass
from undersong.sound.schedule import NoteEvent
from undersong.sound.strings import FINGERS, PICK
from undersong.theory.part import Note
from undersong.theory.pitch import plain_pitch

Floats = NDArray[np.float64]

OUT = Path(__file__).parent / "out"
SAMPLED = ("fluid-finger", "fluid-pick", "freepats-finger", "freepats-pick", "karoryfer-electric")
OURS = {"our fingers": FINGERS, "our pick": PICK}
STRINGS = {"B": 23, "E": 28, "A": 33, "D": 38, "G": 43}
FRETS = (0, 5, 12)
HARMONICS = 10
TIMES_S = (0.1, 0.5, 1.0, 2.0)
WINDOW_S = 0.2
SLACK_DB = 1.5
FLOOR_DB = -50.0  # levels below this against the sum are not heard, and count as equal


@dataclass(frozen=True, slots=True)
class Measured:
    """One note: harmonic levels in dB, shape (times, harmonics); fall; attack."""

    levels_db: Floats
    fall_db_s: float
    attack_ms: float


def measured(samples: Floats, midi: int) -> Measured:
    """Measure a note that starts at the first sample."""
    f1_hz = 440 * 2 ** ((midi - 69) / 12)
    rows = [_harmonics_db(samples, f1_hz, at_s) for at_s in TIMES_S]
    sums = [10 * np.log10((10 ** (row / 10)).sum()) for row in rows]
    levels = np.array([row - total for row, total in zip(rows, sums, strict=True)])
    fall = float((sums[0] - sums[2]) / (TIMES_S[2] - TIMES_S[0]))
    return Measured(np.maximum(levels, FLOOR_DB), fall, _attack_ms(samples, f1_hz))


def _harmonics_db(samples: Floats, f1_hz: float, at_s: float) -> Floats:
    n_window = round(max(WINDOW_S, 6 / f1_hz) * RATE_HZ)
    start = round(at_s * RATE_HZ) - n_window // 4
    piece = samples[max(0, start) : max(0, start) + n_window]
    n_bins = 1 << 18
    spectrum = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), n_bins))
    levels = []
    for count in range(1, HARMONICS + 1):
        low, high = count - 0.4, count + 0.45 + 0.001 * count**3
        edges = [round(edge * f1_hz * n_bins / RATE_HZ) for edge in (low, high)]
        levels.append(20 * np.log10(spectrum[edges[0] : edges[1]].max() + 1e-9))
    return np.array(levels)


def _attack_ms(samples: Floats, f1_hz: float) -> float:
    """From a tenth to nine tenths of the energy's highest value, smoothed over one period."""
    early = samples[: round(0.25 * RATE_HZ)] ** 2
    n_period = round(RATE_HZ / f1_hz)
    padded = np.pad(early, (n_period, 0))
    energy = np.convolve(padded, np.ones(n_period), mode="valid")
    top = float(energy.max())
    return float((np.argmax(energy > 0.9 * top) - np.argmax(energy > 0.1 * top)) / RATE_HZ * 1000)


def sampled_note(name: str, midi: int) -> Floats:
    """A note of a sampled bass from its attack on."""
    strike = sound(name, OUT / "sources").strike(midi, 90)
    samples: Floats = np.asarray(strike.samples[strike.attack :], dtype=np.float64)
    return samples


def our_note(name: str, midi: int, open_midi: int) -> Floats:
    """The same note of our string."""
    bass = Bass(RATE_HZ, sound=OURS[name], tuning=(open_midi,))
    note = Note(Fraction(0), Fraction(1), plain_pitch(midi), string=1)
    return bass.note(NoteEvent(0.0, 4.0, note)).astype(np.float64)


@dataclass(frozen=True, slots=True)
class Place:
    """One place on the neck, measured on all basses."""

    string: str
    fret: int
    sampled: dict[str, Measured]
    ours: dict[str, Measured]


def place(string: str, fret: int) -> Place:
    """Measure every bass at one place."""
    midi = STRINGS[string] + fret
    return Place(
        string,
        fret,
        {name: measured(sampled_note(name, midi), midi) for name in SAMPLED},
        {name: measured(our_note(name, midi, STRINGS[string]), midi) for name in OURS},
    )


def outside_db(ours: Measured, sampled: list[Measured]) -> Floats:
    """How far each of our levels lies outside the sampled ones, shape (times, harmonics)."""
    every = np.array([each.levels_db for each in sampled])
    below, above = every.min(axis=0) - SLACK_DB, every.max(axis=0) + SLACK_DB
    outside: Floats = np.maximum(0, np.maximum(below - ours.levels_db, ours.levels_db - above))
    return outside


def row_of(at: Place, name: str) -> tuple[str, int, int]:
    """One line of the table, and how many of its figures are inside."""
    ours, sampled = at.ours[name], list(at.sampled.values())
    outside = outside_db(ours, sampled)
    inside = int((outside == 0).sum())
    falls = [each.fall_db_s for each in sampled]
    attacks = [each.attack_ms for each in sampled]
    fall_in = min(falls) <= ours.fall_db_s <= max(falls)
    attack_in = min(attacks) <= ours.attack_ms <= max(attacks)
    text = (
        f"{at.string:>6} {at.fret:>4} {name:<12} {inside:>3}/{outside.size} "
        f"{outside.max():>6.1f}   {ours.fall_db_s:5.1f} ({min(falls):5.1f} to {max(falls):5.1f})"
        f"{' ' if fall_in else '*'}  {ours.attack_ms:5.1f} ({min(attacks):4.1f} to "
        f"{max(attacks):5.1f}){' ' if attack_in else '*'}"
    )
    return text, inside + fall_in + attack_in, outside.size + 2


def plot(string: str, places: list[Place], folder: Path) -> None:
    """Harmonic levels over time for one string, ours over the spread of the sampled ones."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(
        len(places), len(TIMES_S), figsize=(13, 2.6 * len(places)), sharex=True, sharey=True
    )
    count = np.arange(1, HARMONICS + 1)
    for row, at in zip(axes, places, strict=True):
        for column, axis in enumerate(row):
            every = np.array([each.levels_db[column] for each in at.sampled.values()])
            axis.fill_between(count, every.min(axis=0), every.max(axis=0), color="0.85")
            for levels in every:
                axis.plot(count, levels, color="0.6", linewidth=0.8)
            for (name, ours), style in zip(at.ours.items(), ("k-o", "k--s"), strict=True):
                axis.plot(count, ours.levels_db[column], style, markersize=3, label=name)
            axis.set_title(f"{string} string, fret {at.fret}, {TIMES_S[column]:g} s", fontsize=9)
        row[0].set_ylabel("dB of the sum")
    for axis in axes[-1]:
        axis.set_xlabel("harmonic")
    axes[0][0].legend(fontsize=8)
    folder.mkdir(parents=True, exist_ok=True)
    figure.tight_layout()
    path = folder / f"bass-{string}.png"
    figure.savefig(path, dpi=60)
    plt.close(figure)
    Image.open(path).convert("L").quantize(16).save(path, optimize=True)  # it is all grey


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--plots", type=Path, metavar="FOLDER", help="a picture for each string")
    options = parser.parse_args()
    print(
        "string fret bass         levels inside  worst dB  fall dB/s (sampled)     "
        "attack ms (sampled)   * outside"
    )
    inside = total = 0
    for string in STRINGS:
        places = [place(string, fret) for fret in FRETS]
        for at in places:
            for name in OURS:
                text, good, of = row_of(at, name)
                print(text)
                inside, total = inside + good, total + of
        if options.plots:
            plot(string, places, options.plots)
    print(f"inside the spread of {len(SAMPLED)} sampled basses: {inside} of {total} figures")


if __name__ == "__main__":
    main()
