"""The tables of the practice log as they are now; `migrations` tells how they came to be so.

Conventions
-----------
Moments are kept in UTC; a take also keeps the player's offset from UTC, because "the first pass
of the day" means the player's own day. JSON columns hold the Part and Hearing contracts as they
were. What the ear heard is never changed: overruled verdicts stand beside it.
"""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

# "UNDS": tells our files from other SQLite files, see the pragma application_id.
APPLICATION_ID = 0x554E4453


class Moment(TypeDecorator[datetime]):
    """A moment with its zone, kept as text in UTC so that order in the file is order in time."""

    impl = String(32)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """To the file."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment in the log needs its zone")
        return value.astimezone(UTC).isoformat(timespec="microseconds")

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        """From the file."""
        return None if value is None else datetime.fromisoformat(value)


metadata = MetaData()

players = Table(
    "players",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200, collation="NOCASE"), nullable=False, unique=True),
    Column("level", Integer, nullable=False),
    Column("tuning", String(100), nullable=False),
    Column("hand", String(10), nullable=False),
    Column("added_at", Moment, nullable=False),
    Column("recordings_agreed_at", Moment),
    Column("pain_asked_at", Moment),
    Column("pain_said_on", Date),
    CheckConstraint("level BETWEEN 1 AND 6", name="level_1_to_6"),
    CheckConstraint("hand IN ('right', 'left')", name="hand_right_or_left"),
)

charts = Table(
    "charts",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("title", String(200, collation="NOCASE"), nullable=False, unique=True),
    Column("text", Text, nullable=False),
    Column("kept_at", Moment, nullable=False),
)

items = Table(
    "items",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", String(10), nullable=False),
    Column("name", String(200), nullable=False),
    Column("key", String(10), nullable=False),
    Column("song_bpm", Float),
    Column("part", JSON(none_as_null=True)),
    Column("chart_id", ForeignKey("charts.id", ondelete="SET NULL")),
    UniqueConstraint("kind", "name", "key", name="one_item_of_a_name"),
    CheckConstraint("kind IN ('drill', 'line', 'song')", name="kind_known"),
)

takes = Table(
    "takes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uid", String(36), nullable=False, unique=True),
    Column("player_id", ForeignKey("players.id", ondelete="CASCADE"), nullable=False),
    Column("item_id", ForeignKey("items.id", ondelete="CASCADE"), nullable=False),
    Column("at", Moment, nullable=False),
    Column("utc_offset_min", Integer, nullable=False),
    Column("tempo_bpm", Float, nullable=False),
    Column("outcome", String(1), nullable=False),
    # The outcome with which this take moved the ladder; NULL where it did not.
    Column("counted_as", String(1)),
    Column("hearing", JSON(none_as_null=True)),
    Column("tolerance_ms", Float),
    Column("length_s", Float, nullable=False),
    Column("whole", Boolean, nullable=False, server_default="0"),
    Column("roots_right", Float),
    Column("in_time", Boolean),
    Column("audio", String(400)),
    Column("note", Text, nullable=False),
    CheckConstraint("outcome IN ('C', 'F', 'U')", name="outcome_known"),
    CheckConstraint("counted_as IN ('C', 'F', 'U')", name="counted_as_known"),
    CheckConstraint("tempo_bpm > 0", name="tempo_above_0"),
    Index("takes_by_player_item_time", "player_id", "item_id", "at"),
    sqlite_autoincrement=True,  # a take's number is never used again
)

overrules = Table(
    "overrules",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("take_id", ForeignKey("takes.id", ondelete="CASCADE"), nullable=False),
    Column("note", Integer, nullable=False),
    Column("verdict", String(10), nullable=False),
    Column("at", Moment, nullable=False),
    Column("by", String(200), nullable=False),
    UniqueConstraint("take_id", "note", name="one_overrule_a_note"),
)

ladders = Table(
    "ladders",
    metadata,
    Column("player_id", ForeignKey("players.id", ondelete="CASCADE"), primary_key=True),
    Column("item_id", ForeignKey("items.id", ondelete="CASCADE"), primary_key=True),
    Column("rule", JSON, nullable=False),
    Column("tempo_bpm", Float, nullable=False),
    Column("streak", Integer, nullable=False),
    # The state is always the replay, from this origin, of the takes counted since.
    Column("origin_tempo_bpm", Float, nullable=False),
    Column("origin_streak", Integer, nullable=False),
    Column("since_take_id", Integer, nullable=False),
)

sets = Table(
    "sets",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200, collation="NOCASE"), nullable=False, unique=True),
    Column("held_on", Date, nullable=False),
    Column("text", Text, nullable=False),
    Column("kept_at", Moment, nullable=False),
)

assignments = Table(
    "assignments",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("player_id", ForeignKey("players.id", ondelete="CASCADE"), nullable=False),
    Column("item_id", ForeignKey("items.id", ondelete="CASCADE"), nullable=False),
    Column("given_at", Moment, nullable=False),
    Column("due_on", Date),
    Column("note", Text, nullable=False),
    Column("done_at", Moment),
)

settings = Table(
    "settings",
    metadata,
    Column("name", String(100), primary_key=True),
    Column("value", JSON, nullable=False),
)
