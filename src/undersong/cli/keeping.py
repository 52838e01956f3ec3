"""A judged take on its way into the log, and what the ladder answers."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from undersong.errors import LogError
from undersong.practice.ladder import outcome_of

if TYPE_CHECKING:
    from undersong.ear import Hearing
    from undersong.log.book import Book
    from undersong.log.values import KeptTake, Player
    from undersong.theory.part import Part

LOG_NAME = "log.sqlite"
SAME_TEMPO = 0.03
"""A listener just notices this much (Drake & Botte 1993, six intervals: 3 %)."""


def usual_log() -> Path:
    """Where the log lies unless told: a folder a musician can find and keep a copy of."""
    folder = Path.home() / "Undersong"
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise LogError(f"The folder {folder} cannot be made: {error.strerror}.") from None
    return folder / LOG_NAME


def kept_log(path: Path | None) -> Path:
    """The log asked for, or the usual one; refused where there is none yet."""
    found = path or usual_log()
    if not found.exists():
        raise LogError(f"There is no log at {found}: nobody's passes are kept yet.")
    return found


def keep_take(
    book: Book,
    name: str,
    part: Part,
    hearing: Hearing,
    *,
    asked_bpm: float | None,
    length_s: float,
    at: datetime,
) -> KeptTake:
    """Keep a judged take of a drill for a player, who is added if new; one transaction.

    `asked_bpm` is the click's tempo where it is known. The ladder counts a pass only at its own
    tempo, so a take that was heard at another tempo is kept as played there.
    """
    from undersong.ear import hearing_json
    from undersong.exchange import part_to_json

    player = player_named(book, name, at)
    item = book.keep_item("drill", part.title, key=str(part.key), part=part_to_json(part))
    ladder_bpm = book.ladder_of(player, item).ladder.tempo_bpm
    return book.keep_take(
        player,
        item,
        outcome=outcome_of(hearing.clean),
        tempo_bpm=kept_bpm(hearing.tempo_bpm, asked_bpm, ladder_bpm, part.tempo_bpm),
        at=at,
        hearing=hearing_json(hearing),
        tolerance_ms=hearing.tolerance_ms,
        length_s=length_s,
        whole=True,
    )


def kept_bpm(
    heard_bpm: float, asked_bpm: float | None, ladder_bpm: float, written_bpm: float
) -> float:
    """The tempo a take is kept at: the one it was meant for, if it was played there.

    Meant is the asked tempo where one is given, else the ladder's, else the written one.
    """
    meant = (asked_bpm,) if asked_bpm is not None else (ladder_bpm, written_bpm)
    for tempo_bpm in meant:
        if abs(heard_bpm / tempo_bpm - 1) <= SAME_TEMPO:
            return tempo_bpm
    return round(heard_bpm, 1)


def player_named(book: Book, name: str, at: datetime) -> Player:
    """The player of this name, added to the log at the first take."""
    for player in book.players():
        if player.name.casefold() == name.strip().casefold():
            return player
    return book.add_player(name.strip(), at=at)
