"""Where the sounds of a track begin, found by a detector that knows nothing of the score.

    python benchmarks/sound_onsets.py [--tempos 40 60 97 120 160 220] [--endings .wav .ogg]

For every feel in its meters, at every tempo: two bars written for a chart, played by the click, the
bass and each drum alone, written as a file of each kind and decoded again. Each stroke of the score
has to be found within 1 ms, and nothing may be found elsewhere (a stroke after a bass note of fewer
than four periods is not asked for). Prints a line for each feel and
meter: strokes, the worst error of each player in ms, and how many were not found or were found
where nothing is. Ends with the sum; the exit status is 1 where there is anything to mend.

The times expected are worked out here from tempo, meter and swing (2:1), apart from the program's
own tempo map. The detector looks for the place where the energy of the next 1.5 ms exceeds that of
the 4 ms before most, and goes back to where the wave first leaves what was there.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from undersong.chart.text import parse_song
from undersong.lines import drum_part, write_line
from undersong.lines.feel import Feel
from undersong.neck.instrument import Instrument
from undersong.sound.files import write_sound
from undersong.sound.mix import render_part
from undersong.sound.schedule import ClickPlan
from undersong.theory.part import Part

Sound = NDArray[np.floating[Any]]
Times = NDArray[np.float64]

RATE_HZ = 44100
TOLERANCE_S = 0.001
TEMPOS = (40, 60, 97, 120, 160, 220)
ENDINGS = (".wav", ".flac", ".ogg", ".mp3")
METERS = {
    Feel.STRAIGHT: ("4/4", "3/4", "2/4", "5/4", "7/8"),
    Feel.SIXTEENTHS: ("4/4",),
    Feel.HALF_TIME: ("4/4",),
    Feel.FLOOR: ("4/4", "2/4"),
    Feel.BALLAD_68: ("6/8", "12/8", "9/8"),
    Feel.SHUFFLE: ("4/4", "3/4"),
    Feel.GOSPEL: ("4/4",),
}
AFTER_S, BEFORE_S, APART_S = 0.0015, 0.004, 0.03
RISE = 6.0  # of energy, for an onset
LONG_S, LONG_RISE = 0.025, 2.5  # a wave's own rise and fall is over within a period of low E
QUIET = 0.01  # of the loudest stroke's energy over `LONG_S`: softer ones are not looked for
PERIODS = 4.0
LEAVES = 0.2  # of the height it rises to


def onsets_s(sound: Sound) -> Times:
    """Where strokes begin in a mono sound at `RATE_HZ`, in seconds."""
    n_after, n_before, n_long = (round(s * RATE_HZ) for s in (AFTER_S, BEFORE_S, LONG_S))
    padded = np.pad(np.asarray(sound, np.float64), n_long)
    energy = np.concatenate(([0.0], np.cumsum(np.square(padded))))
    at = np.arange(n_long, len(padded) - n_long)
    after = (energy[at + n_after] - energy[at]) / n_after
    before = (energy[at] - energy[at - n_before]) / n_before
    long_after, long_before = energy[at + n_long] - energy[at], energy[at] - energy[at - n_long]
    rise = after / (before + 1e-4 * after.max())
    is_top = rise == maximum_filter1d(rise, 2 * round(APART_S * RATE_HZ) + 1)
    is_new = (long_after > LONG_RISE * long_before) & (long_after > QUIET * long_after.max())
    tops = at[is_top & is_new & (rise > RISE)] - n_long
    return np.array([_refined(sound, int(top), n_after, n_before) for top in tops]) / RATE_HZ


def _refined(sound: Sound, top: int, n_after: int, n_before: int) -> int:
    """The first sample near `top` that leaves what was there before it."""
    height = float(np.abs(sound[top : top + n_after]).max())
    was = float(np.abs(sound[max(0, top - n_before) : max(1, top - n_after)]).max())
    start = max(0, top - n_after)
    leaves = np.abs(sound[start : top + n_after]) > was + LEAVES * (height - was)
    return start + int(np.argmax(leaves))


def expected_s(part: Part, tempo_bpm: float, places: set[Fraction]) -> Times:
    """Seconds from place 0 of the part to each place, by arithmetic of our own."""
    beat = Fraction(3 if part.meter.is_compound else 1, part.meter.unit)
    if part.swing is not None:  # the second eighth of a pair falls two thirds into the quarter
        places = {_swung(at) for at in places}
    return np.array(sorted(float(at / beat) * 60 / tempo_bpm for at in places))


def _swung(at: Fraction) -> Fraction:
    quarter = Fraction(1, 4)
    start, inside = at // quarter * quarter, at % quarter
    half = Fraction(1, 8)
    if inside <= half:
        return start + inside * Fraction(4, 3)
    return start + Fraction(1, 6) + (inside - half) * Fraction(2, 3)


@dataclass(frozen=True, slots=True)
class Found:
    """One player in one file: strokes asked, worst error in ms, how many missed and extra."""

    player: str
    strokes: int
    worst_ms: float
    missed: int
    extra: int

    @property
    def is_right(self) -> bool:
        """Everything found within a millisecond, and nothing else."""
        return not self.missed and not self.extra


def compared(player: str, found: Times, expected: Times) -> Found:
    """Match what was found to what was asked, nearest first, one to one."""
    near = [(abs(f - e), i, j) for i, f in enumerate(found) for j, e in enumerate(expected)]
    taken: dict[int, float] = {}
    used: set[int] = set()
    for error, i, j in sorted(near):
        if error <= TOLERANCE_S and j not in taken and i not in used:
            taken[j] = error
            used.add(i)
    worst_ms = 1000 * float(max(taken.values(), default=0.0))
    return Found(
        player, len(expected), worst_ms, len(expected) - len(taken), len(found) - len(used)
    )


def parts(feel: Feel, meter: str, level: int = 3) -> tuple[Part, Part]:
    """Bass and drums for two bars of a chart in this feel."""
    chart = f"Title: {feel}\nKey: E\nMeter: {meter}\nTempo: 90\nFeel: {feel.value}\n\nVerse\n"
    song = parse_song(f"{chart}| 1 | 4 |\n")
    bass = write_line(song, level=level, instrument=Instrument()).part
    return bass, drum_part(song)


def players(bass: Part, drums: Part) -> Iterator[tuple[str, Part]]:
    """Each player alone; of the drums, each drum alone, since one rings over the next."""
    yield "click", replace(bass, notes=())
    yield "bass", bass
    for key in sorted({note.pitch.midi for note in drums.notes}):
        yield (
            f"drum {key}",
            replace(drums, notes=tuple(note for note in drums.notes if note.pitch.midi == key)),
        )


def measured(name: str, part: Part, tempo_bpm: float, ending: str, folder: Path) -> Found:
    """One player's track in a file of one kind, decoded and listened to."""
    is_click = name == "click"
    mix = render_part(
        part,
        tempo_bpm=tempo_bpm,
        count_in=False,
        click=ClickPlan(subdivided=False) if is_click else None,
    )
    path = write_sound(folder / f"track{ending}", mix.samples, RATE_HZ)
    sound, _ = soundfile.read(path)
    found = onsets_s(sound.mean(axis=1)) - mix.start_s
    if is_click:
        beat = part.meter.beat
        places = {k * beat for k in range(int(part.length / beat))}
        swing_free = replace(part, swing=None)
        return compared(name, found, expected_s(swing_free, tempo_bpm, places))
    asked = expected_s(part, tempo_bpm, {stroke.at for stroke in part.strokes})
    if name == "bass":
        found, asked = _clear(part, asked, found)
    return compared(name, found, asked)


