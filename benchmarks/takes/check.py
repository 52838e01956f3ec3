"""Whether the truth is true: looks at written takes with an eye that had no part in making them.

Onset: the place of the largest 12 ms / 12 ms log-energy ratio above 1 kHz within 40 ms of the
stated onset, a definition unlike the one in `attack`; below 1 kHz the ratio follows the single
periods of a low string, and one note in ten is then seen a whole period off. Pitch: the harmonic
sum of `attack` on the mix itself, for notes left alone long enough. Level: every note against the
take's median.

A note that is not plucked has no such rise to go by: it begins where those of its harmonics that
are none of the note before have half the amplitude they will have (80 ms Hann windows, centred). A
ghost note must begin with a rise and have died 70 ms later. Every asked note must lie where its
string and fret say.
"""

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile as sf
from scipy.signal import butter, resample_poly, sosfilt

from takes.attack import RATE_HZ, Samples, midi_to_hz, tuning_cents
from takes.spelling import FIVE_STRING, FOUR_STRING

HALF_WINDOW_S = 0.012
LOWEST_HZ = 1000
SEARCH_S = 0.04
LEAST_PITCH_S = 0.22
CHANGE_WINDOW_S, CHANGE_SEARCH_S, SETTLED_S = 0.08, 0.06, (0.06, 0.1)
APART_HZ, UP_TO_HZ, LEAST_OWN = 25.0, 2500.0, 4
PLUCKED = "plucked"
GHOST_DEAD_S = (0.07, 0.1)


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of one note: errors of the stated onset and pitch, and its level."""

    take: str
    place: int
    onset_ms: float | None
    cents: float | None
    level_db: float
    rise: float
    how: str

    @property
    def is_plucked(self) -> bool:
        """True but for what the left hand did alone."""
        return self.how == PLUCKED


def rise_curve(sound: Samples) -> Samples:
    """Log ratio of the energy in the 12 ms after each sample to that in the 12 ms before."""
    high_pass = butter(2, LOWEST_HZ, "highpass", fs=RATE_HZ, output="sos")
    energy = np.cumsum(np.concatenate(([0.0], sosfilt(high_pass, sound) ** 2)))
    n = round(HALF_WINDOW_S * RATE_HZ)
    sums = energy[n:] - energy[:-n]
    floor = 1e-3 * np.percentile(sums, 90)
    ratio = np.log((sums[n:] + floor) / (sums[:-n] + floor))
    return np.concatenate((np.zeros(n), ratio, np.zeros(n)))


def seen_in(flac: Path) -> list[Seen]:
    """Check every played note of one take."""
    truth = json.loads(flac.with_suffix(".json").read_text(encoding="utf-8"))
    samples, rate_hz = sf.read(flac, always_2d=True)
    sound = resample_poly(samples[:, 0], RATE_HZ, rate_hz)
    curve = rise_curve(sound)
    played = truth["played"]
    found = []
    for k, note in enumerate(played):
        centre = round(note["onset_s"] * RATE_HZ)
        reach = round(SEARCH_S * RATE_HZ)
        begin = max(0, centre - reach)
        top = begin + int(np.argmax(curve[begin : centre + reach]))
        until = min([note["offset_s"]] + [n["onset_s"] for n in played[k + 1 : k + 2]])
        start_s = note["onset_s"] + 0.1
        cents = None
        if until - start_s > LEAST_PITCH_S:
            cents = (
                tuning_cents(
                    sound, note["midi"], start_s=start_s, length_s=min(0.6, until - start_s)
                )
                - note["cents"]
            )
        level_db = level(sound, note["onset_s"], (0.0, 0.08))
        how = note.get("articulation", PLUCKED)
        onset_ms: float | None = 1000 * (top - centre) / RATE_HZ
        if how != PLUCKED:
            onset_ms = pitch_change_ms(sound, played[k - 1], note, until)
        rise = float(curve[begin : centre + reach].max())
        found.append(Seen(flac.stem, k, onset_ms, cents, level_db, rise, how))
    return found


def level(sound: Samples, at_s: float, span_s: tuple[float, float]) -> float:
    """Level in dB of what sounds from and until so long after a time."""
    first, last = (round((at_s + each) * RATE_HZ) for each in span_s)
    return 10 * float(np.log10(np.mean(sound[first:last] ** 2) + 1e-12))


def pitch_change_ms(
    sound: Samples, before: dict[str, float], note: dict[str, float], until_s: float
) -> float | None:
    """Where the pitch of a note that is not plucked begins, against its stated onset."""
    if until_s - note["onset_s"] < SETTLED_S[1] + CHANGE_WINDOW_S / 2:
        return None
    old, new = (
        midi_to_hz(each["midi"] + each["cents"] / 100) * np.arange(1, 60) for each in (before, note)
    )
    own_hz = new[(np.abs(new[:, None] - old).min(axis=1) > APART_HZ) & (new < UP_TO_HZ)]
    if len(own_hz) < LEAST_OWN:
        return None
    size = round(CHANGE_WINDOW_S * RATE_HZ)
    time_s = (np.arange(size) - size / 2) / RATE_HZ
    waves = np.hanning(size)[:, None] * np.exp(-2j * np.pi * time_s[:, None] * own_hz)
    places_s = np.arange(-CHANGE_SEARCH_S, SETTLED_S[1], 0.001)
    first = np.round((note["onset_s"] + places_s) * RATE_HZ).astype(int) - size // 2
    amplitude = np.abs(sound[first[:, None] + np.arange(size)] @ waves)
    total = np.sqrt((amplitude**2).sum(axis=1))
    leaked, settled = total[0], total[places_s > SETTLED_S[0]].mean()
    if settled < 2 * leaked:
        return None
    return float(1000 * places_s[int(np.argmax(total > 0.5 * (leaked + settled)))])


def misplaced(flac: Path) -> int:
    """How many asked notes of a take are not where their string and fret say."""
    truth = json.loads(flac.with_suffix(".json").read_text(encoding="utf-8"))
    usual = FIVE_STRING if truth["strings"] == 5 else FOUR_STRING
    strings = truth["asked"].get("tuning", usual)
    return sum(
        strings[len(strings) - note["string"]] + note["fret"] != note["midi"]
        for note in truth["asked"]["notes"]
    )


def ghosts_in(flac: Path) -> list[tuple[float, float]]:
    """For each ghost note of a take its rise, and how far below a usual note it has died, in dB."""
    truth = json.loads(flac.with_suffix(".json").read_text(encoding="utf-8"))
    samples, rate_hz = sf.read(flac, always_2d=True)
    sound = resample_poly(samples[:, 0], RATE_HZ, rate_hz)
    curve = rise_curve(sound)
    usual_db = np.median([level(sound, note["onset_s"], (0.0, 0.08)) for note in truth["played"]])
    reach = round(SEARCH_S / 2 * RATE_HZ)
    found = []
    for at_s in truth.get("ghosts_s", []):
        centre = round(at_s * RATE_HZ)
        rise = float(curve[centre - reach : centre + reach].max())
        found.append((rise, float(usual_db - level(sound, at_s, GHOST_DEAD_S))))
    return found


def print_hands(seen: Sequence[Seen], ghosts: Sequence[tuple[float, float]]) -> None:
    """What was seen of notes without a pluck, and of ghost notes."""
    usual = np.median([note.rise for note in seen if note.is_plucked])
    for how in sorted({note.how for note in seen} - {PLUCKED}):
        those = [note for note in seen if note.how == how]
        late = np.array([note.onset_ms for note in those if note.onset_ms is not None])
        print(
            f"{how} {len(those)}: pitch begins {np.median(late):+.1f} ms (median), "
            f"{np.percentile(np.abs(late), 90):.1f} off at 90 % of {len(late)}; "
            f"rise {np.median([note.rise for note in those]):.2f}, of plucked ones {usual:.2f}"
        )
    if ghosts:
        rises_of, dead_db = np.array(ghosts).T
        print(
            f"ghosts {len(ghosts)}: rise {np.median(rises_of):.2f}, least {rises_of.min():.2f}; "
            f"70 ms later {np.median(dead_db):.0f} dB below a note, least {dead_db.min():.0f}"
        )


def main(words: Sequence[str] | None = None) -> int:
    """Print, for each take in a folder, onset and pitch errors, and the worst notes."""
    folder = Path((words or sys.argv[1:])[0])
    everything: list[Seen] = []
    ghosts: list[tuple[float, float]] = []
    for flac in sorted(folder.glob("*.flac")):
        seen = seen_in(flac)
        everything += seen
        ghosts += ghosts_in(flac)
        if n_wrong := misplaced(flac):
            print(f"{flac.stem}: {n_wrong} notes are not where their string and fret say")
        onsets = np.array([note.onset_ms for note in seen if note.is_plucked])
        cents = np.array([note.cents for note in seen if note.cents is not None])
        levels = np.array([note.level_db for note in seen])
        pitch = f"{np.median(cents):+5.1f} worst {np.abs(cents).max():5.1f}" if len(cents) else "-"
        spread = levels - np.median(levels)
        print(
            f"{flac.stem:55s} {len(seen):3d} notes  onset {np.median(onsets):+5.1f} ms, "
            f"90 % {np.percentile(np.abs(onsets), 90):4.1f}, worst {np.abs(onsets).max():4.1f}  "
            f"cents {pitch}  level {spread.min():+5.1f} {spread.max():+5.1f} dB"
        )
    onsets = np.array([note.onset_ms for note in everything if note.is_plucked])
    cents = np.array([note.cents for note in everything if note.cents is not None])
    print(
        f"all {len(onsets)} plucked notes: onset median {np.median(onsets):+.2f} ms, "
        f"median |error| {np.median(np.abs(onsets)):.2f}, "
        f"90 % {np.percentile(np.abs(onsets), 90):.2f}; "
        f"{len(cents)} pitches: within 15 cents {np.mean(np.abs(cents) < 15):.4f}, "
        f"worst {np.abs(cents).max():.1f}"
    )
    print_hands(everything, ghosts)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
