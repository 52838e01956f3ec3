import sqlite3
import threading
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import cast

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.operations import Operations

from undersong.errors import LogError
from undersong.log import migrations, schema
from undersong.log.book import Book
from undersong.log.migrations import MIGRATIONS, VERSION, migrate, version_of
from undersong.practice.ladder import Ladder, Outcome, Rule

AT = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)
TAKE = (
    "id, uid, player_id, item_id, at, utc_offset_min, tempo_bpm, outcome, counted_as, hearing, "
    "tolerance_ms, length_s, audio, note"
)
RULE = (
    '{"start_bpm": 70.0, "up_bpm": 5.0, "down_bpm": 10.0, "in_a_row": 2, "floor_bpm": 40.0, '
    '"ceiling_bpm": 400.0, "song_bpm": null}'
)


def old_file(file: Path, version: int) -> Path:
    """A log as the first versions left it, with a player, an item, two takes and their ladder."""
    engine = sa.create_engine(f"sqlite:///{file}")
    try:
        with engine.connect() as connection:
            migrate(connection, to_version=version)
    finally:
        engine.dispose()
    with closing(sqlite3.connect(file)) as connection:
        connection.executescript(
            f"""
            INSERT INTO players (id, name, level, tuning, hand, added_at) VALUES
                (1, 'Mara', 2, '', 'left', '2026-01-01T10:00:00.000000+00:00');
            INSERT INTO items VALUES (1, 'drill', 'scale', 'G', NULL, NULL, NULL);
            INSERT INTO takes ({TAKE}) VALUES
                (1, 'one', 1, 1, '2026-01-02T10:00:00.000000+00:00', 60, 70.0,
                'C', 'C', '{{"clean": true, "notes": []}}', 60.0, 30.0, NULL, '');
            INSERT INTO takes ({TAKE}) VALUES
                (2, 'two', 1, 1, '2026-01-02T10:01:00.000000+00:00', 60, 70.0,
                'C', 'C', NULL, 60.0, 30.0, NULL, 'good');
            INSERT INTO ladders VALUES (1, 1, '{RULE}', 75.0, 0, 70.0, 0, 0);
            """
        )
    return file


@pytest.mark.parametrize("version", range(1, VERSION))
def test_an_older_log_is_migrated_with_all_it_holds(tmp_path: Path, version: int) -> None:
    with Book.open(old_file(tmp_path / "log.db", version)) as book:
        player = book.player("Mara")
        takes = book.takes_of(player)
        assert (player.level, player.hand, player.pain_said_on) == (2, "left", None)
        assert [(take.uid, take.outcome, take.note) for take in takes] == [
            ("one", Outcome.CLEAN, ""),
            ("two", Outcome.CLEAN, "good"),
        ]
        assert not takes[0].whole  # nobody knew then
        assert takes[0].at.hour == 11  # the player's own zone
        state = book.ladder_of(player, takes[0].item)
        assert (state.rule, state.ladder) == (Rule(), Ladder(75.0, 0))
        assert book.faults() == ()
        assert book.change_player(player, level=6).level == 6
        kept = book.keep_take(
            player, takes[0].item, outcome=Outcome.CLEAN, tempo_bpm=75, at=AT, whole=True
        )
        assert kept.counted
        assert kept.take.id == 3


@pytest.mark.parametrize("version", range(VERSION))
def test_migrations_lead_to_the_tables_of_the_schema(version: int) -> None:
    engine = sa.create_engine("sqlite://", poolclass=sa.StaticPool)
    with engine.connect() as connection:
        migrate(connection, to_version=version)
        migrate(connection)
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = compare_metadata(context, schema.metadata)
        foreign = sa.inspect(connection).get_foreign_keys("overrules")
    engine.dispose()
    assert differences == []
    assert foreign[0]["options"] == {"ondelete": "CASCADE"}


