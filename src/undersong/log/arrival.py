"""A log exported elsewhere comes in: read, checked, and added in one transaction."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

import sqlalchemy as sa

from undersong.errors import LogError, PracticeError
from undersong.log import schema
from undersong.log.ladders import ladder_row_at, set_ladder
from undersong.log.shelf import check_player, clean_name, clean_text, find_item, spelled, store_item
from undersong.log.takes import store_take, take_row
from undersong.log.transfer import FORMAT, FORMAT_VERSION
from undersong.log.values import VERDICTS
from undersong.practice.ladder import Outcome, parse_ladder

_Entry = Mapping[str, object]


def from_json(connection: sa.Connection, document: object, *, update_items: bool) -> int:
    """Add an export to the log; how many takes were new. See `Book.bring_in`."""
    if not isinstance(document, Mapping) or document.get("format") != FORMAT:
        raise LogError(f"This is no exported practice log: its 'format' is not {FORMAT!r}.")
    version = document.get("version")
    if not isinstance(version, int) or not 1 <= version <= FORMAT_VERSION:
        raise LogError(
            f"This export has version {version!r}; this Undersong reads up to {FORMAT_VERSION}."
        )
    _texts_in(connection, _entries(document, "charts"), schema.charts, "title", ())
    _texts_in(connection, _entries(document, "sets"), schema.sets, "name", ("held_on",))
    items = {_item_name(entry): entry for entry in _entries(document, "items")}
    for entry in items.values():
        _item_in(connection, entry, update=update_items)
    for entry in _entries(document, "players"):
        _player_in(connection, entry)
    fresh = _ladders_to_come(connection, document)
    new = _takes_in(connection, document, fresh)
    for (player_id, item_id), entry in fresh.items():
        try:
            rule, ladder = parse_ladder(entry)
        except PracticeError as error:
            raise LogError(f"The export has a ladder that cannot be: {error}") from error
        set_ladder(connection, player_id, item_id, rule, ladder)
    for entry in _entries(document, "assignments"):
        _assignment_in(connection, entry)
    return new


def _texts_in(
    connection: sa.Connection,
    entries: list[_Entry],
    table: sa.Table,
    key: str,
    days: tuple[str, ...],
) -> None:
    """Charts or sets: new ones, and newer texts of known ones."""
    for entry in entries:
        name = clean_name(_text(entry, key), f"A {key} in the export")
        row: dict[str, object] = {key: name, "text": clean_text(_text(entry, "text"))}
        row["kept_at"] = _moment(entry, "kept_at")
        row |= {day: _day(entry, day) for day in days}
        known = connection.execute(sa.select(table).where(table.c[key] == name)).first()
        if known is None:
            connection.execute(sa.insert(table).values(row))
        elif known.kept_at < row["kept_at"]:
            connection.execute(sa.update(table).where(table.c.id == known.id).values(row))


def _item_in(connection: sa.Connection, entry: _Entry, *, update: bool) -> None:
    kind, name, key = _item_name(entry)
    known = find_item(connection, kind, name, key)
    part, song_bpm, chart = entry.get("part"), entry.get("song_bpm"), entry.get("chart")
    if part is not None and not isinstance(part, Mapping):
        raise LogError(f"The part of {name!r} in the export is no Part.")
    tempo = None if song_bpm is None else _number(entry, "song_bpm")
    title = None if chart is None else _text(entry, "chart")
    if known is not None and not update:
        # What is here already is the leader's own: only gaps are filled.
        part = part if known.part is None else None
        tempo = tempo if known.song_bpm is None else None
    store_item(connection, kind, name, key, tempo, part, title)


def _player_in(connection: sa.Connection, entry: _Entry) -> None:
    name = clean_name(_text(entry, "name"), "A player's name in the export")
    table = schema.players
    if connection.execute(sa.select(table.c.id).where(table.c.name == name)).first():
        return
    level, hand = entry.get("level", 1), entry.get("hand", "right")
    check_player(level, hand)
    row = {"name": name, "level": level, "hand": hand, "added_at": _moment(entry, "added_at")}
    connection.execute(sa.insert(table).values(**row, tuning=_text(entry, "tuning")))


def _ladders_to_come(connection: sa.Connection, document: _Entry) -> dict[tuple[int, int], _Entry]:
    """Climbs that have not begun here: they arrive with their takes just as they stand."""
    coming: dict[tuple[int, int], _Entry] = {}
    for entry in _entries(document, "ladders"):
        ids = _player_id(connection, entry), _item_id(connection, entry)
        if ladder_row_at(connection, *ids) is None:
            coming[ids] = entry
    return coming


def _takes_in(
    connection: sa.Connection, document: _Entry, fresh: Mapping[tuple[int, int], _Entry]
) -> int:
    table = schema.takes
    new = 0
    for entry in sorted(_entries(document, "takes"), key=lambda each: _moment(each, "at")):
        uid = clean_name(_text(entry, "uid"), "A take's uid in the export")[:36]
        if connection.execute(sa.select(table.c.id).where(table.c.uid == uid)).first():
            continue
        ids = _player_id(connection, entry), _item_id(connection, entry)
        counted = None if entry.get("counted_as") is None else _outcome(entry, "counted_as")
        row = _take_columns(entry) | {"uid": uid}
        climbing = counted is not None and ids not in fresh
        _, _, take_id = store_take(connection, *ids, row, on_ladder=climbing)
        if counted is not None and ids in fresh:
            here = table.c.id == take_id
            connection.execute(sa.update(table).where(here).values(counted_as=counted.value))
        _overrules_in(connection, entry, take_id)
        new += 1
    return new


def _take_columns(entry: _Entry) -> dict[str, object]:
    hearing = entry.get("hearing")
    if hearing is not None and not isinstance(hearing, Mapping):
        raise LogError("A take in the export has a hearing that is none.")
    in_time, whole = entry.get("in_time"), entry.get("whole", False)
    if not isinstance(whole, bool) or not (in_time is None or isinstance(in_time, bool)):
        raise LogError("In the export 'whole' and 'in_time' are true or false.")
    row = take_row(
        at=_moment(entry, "at"),
        tempo_bpm=_number(entry, "tempo_bpm"),
        outcome=_outcome(entry, "outcome"),
        length_s=_number(entry, "length_s"),
        roots_right=_number_or_none(entry, "roots_right"),
        tolerance_ms=_number_or_none(entry, "tolerance_ms"),
        hearing=hearing,
        note=_text(entry, "note"),
    )
    return row | {"whole": whole, "in_time": in_time}


def _overrules_in(connection: sa.Connection, take: _Entry, take_id: int) -> None:
    hearing = take.get("hearing")
    notes = hearing.get("notes") if isinstance(hearing, Mapping) else None
    for entry in _entries(take, "overruled"):
        note, verdict = entry.get("note"), entry.get("verdict")
        if not isinstance(note, int) or not isinstance(notes, list) or not 0 <= note < len(notes):
            raise LogError(f"The export overrules note {note!r} of a take that has no such note.")
        if verdict not in VERDICTS:
            raise LogError(f"{verdict!r} in the export is no verdict.")
        row = {"take_id": take_id, "note": note, "verdict": verdict}
        row |= {"at": _moment(entry, "at"), "by": clean_text(_text(entry, "by"))}
        connection.execute(sa.insert(schema.overrules).values(row))


def _assignment_in(connection: sa.Connection, entry: _Entry) -> None:
    table = schema.assignments
    row: dict[str, object] = {
        "player_id": _player_id(connection, entry),
        "item_id": _item_id(connection, entry),
        "given_at": _moment(entry, "given_at"),
        "due_on": None if entry.get("due_on") is None else _day(entry, "due_on"),
        "note": clean_text(_text(entry, "note")),
        "done_at": None if entry.get("done_at") is None else _moment(entry, "done_at"),
    }
    same = [table.c[name] == row[name] for name in ("player_id", "item_id", "given_at")]
    known = connection.execute(sa.select(table).where(*same)).first()
    if known is None:
        connection.execute(sa.insert(table).values(row))
    elif known.done_at is None and row["done_at"] is not None:
        done = sa.update(table).where(table.c.id == known.id).values(done_at=row["done_at"])
        connection.execute(done)


def _entries(document: _Entry, name: str) -> list[_Entry]:
    entries = document.get(name, [])
    if not isinstance(entries, list) or not all(isinstance(each, Mapping) for each in entries):
        raise LogError(f"In an exported practice log {name!r} is a list of entries.")
    return entries


def _text(entry: _Entry, name: str) -> str:
    value = entry.get(name)
    if not isinstance(value, str):
        raise LogError(f"The export has a {name!r} that is no text: {value!r}.")
    return value


def _number(entry: _Entry, name: str) -> float:
    value = entry.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LogError(f"The export has a {name!r} that is no number: {value!r}.")
    return float(value)


def _number_or_none(entry: _Entry, name: str) -> float | None:
    return None if entry.get(name) is None else _number(entry, name)


def _outcome(entry: _Entry, name: str) -> Outcome:
    value = entry.get(name)
    try:
        return Outcome(str(value))
    except ValueError:
        raise LogError(f"The export has an outcome {value!r}: it is C, F or U.") from None


def _moment(entry: _Entry, name: str) -> datetime:
    value = _text(entry, name)
    try:
        moment = datetime.fromisoformat(value)
    except ValueError:
        raise LogError(f"The export has a {name!r} that is no moment: {value!r}.") from None
    if moment.tzinfo is None:
        raise LogError(f"The export has a {name!r} without its zone: {value!r}.")
    return moment


def _day(entry: _Entry, name: str) -> date:
    value = _text(entry, name)
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise LogError(f"The export has a {name!r} that is no day: {value!r}.") from None


def _item_name(entry: _Entry) -> tuple[str, str, str]:
    return _text(entry, "kind"), _text(entry, "name"), _text(entry, "key")


def _player_id(connection: sa.Connection, entry: _Entry) -> int:
    name = _text(entry, "player")
    table = schema.players
    found = connection.execute(sa.select(table.c.id).where(table.c.name == spelled(name))).scalar()
    if found is None:
        raise LogError(f"The export speaks of {name!r} and says nothing else about them.")
    return int(found)


def _item_id(connection: sa.Connection, entry: _Entry) -> int:
    named = entry.get("item")
    if not isinstance(named, Mapping):
        raise LogError(f"The export has an 'item' that is none: {named!r}.")
    found = find_item(connection, *_item_name(named))
    if found is None:
        raise LogError(f"The export speaks of {dict(named)} and does not hold it.")
    return found.id
