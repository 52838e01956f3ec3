"""How long a line takes to write and finger, and how that grows with the song.

Run: python benchmarks/lines_speed.py
Times are processor time of one process, best of three, first call of each song included.
"""

from __future__ import annotations

import gc
import time

from undersong.chart.roadmap import duration_s, total_bars
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.lines import LEVELS, write_line
from undersong.lines.walk import approaches, best_road, chord_names, lattice, scale_over

VERSE = "| 1 | 5/7 | 6- | 4 |\n| 1 / / 5 | 4 | 2-7 5sus | 1 |"
CHORUS = "| 4 | 5 | 6- | 1/3 |\n| 4 | 5 | <<1 | 1 |"
BRIDGE = "| 6- | 4 | 1 | 5 |\n| 6- | 4 | 2- | 5! |"
ROUNDS = 3


def song_of(visits: int) -> Song:
    """A song of so many verses and choruses, a bridge after every second pair."""
    order = [("Verse, Chorus, Bridge" if n % 2 else "Verse, Chorus") for n in range(visits)]
    return parse_song(
        f"Title: Long Road\nKey: G\nTempo: 72\n\nVerse\n{VERSE}\n\nChorus\n{CHORUS}\n\n"
        f"Bridge\n{BRIDGE}\n\nOrder: {', '.join(order)}\n"
    )


def seconds(song: Song, level: int) -> tuple[float, int]:
    """Best processor time of a cold start, and the notes written."""
    best, notes = float("inf"), 0
    for _ in range(ROUNDS):
        for cache in (approaches, best_road, chord_names, lattice, scale_over):
            cache.cache_clear()
        gc.collect()
        start = time.process_time()
        notes = len(write_line(song, level=level).part.notes)
        best = min(best, time.process_time() - start)
    return best, notes


def main() -> None:
    """Print both tables."""
    five_minutes = song_of(5)
    minutes = duration_s(five_minutes) / 60
    print(f"A song of {minutes:.1f} minutes, {total_bars(five_minutes)} bars:")
    for level in LEVELS:
        time_s, notes = seconds(five_minutes, level.number)
        print(f"  level {level.number}: {notes:4d} notes  {1000 * time_s:6.0f} ms")
    print("Level 6 against length:")
    for visits in (5, 10, 20, 40):
        song = song_of(visits)
        time_s, notes = seconds(song, 6)
        bars = total_bars(song)
        print(
            f"  {bars:4d} bars  {notes:5d} notes  {1000 * time_s:6.0f} ms  "
            f"{1e6 * time_s / bars:5.0f} µs a bar"
        )


if __name__ == "__main__":
    main()
