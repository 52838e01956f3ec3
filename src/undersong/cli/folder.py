"""A folder of sheets as they arrived: each read, told in a line, and kept as a number chart."""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import print_json, read_bytes, write_bytes
from undersong.errors import UndersongError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from undersong.chart.sheet import SheetSettings
    from undersong.chart.song import Song

SET_FILE = "sunday.toml"


@dataclass(frozen=True, slots=True)
class Arrived:
    """A file and its song, or the sentence that says why there is none."""

    path: Path
    song: Song | None
    said: str = ""


def show_folder(args: argparse.Namespace, settings: SheetSettings) -> int:
    """Read every sheet of a folder; with `--save`, write the charts and a set that names them."""
    from undersong.chart.roadmap import unrolled

    if args.keys or any(getattr(args, name) for name in ("key", "move", "style", "singer")):
        raise UndersongError(f"{args.file} is a folder: name one song to see it in another key.")
    arrived = tuple(_arrivals(args.file, settings))
    if not arrived:
        raise UndersongError(f"{args.file} holds no sheets: put the songs' files in it.")
    read = [each for each in arrived if each.song is not None]
    saved = [] if args.save is None else _save(read, args.save)
    if args.json:
        print_json([_row_json(each) for each in arrived])
    else:
        width = max(len(each.path.name) for each in arrived)
        for each in read:
            song = each.song
            assert song is not None
            doubts = len(song.report)
            print(
                f"{each.path.name:<{width}}  {song.key!s:<4}{song.meter!s:<6}"
                f"{song.tempo_bpm:>5g}  {len(unrolled(song)):>3} bars  {song.title}"
                + (f"  ({doubts} to look at)" if doubts else "")
            )
        for line in saved:
            print(line)
    for each in arrived:
        if each.said:
            print(each.said, file=sys.stderr)
    return 2 if len(read) < len(arrived) else 0


def _arrivals(folder: Path, settings: SheetSettings) -> Iterator[Arrived]:
    from undersong.chart.arrive import read_sheet

    for path in sorted(folder.iterdir()):
        if not path.is_file() or path.name.startswith(".") or path.suffix.casefold() == ".toml":
            continue
        try:
            yield Arrived(path, read_sheet(read_bytes(path), path.name, settings))
        except UndersongError as error:
            yield Arrived(path, None, str(error))


def _row_json(arrived: Arrived) -> dict[str, object]:
    from undersong.chart.show import chart_json

    chart = None if arrived.song is None else chart_json(arrived.song)
    return {"file": arrived.path.name, "chart": chart, "error": arrived.said or None}


def _save(read: list[Arrived], folder: Path) -> list[str]:
    """Write a chart for each song, and the set; what is there already is left as it is."""
    from undersong.chart.write import song_text
    from undersong.sound.tracks import file_name_of

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UndersongError(f"The folder {folder} cannot be made: {error.strerror}.") from None
    lines, entries = [], []
    taken: set[str] = set()
    for each in read:
        assert each.song is not None
        name = f"{file_name_of(each.song.title)}.txt"
        if name.casefold() in taken:
            lines.append(f"{each.path.name} is another {each.song.title}: it is not saved.")
            continue
        taken.add(name.casefold())
        entries.append(f'[[song]]\nfile = "{name}"\nkey = "{each.song.key}"\n')
        lines.append(save_new(folder / name, song_text(each.song)))
    lines.append(save_new(folder / SET_FILE, "\n".join(entries)))
    return lines


def save_new(path: Path, text: str) -> str:
    """Write a text where there is no file yet; one sentence of what was done."""
    if path.exists():
        return f"{path} is there already, and is left as it is."
    write_bytes(path, text.encode("utf-8"))
    return f"Wrote {path}."
