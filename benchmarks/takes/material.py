"""What is asked: exercises and lines as Parts, all invented here.

Conventions
-----------
A generator takes a random generator and a number of bars and returns `Asked` notes in order.
Times are exact fractions of a whole note. The kinds follow the trade handbook, section 6 (X1 to
X6, X10, X13, X17, X18, X21, X22) and 7.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import cycle, islice
from typing import Any

import numpy as np

from takes.spelling import MAJOR_KEYS, lowest_tonic, neck_places, spelled

Rng = np.random.Generator
Part = dict[str, Any]

QUARTER, EIGHTH, SIXTEENTH = Fraction(1, 4), Fraction(1, 8), Fraction(1, 16)
PROGRESSIONS = ((1, 5, 6, 4), (1, 4, 6, 5), (6, 4, 1, 5), (4, 1, 5, 6), (1, 3, 4, 5), (2, 5, 1, 4))
CHORD_QUALITY = {1: "", 2: "-", 3: "-", 4: "", 5: "", 6: "-", 7: "dim"}


@dataclass(frozen=True, slots=True)
class Asked:
    """One asked note: scale step (1 the tonic, 8 its octave), place and length in whole notes."""

    step: int
    at: Fraction
    length: Fraction
    chord: int = 1
    raised: int = 0


def in_a_row(steps: Sequence[int], length: Fraction, *, at: Fraction = Fraction(0)) -> list[Asked]:
    """Notes of one length, one after another."""
    return [Asked(step, at + k * length, length) for k, step in enumerate(steps)]


def filled(steps: Sequence[int], length: Fraction, n_bars: int, rest: int) -> list[Asked]:
    """A row of steps, then `rest` note lengths of silence, repeated while whole rows fit."""
    row = (len(steps) + rest) * length
    turns = max(1, round(Fraction(n_bars) / row))
    return [note for k in range(turns) for note in in_a_row(steps, length, at=k * row)]


def octave_from(start: int) -> list[int]:
    """One octave of the key up and down from a scale step."""
    up = list(range(start, start + 8))
    return up + up[-2::-1]


def scale_quarters(rng: Rng, n_bars: int) -> list[Asked]:
    """One octave up and down in quarters (X1)."""
    return filled(octave_from(1), QUARTER, n_bars, 1)


def scale_eighths(rng: Rng, n_bars: int) -> list[Asked]:
    """One octave up and down in eighths (X1)."""
    return filled(octave_from(1), EIGHTH, n_bars, 1)


def scale_from_degree(rng: Rng, n_bars: int) -> list[Asked]:
    """An octave of the key from its 2, 4, 5 or 6, in eighths (X2)."""
    return filled(octave_from(int(rng.choice([2, 4, 5, 6]))), EIGHTH, n_bars, 1)


def thirds(rng: Rng, n_bars: int) -> list[Asked]:
    """The scale in thirds, up and down, in eighths (X3)."""
    steps = [s for k in range(1, 7) for s in (k, k + 2)] + [8]
    steps += [s for k in range(8, 2, -1) for s in (k, k - 2)] + [1]
    return filled(steps, EIGHTH, n_bars, 6)


def fours(rng: Rng, n_bars: int) -> list[Asked]:
    """Groups of four climbing the scale, in eighths (X4)."""
    return filled([k + j for k in range(1, 6) for j in range(4)], EIGHTH, n_bars, 4)


def arpeggios(rng: Rng, n_bars: int) -> list[Asked]:
    """Up and down the chords of 1, 4 and 5, in eighths (X5)."""
    notes = []
    for bar, root in enumerate(islice(cycle((1, 4, 5, 1)), n_bars)):
        notes += [
            Asked(root + s, bar + k * EIGHTH, EIGHTH, root)
            for k, s in enumerate((0, 2, 4, 7, 4, 2, 0))
        ]
    return notes


def progression(rng: Rng, n_bars: int) -> list[tuple[int, int]]:
    """(bar, chord) for each bar."""
    chords = PROGRESSIONS[int(rng.integers(len(PROGRESSIONS)))]
    return list(enumerate(islice(cycle(chords), n_bars)))


def by_bar(
    rng: Rng, n_bars: int, figure: Sequence[tuple[int, int, int]], unit: Fraction
) -> list[Asked]:
    """The same figure on each bar's chord: (place, length, steps above the root) in units."""
    return [
        Asked(chord + above, bar + place * unit, length * unit, chord)
        for bar, chord in progression(rng, n_bars)
        for place, length, above in figure
    ]


def long_roots(rng: Rng, n_bars: int) -> list[Asked]:
    """A whole-note root in each bar (X7, X17)."""
    return by_bar(rng, n_bars, [(0, 4, 0)], QUARTER)


def half_roots(rng: Rng, n_bars: int) -> list[Asked]:
    """Two half-note roots in each bar (X8)."""
    return by_bar(rng, n_bars, [(0, 2, 0), (2, 2, 0)], QUARTER)


