"""A pack killed at twenty random moments.

    python benchmarks/sound_kill.py [--times 20] [--files mp3] [--seed 1]

Is any file broken, and does the next run finish? `undersong pack` is timed once on a small set of
two songs. Then each round starts it in a process of its own, kills it at a random moment of that
time, reads every sound file that is there to its end and every page of the PDF. Every fourth round
a run is let finish in the same folder; it has to answer 0, and nothing may be left over.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pypdf
from pypdf.errors import PyPdfError

from undersong.errors import AudioError
from undersong.sound.files import open_sound
from undersong.sound.tracks import MEMORY

ROUNDS_TO_FINISH = 4
SET = """\
title = "Small Sunday"
[[song]]
file = "one.txt"
key = "G"
[[song]]
file = "two.txt"
key = "E"
[[player]]
name = "Iris"
level = 3
"""
CHART = (
    "Title: {}\nKey: G\nMeter: 4/4\nTempo: 84\n\nVerse\n| 1 | 5/7 | 6- | 4 |\n| 2- | 5 | 1 | 1 |\n"
)


def broken(folder: Path) -> list[str]:
    """Sentences about files that cannot be read to their end."""
    sentences = []
    for path in sorted(folder.iterdir()):
        if path.name.startswith("."):
            continue
        try:
            if path.suffix == ".pdf":
                for page in pypdf.PdfReader(path).pages:
                    page.extract_text()
            else:
                with open_sound(path) as recording:
                    for _ in recording.blocks(10.0):
                        pass
        except (AudioError, PyPdfError) as error:
            sentences.append(f"{path.name}: {error}")
    return sentences


def started(songs: Path, out: Path, files: str) -> subprocess.Popen[bytes]:
    """A process that makes the pack."""
    words = ["pack", str(songs), "--out", str(out), "--files", files]
    return subprocess.Popen(
        [sys.executable, "-m", "undersong", *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def main() -> int:
    """Print one line a round and the sum."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--files", default="mp3")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    bad = unfinished = 0
    with TemporaryDirectory() as name:
        songs, out = Path(name) / "set.toml", Path(name) / "packs"
        songs.write_text(SET, encoding="utf-8")
        for title in ("one", "two"):
            (songs.parent / f"{title}.txt").write_text(CHART.format(title), encoding="utf-8")
        folder = out / "Iris"
        begin_s = time.perf_counter()
        started(songs, out, options.files).wait()
        whole_s = time.perf_counter() - begin_s
        whole = {path.name for path in folder.iterdir()}
        print(f"a whole run takes {whole_s:.1f} s and makes {len(whole) - 1} files")
        for number in range(1, options.times + 1):
            if number % ROUNDS_TO_FINISH == 1:
                for path in folder.iterdir():
                    path.unlink()
            wait_s = float(rng.uniform(0, whole_s))
            run = started(songs, out, options.files)
            time.sleep(wait_s)
            run.kill()
            run.wait()
            files = len([path for path in folder.iterdir() if not path.name.startswith(".")])
            halves = len([path for path in folder.iterdir() if ".part" in path.name])
            sentences = broken(folder)
            bad += len(sentences)
            print(f"{number:>3} killed after {wait_s:4.1f} s: {files} files, {halves} unfinished")
            print(*sentences, sep="\n", end="\n" if sentences else "", flush=True)
            if number % ROUNDS_TO_FINISH == 0:
                status = started(songs, out, options.files).wait()
                bad += len(broken(folder))
                left = {path.name for path in folder.iterdir()}
                unfinished += status != 0 or left != whole or MEMORY not in left
    print(f"broken files: {bad}; runs that did not finish cleanly: {unfinished}")
    return int(bad + unfinished > 0)


if __name__ == "__main__":
    sys.exit(main())
