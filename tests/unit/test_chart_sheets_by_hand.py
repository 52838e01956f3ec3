"""Sheets written by hand as bands send them round, with the numbers a player would write.

A sheet's ``.numbers`` file holds its key, then a line for every section with its bars, then the
order where it is not that of the sections, then the report.
"""

from pathlib import Path

import pytest

from undersong.chart.arrive import read_sheet
from undersong.chart.text import parse_song
from undersong.chart.write import song_text

SHEETS = sorted((Path(__file__).parent.parent / "charts" / "sheets").glob("*.txt"))


def numbers_of(path: Path) -> str:
    song = read_sheet(path.read_bytes(), path.name)
    lines = [f"{song.title}, {song.key}, {song.meter}"]
    for section in song.sections:
        bars = [" ".join(str(e.chord or 0) for e in bar.events) for bar in section.bars]
        lines.append(f"{section.name} | {' | '.join(bars)}")
    if song.order:
        lines.append(f"order {', '.join(item.name for item in song.order)}")
    lines += [f"{each.kind} {each.line} {each.text}" for each in song.report if each.line]
    return "\n".join(lines) + "\n"


def test_there_are_sheets() -> None:
    assert len(SHEETS) >= 25


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_a_sheet_by_hand(path: Path) -> None:
    assert numbers_of(path) == path.with_suffix(".numbers").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_it_becomes_a_chart_that_reads(path: Path) -> None:
    song = read_sheet(path.read_bytes(), path.name)
    assert parse_song(song_text(song)) == song
