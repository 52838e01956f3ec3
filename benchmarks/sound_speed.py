"""How fast practice tracks are made, against the number of songs.

    python benchmarks/sound_speed.py [--songs 1 2 4] [--ending .mp3] [--workers 2]

Each invented song is two minutes and a half of bass, drums, pad and click, written as two tracks
(with and without the bass). "Real time" is seconds of sound made in a second of wall time. On a
machine that does other work too, look at the processor seconds instead. "Again" is a second run in
the same folder; "changed" is one more after the key of one song has changed, in seconds of
processor.
"""

from __future__ import annotations

import argparse
import os
import time
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory

from undersong.sound.files import open_sound
from undersong.sound.tracks import Album, Track, practice_tracks, write_tracks
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Dynamic, Note, Part, Voice, in_order
from undersong.theory.pitch import plain_pitch

BARS = 60
ROOTS = (31, 36, 40, 38)
EIGHTH = Fraction(1, 8)


def _part(voice: Voice, notes: list[Note], number: int, bars: int) -> Part:
    return Part(
        f"Song {number}",
        parse_key("G"),
        FOUR_FOUR,
        96.0 + number,
        in_order(notes),
        voice=voice,
        length=Fraction(bars),
    )


def song(number: int, *, bars: int = BARS, up: int = 0) -> tuple[Track, ...]:
    """The usual tracks of an invented song, `up` semitones higher: everybody, then no bass."""
    bass, drums, pad = [], [], []
    for bar in range(bars):
        root, at = ROOTS[(bar + number) % 4] + up, Fraction(bar)
        loud = Dynamic.F if bar % 16 >= 8 else Dynamic.MF
        for eighth in range(8):
            place = at + eighth * EIGHTH
            pitch = plain_pitch(root + (7 if eighth == 7 else 0))
            bass.append(Note(place, EIGHTH, pitch, dynamic=loud, accented=eighth == 0))
            drums.append(Note(place, EIGHTH, plain_pitch(42), dynamic=loud))
            if eighth in (0, 3, 4):
                drums.append(Note(place, EIGHTH, plain_pitch(36), dynamic=loud))
            if eighth in (2, 6):
                drums.append(Note(place, EIGHTH, plain_pitch(38), dynamic=loud))
        pad += [Note(at, Fraction(1), plain_pitch(root + up)) for up in (24, 28, 31)]
    parts = (_part(Voice.DRUMS, drums, number, bars), _part(Voice.PAD, pad, number, bars))
    return practice_tracks(f"{number:02} Song", _part(Voice.BASS, bass, number, bars), parts)


def measure(songs: int, ending: str, workers: int) -> str:
    """One line of the table."""
    with TemporaryDirectory() as folder:
        tracks = [track for number in range(1, songs + 1) for track in song(number)[:2]]
        wall_s, work_s = time.perf_counter(), time.process_time()
        paths = write_tracks(tracks, Path(folder), album=Album(ending=ending), workers=workers)
        wall_s, work_s = time.perf_counter() - wall_s, time.process_time() - work_s
        sound_s = 0.0
        for path in paths:
            with open_sound(path) as recording:
                sound_s += recording.length_s or 0.0
        again_s = time.perf_counter()
        write_tracks(tracks, Path(folder), album=Album(ending=ending), workers=workers)
        again_s = time.perf_counter() - again_s
        changed_s = time.process_time()
        tracks[:2] = song(1, up=2)[:2]
        write_tracks(tracks, Path(folder), album=Album(ending=ending), workers=workers)
        changed_s = time.process_time() - changed_s
    return (
        f"{songs:>5} {len(paths):>6} {sound_s:>8.0f} {wall_s:>7.1f} {sound_s / wall_s:>8.0f}x "
        f"{work_s:>10.1f} {2 * sound_s / work_s:>12.0f}x {again_s * 1000:>9.0f} {changed_s:>8.1f}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--songs", type=int, nargs="+", default=[1, 2, 4])
    parser.add_argument("--ending", default=".mp3")
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"{options.ending}, {options.workers} workers, {os.cpu_count()} cores, load {load:.1f}")
    print("songs tracks  sound s  wall s  real time processor s  two free cores  again ms  changed")
    measure(1, options.ending, options.workers)  # the first run loads and compiles
    for songs in options.songs:
        print(measure(songs, options.ending, options.workers))


if __name__ == "__main__":
    main()