def root_fifth_octave(rng: Rng, n_bars: int) -> list[Asked]:
    """Root, fifth, octave, fifth in quarters (X10)."""
    return by_bar(rng, n_bars, [(0, 1, 0), (1, 1, 4), (2, 1, 7), (3, 1, 4)], QUARTER)


def repeated_eighths(rng: Rng, n_bars: int) -> list[Asked]:
    """Eight eighths of each bar's root."""
    return by_bar(rng, n_bars, [(k, 1, 0) for k in range(8)], EIGHTH)


def one_pitch_eighths(rng: Rng, n_bars: int) -> list[Asked]:
    """Eighths of one pitch from start to end."""
    step = int(rng.choice([1, 4, 5]))
    return in_a_row([step] * (8 * n_bars), EIGHTH)


def sixteenth_bursts(rng: Rng, n_bars: int) -> list[Asked]:
    """Four sixteenths and a quarter, twice a bar."""
    bursts = [(0, 0, 0, 0, 2), (0, 1, 2, 3, 4), (4, 3, 2, 1, 0), (0, 0, 4, 4, 7)]
    notes = []
    for bar, chord in progression(rng, n_bars):
        for half in (0, 2):
            above = bursts[int(rng.integers(len(bursts)))]
            start = bar + half * QUARTER
            lengths = [SIXTEENTH] * 4 + [QUARTER]
            notes += [
                Asked(chord + above[k], start + k * SIXTEENTH, lengths[k], chord) for k in range(5)
            ]
    return notes


def syncopated(rng: Rng, n_bars: int) -> list[Asked]:
    """One off-beat figure on each bar's root (X20)."""
    figures = (
        [(0, 3, 0), (3, 1, 0), (4, 2, 4), (6, 2, 0)],
        [(0, 3, 0), (3, 3, 0), (6, 2, 4)],
        [(0, 1, 0), (1, 2, 0), (3, 2, 4), (5, 1, 4), (6, 2, 0)],
    )
    return by_bar(rng, n_bars, figures[int(rng.integers(len(figures)))], EIGHTH)


def pushes(rng: Rng, n_bars: int) -> list[Asked]:
    """Each second chord comes an eighth early and is held over the bar line."""
    notes: list[Asked] = []
    for bar, chord in progression(rng, n_bars):
        pushed, next_pushed = bar % 2 == 1, bar % 2 == 0 and bar + 1 < n_bars
        start = bar - EIGHTH if pushed else Fraction(bar)
        notes.append(Asked(chord, start, bar + 2 * QUARTER - start, chord))
        notes.append(Asked(chord, bar + 2 * QUARTER, QUARTER, chord))
        notes.append(Asked(chord + 4, bar + 3 * QUARTER, EIGHTH if next_pushed else QUARTER, chord))
    return notes


def chromatic_approach(rng: Rng, n_bars: int) -> list[Asked]:
    """Roots in quarters; the last one is a semitone from the next bar's root."""
    notes: list[Asked] = []
    bars = progression(rng, n_bars)
    for (bar, chord), (_, target) in zip(bars, bars[1:] + bars[:1], strict=True):
        notes += [Asked(chord, bar + k * QUARTER, QUARTER, chord) for k in range(3)]
        below = target not in (1, 4)
        step, raised = (target - 1, 1) if below else (target + 1, -1)
        notes.append(Asked(step, bar + 3 * QUARTER, QUARTER, chord, raised))
    return notes


def ballad(rng: Rng, n_bars: int) -> list[Asked]:
    """6/8: roots on 1 and 4, sometimes an eighth before."""
    figures = (
        [(0, 3, 0), (3, 3, 4)],
        [(0, 2, 0), (2, 1, 0), (3, 3, 4)],
        [(0, 3, 0), (3, 2, 0), (5, 1, 2)],
    )
    figure = figures[int(rng.integers(len(figures)))]
    six_eight = Fraction(3, 4)
    return [
        Asked(chord + above, bar * six_eight + place * EIGHTH, length * EIGHTH, chord)
        for bar, chord in progression(rng, n_bars)
        for place, length, above in figure
    ]


def long_notes_with_rests(rng: Rng, n_bars: int) -> list[Asked]:
    """A half note, a quarter rest, a quarter fifth."""
    return by_bar(rng, n_bars, [(0, 2, 0), (3, 1, 4)], QUARTER)


