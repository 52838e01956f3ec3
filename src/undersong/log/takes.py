"""Takes as rows: checked, kept with the step of their ladder, found again, judged again."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime, timedelta, timezone

import sqlalchemy as sa

from undersong.errors import LogError
from undersong.log import schema
from undersong.log.ladders import (
    Row,
    counted_ids,
    ladder_at,
    ladder_row_at,
    move_ladder,
    replay,
    set_ladder,
)
from undersong.log.shelf import all_items, clean_text, json_value
from undersong.log.values import Item, Overruled, Player, Take, notes_of
from undersong.practice.ladder import Ladder, Outcome, step
from undersong.practice.passes import Pass

SAME_TEMPO_BPM = 0.5  # a pass this close to the ladder's tempo was played at it


def take_row(
    *,
    at: datetime,
    tempo_bpm: float,
    outcome: Outcome,
    length_s: float,
    roots_right: float | None,
    tolerance_ms: float | None,
    hearing: Mapping[str, object] | None,
    note: str,
) -> dict[str, object]:
    """The columns of a take, checked; a LogError says which value cannot be."""
    offset = at.utcoffset()
    if offset is None:
        raise LogError("The time of a take needs its zone: which day it was depends on it.")
    for said, value, least in (
        ("tempo in beats a minute", tempo_bpm, 0.0),
        ("tolerance in milliseconds", tolerance_ms, 0.0),
        ("length in seconds", length_s, -1.0),
    ):
        if value is not None and not (math.isfinite(value) and value > least and value >= 0):
            raise LogError(f"A take cannot have a {said} of {value!r}.")
    if roots_right is not None and not 0 <= roots_right <= 1:
        raise LogError(f"A share of right roots is from 0 to 1, not {roots_right!r}.")
    return {
        "at": at,
        "utc_offset_min": round(offset.total_seconds() / 60),
        "tempo_bpm": tempo_bpm,
        "outcome": outcome.value,
        "length_s": length_s,
        "roots_right": roots_right,
        "tolerance_ms": tolerance_ms,
        "hearing": None if hearing is None else json_value(hearing),
        "note": clean_text(note),
    }


def store_take(
    connection: sa.Connection,
    player_id: int,
    item_id: int,
    row: Mapping[str, object],
    *,
    on_ladder: bool,
) -> tuple[Ladder, Ladder, int]:
    """Insert a take and move its ladder; the ladder before and after, and the take's number."""
    check_there(connection, schema.players, player_id, "such player")
    check_there(connection, schema.items, item_id, "such item")
    table = schema.takes
    if connection.execute(sa.select(table.c.id).where(table.c.uid == row["uid"])).first():
        raise LogError(f"The take {row['uid']} is in the log already.")
    rule, before = ladder_at(connection, player_id, item_id)
    tempo_bpm, outcome = float(str(row["tempo_bpm"])), Outcome(str(row["outcome"]))
    counts = on_ladder and abs(tempo_bpm - before.tempo_bpm) <= SAME_TEMPO_BPM
    made = connection.execute(
        sa.insert(table)
        .values(player_id=player_id, item_id=item_id, counted_as=outcome.value if counts else None)
        .values(**row)
        .returning(table.c.id)
    )
    take_id = int(made.scalar_one())
    if not counts:
        return before, before, take_id
    if ladder_row_at(connection, player_id, item_id) is None:
        set_ladder(connection, player_id, item_id, rule, before, since_take_id=take_id - 1)
    after = step(rule, before, outcome)
    move_ladder(connection, player_id, item_id, after)
    return before, after, take_id


def judge_again(connection: sa.Connection, take: Take, outcome: Outcome) -> None:
    """Change a take's outcome; its ladder follows where no later take has moved it."""
    table = schema.takes
    here = table.c.id == take.id
    connection.execute(sa.update(table).where(here).values(outcome=outcome.value))
    owner = connection.execute(sa.select(table.c.player_id).where(here)).scalar_one()
    row = ladder_row_at(connection, owner, take.item.id)
    if row is None or counted_ids(connection, row)[-1:] != [take.id]:
        return
    connection.execute(sa.update(table).where(here).values(counted_as=outcome.value))
    move_ladder(connection, owner, take.item.id, replay(connection, row))


