"""The log carried elsewhere: a table for a spreadsheet, a JSON document for another log.

Conventions
-----------
The JSON document holds players, items, ladders, takes with their overruled verdicts, assignments,
charts and sets. Players, charts and sets are known by name, items by kind, name and key, takes by
their own `uid`. Recordings stay where they are; so does what a player said about pain.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from datetime import date

import sqlalchemy as sa

from undersong.log import schema
from undersong.log.ladders import ladder_of_row
from undersong.log.shelf import all_items
from undersong.log.takes import find_takes
from undersong.log.values import Item, Player, Take, notes_of
from undersong.practice.ladder import Outcome, ladder_json

FORMAT = "undersong log"
FORMAT_VERSION = 1

COLUMNS = (
    "date", "time", "player", "level", "kind", "name", "key", "tempo_bpm", "outcome", "on_ladder",
    "whole", "length_s", "tolerance_ms", "wrong", "missed", "extra", "unsure", "put_right", "note",
)  # fmt: skip
_SAID = {Outcome.CLEAN: "clean", Outcome.NOT_CLEAN: "not clean", Outcome.UNSURE: "could not tell"}


def to_csv(takes: Iterable[Take], players: Iterable[Player]) -> str:
    """Takes as a table, one line each, in the order given; the first line names the columns."""
    levels = {player.name: player.level for player in players}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(COLUMNS)
    for take in takes:
        verdicts = [str(note.get("verdict")) for note in notes_of(take.hearing)]
        writer.writerow(
            _harmless(cell)
            for cell in (
                take.at.date().isoformat(),
                take.at.strftime("%H:%M:%S%z"),
                take.player,
                levels[take.player],
                take.item.kind,
                take.item.name,
                take.item.key,
                f"{take.tempo_bpm:g}",
                _SAID[take.outcome],
                "yes" if take.counted_as else "no",
                "yes" if take.whole else "no",
                f"{take.length_s:g}",
                "" if take.tolerance_ms is None else f"{take.tolerance_ms:g}",
                *(verdicts.count(each) for each in ("wrong", "missed", "extra", "unsure")),
                len(take.overruled),
                take.note,
            )
        )
    return out.getvalue()


def _harmless(cell: object) -> object:
    # A spreadsheet runs text that begins like a formula; an apostrophe keeps it text.
    if isinstance(cell, str) and cell.startswith(("=", "+", "-", "@", "\t", "\r")):
        return f"'{cell}"
    return cell


def to_json(connection: sa.Connection, player: Player | None) -> dict[str, object]:
    """All of the log, or all that concerns one player."""
    items = all_items(connection)
    takes = find_takes(connection, player, None, None)
    people = connection.execute(sa.select(schema.players).order_by(schema.players.c.name)).all()
    names = {row.id: row.name for row in people if player is None or row.id == player.id}
    ladders = [
        {"player": names[row.player_id], "item": _name_of(items[row.item_id])}
        | ladder_json(*ladder_of_row(row))
        for row in connection.execute(sa.select(schema.ladders)).all()
        if row.player_id in names
    ]
    given = [
        {
            "player": names[row.player_id],
            "item": _name_of(items[row.item_id]),
            "given_at": row.given_at.isoformat(),
            "due_on": None if row.due_on is None else row.due_on.isoformat(),
            "note": row.note,
            "done_at": None if row.done_at is None else row.done_at.isoformat(),
        }
        for row in connection.execute(sa.select(schema.assignments)).all()
        if row.player_id in names
    ]
    return {
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "players": [
            {
                "name": row.name,
                "level": row.level,
                "tuning": row.tuning,
                "hand": row.hand,
                "added_at": row.added_at.isoformat(),
            }
            for row in people
            if row.id in names
        ],
        "charts": _texts(connection, schema.charts, "title"),
        "items": [
            _name_of(item) | {"song_bpm": item.song_bpm, "chart": item.chart, "part": item.part}
            for item in items.values()
        ],
        "sets": _texts(connection, schema.sets, "name"),
        "ladders": ladders,
        "takes": [_take_json(take) for take in takes],
        "assignments": given,
    }


def _texts(connection: sa.Connection, table: sa.Table, key: str) -> list[dict[str, object]]:
    rows = connection.execute(sa.select(table).order_by(table.c[key])).mappings().all()
    return [
        {
            name: value.isoformat() if isinstance(value, date) else value
            for name, value in row.items()
            if name != "id"
        }
        for row in rows
    ]


def _name_of(item: Item) -> dict[str, object]:
    return {"kind": item.kind, "name": item.name, "key": item.key}


def _take_json(take: Take) -> dict[str, object]:
    return {
        "uid": take.uid,
        "player": take.player,
        "item": _name_of(take.item),
        "at": take.at.isoformat(),
        "tempo_bpm": take.tempo_bpm,
        "outcome": take.outcome.value,
        "counted_as": None if take.counted_as is None else take.counted_as.value,
        "tolerance_ms": take.tolerance_ms,
        "length_s": take.length_s,
        "whole": take.whole,
        "roots_right": take.roots_right,
        "in_time": take.in_time,
        "note": take.note,
        "overruled": [
            {"note": each.note, "verdict": each.verdict, "at": each.at.isoformat(), "by": each.by}
            for each in take.overruled
        ],
        "hearing": take.hearing,
    }