def stops(rng: Rng, n_bars: int) -> list[Asked]:
    """Four eighths, four eighths of silence."""
    return by_bar(rng, n_bars, [(k, 1, 0) for k in range(4)], EIGHTH)


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of material: its generator, meter, and the tempos (in the meter's beat) it suits."""

    notes: Callable[[Rng, int], list[Asked]]
    slowest_bpm: int
    fastest_bpm: int
    meter: str = "4/4"


KINDS: dict[str, Kind] = {
    "scale in quarters": Kind(scale_quarters, 60, 160),
    "one pitch in eighths": Kind(one_pitch_eighths, 60, 140),
    "long roots": Kind(long_roots, 60, 160),
    "scale in eighths": Kind(scale_eighths, 50, 120),
    "root, fifth, octave": Kind(root_fifth_octave, 60, 160),
    "sixteenth bursts": Kind(sixteenth_bursts, 50, 92),
    "arpeggios": Kind(arpeggios, 50, 110),
    "ballad in 6/8": Kind(ballad, 50, 76, "6/8"),
    "repeated eighths": Kind(repeated_eighths, 60, 150),
    "thirds": Kind(thirds, 50, 110),
    "syncopated": Kind(syncopated, 60, 120),
    "half-note roots": Kind(half_roots, 55, 140),
    "scale from a degree": Kind(scale_from_degree, 50, 120),
    "pushes": Kind(pushes, 60, 140),
    "chromatic approach": Kind(chromatic_approach, 60, 160),
    "long notes with rests": Kind(long_notes_with_rests, 50, 120),
    "fours": Kind(fours, 50, 110),
    "stops": Kind(stops, 60, 130),
}


STEPWISE = (
    "scale in quarters",
    "scale in eighths",
    "arpeggios",
    "thirds",
    "sixteenth bursts",
    "scale from a degree",
    "chromatic approach",
    "fours",
)
"""Kinds with many neighbours a few frets apart: room for a hammer or a slide."""


def beat_wholes(meter: str) -> Fraction:
    """Length of the meter's own beat: a dotted quarter in 6/8, 9/8 and 12/8."""
    above, below = (int(number) for number in meter.split("/"))
    compound = below == 8 and above % 3 == 0 and above > 3
    return Fraction(3, 8) if compound else Fraction(1, below)


def make_part(
    name: str,
    rng: Rng,
    *,
    open_strings: Sequence[int],
    highest_midi: int,
    target_s: float,
    reaching: tuple[int, int] | None = None,
    lowest_midi: int = 0,
    tuned: bool = False,
) -> Part:
    """A Part of the kind `name` in some key, low on the neck, about `target_s` long.

    With `reaching` its lowest note lies at or under the first, its highest at or over the second,
    wherever on the neck; none lies under `lowest_midi`. A `tuned` Part says its tuning.
    """
    kind = KINDS[name]
    # beyond the ends on purpose, so that the slowest and fastest tempos come up
    lean = float(np.clip(rng.uniform(-0.15, 1.15), 0, 1))
    tempo_bpm = round(kind.slowest_bpm + lean * (kind.fastest_bpm - kind.slowest_bpm))
    bar = Fraction(kind.meter)
    bar_s = float(bar / beat_wholes(kind.meter)) * 60 / tempo_bpm
    asked = kind.notes(rng, int(np.clip(round(target_s / bar_s), 2, 16)))
    fitting = []
    for key in MAJOR_KEYS:
        tonic = lowest_tonic(key, open_strings[0])
        for tonic_midi in (tonic, tonic + 12) if reaching is None else range(tonic - 12, 60, 12):
            midis = [spelled(key, tonic_midi, note.step, note.raised).midi for note in asked]
            if reaching is not None and not (
                lowest_midi <= min(midis) <= reaching[0] and max(midis) >= reaching[1]
            ):
                continue
            if min(midis) >= open_strings[0] and max(midis) <= highest_midi:
                fitting.append((key, tonic_midi))
    if len(open_strings) > 4 and reaching is None:
        fitting = [choice for choice in fitting if choice[1] < open_strings[1]]
    key, tonic_midi = fitting[int(rng.integers(len(fitting)))]
    part = part_of(f"{name} in {key}", key, tonic_midi, kind.meter, tempo_bpm, asked, open_strings)
    return {**part, "tuning": list(open_strings)} if tuned else part


def part_of(
    title: str,
    key: str,
    tonic_midi: int,
    meter: str,
    tempo_bpm: int,
    asked: Sequence[Asked],
    open_strings: Sequence[int],
) -> Part:
    """Asked notes as a Part in the project's JSON form."""
    pitches = [spelled(key, tonic_midi, note.step, note.raised) for note in asked]
    places = neck_places([pitch.midi for pitch in pitches], open_strings)
    notes = [
        {
            "at": str(note.at),
            "length": str(note.length),
            "midi": pitch.midi,
            "pitch": pitch.pitch,
            "degree": pitch.degree,
            "chord": f"{(note.chord - 1) % 7 + 1}{CHORD_QUALITY[(note.chord - 1) % 7 + 1]}",
            "string": string,
            "fret": fret,
            "finger": None,
        }
        for note, pitch, (string, fret) in zip(asked, pitches, places, strict=True)
    ]
    return {"title": title, "key": key, "meter": meter, "tempo_bpm": tempo_bpm, "notes": notes}