def find_take(connection: sa.Connection, take_id: int) -> Take:
    """The take of a number."""
    found = _found(connection, schema.takes.c.id == take_id)
    if not found:
        raise LogError(f"There is no take {take_id} in the log.")
    return found[0]


def find_takes(
    connection: sa.Connection, player: Player | None, item: Item | None, since: datetime | None
) -> tuple[Take, ...]:
    """Takes in order of time; None means all."""
    return _found(connection, _wanted(player, item, since))


def find_answers(connection: sa.Connection) -> tuple[Take, ...]:
    """Takes with a verdict that a person put right, in order of time."""
    return _found(connection, schema.takes.c.id.in_(sa.select(schema.overrules.c.take_id)))


def find_passes(
    connection: sa.Connection, player: Player | None, item: Item | None, since: datetime | None
) -> tuple[Pass, ...]:
    """The same takes as the practice rules see them; the hearings are not read for that."""
    table = schema.takes
    columns = [column for column in table.c if column is not table.c.hearing]
    query = sa.select(*columns).where(_wanted(player, item, since)).order_by(table.c.at, table.c.id)
    labels = {number: each.label for number, each in all_items(connection).items()}
    return tuple(
        Pass(
            labels[row.item_id],
            _own_time(row),
            row.tempo_bpm,
            Outcome(row.outcome),
            length_s=row.length_s,
            whole=row.whole,
            roots_right=row.roots_right,
            in_time=row.in_time,
        )
        for row in connection.execute(query).all()
    )


def _wanted(
    player: Player | None, item: Item | None, since: datetime | None
) -> sa.ColumnElement[bool]:
    wanted: sa.ColumnElement[bool] = sa.true()
    if player is not None:
        wanted &= schema.takes.c.player_id == player.id
    if item is not None:
        wanted &= schema.takes.c.item_id == item.id
    if since is not None:
        wanted &= schema.takes.c.at >= since
    return wanted


def _own_time(row: Row) -> datetime:
    """The moment of a take as the player's clock showed it."""
    at: datetime = row.at
    return at.astimezone(timezone(timedelta(minutes=row.utc_offset_min)))


def _found(connection: sa.Connection, wanted: sa.ColumnElement[bool]) -> tuple[Take, ...]:
    table = schema.takes
    query = sa.select(table, schema.players.c.name.label("player")).join(schema.players)
    rows = connection.execute(query.where(wanted).order_by(table.c.at, table.c.id)).all()
    items = all_items(connection)
    overrules: dict[int, list[Row]] = {}
    put_right = sa.select(schema.overrules).join(table).where(wanted)
    for row in connection.execute(put_right.order_by(schema.overrules.c.note)).all():
        overrules.setdefault(row.take_id, []).append(row)
    return tuple(_take_of(row, items[row.item_id], overrules.get(row.id, [])) for row in rows)


def _take_of(row: Row, item: Item, overrules: list[Row]) -> Take:
    notes = notes_of(row.hearing)
    return Take(
        id=row.id,
        uid=row.uid,
        player=row.player,
        item=item,
        at=_own_time(row),
        tempo_bpm=row.tempo_bpm,
        outcome=Outcome(row.outcome),
        counted_as=None if row.counted_as is None else Outcome(row.counted_as),
        tolerance_ms=row.tolerance_ms,
        length_s=row.length_s,
        whole=row.whole,
        roots_right=row.roots_right,
        in_time=row.in_time,
        audio=row.audio,
        note=row.note,
        overruled=tuple(
            Overruled(
                each.note, str(notes[each.note].get("verdict")), each.verdict, each.at, each.by
            )
            for each in overrules
        ),
        hearing=row.hearing,
    )


def check_there(connection: sa.Connection, table: sa.Table, number: int, what: str) -> None:
    """Refuse to write about what has been deleted meanwhile."""
    if connection.execute(sa.select(table.c.id).where(table.c.id == number)).first() is None:
        raise LogError(f"There is no {what} in the log any more.")
