"""`undersong demo`: the main job from end to end, on an invented band's Sunday.

Reads the set and its charts, makes a drill in the first song's key, writes it as sound, MIDI,
MusicXML and JSON, listens to three recorded takes of it and says what tempo comes next. The takes
were rendered from sampled basses, with mistakes planted in the last (see its README).
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import Commands, write_bytes
from undersong.errors import UndersongError

if TYPE_CHECKING:
    from undersong.chart.song import Song
    from undersong.drills.catalogue import DrillSheet
    from undersong.theory.part import Part

DRILL = "scale"
PLAYER = "Iris"
DEMO_LOG = "demo-log.sqlite"  # never the name of a log that somebody keeps
CAUTION = (
    "Look after yourself: keep the click just above the music and start low; rest five minutes in\n"
    "every twenty-five; stop for the day at pain, numbness or tingling, and ask a clinician if it\n"
    "lasts. Earthed sockets only; a tingle from the strings means unplug and call an electrician.\n"
    "Local rules and qualified people come first."
)


@dataclass(frozen=True, slots=True)
class DemoTake:
    """One recorded pass: its file among the demo's takes and the tempo that was asked."""

    name: str
    tempo_bpm: float


TAKES = (DemoTake("first", 70.0), DemoTake("second", 70.0), DemoTake("third", 75.0))


def add(commands: Commands) -> None:
    """Put `demo` on the list of commands."""
    command = commands.add_parser(
        "demo",
        help="the whole job once, on an invented band's Sunday",
        description="Charts in, a drill out, three takes heard, the next tempo said. Everything it "
        "makes goes into one folder.",
    )
    command.add_argument(
        "--out",
        type=Path,
        default=Path("undersong-demo"),
        metavar="DIR",
        help="the folder for what it makes (default undersong-demo)",
    )
    command.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Do the week once and print it."""
    try:
        args.out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UndersongError(f"The folder {args.out} cannot be made: {error.strerror}.") from None
    songs = _sunday()
    sheet = _drill(songs[0], args.out)
    _listen(sheet.part, args.out)
    print(f"\nEverything made is in {args.out}{_listing(args.out)}\n\n{CAUTION}")
    return 0


def _sunday() -> tuple[Song, ...]:
    from undersong.chart.lownotes import low_notes
    from undersong.chart.roadmap import duration_s, total_bars
    from undersong.chart.setlist import parse_set, set_songs
    from undersong.chart.show import chart_lines

    demo = files("undersong") / "demo"
    name = "sunday.toml"
    setlist = parse_set((demo / name).read_text("utf-8"), source=name)
    charts = {song.file: (demo / song.file).read_text("utf-8") for song in setlist.songs}
    songs = set_songs(setlist, charts)
    print(f"{setlist.title}: {len(songs)} songs\n")
    print(f"  {'':<28}{'key':<5}{'meter':<7}{'tempo':>5}{'bars':>6}{'length':>8}   lowest 1")
    for song in songs:
        minutes, seconds = divmod(round(duration_s(song)), 60)
        low = low_notes(song)
        lowest = f"{low.tonic}, an octave lower on five strings" if low.tonic_is_low else low.tonic
        print(
            f"  {song.title:<28}{song.key!s:<5}{song.meter!s:<7}{song.tempo_bpm:>5g}"
            f"{total_bars(song):>6}{minutes:>5}:{seconds:02}   {lowest}"
        )
    print()
    print("\n".join(f"  {line}" for line in chart_lines(songs[0])))
    return songs


def _drill(song: Song, out: Path) -> DrillSheet:
    from undersong.cli.outputs import write_track
    from undersong.drills.catalogue import make_drill
    from undersong.exchange import midi_bytes, musicxml_bytes, part_to_json

    key = song.key
    for name in (DRILL, "positions"):
        sheet = make_drill(name, key, tempo_bpm=TAKES[0].tempo_bpm)
        write_bytes(out / f"{name}.mid", midi_bytes(sheet.part))
        write_bytes(out / f"{name}.musicxml", musicxml_bytes(sheet.part))
        data = json.dumps(part_to_json(sheet.part), ensure_ascii=False, indent=2)
        write_bytes(out / f"{name}.json", data.encode())
        write_track(out / f"{name}.flac", sheet.part)
        seconds = sheet.part.tempo_map.seconds_at(sheet.part.length)
        print(
            f"\nMade the drill: {sheet.part.title}, {len(sheet.part.notes)} notes, {seconds:.0f} s"
        )
        for remark in sheet.remarks:
            print(f"  {remark}")
    return make_drill(DRILL, key, tempo_bpm=TAKES[0].tempo_bpm)


def _listen(part: Part, out: Path) -> None:
    from undersong.cli.hear import listen, spoken
    from undersong.cli.keeping import keep_take
    from undersong.ear import hearing_json
    from undersong.log.book import Book

    log = out / DEMO_LOG
    log.unlink(missing_ok=True)  # each demo starts its own log afresh
    with Book.open(log) as book:
        for number, (take, path) in enumerate(_recordings(), 1):
            print(f"\nListening to pass {number}, played at {take.tempo_bpm:g} ...", flush=True)
            asked = part.at_tempo(take.tempo_bpm)
            hearing, length_s = listen(path, asked)
            data = json.dumps(hearing_json(hearing), ensure_ascii=False, indent=2)
            write_bytes(out / f"pass-{number}.json", data.encode())
            kept = keep_take(
                book,
                PLAYER,
                asked,
                hearing,
                asked_bpm=take.tempo_bpm,
                length_s=length_s,
                at=datetime.now(UTC),
            )
            for line in (*spoken(hearing, asked), kept.in_words):
                print(f"  {line}")


def _recordings() -> Iterator[tuple[DemoTake, Path]]:
    for take in TAKES:
        with as_file(files("undersong") / "demo" / "takes" / f"{take.name}.flac") as path:
            yield take, path


def _listing(out: Path) -> str:
    names = sorted(path.name for path in out.iterdir() if not path.name.startswith("."))
    return "".join(f"\n  {name}" for name in names)
