"""Ladders as rows: read, stepped, replayed, given a new origin."""

from __future__ import annotations

from typing import Any, TypeAlias

import sqlalchemy as sa

from undersong.log import schema
from undersong.practice.ladder import (
    Ladder,
    Outcome,
    Rule,
    climb,
    first,
    ladder_json,
    parse_ladder,
    rule_for_song,
    settled,
)

Row: TypeAlias = "sa.Row[*tuple[Any, ...]]"


def ladder_at(connection: sa.Connection, player_id: int, item_id: int) -> tuple[Rule, Ladder]:
    """Where a climb stands; the foot of the item's usual rule where it has not begun."""
    row = ladder_row_at(connection, player_id, item_id)
    if row is not None:
        return ladder_of_row(row)
    song = sa.select(schema.items.c.song_bpm).where(schema.items.c.id == item_id)
    song_bpm = connection.execute(song).scalar()
    rule = Rule() if song_bpm is None else rule_for_song(song_bpm)
    return rule, first(rule)


def ladder_row_at(connection: sa.Connection, player_id: int, item_id: int) -> Row | None:
    """The row of a climb, None where it has not begun."""
    return connection.execute(
        sa.select(schema.ladders).where(_here(player_id, item_id))
    ).first()  # fmt: skip


def ladder_of_row(row: Row) -> tuple[Rule, Ladder]:
    """Settings and state from a row."""
    return parse_ladder({"rule": row.rule, "tempo_bpm": row.tempo_bpm, "streak": row.streak})


def set_ladder(
    connection: sa.Connection,
    player_id: int,
    item_id: int,
    rule: Rule,
    ladder: Ladder,
    *,
    since_take_id: int | None = None,
) -> Ladder:
    """Make a state the new origin of a climb: only takes after it move it.

    Takes so far are behind it, unless `since_take_id` names the last that is.
    """
    ladder = settled(rule, ladder)
    if since_take_id is None:
        since_take_id = connection.execute(sa.select(sa.func.max(schema.takes.c.id))).scalar() or 0
    row = {
        **ladder_json(rule, ladder),
        "origin_tempo_bpm": ladder.tempo_bpm,
        "origin_streak": ladder.streak,
        "since_take_id": since_take_id,
    }
    changed = connection.execute(
        sa.update(schema.ladders).where(_here(player_id, item_id)).values(row)
    )
    if changed.rowcount == 0:
        keys = {"player_id": player_id, "item_id": item_id}
        connection.execute(sa.insert(schema.ladders).values({**keys, **row}))
    return ladder


def move_ladder(connection: sa.Connection, player_id: int, item_id: int, ladder: Ladder) -> None:
    """Write the state after a counted take."""
    row = {"tempo_bpm": ladder.tempo_bpm, "streak": ladder.streak}
    connection.execute(sa.update(schema.ladders).where(_here(player_id, item_id)).values(row))


def counted_ids(connection: sa.Connection, row: Row) -> list[int]:
    """The takes that have moved a climb since its origin, oldest first."""
    return [take.id for take in _counted(connection, row)]


def replay(connection: sa.Connection, row: Row) -> Ladder:
    """What a climb's takes make of its origin."""
    rule, _ = ladder_of_row(row)
    outcomes = [Outcome(take.counted_as) for take in _counted(connection, row)]
    return climb(rule, outcomes, Ladder(row.origin_tempo_bpm, row.origin_streak)).ladder


def _counted(connection: sa.Connection, row: Row) -> list[Row]:
    table = schema.takes
    query = (
        sa.select(table.c.id, table.c.counted_as)
        .where(table.c.player_id == row.player_id, table.c.item_id == row.item_id)
        .where(table.c.counted_as.is_not(None), table.c.id > row.since_take_id)
        .order_by(table.c.id)
    )
    return list(connection.execute(query).all())


def _here(player_id: int, item_id: int) -> sa.ColumnElement[bool]:
    table = schema.ladders
    return sa.and_(table.c.player_id == player_id, table.c.item_id == item_id)
