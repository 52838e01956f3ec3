"""Charts that must read, each with its bars spelt out; charts that must not, with their errors.

A good chart's ``.bars`` file has a line for every section: chords of each bar with their places
(in whole notes, where not on the bar line) and marks. A bad chart's ``.errors`` file has a line
for every error: line, column, message.
"""

from pathlib import Path

import pytest

from undersong.chart.song import Bar, ChordEvent, Song
from undersong.chart.text import parse_song
from undersong.chart.write import fresh_text, song_text
from undersong.errors import ChartErrors

CHARTS = Path(__file__).parent.parent / "charts"
GOOD = sorted((CHARTS / "good").glob("*.txt"))
BAD = sorted((CHARTS / "bad").glob("*.txt"))


def text_of(path: Path) -> str:
    return path.read_bytes().decode("utf-8")


def test_there_are_charts_to_read() -> None:
    assert len(GOOD) >= 25
    assert len(BAD) >= 25


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_a_good_chart_reads_as_spelt_out(path: Path) -> None:
    expected = path.with_suffix(".bars").read_text(encoding="utf-8")
    assert spelt_out(parse_song(text_of(path))) == expected


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_a_good_chart_is_written_back(path: Path) -> None:
    song = parse_song(text_of(path))
    assert song_text(song) == text_of(path)
    assert parse_song(fresh_text(song)) == song


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_bad_chart_says_what_and_where(path: Path) -> None:
    expected = path.with_suffix(".errors").read_text(encoding="utf-8")
    with pytest.raises(ChartErrors) as refused:
        parse_song(text_of(path))
    said = [f"{e.line}:{e.column} {e.message}\n" for e in refused.value.errors]
    assert "".join(said) == expected


def spelt_out(song: Song) -> str:
    lines = [f"{song.title}, {song.key} from {song.number_key}, {song.meter}, {song.tempo_bpm:g}"]
    for section in song.sections:
        bars = "".join(f" | {_bar(bar, song)}" for bar in section.bars)
        times = f" x{section.times}" if section.times > 1 else ""
        lines.append(f"{section.name}{times}{bars}")
    played = [
        item.name
        + (f" x{item.times}" if item.times > 1 else "")
        + (f" +{item.lift.semitones}" if item.lift else "")
        + (" open" if item.is_open else "")
        for item in song.playing_order
    ]
    lines.append(f"order {', '.join(played)}")
    lines += [f"{each.kind} {each.line}:{each.column} {each.text}" for each in song.report]
    return "\n".join(lines) + "\n"


def _bar(bar: Bar, song: Song) -> str:
    words = [f"({text})" for text in bar.directions]
    if bar.key_change is not None:
        words.append(f"(to {bar.key_change.key or f'+{bar.key_change.semitones}'})")
    if bar.meter != song.meter:
        words.append(f"in {bar.meter}")
    if bar.is_pickup:
        words.append(f"pickup of {bar.pickup}")
    words += [f"ending {number}" for number in bar.endings]
    words += ["opens"] if bar.opens_repeat else []
    words += [_event(event) for event in bar.events] or ["on"]
    words += [f"closes x{bar.closes_repeat}"] if bar.closes_repeat else []
    return " ".join(words)


def _event(event: ChordEvent) -> str:
    text = str(event.chord) if event.chord is not None else "silence"
    text += f"@{event.at}" if event.at else ""
    text += "~held" if event.held else ""
    text += "~stopped" if event.stopped else ""
    text += f"~early {event.push}" if event.push else ""
    return text + ("~hold" if event.fermata else "")
