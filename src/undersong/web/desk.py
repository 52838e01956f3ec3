"""What lies on the desk: the open log, Sunday's set in it, and who is playing.

Conventions
-----------
In the log a set names its charts by their titles. A set brought from a file replaces the one of
its name only where the file is newer, so that what was changed in the app is not undone by
opening the same file again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

from undersong.chart.setlist import Player, Setlist, SetSong, parse_set, set_songs
from undersong.chart.song import Song, in_key
from undersong.chart.text import parse_song
from undersong.errors import ChartErrors, LogError, UndersongError
from undersong.log.book import Book
from undersong.log.values import Item
from undersong.log.values import Player as KeptPlayer
from undersong.neck.instrument import Instrument
from undersong.theory.key import Key
from undersong.theory.tuning import parse_tuning
from undersong.web.settext import set_text

OPEN_SET = "open set"
DEMO_SET = "sunday.toml"


def now_here() -> datetime:
    """This moment, in this computer's zone."""
    return datetime.now().astimezone()


@dataclass(frozen=True, slots=True)
class Sunday:
    """The set in hand: its name in the log, the set, and its songs in their keys for the day."""

    name: str
    setlist: Setlist
    songs: tuple[Song, ...]

    def entry(self, title: str) -> SetSong | None:
        """The set's line about a song, None where it is not in the set."""
        same = title.casefold()
        return next((each for each in self.setlist.songs if each.file.casefold() == same), None)


class Desk:
    """The log and the set, as the pages see them."""

    def __init__(self, book: Book, *, clock: Callable[[], datetime] = now_here) -> None:
        self.book = book
        self.clock = clock

    def bring_demo(self) -> None:
        """Put the demo's Sunday on the desk, where the log has no set of its own."""
        if self.book.sets():
            return
        demo = files("undersong") / "demo"
        setlist = parse_set((demo / DEMO_SET).read_text("utf-8"), source=DEMO_SET)
        charts = {song.file: (demo / song.file).read_text("utf-8") for song in setlist.songs}
        self._bring(setlist, charts, changed=datetime(2000, 1, 1, tzinfo=UTC))

    def bring_set(self, path: Path) -> None:
        """Put a set file (or the one set file of a folder) and its charts on the desk."""
        file = _set_file(path)
        text = _text_of(file)
        setlist = parse_set(text, source=file.name)
        charts: dict[str, str] = {}
        for song in setlist.songs:
            chart = file.parent / song.file
            if chart.is_file():
                charts[song.file] = _text_of(chart)
        changed = max(
            each.stat().st_mtime
            for each in (file, *(file.parent / name for name in charts))
        )  # fmt: skip
        self._bring(setlist, charts, changed=datetime.fromtimestamp(changed, UTC))

    def _bring(self, setlist: Setlist, charts: Mapping[str, str], *, changed: datetime) -> None:
        songs = set_songs(setlist, charts)
        name = setlist.title or (str(setlist.date) if setlist.date else "Sunday")
        known = {each.name: each.kept_at for each in self.book.sets()}
        if name not in known or known[name] < changed:
            for entry, song in zip(setlist.songs, songs, strict=True):
                self.book.keep_chart(song.title, charts[entry.file], at=self.clock())
            titled = tuple(
                replace(entry, file=song.title)
                for entry, song in zip(setlist.songs, songs, strict=True)
            )
            self.keep(name, replace(setlist, songs=titled))
        self.book.keep_setting(OPEN_SET, name)

    def keep(self, name: str, setlist: Setlist) -> None:
        """Keep a set, and its players with their levels and instruments."""
        held_on = setlist.date or self.clock().date()
        self.book.keep_set(name, held_on, set_text(setlist), at=self.clock())
        known = {each.name for each in self.book.players()}
        for player in setlist.players:
            if player.name not in known:
                self.book.add_player(player.name, at=self.clock())
            self.book.change_player(
                self.book.player(player.name),
                level=player.level,
                tuning=player.tuning,
                hand=player.hand,
            )

    def sunday(self) -> Sunday:
        """The set in hand; a LogError where there is none."""
        name = self.book.setting(OPEN_SET)
        kept = {each.name: each for each in self.book.sets()}
        if not isinstance(name, str) or name not in kept:
            if not kept:
                raise LogError("There is no set yet: open one, or begin one.")
            name = max(kept.values(), key=lambda each: each.held_on).name
        setlist = parse_set(kept[name].text, source=name)
        charts = {each.title: each.text for each in self.book.charts()}
        return Sunday(name, setlist, set_songs(setlist, charts))

    def song(self, title: str, key: Key | None = None) -> Song:
        """A song in its key and tempo for the day, or in another key."""
        sunday = self.sunday()
        for entry, song in zip(sunday.setlist.songs, sunday.songs, strict=True):
            if entry.file.casefold() == title.casefold():
                return song if key is None else in_key(song, key)
        song = parse_song(self.book.chart(title).text, source=title)
        return song if key is None else in_key(song, key)

    def item(self, number: str) -> Item:
        """The work of a number in the log."""
        found = next((each for each in self.book.items() if str(each.id) == number), None)
        if found is None:
            raise UndersongError("That work is not in the log any more: choose another.")
        return found

    def player(self, name: str | None) -> KeptPlayer | None:
        """The player of a name; else the first of the set, else of the log, else None."""
        players = {each.name: each for each in self.book.players()}
        if name in players:
            return players[name]
        for each in self.listed_players():
            if each.name in players:
                return players[each.name]
        return next(iter(players.values()), None)

    def listed_players(self) -> tuple[Player, ...]:
        """Who plays on Sunday; nobody where there is no set to be read."""
        try:
            return self.sunday().setlist.players
        except UndersongError:
            return ()

    def instrument(self, player: KeptPlayer | None) -> Instrument:
        """What a player plays: tuning and hand from the log, frets and scale from the set."""
        if player is None:
            return Instrument()
        plain = Instrument(
            tuning=parse_tuning(player.tuning or "standard"), left_handed=player.hand == "left"
        )
        for each in self.listed_players():
            if each.name == player.name:
                return replace(plain, frets=each.frets, scale_mm=each.scale_mm)
        return plain

    def today(self) -> date:
        """The day, here."""
        return self.clock().date()


def _set_file(path: Path) -> Path:
    if not path.is_dir():
        return path
    found = sorted(path.glob("*.toml"))
    if len(found) == 1:
        return found[0]
    said = ", ".join(each.name for each in found) if found else "none"
    raise UndersongError(f"{path} should hold one set (a .toml file); there is: {said}. Name one.")


def _text_of(path: Path) -> str:
    try:
        return path.read_text("utf-8-sig")
    except UnicodeDecodeError:
        raise UndersongError(f"{path} is not plain text in UTF-8: save it as UTF-8.") from None
    except OSError as error:
        raise UndersongError(f"{path} cannot be read: {error.strerror}.") from None


def sentences(error: UndersongError) -> list[dict[str, object]]:
    """What went wrong, for a page or a script: message, line and column for each."""
    errors = error.errors if isinstance(error, ChartErrors) else (error,)
    return [
        {
            "message": getattr(each, "message", str(each)),
            "line": getattr(each, "line", 0),
            "column": getattr(each, "column", 0),
            "text": getattr(each, "text", ""),
        }
        for each in errors
    ]
