"""How long the pages of a pack take, for the demo's players and against the number of songs.

    python benchmarks/page_pack.py

Prints seconds of wall and of processor for each player's pack of the demo set (lines are written
beforehand and not counted), the size of the files, and seconds for 1 to 24 songs with the straight
line through them and how well it fits. Also the seconds that one song's pages take alone, which
is what a key changed on Sunday morning costs.
"""

from __future__ import annotations

import datetime
import sys
import time
from pathlib import Path

import numpy as np

import undersong
from undersong.chart.setlist import Player, parse_set, set_songs
from undersong.chart.song import Song
from undersong.exchange import musicxml_bytes
from undersong.lines import write_line
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.page.pack import Edition, PackPlayer, PackSong, pack_pdf

DEMO = Path(undersong.__file__).parent / "demo"
COUNTS = (1, 2, 4, 6, 12, 18, 24)
EDITION = Edition(datetime.date(2026, 11, 24))


def bass_of(player: Player) -> Instrument:
    """The instrument a player's entry describes."""
    return Instrument(
        parse_tuning(player.tuning), player.frets, player.scale_mm, player.hand == "left"
    )


def with_lines(songs: tuple[Song, ...], player: Player) -> tuple[PackSong, ...]:
    """Songs with this player's lines."""
    bass = bass_of(player)
    return tuple(
        PackSong(song, write_line(song, level=player.level, instrument=bass).part) for song in songs
    )


def pack_s(songs: tuple[PackSong, ...], player: Player) -> tuple[float, float, int]:
    """Seconds on the wall, seconds of processor, bytes."""
    wall, busy = time.perf_counter(), time.process_time()
    pdf = pack_pdf(
        "Benchmark",
        datetime.date(2026, 11, 29),
        songs,
        PackPlayer(player.name, player.level, bass_of(player)),
        musicxml=musicxml_bytes,
        edition=EDITION,
    )
    return time.perf_counter() - wall, time.process_time() - busy, len(pdf)


def main() -> int:
    """Print the tables."""
    setlist = parse_set((DEMO / "sunday.toml").read_text("utf-8"))
    charts = {each.file: (DEMO / each.file).read_text("utf-8") for each in setlist.songs}
    songs = set_songs(setlist, charts)
    pack_s(with_lines(songs[:1], setlist.players[0]), setlist.players[0])  # faces are read once

    print(f"{'player':<10}{'songs':>6}{'wall s':>9}{'busy s':>9}{'kB':>7}")
    total = [0.0, 0.0]
    for player in setlist.players:
        wall, busy, size = pack_s(with_lines(songs, player), player)
        total = [total[0] + wall, total[1] + busy]
        print(f"{player.name:<10}{len(songs):>6}{wall:>9.2f}{busy:>9.2f}{size / 1000:>7.0f}")
    print(f"{'together':<16}{total[0]:>9.2f}{total[1]:>9.2f}\n")

    player = setlist.players[1]
    parts = with_lines(songs, player)
    print(f"{'songs':>6}{'wall s':>9}{'busy s':>9}")
    busy_s = []
    for count in COUNTS:
        some = tuple(parts[place % len(parts)] for place in range(count))
        wall, busy, _ = pack_s(some, player)
        busy_s.append(busy)
        print(f"{count:>6}{wall:>9.2f}{busy:>9.2f}")
    slope, start = np.polyfit(COUNTS, busy_s, 1)
    fit = np.corrcoef(COUNTS, busy_s)[0, 1] ** 2
    print(f"\nbusy seconds = {start:.2f} + {slope:.3f} a song; r squared {fit:.4f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
