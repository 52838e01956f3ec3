"""A Sunday: the songs in order, their keys and tempos, who sings, who plays.

A plain TOML file::

    date = 2026-11-29
    title = "First Sunday of Advent"

    [[song]]
    file = "slow-water.txt"
    key = "A"
    tempo = 70
    singer = "Mara"

    [[player]]
    name = "Iris"
    level = 1
    tuning = "E1,A1,D2,G2"

`parse_set` reads the file alone; `set_songs` puts the charts it names into their keys and reports
everything missing or clashing before anything is made.
"""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from undersong.chart.song import Remark, Song, in_key
from undersong.chart.text import parse_song
from undersong.errors import (
    ChartError,
    ChartErrors,
    ChartMeaningError,
    ChartSyntaxError,
    TheoryError,
)
from undersong.theory.key import Key, parse_key
from undersong.theory.tempo import TEMPO_MAX_BPM, TEMPO_MIN_BPM
from undersong.theory.tuning import parse_tuning

LEVELS = range(1, 7)
STANDARD_TUNING = "E1,A1,D2,G2"
STANDARD_FRETS = 20
STANDARD_SCALE_MM = 863.6
CLASH_SHARE = 0.15  # a set tempo further than this from the chart's is asked about
MAX_FRETS = 36
_SONG_KEYS = ("file", "key", "tempo", "singer", "notes")
_PLAYER_KEYS = ("name", "level", "tuning", "hand", "frets", "scale_mm", "notes")
_SET_KEYS = ("date", "title", "notes", "song", "player")


@dataclass(frozen=True, slots=True)
class SetSong:
    """One song of the set; `key` and `tempo_bpm` are None where the chart's own are meant."""

    file: str
    key: Key | None = None
    tempo_bpm: float | None = None
    singer: str = ""
    notes: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Player:
    """Who plays, at what level (1 to 6), on what.

    `tuning` lists the strings from low to high; `hand` is "right" or "left", as the bass is built.
    """

    name: str
    level: int = 1
    tuning: str = STANDARD_TUNING
    hand: str = "right"
    frets: int = STANDARD_FRETS
    scale_mm: float = STANDARD_SCALE_MM
    notes: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Setlist:
    """A Sunday as its file tells it."""

    songs: tuple[SetSong, ...]
    players: tuple[Player, ...] = ()
    title: str = ""
    date: datetime.date | None = None
    notes: str = ""
    source: str | None = None


def parse_set(text: str, *, source: str | None = None) -> Setlist:
    """Read a set file.

    Raises
    ------
    ChartErrors
        With everything missing, unknown or impossible in it, each with its line.
    """
    return _SetReader(text, source).read()


