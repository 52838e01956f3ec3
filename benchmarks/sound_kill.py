"""A pack killed at twenty random moments.

    python benchmarks/sound_kill.py [--times 20] [--ending .mp3] [--seed 1]

Is any file broken, and does the next run finish? A whole run is timed first. Then each round starts
the making of two songs' tracks in a process of its own, kills it at a random moment of that time,
opens every file that is there and reads it to its end. Every fourth round a run is let finish in
the same folder, and nothing may be left over.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from sound_speed import song
from undersong.errors import AudioError
from undersong.sound.files import open_sound
from undersong.sound.tracks import MEMORY, Album, write_tracks

BARS, ROUNDS_TO_FINISH = 8, 4


def make(folder: Path, ending: str) -> int:
    """Write the tracks; the number of files."""
    tracks = [track for number in (1, 2) for track in song(number, bars=BARS)]
    return len(write_tracks(tracks, folder, album=Album(ending=ending)))


def broken(folder: Path, ending: str) -> list[str]:
    """Sentences about files that cannot be read to their end."""
    sentences = []
    for path in sorted(folder.glob(f"*{ending}")):
        try:
            with open_sound(path) as recording:
                for _ in recording.blocks(10.0):
                    pass
        except AudioError as error:
            sentences.append(str(error))
    return sentences


def started(folder: Path, ending: str) -> subprocess.Popen[bytes]:
    """A process that makes the tracks."""
    return subprocess.Popen([sys.executable, __file__, "--make", str(folder), "--ending", ending])


def main() -> None:
    """Print one line a round and the sum."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--ending", default=".mp3")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--make", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.make:
        make(Path(options.make), options.ending)
        return
    rng = np.random.default_rng(options.seed)
    bad = unfinished = 0
    with TemporaryDirectory() as name:
        folder = Path(name)
        begin_s = time.perf_counter()
        started(folder, options.ending).wait()
        whole_s = time.perf_counter() - begin_s
        print(f"a whole run takes {whole_s:.1f} s")
        for number in range(1, options.times + 1):
            if number % ROUNDS_TO_FINISH == 1:
                for path in folder.iterdir():
                    path.unlink()
            wait_s = float(rng.uniform(0, whole_s))
            run = started(folder, options.ending)
            time.sleep(wait_s)
            run.kill()
            run.wait()
            files = len(list(folder.glob(f"*{options.ending}")))
            halves = len(list(folder.glob(".*.part*")))
            sentences = broken(folder, options.ending)
            bad += len(sentences)
            print(f"{number:>3} killed after {wait_s:4.1f} s: {files} files, {halves} unfinished")
            print(*sentences, sep="\n", end="\n" if sentences else "")
            if number % ROUNDS_TO_FINISH == 0:
                made = make(folder, options.ending)
                left = {path.name for path in folder.iterdir()} - {MEMORY}
                bad += len(broken(folder, options.ending))
                unfinished += len(left) != made
    print(f"broken files: {bad}; runs that did not finish cleanly: {unfinished}")


if __name__ == "__main__":
    main()