def _clear(part: Part, asked: Times, found: Times) -> tuple[Times, Times]:
    """Leave out strokes after a note of fewer than `PERIODS` of its own periods.

    So short a low note is a click to any detector (trade handbook 8.3).
    """
    period_s = np.array([2 ** ((69 - s.note.pitch.midi) / 12) / 440 for s in part.strokes])
    unclear = asked[1:][np.diff(asked) < PERIODS * period_s[:-1]]
    near = np.abs(found[:, None] - unclear) < TOLERANCE_S
    return found[~near.any(axis=1)], np.setdiff1d(asked, unclear)


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--tempos", type=float, nargs="+", default=TEMPOS)
    parser.add_argument("--endings", nargs="+", default=ENDINGS)
    options = parser.parse_args()
    strokes = wrong = 0
    with TemporaryDirectory() as name:
        for feel, meters in METERS.items():
            for meter in meters:
                bass, drums = parts(feel, meter)
                worst: dict[str, float] = {}
                here = 0
                for player, part in players(bass, drums):
                    for tempo_bpm in options.tempos:
                        for ending in options.endings:
                            got = measured(player, part, tempo_bpm, ending, Path(name))
                            kind = player.split()[0]
                            worst[kind] = max(worst.get(kind, 0.0), got.worst_ms)
                            here += got.strokes
                            strokes += got.strokes
                            if not got.is_right:
                                wrong += got.missed + got.extra
                                print(f"  {feel.value} {meter} {tempo_bpm:g} {ending}: {got}")
                errors = ", ".join(f"{kind} {ms:.2f} ms" for kind, ms in worst.items())
                print(f"{feel.value:<18} {meter:<5} {here:>5} strokes; worst {errors}", flush=True)
    print(f"{strokes} strokes, {wrong} not found within 1 ms or found where nothing is")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
