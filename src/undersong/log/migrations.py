"""How the tables of the practice log came to be: ordered steps, each in its own transaction.

A file says in its pragma `user_version` how many steps it has taken; the record is part of the
step's own transaction, so a step is done and recorded or neither. A step that has been released
is never edited: the next change is the next step. A new file takes no steps: it is laid out as
`schema` has it, where the steps lead.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import sqlalchemy as sa

from undersong.errors import LogError
from undersong.log.schema import APPLICATION_ID, Moment, metadata

if TYPE_CHECKING:
    from alembic.operations import Operations

_Name = sa.String(200, collation="NOCASE")


def _players_takes_and_ladders(op: Operations) -> None:
    op.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    op.create_table(
        "players",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", _Name, nullable=False, unique=True),
        sa.Column("level", sa.Integer, nullable=False),
        sa.Column("tuning", sa.String(100), nullable=False),
        sa.Column("hand", sa.String(10), nullable=False),
        sa.Column("added_at", Moment, nullable=False),
        sa.CheckConstraint("level BETWEEN 1 AND 5", name="level_1_to_5"),
        sa.CheckConstraint("hand IN ('right', 'left')", name="hand_right_or_left"),
    )
    op.create_table(
        "charts",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("title", _Name, nullable=False, unique=True),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("kept_at", Moment, nullable=False),
    )
    op.create_table(
        "items",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String(10), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("key", sa.String(10), nullable=False),
        sa.Column("song_bpm", sa.Float),
        sa.Column("part", sa.JSON),
        sa.Column("chart_id", sa.Integer, sa.ForeignKey("charts.id", ondelete="SET NULL")),
        sa.UniqueConstraint("kind", "name", "key", name="one_item_of_a_name"),
        sa.CheckConstraint("kind IN ('drill', 'line', 'song')", name="kind_known"),
    )
    _takes(op)
    op.create_table(
        "ladders",
        _owner("player_id", "players.id", primary_key=True),
        _owner("item_id", "items.id", primary_key=True),
        sa.Column("rule", sa.JSON, nullable=False),
        sa.Column("tempo_bpm", sa.Float, nullable=False),
        sa.Column("streak", sa.Integer, nullable=False),
        sa.Column("origin_tempo_bpm", sa.Float, nullable=False),
        sa.Column("origin_streak", sa.Integer, nullable=False),
        sa.Column("since_take_id", sa.Integer, nullable=False),
    )


def _owner(name: str, target: str, *, primary_key: bool = False) -> sa.Column[int]:
    return sa.Column(
        name,
        sa.Integer,
        sa.ForeignKey(target, ondelete="CASCADE"),
        nullable=False,
        primary_key=primary_key,
    )


def _takes(op: Operations) -> None:
    op.create_table(
        "takes",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("uid", sa.String(36), nullable=False, unique=True),
        _owner("player_id", "players.id"),
        _owner("item_id", "items.id"),
        sa.Column("at", Moment, nullable=False),
        sa.Column("utc_offset_min", sa.Integer, nullable=False),
        sa.Column("tempo_bpm", sa.Float, nullable=False),
        sa.Column("outcome", sa.String(1), nullable=False),
        sa.Column("counted_as", sa.String(1)),
        sa.Column("hearing", sa.JSON),
        sa.Column("tolerance_ms", sa.Float),
        sa.Column("length_s", sa.Float, nullable=False),
        sa.Column("audio", sa.String(400)),
        sa.Column("note", sa.Text, nullable=False),
        sa.CheckConstraint("outcome IN ('C', 'F', 'U')", name="outcome_known"),
        sa.CheckConstraint("counted_as IN ('C', 'F', 'U')", name="counted_as_known"),
        sa.CheckConstraint("tempo_bpm > 0", name="tempo_above_0"),
        sqlite_autoincrement=True,
    )
    op.create_index("takes_by_player_item_time", "takes", ["player_id", "item_id", "at"])


def _sets_and_assignments(op: Operations) -> None:
    op.create_table(
        "sets",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", _Name, nullable=False, unique=True),
        sa.Column("held_on", sa.Date, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("kept_at", Moment, nullable=False),
    )
    op.create_table(
        "assignments",
        sa.Column("id", sa.Integer, primary_key=True),
        _owner("player_id", "players.id"),
        _owner("item_id", "items.id"),
        sa.Column("given_at", Moment, nullable=False),
        sa.Column("due_on", sa.Date),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("done_at", Moment),
    )


def _readiness_overrules_and_care(op: Operations) -> None:
    with op.batch_alter_table("takes") as takes:
        # Older takes are not known to have been whole; a default is needed for their rows only.
        takes.add_column(sa.Column("whole", sa.Boolean, nullable=False, server_default="0"))
        takes.add_column(sa.Column("roots_right", sa.Float))
        takes.add_column(sa.Column("in_time", sa.Boolean))
    for column in (
        sa.Column("recordings_agreed_at", Moment),
        sa.Column("pain_asked_at", Moment),
        sa.Column("pain_said_on", sa.Date),
    ):
        op.add_column("players", column)
    op.create_table(
        "overrules",
        sa.Column("id", sa.Integer, primary_key=True),
        _owner("take_id", "takes.id"),
        sa.Column("note", sa.Integer, nullable=False),
        sa.Column("verdict", sa.String(10), nullable=False),
        sa.Column("at", Moment, nullable=False),
        sa.Column("by", sa.String(200), nullable=False),
        sa.UniqueConstraint("take_id", "note", name="one_overrule_a_note"),
    )
    op.create_table(
        "settings",
        sa.Column("name", sa.String(100), primary_key=True),
        sa.Column("value", sa.JSON, nullable=False),
    )


def _six_levels(op: Operations) -> None:
    # SQLite changes no constraint in place: the table is made anew and its rows copied over.
    with op.batch_alter_table("players", copy_from=_players_of_six_levels(), recreate="always"):
        pass


def _players_of_six_levels() -> sa.Table:
    return sa.Table(
        "players",
        sa.MetaData(),
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", _Name, nullable=False, unique=True),
        sa.Column("level", sa.Integer, nullable=False),
        sa.Column("tuning", sa.String(100), nullable=False),
        sa.Column("hand", sa.String(10), nullable=False),
        sa.Column("added_at", Moment, nullable=False),
        sa.Column("recordings_agreed_at", Moment),
        sa.Column("pain_asked_at", Moment),
        sa.Column("pain_said_on", sa.Date),
        sa.CheckConstraint("level BETWEEN 1 AND 6", name="level_1_to_6"),
        sa.CheckConstraint("hand IN ('right', 'left')", name="hand_right_or_left"),
    )


MIGRATIONS: tuple[Callable[[Operations], None], ...] = (
    _players_takes_and_ladders,
    _sets_and_assignments,
    _readiness_overrules_and_care,
    _six_levels,
)
VERSION = len(MIGRATIONS)


def version_of(connection: sa.Connection) -> int:
    """How many steps a file has taken; 0 for a new one."""
    return int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())


def migrate(connection: sa.Connection, *, to_version: int = VERSION) -> None:
    """Lay a new file out; in an older one take the steps it has not taken yet.

    Parameters
    ----------
    connection
        Not in a transaction; its transactions must begin as writes (BEGIN IMMEDIATE), so that of
        two programs opening an old file one migrates and the other finds it done.
    to_version
        Where to stop; files as older programs left them are made so in tests, step by step.
    """
    # With foreign keys on, rebuilding a table would delete the rows that refer to it. The pragma
    # has no effect inside a transaction, so it stands around all of them, on the bare connection.
    bare = connection.connection.cursor()
    bare.execute("PRAGMA foreign_keys = OFF")
    try:
        while _takes_a_step(connection, to_version):
            pass
    finally:
        bare.execute("PRAGMA foreign_keys = ON")
        bare.close()


def _takes_a_step(connection: sa.Connection, to_version: int) -> bool:
    with connection.begin():
        version = version_of(connection)
        if version >= to_version:
            return False
        if version == 0 and to_version == VERSION:
            _lay_out(connection)
            return False
        # Loaded here: most times a log is opened there is nothing to do, and somebody waits.
        from alembic.migration import MigrationContext
        from alembic.operations import Operations

        MIGRATIONS[version](Operations(MigrationContext.configure(connection)))
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if broken:
            raise LogError(f"Rows of the practice log refer to rows that are gone: {broken[0]}.")
        connection.exec_driver_sql(f"PRAGMA user_version = {version + 1}")
    return True


def _lay_out(connection: sa.Connection) -> None:
    metadata.create_all(connection)
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {VERSION}")
