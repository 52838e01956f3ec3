"""Where each player stands with each song of a Sunday, as the leader wants to see it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from undersong.log.book import Book
from undersong.log.values import Item, Player
from undersong.practice.passes import Pass
from undersong.practice.readiness import Readiness, readiness
from undersong.practice.weak import KeyRecord, keys_record


@dataclass(frozen=True, slots=True)
class ServiceSong:
    """A song of the set: its title, its key by name, and its tempo on the day."""

    title: str
    key: str
    service_bpm: float

    @property
    def label(self) -> str:
        """What its written line is called in the log."""
        return Item(0, "line", self.title, self.key).label


@dataclass(frozen=True, slots=True)
class Standing:
    """One player and one song: ready or not, where the climb is, how many passes there were.

    `ladder_bpm` is None where the climb has not begun.
    """

    player: str
    song: ServiceSong
    readiness: Readiness
    ladder_bpm: float | None
    passes: int

    @property
    def in_words(self) -> str:
        """One or two sentences; for a song never played, that."""
        if not self.passes:
            return "Not played yet."
        said = self.readiness.in_words
        if self.readiness.ready or self.ladder_bpm is None:
            return said
        return f"{said} The climb stands at {self.ladder_bpm:g}."


@dataclass(frozen=True, slots=True)
class PlayerStanding:
    """One player over the whole set, and how the keys they played in went."""

    player: Player
    songs: tuple[Standing, ...]
    keys: tuple[KeyRecord, ...]

    @property
    def ready(self) -> bool:
        """Whether every song of the set is ready."""
        return all(each.readiness.ready for each in self.songs)


def standings(
    book: Book, songs: Iterable[ServiceSong], players: Iterable[Player], *, now: datetime
) -> tuple[PlayerStanding, ...]:
    """Every player with every song, in the order given.

    Parameters
    ----------
    now
        With its zone: only recent first passes of a day count (see `practice.readiness`).
    """
    wanted = tuple(songs)
    items = {item.label: item for item in book.items()}
    return tuple(_standing(book, player, wanted, items, now) for player in players)


def _standing(
    book: Book,
    player: Player,
    songs: tuple[ServiceSong, ...],
    items: dict[str, Item],
    now: datetime,
) -> PlayerStanding:
    takes = book.takes_of(player)
    by_item: dict[str, list[Pass]] = defaultdict(list)
    for take in takes:
        by_item[take.item.label].append(take.as_pass)
    found = []
    for song in songs:
        passes = by_item[song.label]
        item = items.get(song.label)
        tempo = book.ladder_of(player, item).ladder.tempo_bpm if item and passes else None
        ready = readiness(passes, service_bpm=song.service_bpm, now=now)
        found.append(Standing(player.name, song, ready, tempo, len(passes)))
    keys = keys_record((take.item.key, take.outcome) for take in takes)
    return PlayerStanding(player, tuple(found), keys)
