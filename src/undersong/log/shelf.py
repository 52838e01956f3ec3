"""What there is to play: charts, items to practise, Sunday's sets, and a few settings."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa

from undersong.errors import LogError
from undersong.log import schema
from undersong.log.ladders import Row, ladder_of_row, set_ladder
from undersong.log.store import Store
from undersong.log.values import HANDS, KINDS, Item, KeptChart, KeptSet
from undersong.practice.ladder import Rule, rule_for_song

NAME_LENGTH = 200


class Shelf(Store):
    """The part of the log that says what there is to play."""

    def keep_chart(self, title: str, text: str, *, at: datetime) -> KeptChart:
        """Keep a chart's text; a chart of the same title is replaced."""
        title = clean_name(title, "A chart's title")
        table = schema.charts
        with self._writing() as connection:
            known = connection.execute(sa.select(table.c.id).where(table.c.title == title)).scalar()
            row = {"title": title, "text": clean_text(text), "kept_at": at}
            if known is None:
                connection.execute(sa.insert(table).values(row))
            else:
                connection.execute(sa.update(table).where(table.c.id == known).values(row))
        return self.chart(title)

    def chart(self, title: str) -> KeptChart:
        """The chart of a title."""
        table = schema.charts
        with self._reading() as connection:
            query = sa.select(table).where(table.c.title == spelled(title))
            row = connection.execute(query).first()
        if row is None:
            raise LogError(f"There is no chart {title!r} in the log.")
        return KeptChart(row.title, row.text, row.kept_at)

    def charts(self) -> tuple[KeptChart, ...]:
        """All charts by title."""
        table = schema.charts
        with self._reading() as connection:
            rows = connection.execute(sa.select(table).order_by(table.c.title)).all()
        return tuple(KeptChart(row.title, row.text, row.kept_at) for row in rows)

    def delete_chart(self, title: str) -> None:
        """Take a chart out of the log; what was practised from it stays."""
        with self._writing() as connection:
            table = schema.charts
            gone = connection.execute(sa.delete(table).where(table.c.title == spelled(title)))
            if gone.rowcount == 0:
                raise LogError(f"There is no chart {title!r} in the log.")

    def keep_item(
        self,
        kind: str,
        name: str,
        *,
        key: str = "",
        song_bpm: float | None = None,
        part: Mapping[str, object] | None = None,
        chart: str | None = None,
    ) -> Item:
        """Keep something to practise; the same kind, name and key again is the same item.

        Parameters
        ----------
        kind
            ``drill``, ``line`` or ``song``.
        name, key
            What it is called and in which key it is played ("" where that means nothing).
        song_bpm
            The song's own tempo; a climb to it then follows. None keeps what was known.
        part
            The Part contract (JSON). None keeps what was known.
        chart
            Title of the chart it comes from. None keeps what was known.
        """
        with self._writing() as connection:
            return store_item(connection, kind, name, key, song_bpm, part, chart)

    def item(self, kind: str, name: str, key: str = "") -> Item:
        """The item of a kind, name and key."""
        with self._reading() as connection:
            found = find_item(connection, kind, name, key)
        if found is None:
            label = Item(0, kind, name, key).label
            raise LogError(f"There is no {label} in the log: keep it first.")
        return found

    def items(self) -> tuple[Item, ...]:
        """All items, by kind, name and key."""
        with self._reading() as connection:
            return tuple(all_items(connection).values())

    def keep_set(self, name: str, held_on: date, text: str, *, at: datetime) -> KeptSet:
        """Keep a Sunday's set; a set of the same name is replaced."""
        name = clean_name(name, "A set's name")
        table = schema.sets
        row = {"name": name, "held_on": held_on, "text": clean_text(text), "kept_at": at}
        with self._writing() as connection:
            known = connection.execute(sa.select(table.c.id).where(table.c.name == name)).scalar()
            if known is None:
                connection.execute(sa.insert(table).values(row))
            else:
                connection.execute(sa.update(table).where(table.c.id == known).values(row))
        return self.set_named(name)

    def set_named(self, name: str) -> KeptSet:
        """The set of a name."""
        table = schema.sets
        with self._reading() as connection:
            row = connection.execute(sa.select(table).where(table.c.name == spelled(name))).first()
        if row is None:
            raise LogError(f"There is no set {name!r} in the log.")
        return KeptSet(row.name, row.held_on, row.text, row.kept_at)

    def sets(self) -> tuple[KeptSet, ...]:
        """All sets, the latest day first."""
        table = schema.sets
        order = (table.c.held_on.desc(), table.c.name)
        with self._reading() as connection:
            rows = connection.execute(sa.select(table).order_by(*order)).all()
        return tuple(KeptSet(row.name, row.held_on, row.text, row.kept_at) for row in rows)

    def delete_set(self, name: str) -> None:
        """Take a set out of the log; its charts and what was practised stay."""
        with self._writing() as connection:
            table = schema.sets
            gone = connection.execute(sa.delete(table).where(table.c.name == spelled(name)))
            if gone.rowcount == 0:
                raise LogError(f"There is no set {name!r} in the log.")

    def setting(self, name: str, default: object = None) -> object:
        """A kept setting, or the default where none was kept."""
        table = schema.settings
        with self._reading() as connection:
            row = connection.execute(sa.select(table.c.value).where(table.c.name == name)).first()
        return default if row is None else row.value

    def keep_setting(self, name: str, value: object) -> None:
        """Keep a setting: anything JSON can say."""
        row = {"name": clean_name(name, "A setting's name"), "value": json_value(value)}
        with self._writing() as connection:
            table = schema.settings
            connection.execute(sa.delete(table).where(table.c.name == row["name"]))
            connection.execute(sa.insert(table).values(row))


