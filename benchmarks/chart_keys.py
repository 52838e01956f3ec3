"""How often the key is found from the chords alone, against music21 on the same chords.

    python benchmarks/chart_keys.py

Three sets. *Songs*: sections put together from tables of common progressions (trade handbook
2.6 and 2.7, common practice; the minor ones from 2.5), eight bars or more with at least four
different chords, in all keys, ending at home four times in five. *Chorales* and
*madrigals*: the roman-numeral analyses that music21 carries, with the key their analyst wrote
first; the madrigals (about 1600) are modal and wander, and stand here to show where the finder
ends. *Charts*: the
demo set. Songs whose answer is marked ambiguous are counted apart, as a person is asked.
"""

from __future__ import annotations

import random
import sys
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from music21 import chord, converter, corpus, stream

import undersong
from undersong.chart.keyfind import find_key
from undersong.chart.roadmap import timeline
from undersong.chart.text import parse_song
from undersong.theory.chord import Chord, parse_number_chord, quality
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Key, MinorHabit, Mode
from undersong.theory.pitch import PitchName

untyped: Any = stream  # streams of music21 carry no types
SONGS = 600
MAJOR_LOOPS = (
    *("1 5 6- 4", "6- 4 1 5", "4 1 5 6-", "4 1 6- 5", "1 4 6- 5", "1 6- 4 5", "4 5 6- 6-"),
    *("4 5 1 1", "1 4 1 4", "1 4/1 1 1", "1 5/7 6- 5", "4 1/3 4 5", "1 1/3 4 4", "1 4 2- 5"),
    *("1 1 4 5", "3- 6- 2- 5", "1 b7 4 1", "4 4- 1 1", "1 1/3 4 #4dim", "6(7) 2- 5 1"),
    *("1 1(7) 4 4", "2(7) 5 1 1", "3(7) 6- 4 5", "2-(7) 5(7) 1 6-"),
)
# Counted from the minor tonic.
MINOR_LOOPS = (
    *("1- b6 b3 b7", "1- b7 b6 5", "1- 4- 5 1-", "1- b6 4- 5", "b6 b7 1- 1-", "1- b3 b7 4-"),
    *("1- 5- b6 4-", "4- 1- 5(7) 1-", "1- b7 b3 b6", "2m7b5 5(7) 1- 1-", "1- 4- b7 b3"),
)


@dataclass(frozen=True)
class Known:
    """A run of chords whose key is known."""

    name: str
    key: Key
    chords: list[Chord]


def songs(count: int, seed: int = 7) -> Iterator[Known]:
    """Songs from the tables, in all thirty keys."""
    rng = random.Random(seed)
    keys = [*MAJOR_KEYS, *MAJOR_KEYS, *MINOR_KEYS]
    made = 0
    while made < count:
        key = keys[made % len(keys)]
        loops = MAJOR_LOOPS if key.mode is Mode.MAJOR else MINOR_LOOPS
        home = "1" if key.mode is Mode.MAJOR else "1-"
        verse, chorus = rng.sample(loops, 2)
        bars = verse.split() * rng.choice((1, 2)) + chorus.split() * rng.choice((1, 2))
        if rng.random() < 0.8:
            bars.append(home)
        number_key = key.number_key(MinorHabit.TONIC)
        chords = [parse_number_chord(text).in_key(number_key) for text in bars]
        if len(set(chords)) >= 4 and len(bars) >= 8:
            made += 1
            yield Known(f"song {made}", key, chords)


def analyses(of: str = "") -> Iterator[Known]:
    """The roman-numeral analyses of the music21 corpus: the chords, and the first key written.

    `of` picks the pieces whose file name holds it.
    """
    kinds = {"major", "minor", "diminished", "augmented"}
    for path in sorted(str(path) for path in corpus.getPaths()):
        if not path.endswith((".rntxt", ".rntext")) or of not in Path(path).name:
            continue
        first, chords = None, []
        for numeral in converter.parse(path).recurse().getElementsByClass("RomanNumeral"):
            first = first or numeral.key
            name = numeral.quality if numeral.quality in kinds else "major"
            if numeral.isDominantSeventh():
                name = "seventh"
            root = numeral.root()
            alteration = int(root.accidental.alter) if root.accidental else 0
            chords.append(Chord(PitchName(root.step, alteration), quality(name)))
        if first is not None and len(chords) >= 8:
            mode = Mode.MINOR if first.mode == "minor" else Mode.MAJOR
            tonic = PitchName(first.tonic.step, int(first.tonic.alter))
            yield Known(Path(path).stem, Key(tonic, mode), chords)


def charts() -> Iterator[Known]:
    """The demo songs, without their keys."""
    for path in sorted((Path(undersong.__file__).parent / "demo" / "songs").glob("*.txt")):
        song = parse_song(path.read_text(encoding="utf-8"))
        chords = [
            each.event.chord.in_key(song.counted_in(each.key))
            for each in timeline(song)
            if each.event.chord is not None and each.key == song.key
        ]
        yield Known(path.stem, song.key, chords)


def theirs(chords: list[Chord]) -> tuple[int, str]:
    """The key music21 hears in the same chords, each a whole note."""
    line: Any = untyped.Stream()
    for each in chords:
        names = [name.letter + ("#" * name.alteration or "-" * -name.alteration)
                 for _, name in each.tones]  # fmt: skip
        line.append(chord.Chord(names, quarterLength=4))
    found = line.analyze("key")
    return found.tonic.pitchClass, found.mode


def table(title: str, known: Iterable[Known]) -> tuple[float, float]:
    """Print one set; the shares right and among the first two, of those not ambiguous."""
    counted = right = among = ambiguous = right_all = total = music21_right = 0
    for each in known:
        total += 1
        wanted = (each.key.tonic.pitch_class, each.key.mode.value)
        guess = find_key(each.chords)
        first, second = (
            (key.tonic.pitch_class, key.mode.value) for key in (guess.key, guess.runner_up)
        )
        music21_right += theirs(each.chords) == wanted
        right_all += first == wanted
        if guess.is_ambiguous:
            ambiguous += 1
            continue
        counted += 1
        right += first == wanted
        among += wanted in (first, second)
    share, two = right / max(1, counted), among / max(1, counted)
    print(
        f"{title:<10} {total:>5} known, {ambiguous:>3} asked about; of the rest "
        f"{share:7.2%} right, {two:7.2%} among the first two;  all: {right_all / total:7.2%}, "
        f"music21: {music21_right / total:7.2%}"
    )
    return share, two


def main() -> None:
    """Print the three tables."""
    warnings.simplefilter("ignore")
    table("songs", songs(SONGS if len(sys.argv) < 2 else int(sys.argv[1])))
    table("chorales", analyses("riemenschneider"))
    table("madrigals", analyses("madrigal"))
    table("charts", charts())


if __name__ == "__main__":
    main()
