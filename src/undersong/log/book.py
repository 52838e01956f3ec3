"""The practice log: players, takes and the ladders they move.

Conventions
-----------
A take and the step of its ladder are one transaction. A ladder's state is always the replay, by
its rule and from its origin, of the outcomes with which takes counted since (`faults` proves it).
A pass at another tempo than the ladder asked for is kept and does not move it. A verdict that a
person overrules stands beside what the ear said.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import date, datetime

import sqlalchemy as sa

from undersong.errors import LogError
from undersong.log import schema
from undersong.log.ladders import ladder_at, ladder_of_row, replay, set_ladder
from undersong.log.shelf import Shelf, all_items, check_player, clean_name, clean_text, spelled
from undersong.log.takes import (
    check_there,
    find_answers,
    find_passes,
    find_take,
    find_takes,
    judge_again,
    store_take,
    take_row,
)
from undersong.log.values import (
    VERDICTS,
    Assignment,
    Item,
    KeptTake,
    LadderState,
    Player,
    Take,
    notes_of,
)
from undersong.practice.ladder import Outcome, Rule, first
from undersong.practice.passes import Pass


class Book(Shelf):
    """The whole log; see `Store.open` for opening one."""

    # Players

    def add_player(
        self, name: str, *, at: datetime, level: int = 1, tuning: str = "", hand: str = "right"
    ) -> Player:
        """Add a player; names differ by more than capitals."""
        name = clean_name(name, "A player's name")
        check_player(level, hand)
        table = schema.players
        with self._writing() as connection:
            if connection.execute(sa.select(table.c.id).where(table.c.name == name)).first():
                raise LogError(f"There is already a player named {name}: choose another name.")
            connection.execute(
                sa.insert(table).values(
                    name=name, level=level, tuning=clean_text(tuning), hand=hand, added_at=at
                )
            )
        return self.player(name)

    def player(self, name: str) -> Player:
        """The player of a name, capitals or not."""
        table = schema.players
        with self._reading() as connection:
            row = connection.execute(sa.select(table).where(table.c.name == spelled(name))).first()
        if row is None:
            raise LogError(f"There is no player named {name!r} in the log.")
        return Player(*row)

    def players(self) -> tuple[Player, ...]:
        """All players by name."""
        table = schema.players
        with self._reading() as connection:
            rows = connection.execute(sa.select(table).order_by(table.c.name)).all()
        return tuple(Player(*row) for row in rows)

    def change_player(
        self,
        player: Player,
        *,
        level: int | None = None,
        tuning: str | None = None,
        hand: str | None = None,
    ) -> Player:
        """Change what a player plays; None leaves a thing as it is."""
        changed = {
            "level": player.level if level is None else level,
            "tuning": player.tuning if tuning is None else clean_text(tuning),
            "hand": player.hand if hand is None else hand,
        }
        check_player(changed["level"], changed["hand"])
        return self._change_player(player, changed)

    def agree_to_recordings(self, player: Player, *, at: datetime) -> Player:
        """Remember that the player (for a minor, a parent too) agreed to recordings being kept."""
        return self._change_player(player, {"recordings_agreed_at": at})

    def note_pain(self, player: Player, *, at: datetime, hurts: bool) -> Player:
        """Remember that pain was asked about, and the day if it hurts; nothing else about it."""
        changed: dict[str, object] = {"pain_asked_at": at}
        if hurts:
            changed["pain_said_on"] = at.date()
        return self._change_player(player, changed)

    def _change_player(self, player: Player, changed: Mapping[str, object]) -> Player:
        table = schema.players
        with self._writing() as connection:
            check_there(connection, table, player.id, f"player named {player.name!r}")
            connection.execute(sa.update(table).where(table.c.id == player.id).values(changed))
        return self.player(player.name)

    def delete_player(self, player: Player) -> None:
        """Delete a player, everything they played, and their recordings."""
        self.delete_recordings(player)
        with self._writing() as connection:
            table = schema.players
            connection.execute(sa.delete(table).where(table.c.id == player.id))
        # What was deleted is not to linger in the write-ahead log either.
        with self._bare() as bare:
            bare.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()

    # Takes

    def keep_take(
        self,
        player: Player,
        item: Item,
        *,
        outcome: Outcome,
        tempo_bpm: float,
        at: datetime,
        hearing: Mapping[str, object] | None = None,
        tolerance_ms: float | None = None,
        length_s: float = 0.0,
        whole: bool = False,
        roots_right: float | None = None,
        in_time: bool | None = None,
        audio: str | None = None,
        note: str = "",
        on_ladder: bool = True,
        uid: str | None = None,
    ) -> KeptTake:
        """Keep a pass and move the ladder, both or neither.

        Parameters
        ----------
        outcome
            Clean, not clean or could not tell.
        tempo_bpm
            The tempo asked for (the click's). More than half a beat a minute away from the
            ladder's the pass is kept and does not move it.
        at
            When it began, with the player's zone.
        hearing
            The Hearing contract (JSON), None where nobody listened.
        tolerance_ms
            The window it was judged by.
        length_s
            Seconds of playing.
        whole
            The whole item, its roadmap followed, without a stop.
        roots_right, in_time
            See `Pass`.
        audio
            Name of the recording inside the recordings folder; the player must have agreed.
        on_ladder
            False for a first try or a play-through that is no pass of the climb.
        uid
            The take's own name, for a take kept elsewhere first; a new one if None.

        Raises
        ------
        LogError
            If player or item are not in the log, a value is none, or the take is there already.
        """
        row = take_row(
            at=at,
            tempo_bpm=tempo_bpm,
            outcome=outcome,
            length_s=length_s,
            roots_right=roots_right,
            tolerance_ms=tolerance_ms,
            hearing=hearing,
            note=note,
        )
        row |= {"whole": whole, "in_time": in_time, "uid": uid or str(uuid.uuid4())}
        with self._writing() as connection:
            if audio is not None:
                self._check_may_record(connection, player, audio)
                row["audio"] = audio
            before, after, take_id = store_take(
                connection, player.id, item.id, row, on_ladder=on_ladder
            )
            take = find_take(connection, take_id)
        return KeptTake(take, before, after)

    def _check_may_record(self, connection: sa.Connection, player: Player, audio: str) -> None:
        self._recording(audio)
        table = schema.players
        agreed = sa.select(table.c.recordings_agreed_at).where(table.c.id == player.id)
        if connection.execute(agreed).scalar() is None:
            raise LogError(
                f"{player.name} has not agreed to recordings being kept: ask first, and for a "
                "minor ask a parent too."
            )

    def take(self, take_id: int) -> Take:
        """The take of a number."""
        with self._reading() as connection:
            return find_take(connection, take_id)

    def takes_of(
        self, player: Player | None, item: Item | None = None, *, since: datetime | None = None
    ) -> tuple[Take, ...]:
        """Takes in order of time; of all players if None, of all items if None."""
        with self._reading() as connection:
            return find_takes(connection, player, item, since)

    def history(
        self, player: Player | None, item: Item | None = None, *, since: datetime | None = None
    ) -> tuple[Pass, ...]:
        """The same as the practice rules see it."""
        with self._reading() as connection:
            return find_passes(connection, player, item, since)

    def overrule(
        self,
        take_id: int,
        note: int,
        verdict: str,
        *,
        at: datetime,
        by: str = "",
        outcome: Outcome | None = None,
    ) -> Take:
        """Put right a verdict of the ear; it is remembered as a known answer.

        Parameters
        ----------
        take_id
            The take.
        note
            Place in the hearing's `notes`, from 0.
        verdict
            What it was in truth: right, wrong, missed, extra or unsure.
        by
            Who says so.
        outcome
            How the whole pass is judged with it, where that changes. The ladder follows only if
            no later take has moved it: passes already played at the next tempo stay as they were.
        """
        if verdict not in VERDICTS:
            raise LogError(f"{verdict!r} is no verdict: use {', '.join(VERDICTS)}.")
        by = clean_text(by)
        with self._writing() as connection:
            take = find_take(connection, take_id)
            heard = notes_of(take.hearing)
            if not 0 <= note < len(heard):
                raise LogError(
                    f"The take has no note {note}: its hearing has {len(heard)} notes, from 0."
                )
            table = schema.overrules
            here = (table.c.take_id == take_id) & (table.c.note == note)
            connection.execute(sa.delete(table).where(here))
            row = {"take_id": take_id, "note": note, "verdict": verdict, "at": at, "by": by}
            connection.execute(sa.insert(table).values(row))
            if outcome is not None and outcome is not take.outcome:
                judge_again(connection, take, outcome)
            return find_take(connection, take_id)

    def known_answers(self) -> tuple[Take, ...]:
        """Takes with a verdict that a person put right."""
        with self._reading() as connection:
            return find_answers(connection)

    def delete_take(self, take_id: int) -> None:
        """Delete a take and its recording; the ladder stays where it is."""
        with self._writing() as connection:
            take = find_take(connection, take_id)
            owner = sa.select(schema.takes.c.player_id).where(schema.takes.c.id == take_id)
            player_id = connection.execute(owner).scalar_one()
            if take.audio is not None:
                self._recording(take.audio).unlink(missing_ok=True)
            connection.execute(sa.delete(schema.takes).where(schema.takes.c.id == take_id))
            if take.counted_as is not None:
                rule, ladder = ladder_at(connection, player_id, take.item.id)
                set_ladder(connection, player_id, take.item.id, rule, ladder)

    def delete_recordings(
        self, player: Player | None = None, *, before: datetime | None = None
    ) -> int:
        """Delete the sound of takes (of all players if None, older than a moment if given).

        The takes and their verdicts stay. Returns how many recordings there were.
        """
        table = schema.takes
        wanted: sa.ColumnElement[bool] = table.c.audio.is_not(None)
        if player is not None:
            wanted &= table.c.player_id == player.id
        if before is not None:
            wanted &= table.c.at < before
        with self._writing() as connection:
            rows = connection.execute(sa.select(table.c.id, table.c.audio).where(wanted)).all()
            for row in rows:
                self._recording(row.audio).unlink(missing_ok=True)
            connection.execute(sa.update(table).where(wanted).values(audio=None))
        return len(rows)

    # Ladders

    def ladder_of(self, player: Player, item: Item) -> LadderState:
        """Where a climb stands; at the foot of the usual rule where it has not begun."""
        with self._reading() as connection:
            rule, ladder = ladder_at(connection, player.id, item.id)
        return LadderState(rule, ladder)

    def set_rule(
        self, player: Player, item: Item, rule: Rule, *, start_over: bool = False
    ) -> LadderState:
        """Change the settings of a climb; it goes on from where it stands unless started over."""
        with self._writing() as connection:
            _, ladder = ladder_at(connection, player.id, item.id)
            start = first(rule) if start_over else ladder
            kept = set_ladder(connection, player.id, item.id, rule, start)
        return LadderState(rule, kept)

    def faults(self) -> tuple[str, ...]:
        """What is wrong with the file, in sentences; nothing where all is well.

        SQLite's own checks, and every ladder against the replay of its takes.
        """
        found: list[str] = []
        with self._reading() as connection:
            said = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            found += [f"The file is damaged: {line}." for line in said if line != "ok"]
            for row in connection.exec_driver_sql("PRAGMA foreign_key_check").all():
                found.append(f"A row of {row[0]} refers to a row of {row[2]} that is gone.")
            for ladder in connection.execute(sa.select(schema.ladders)).all():
                _, state = ladder_of_row(ladder)
                if replay(connection, ladder) != state:
                    found.append(
                        f"The ladder of player {ladder.player_id} for item {ladder.item_id} is "
                        f"not what its takes make it."
                    )
        return tuple(found)

    # Assignments

    def assign(
        self,
        player: Player,
        item: Item,
        *,
        at: datetime,
        due_on: date | None = None,
        note: str = "",
    ) -> Assignment:
        """Give a player something to practise."""
        table = schema.assignments
        row = {"player_id": player.id, "item_id": item.id, "given_at": at, "due_on": due_on}
        with self._writing() as connection:
            check_there(connection, schema.players, player.id, f"player named {player.name!r}")
            check_there(connection, schema.items, item.id, item.label)
            made = connection.execute(sa.insert(table).values(**row, note=clean_text(note)))
            number = made.inserted_primary_key
        return next(each for each in self.assignments(player) if number and each.id == number[0])

    def assignments(self, player: Player | None = None) -> tuple[Assignment, ...]:
        """Work given, oldest first; to all players if None."""
        table = schema.assignments
        query = sa.select(table, schema.players.c.name).join(schema.players).order_by(table.c.id)
        if player is not None:
            query = query.where(table.c.player_id == player.id)
        with self._reading() as connection:
            items = all_items(connection)
            rows = connection.execute(query).all()
        return tuple(
            Assignment(
                row.id,
                row.name,
                items[row.item_id],
                row.given_at,
                row.due_on,
                row.note,
                row.done_at,
            )
            for row in rows
        )

    def finish(self, assignment: Assignment, *, at: datetime) -> None:
        """Mark work as done."""
        table = schema.assignments
        with self._writing() as connection:
            check_there(connection, table, assignment.id, "such assignment")
            done = sa.update(table).where(table.c.id == assignment.id).values(done_at=at)
            connection.execute(done)

    # Carrying it elsewhere: loaded when asked for, as the first page waits for all that is loaded

    def export_csv(self, player: Player | None = None) -> str:
        """All takes (or one player's) as a table that a spreadsheet opens."""
        from undersong.log import transfer

        return transfer.to_csv(self.takes_of(player), self.players())

    def export_json(self, player: Player | None = None) -> dict[str, object]:
        """Everything (or all that concerns one player) as JSON; `bring_in` reads it."""
        from undersong.log import transfer

        with self._reading() as connection:
            return transfer.to_json(connection, player)

    def bring_in(self, document: object, *, update_items: bool = False) -> int:
        """Add what `export_json` wrote elsewhere: a volunteer's results, or the work for them.

        Players and items are known by their names, takes by their own; bringing the same in twice
        changes nothing. A climb that has not begun here arrives as it stands; on one that has,
        takes that counted at home count here too where the tempo is the one it asks for. Charts
        and sets go by which is newer; parts and tempos of known items stay as they are here
        unless `update_items` (work that comes from the leader). Returns how many takes were new.

        Raises
        ------
        LogError
            If the document is not such an export; then nothing was added.
        """
        from undersong.log.arrival import from_json

        with self._writing() as connection:
            return from_json(connection, document, update_items=update_items)