def store_item(
    connection: sa.Connection,
    kind: str,
    name: str,
    key: str,
    song_bpm: float | None,
    part: Mapping[str, object] | None,
    chart: str | None,
) -> Item:
    """What `Shelf.keep_item` does, inside a transaction."""
    if kind not in KINDS:
        raise LogError(f"{kind!r} is nothing to practise: use drill, line or song.")
    name = clean_name(name, "An item's name")
    known = find_item(connection, kind, name, key)
    row: dict[str, object] = {"kind": kind, "name": name, "key": spelled(key)}
    if song_bpm is not None:
        rule_for_song(song_bpm)  # refuses what is no tempo
        row["song_bpm"] = song_bpm
    if part is not None:
        row["part"] = json_value(part)
    if chart is not None:
        row["chart_id"] = _chart_id(connection, chart)
    table = schema.items
    if known is None:
        connection.execute(sa.insert(table).values(row))
    else:
        connection.execute(sa.update(table).where(table.c.id == known.id).values(row))
        if song_bpm is not None and known.song_bpm != song_bpm:
            _follow_song(connection, known, song_bpm)
    found = find_item(connection, kind, name, key)
    if found is None:
        raise LogError(f"{name!r} was not kept.")
    return found


def _chart_id(connection: sa.Connection, title: str) -> int:
    table = schema.charts
    found = connection.execute(
        sa.select(table.c.id).where(table.c.title == spelled(title))
    ).scalar()
    if found is None:
        raise LogError(f"There is no chart {title!r} in the log.")
    return int(found)


def _follow_song(connection: sa.Connection, item: Item, song_bpm: float) -> None:
    """Climbs to a song follow its new tempo, unless the leader set a rule of their own."""
    usual = Rule() if item.song_bpm is None else rule_for_song(item.song_bpm)
    table = schema.ladders
    for row in connection.execute(sa.select(table).where(table.c.item_id == item.id)).all():
        rule, ladder = ladder_of_row(row)
        if rule == usual:
            set_ladder(connection, row.player_id, item.id, rule_for_song(song_bpm), ladder)


def select_items() -> sa.Select[*tuple[Any, ...]]:
    """Items with the titles of their charts."""
    title = schema.charts.c.title.label("chart")
    return sa.select(schema.items, title).select_from(schema.items.outerjoin(schema.charts))


def all_items(connection: sa.Connection) -> dict[int, Item]:
    """All items by their numbers, in order of kind, name and key."""
    table = schema.items
    order = (table.c.kind, table.c.name, table.c.key)
    rows = connection.execute(select_items().order_by(*order)).all()
    return {row.id: item_of(row) for row in rows}


def find_item(connection: sa.Connection, kind: str, name: str, key: str) -> Item | None:
    """The item of a kind, name and key, if there is one."""
    table = schema.items
    here = sa.and_(
        table.c.kind == kind, table.c.name == spelled(name), table.c.key == spelled(key)
    )  # fmt: skip
    row = connection.execute(select_items().where(here)).first()
    return None if row is None else item_of(row)


def item_of(row: Row) -> Item:
    """An item from a row of `select_items`."""
    return Item(row.id, row.kind, row.name, row.key, row.song_bpm, row.chart, row.part)


def check_player(level: object, hand: object) -> None:
    """Refuse a level or a hand that cannot be."""
    if isinstance(level, bool) or not isinstance(level, int) or not 1 <= level <= 6:
        raise LogError(f"A player's level is 1 to 6, not {level!r}.")
    if hand not in HANDS:
        raise LogError(f"A player's hand is right or left, not {hand!r}.")


def clean_name(name: str, what: str) -> str:
    """A name without blanks around it and in one spelling; says what is wrong with it."""
    name = spelled(name)
    if not name:
        raise LogError(f"{what} cannot be empty.")
    if len(name) > NAME_LENGTH:
        raise LogError(f"{what} has at most {NAME_LENGTH} characters; this one has {len(name)}.")
    if any(unicodedata.category(character) == "Cc" for character in name):
        raise LogError(f"{what} is one line of plain characters, not {name!r}.")
    return name


def spelled(name: str) -> str:
    """A name as it is kept and looked for: in one spelling, without blanks around it."""
    return clean_text(name).strip()


def clean_text(text: str) -> str:
    """Text in one spelling (NFC), which a file can hold."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        bad = text[error.start]
        raise LogError(f"Character {error.start + 1} of the text, {bad!r}, is no letter.") from None
    if "\0" in text:
        raise LogError(f"Character {text.index(chr(0)) + 1} of the text is no letter.")
    return unicodedata.normalize("NFC", text)


def json_value(value: object) -> object:
    """A value as JSON would give it back; says so where JSON has no word for it."""
    try:
        return json.loads(json.dumps(value, allow_nan=False, default=_plain))
    except (TypeError, ValueError) as error:
        raise LogError(f"The log can keep only what JSON can say: {error}.") from error


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} is no JSON value")