def test_a_new_log_is_laid_out_as_the_steps_would_have_made_it() -> None:
    """Every column, constraint, collation, default and index, whatever order they are written in"""

    def laid_out(versions: range) -> tuple[set[tuple[str, tuple[str, ...]]], list[object]]:
        engine = sa.create_engine("sqlite://", poolclass=sa.StaticPool)
        with engine.connect() as connection:
            for version in versions:
                migrate(connection, to_version=version)
            migrate(connection)
            said = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master").all()
            marks = [
                connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
                for name in ("user_version", "application_id")
            ]
        engine.dispose()
        return {(name, _definitions(sql or "")) for name, sql in said}, marks

    assert laid_out(range(0)) == laid_out(range(VERSION))


def _definitions(sql: str) -> tuple[str, ...]:
    """What stands between the brackets of a CREATE, sorted; commas within brackets part nothing"""
    depth, parts = 0, [""]
    for char in sql.replace('"', ""):
        depth += {"(": 1, ")": -1}.get(char, 0)
        if char == "," and depth == 1:
            parts.append("")
        else:
            parts[-1] += char
    words = [" ".join(part.strip("() \n").split()) for part in parts]
    return tuple(
        sorted(each.replace("DEFAULT '0' NOT NULL", "NOT NULL DEFAULT '0'") for each in words)
    )


def test_steps_are_counted_in_the_file() -> None:
    engine = sa.create_engine("sqlite://", poolclass=sa.StaticPool)
    with engine.connect() as connection:
        seen = []
        for version in range(VERSION + 1):
            migrate(connection, to_version=version)
            with connection.begin():
                seen.append(version_of(connection))
    engine.dispose()
    assert seen == list(range(VERSION + 1))


def test_a_step_that_fails_is_undone_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = old_file(tmp_path / "log.db", 1)

    def half_done(op: Operations) -> None:
        MIGRATIONS[1](op)
        op.execute("DELETE FROM takes")
        op.execute("INSERT INTO nowhere VALUES (1)")

    broken = (MIGRATIONS[0], half_done, *MIGRATIONS[2:])
    with monkeypatch.context() as patch:
        patch.setattr(migrations, "MIGRATIONS", broken)
        with pytest.raises(LogError, match="nowhere"):
            Book.open(file)
    with closing(sqlite3.connect(file)) as connection:
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
        assert connection.execute("PRAGMA user_version").fetchone() == (1,)
        assert connection.execute("SELECT count(*) FROM takes").fetchone() == (2,)
        assert "sets" not in tables
    with Book.open(file) as book:
        assert book.faults() == ()
        assert len(book.takes_of(None)) == 2


def test_a_step_that_would_leave_rows_without_their_owner_is_undone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = old_file(tmp_path / "log.db", 1)

    def careless(op: Operations) -> None:
        op.execute("DELETE FROM players")

    with monkeypatch.context() as patch:
        patch.setattr(migrations, "MIGRATIONS", (MIGRATIONS[0], careless, *MIGRATIONS[2:]))
        with pytest.raises(LogError, match="refer to rows that are gone"):
            Book.open(file)
    with Book.open(file) as book:
        assert [player.name for player in book.players()] == ["Mara"]


def test_many_open_an_old_log_at_once(tmp_path: Path) -> None:
    file = old_file(tmp_path / "log.db", 1)
    found: list[Sequence[str]] = []
    together = threading.Barrier(6)

    def open_it() -> None:
        together.wait()
        with Book.open(file) as book:
            found.append([*book.faults(), *(player.name for player in book.players())])

    threads = [threading.Thread(target=open_it) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [["Mara"]] * 6


def test_foreign_keys_are_on_after_migrating(tmp_path: Path) -> None:
    with Book.open(old_file(tmp_path / "log.db", 1)) as book, book._bare() as bare:
        assert cast(int, bare.execute("PRAGMA foreign_keys").fetchone()[0]) == 1