class _SetReader:
    def __init__(self, text: str, source: str | None) -> None:
        self.lines = text.removeprefix("\ufeff").splitlines()
        self.text = text.removeprefix("\ufeff")
        self.source = source
        self.errors: list[ChartError] = []

    def read(self) -> Setlist:
        table = self._table()
        self._check_names(table, _SET_KEYS, 0)
        songs = [self._song(each, line) for each, line in self._entries(table, "song", _SONG_KEYS)]
        if not songs and not self.errors:
            self._error("A set wants at least one song: write [[song]] and file = ...", 0)
        players = [
            self._player(each, line) for each, line in self._entries(table, "player", _PLAYER_KEYS)
        ]
        self._check_twice([player.name for player in players], "player")
        setlist = Setlist(
            songs=tuple(songs),
            players=tuple(players),
            title=self._words(table, "title", 0),
            date=self._date(table),
            notes=self._words(table, "notes", 0),
            source=self.source,
        )
        if self.errors:
            raise ChartErrors(sorted(self.errors, key=lambda each: each.line))
        return setlist

    def _error(self, message: str, line: int, word: str = "") -> None:
        text = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
        column = text.find(word) + 1 if word and word in text else 1
        self.errors.append(
            ChartMeaningError(
                message, text=text, line=line, column=column if line else 0, source=self.source
            )
        )

    def _table(self) -> dict[str, Any]:
        try:
            return tomllib.loads(self.text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            place = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
            at_end = (len(self.lines), len(self.lines[-1]) + 1) if self.lines else (0, 0)
            line, column = (int(place[1]), int(place[2])) if place else at_end
            text = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
            raise ChartErrors(
                [
                    ChartSyntaxError(
                        "This line of the set cannot be read: write name = value, with words and "
                        'keys in quotes, as in key = "A".',
                        text=text,
                        line=line,
                        column=column,
                        source=self.source,
                    )
                ]
            ) from None

    def _entries(
        self, table: dict[str, Any], kind: str, names: tuple[str, ...]
    ) -> list[tuple[dict[str, Any], int]]:
        found = table.get(kind, [])
        if not isinstance(found, list) or not all(isinstance(each, dict) for each in found):
            self._error(f"Write each {kind} under a line of its own: [[{kind}]].", 0)
            return []
        starts = [
            index + 1
            for index, line in enumerate(self.lines)
            if re.match(rf"\s*\[\[\s*{kind}\s*\]\]", line)
        ]
        starts += [0] * (len(found) - len(starts))
        for entry, line in zip(found, starts, strict=False):
            self._check_names(entry, names, line)
        return list(zip(found, starts, strict=False))

    def _check_names(self, table: dict[str, Any], names: tuple[str, ...], start: int) -> None:
        for name in table:
            if name not in names:
                self._error(
                    f"{name} means nothing here: use {', '.join(names)}.",
                    self._line(start, name),
                    name,
                )

    def _line(self, start: int, name: str) -> int:
        """The line that sets a name, from a [[song]] or [[player]] line on."""
        for index in range(start, len(self.lines)):
            if index > start and self.lines[index].lstrip().startswith("[["):
                break
            if re.match(rf"\s*\"?{re.escape(name)}\"?\s*[=.\]]", self.lines[index]):
                return index + 1
        return start

    def _words(self, table: dict[str, Any], name: str, start: int) -> str:
        value = table.get(name, "")
        if isinstance(value, str):
            return value.strip()
        self._error(f"Write {name} in quotes.", self._line(start, name), name)
        return ""

    def _number(
        self, table: dict[str, Any], name: str, start: int, low: float, high: float
    ) -> float | None:
        value = table.get(name)
        if value is None:
            return None
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if is_number and low <= value <= high:
            return float(value)
        self._error(
            f"{name} = {value} cannot be: write a number from {low:g} to {high:g}.",
            self._line(start, name),
            name,
        )
        return None

    def _date(self, table: dict[str, Any]) -> datetime.date | None:
        value = table.get("date")
        if isinstance(value, datetime.datetime):
            return value.date()
        if isinstance(value, datetime.date):
            return value
        if value is None:
            return None
        try:
            return datetime.date.fromisoformat(str(value))
        except ValueError:
            self._error(
                f"{value} is not a date: write year-month-day, as in 2026-11-29.",
                self._line(0, "date"),
                "date",
            )
            return None

    def _song(self, table: dict[str, Any], line: int) -> SetSong:
        file = self._words(table, "file", line)
        if not file:
            self._error("This song names no chart: write file = ...", line)
        key = None
        if table.get("key") is not None:
            key = self._theory(table, "key", line, parse_key)
        return SetSong(
            file=file,
            key=key,
            tempo_bpm=self._number(table, "tempo", line, TEMPO_MIN_BPM, TEMPO_MAX_BPM),
            singer=self._words(table, "singer", line),
            notes=self._words(table, "notes", line),
            line=line,
        )

    def _theory(
        self, table: dict[str, Any], name: str, line: int, read: Callable[[str], Key]
    ) -> Key | None:
        try:
            return read(self._words(table, name, line))
        except TheoryError as error:
            self._error(str(error), self._line(line, name), name)
            return None

    def _player(self, table: dict[str, Any], line: int) -> Player:
        name = self._words(table, "name", line)
        if not name:
            self._error("This player has no name: write name = ...", line)
        level = self._number(table, "level", line, LEVELS[0], LEVELS[-1])
        if level is not None and level != int(level):
            self._error("A level is a whole number, 1 to 6.", self._line(line, "level"), "level")
        hand = self._words(table, "hand", line).casefold() or "right"
        if hand not in ("right", "left"):
            self._error(
                f"hand = {hand} is not known: write right or left.",
                self._line(line, "hand"),
                "hand",
            )
        frets = self._number(table, "frets", line, 12, MAX_FRETS)
        scale_mm = self._number(table, "scale_mm", line, 400, 1200)
        return Player(
            name=name,
            level=int(level or LEVELS[0]),
            tuning=self._tuning(table, line),
            hand=hand,
            frets=int(frets or STANDARD_FRETS),
            scale_mm=scale_mm or STANDARD_SCALE_MM,
            notes=self._words(table, "notes", line),
            line=line,
        )

    def _tuning(self, table: dict[str, Any], line: int) -> str:
        words = self._words(table, "tuning", line) or STANDARD_TUNING
        try:
            return str(parse_tuning(words))
        except TheoryError as error:
            self._error(str(error), self._line(line, "tuning"), "tuning")
            return STANDARD_TUNING

    def _check_twice(self, names: list[str], kind: str) -> None:
        for name in sorted({each for each in names if names.count(each) > 1}):
            self._error(f"{name} is named twice: each {kind} wants a name of their own.", 0)


def set_songs(setlist: Setlist, charts: Mapping[str, str]) -> tuple[Song, ...]:
    """The songs of a set, in order, each in its key and at its tempo for the day.

    Parameters
    ----------
    charts
        The text of each chart by the file name the set uses.

    Raises
    ------
    ChartErrors
        Naming every chart that is missing or cannot be read, and every key it cannot take.
    """
    errors: list[ChartError] = []
    songs: list[Song] = []
    for entry in setlist.songs:
        text = charts.get(entry.file)
        if text is None:
            errors.append(_of_entry(f"The chart {entry.file} is not there.", entry, setlist))
            continue
        try:
            songs.append(_for_the_day(parse_song(text, source=entry.file), entry))
        except ChartErrors as found:
            errors += found.errors
        except ChartError as found:
            errors.append(_of_entry(found.message, entry, setlist))
    if errors:
        raise ChartErrors(errors)
    return tuple(songs)


def _of_entry(message: str, entry: SetSong, setlist: Setlist) -> ChartMeaningError:
    return ChartMeaningError(
        message, line=entry.line, column=1 if entry.line else 0, source=setlist.source
    )


def _for_the_day(song: Song, entry: SetSong) -> Song:
    moved = song if entry.key is None else in_key(song, entry.key)
    if entry.tempo_bpm is None:
        return moved
    clash = abs(entry.tempo_bpm / song.tempo_bpm - 1)
    report = moved.report
    if clash > CLASH_SHARE and "tempo" not in song.assumed:
        report += (
            Remark(
                0,
                0,
                "guessed",
                f"The chart says {song.tempo_bpm:g} and the set {entry.tempo_bpm:g}; "
                "the set's tempo is used.",
            ),
        )
    return replace(moved, tempo_bpm=entry.tempo_bpm, report=report)
