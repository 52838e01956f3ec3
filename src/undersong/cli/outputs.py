"""A part on its way out of the command line: as text, MIDI, MusicXML, JSON and sound."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.cli.options import write_bytes
from undersong.theory.meter import beat_count

if TYPE_CHECKING:
    from undersong.page.pack import Edition
    from undersong.theory.meter import Wholes
    from undersong.theory.part import Bar, Note, Part


def add_outputs(command: argparse.ArgumentParser) -> None:
    """`--midi`, `--musicxml`, `--wav` and `--pdf`."""
    for kind, what in (
        ("midi", "a MIDI file"),
        ("musicxml", "a MusicXML file"),
        ("wav", "the sound with count-in and click; .flac, .ogg and .mp3 work too"),
        ("pdf", "pages to print"),
    ):
        command.add_argument(f"--{kind}", type=Path, metavar="FILE", help=f"write {what}")


def write_outputs(
    args: argparse.Namespace, part: Part, pdf: Callable[[], bytes] | None = None
) -> list[str]:
    """Write what was asked for; returns one line for each file.

    `pdf` makes the pages where they are more than the part as staff and tab.
    """
    from undersong.exchange import midi_bytes, musicxml_bytes

    written = []
    if args.pdf is not None:
        write_bytes(args.pdf, part_pages(part) if pdf is None else pdf())
        written.append(f"Wrote {args.pdf}.")
    for path, make in ((args.midi, midi_bytes), (args.musicxml, musicxml_bytes)):
        if path is not None:
            write_bytes(path, make(part))
            written.append(f"Wrote {path}.")
    if args.wav is not None:
        start_s = write_track(args.wav, part)
        written.append(f"Wrote {args.wav}: bar 1 starts {start_s:.3f} seconds in.")
    return written


def part_pages(part: Part) -> bytes:
    """The part as staff and tab, ready to print."""
    from undersong.exchange import musicxml_bytes
    from undersong.page.pack import part_pdf

    return part_pdf(part, musicxml=musicxml_bytes, edition=today())


def today() -> Edition:
    """What is printed at the foot of every page made now."""
    from undersong.page.pack import Edition

    return Edition(datetime.now(UTC).astimezone().date())


def write_track(path: Path, part: Part) -> float:
    """Bass, click and count-in as one sound file; returns where beat 0 of the part falls."""
    from undersong.sound.files import write_sound
    from undersong.sound.mix import render_part

    mix = render_part(part)
    write_sound(path, mix.samples, mix.sample_rate_hz)
    return mix.start_s


LEGEND = "Each note: beat ({}), {}, string:fret (string 1 is the highest)."
COUNTED = "+ is the and"
COUNTED_IN_THREES = "+ and a are its second and third eighth"


def part_lines(part: Part) -> list[str]:
    """The part for reading: a line a bar, each note with its place on the neck."""
    head = f"{part.title}, key of {part.key}, {part.meter}, {part.tempo_bpm:g} a minute"
    counted = COUNTED_IN_THREES if part.meter.is_compound else COUNTED
    has_degrees = any(note.degree is not None for note in part.notes)
    lines = [head, LEGEND.format(counted, "name(degree)" if has_degrees else "name"), ""]
    sections = {mark.at: mark for mark in part.sections}
    for bar in part.bars:
        inside = sorted(at for at in sections if bar.at <= at < bar.at + bar.length)
        lines.extend(sections[at].name for at in inside)
        lines.append(f"{bar.number:>4} | {_bar_text(part, bar)}")
    lines.append("")
    return lines


def _bar_text(part: Part, bar: Bar) -> str:
    notes = [note for note in part.notes if bar.at <= note.at < bar.at + bar.length]
    texts = [f"{_beat_text(part, note.at)} {_note_text(note)}" for note in notes]
    sounding = [note for note in part.notes if note.at < bar.at < note.end]
    if sounding:
        texts.insert(0, f"({sounding[-1].pitch} rings on)")
    return "   ".join(texts) or "rest"


def _beat_text(part: Part, at: Wholes) -> str:
    return beat_count(part.place_of(at)[1], part.meter_at(at))


def _note_text(note: Note) -> str:
    degree = "" if note.degree is None else f"({note.degree})"
    place = "" if note.string is None else f" {note.string}:{note.fret}"
    return f"{note.pitch}{degree}{place}"
