"""How many bars of a MIDI file get their chord, by how the chords are played.

    python benchmarks/chart_midi.py [SEED]

Loops from the trade handbook's table of progressions in eleven keys, four times round, written by
mido: a pad, broken chords, a bass on root and fifth, a tune of random scale notes on top, and a
bass that walks over random scale notes after the root. The matcher's costs were set on seed 4;
the seed here is another unless told.
"""

from __future__ import annotations

import io
import random
import sys

import mido

from undersong.chart.arrive import read_sheet
from undersong.chart.roadmap import unrolled
from undersong.theory.chord import Chord, parse_number_chord
from undersong.theory.key import MAJOR_KEYS, Key

SEED = 23
BAR = 1920  # ticks
KEYS = MAJOR_KEYS[2:13]
LOOPS = (
    *("1 5 6- 4", "6- 4 1 5", "1 5/7 6- 4", "2-(7) 5(7) 1 1", "1 4 1 5", "4 5 6- 1"),
    *("1 3- 4 5sus", "6-(7) 2-(7) 5 1(maj7)", "1 b7 4 1", "4 4- 1 6(7)"),
)
WAYS = ("pad", "broken chords", "root and fifth", "tune on top", "walking bass")

Struck = tuple[int, int, int]  # first tick, last tick, MIDI number


def notes_of(way: str, chord: Chord, key: Key, rng: random.Random) -> list[Struck]:
    """One bar of a chord, played in a way."""
    tones = [name.at_or_above(55).midi for _, name in chord.tones]
    bass = chord.lowest.at_or_above(28).midi
    held = [(0, BAR - 20, tone) for tone in tones]
    beats = [(place * 480, place * 480 + 450) for place in range(4)]
    if way == "pad":
        return [*held, (0, BAR - 20, bass)]
    if way == "broken chords":
        row = [(n * 240, n * 240 + 230, tones[n % len(tones)]) for n in range(8)]
        return [*row, (0, BAR - 20, bass)]
    if way == "root and fifth":
        struck = [(a, b, tone) for a, b in beats for tone in tones]
        return struck + [(a, b, bass + 7 * (n % 2)) for n, (a, b) in enumerate(beats)]
    scale = [rng.choice(key.names) for _ in beats]
    if way == "tune on top":
        tune = [(*beat, name.at_or_above(72).midi) for beat, name in zip(beats, scale, strict=True)]
        return [*held, (0, BAR - 20, bass), *tune]
    walk = [(*beat, name.at_or_above(30).midi) for beat, name in zip(beats, scale, strict=True)]
    return [*held, (*beats[0], bass), *walk[1:]]


def file_of(way: str, key: Key, loop: str, rng: random.Random) -> tuple[bytes, list[Chord]]:
    """A MIDI file and the chords in it, bar by bar."""
    chords = [parse_number_chord(text).in_key(key) for text in loop.split() * 4]
    events: list[Struck] = []
    for bar, chord in enumerate(chords):
        for first, last, midi in notes_of(way, chord, key, rng):
            events += [(bar * BAR + first, 1, midi), (bar * BAR + last, 0, midi)]
    file, track, now = mido.MidiFile(ticks_per_beat=480), mido.MidiTrack(), 0
    for at, is_on, midi in sorted(events):
        track.append(mido.Message("note_on", note=midi, velocity=80 * is_on, time=at - now))
        now = at
    file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue(), chords


def shares(way: str, seed: int) -> tuple[int, float, float, float]:
    """Bars in all; shares with the right root, with root, kind and bass; files in their key."""
    rng = random.Random(seed)
    bars = roots = whole = keys = 0
    for key in KEYS:
        for loop in LOOPS:
            data, chords = file_of(way, key, loop, rng)
            song = read_sheet(data, "loop.mid")
            keys += song.key.tonic.pitch_class == key.tonic.pitch_class
            for played, chord in zip(unrolled(song), chords, strict=False):
                bars += 1
                if len(played.events) != 1 or played.events[0].chord is None:
                    continue
                heard = played.events[0].chord.in_key(song.number_key)
                if heard.root.pitch_class == chord.root.pitch_class:
                    roots += 1
                    same_bass = heard.lowest.pitch_class == chord.lowest.pitch_class
                    whole += heard.quality == chord.quality and same_bass
    return bars, roots / bars, whole / bars, keys / (len(KEYS) * len(LOOPS))


def main() -> None:
    """Print the table."""
    seed = SEED if len(sys.argv) < 2 else int(sys.argv[1])
    print("played as          bars    root   whole chord   key")
    for way in WAYS:
        bars, root, whole, key = shares(way, seed)
        print(f"{way:<16} {bars:>6} {root:>7.1%} {whole:>13.1%} {key:>6.0%}")


if __name__ == "__main__":
    main()
