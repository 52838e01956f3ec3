"""The file under the practice log: opened, migrated, shared, copied and put back.

Conventions
-----------
One SQLite file. A write-ahead log with full synchronisation: what was committed is there after a
kill or a power cut. Every write is one transaction that begins as a write, so a second program
waits for its turn (and is told so after `wait_s`), and never reads, decides and then collides.
Foreign keys are on; deleted rows are overwritten, for they are about people.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import Self

import sqlalchemy as sa
from sqlalchemy.pool import ConnectionPoolEntry, StaticPool

from undersong.errors import LogError
from undersong.log.migrations import VERSION, migrate, version_of
from undersong.log.schema import APPLICATION_ID

WAIT_S = 10.0
_FIRST_BYTES = b"SQLite format 3\0"


class Store:
    """An open log file (or one in memory); close it, or use it in a `with` block."""

    def __init__(self, engine: sa.Engine, *, file: Path | None, recordings: Path | None) -> None:
        self._engine = engine
        self._reads = engine
        self._writes = engine.execution_options(begin="IMMEDIATE")
        self.file = file
        self.recordings = recordings

    @classmethod
    def open(
        cls, path: str | Path, *, recordings: str | Path | None = None, wait_s: float = WAIT_S
    ) -> Self:
        """Open a log, made if it is not there yet and migrated if it is older.

        Parameters
        ----------
        path
            The file; its folder must exist.
        recordings
            Folder in which takes' sound is kept; ``recordings`` beside the file if None.
        wait_s
            Seconds to wait for another program that is writing.

        Raises
        ------
        LogError
            If the file cannot be opened, is no log of ours, or is of a newer version.
        """
        file = Path(path)
        _check_place(file)
        folder = file.parent / "recordings" if recordings is None else Path(recordings)
        url = sa.URL.create("sqlite", database=str(file))
        store = cls(_engine(url, wait_s), file=file, recordings=folder)
        with ExitStack() as undo:
            undo.callback(store.close)
            with speaking(file):
                store._check_ours()
                store._use_write_ahead_log(wait_s)
                with store._writes.connect() as connection:
                    migrate(connection)
            undo.pop_all()
        return store

    @classmethod
    def in_memory(cls, *, recordings: Path | None = None) -> Self:
        """A log that is gone when it is closed."""
        engine = _engine(sa.URL.create("sqlite", database=":memory:"), WAIT_S)
        store = cls(engine, file=None, recordings=recordings)
        with store._writes.connect() as connection:
            migrate(connection)
        return store

    def close(self) -> None:
        """Let go of the file; closing twice is harmless."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def _reading(self) -> Iterator[sa.Connection]:
        """One consistent view of the file."""
        with speaking(self.file), self._reads.begin() as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[sa.Connection]:
        """All or nothing."""
        with speaking(self.file), self._writes.begin() as connection:
            yield connection

    def _check_ours(self) -> None:
        """Look before anything is written: no other program's database is ever touched."""
        with self._reads.begin() as connection:
            marked = connection.exec_driver_sql("PRAGMA application_id").scalar_one()
            version = version_of(connection)
            used = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one()
        if (used or version) and marked != APPLICATION_ID:
            raise LogError(
                f"{self.file} is a database of another program, not a practice log: nothing in it "
                "was changed. Choose another file."
            )
        if version > VERSION:
            raise LogError(
                f"{self.file} was written by a newer Undersong (log version {version}; this one "
                f"reads up to {VERSION}): update Undersong to open it. Nothing in it was changed."
            )

    def _use_write_ahead_log(self, wait_s: float) -> None:
        # SQLite does not wait for its turn when the journal mode changes: two programs that make
        # the same new file at once would collide here.
        give_up = time.monotonic() + wait_s
        while True:
            try:
                with closing(self._engine.raw_connection()) as raw:
                    raw.cursor().execute("PRAGMA journal_mode = WAL").close()
            except sqlite3.OperationalError as error:
                if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > give_up:
                    raise
                time.sleep(0.02)
            else:
                return

    def _recording(self, audio: str) -> Path:
        """Where a take's sound lies; a name that leaves the folder is refused."""
        name = PurePosixPath(audio)
        if self.recordings is None:
            raise LogError("This log has no folder for recordings.")
        if name.is_absolute() or ".." in name.parts or "\\" in audio or not name.parts:
            raise LogError(
                f"{audio!r} is no name for a recording: name a file inside the recordings folder."
            )
        return self.recordings / name

    def backup(self, path: str | Path) -> Path:
        """Copy the whole log, as it is at one moment, to one file; others may go on writing.

        An earlier copy of that name is replaced in one move; any other file is left alone.
        """
        copy = Path(path)
        _check_place(copy)
        if self.file is not None and copy.resolve() == self.file.resolve():
            raise LogError(f"{copy} is the log itself: choose another name for the copy.")
        part = copy.with_name(f".{copy.name}.{os.getpid()}.part")
        try:
            with speaking(copy), self._bare() as live, closing(sqlite3.connect(part)) as target:
                live.backup(target)
                # One file to keep: no write-ahead log beside it.
                target.execute("PRAGMA journal_mode = DELETE").close()
            part.replace(copy)
        except OSError as error:
            raise LogError(f"{copy} cannot be written: {error.strerror}.") from error
        finally:
            part.unlink(missing_ok=True)
        return copy

    def restore(self, path: str | Path) -> Path | None:
        """Replace all that is in this log by a copy that `backup` made.

        Returns
        -------
        Path or None
            Where the log as it was before is kept; None for a log in memory.

        Raises
        ------
        LogError
            If the copy is missing, damaged, newer than this program or no log; then nothing in
            this log has changed.
        """
        copy = Path(path)
        if not copy.is_file():
            raise LogError(f"There is no file {copy} to restore from.")
        _check_place(copy)
        url = sa.URL.create("sqlite", database=f"file:{copy.resolve().as_posix()}")
        url = url.update_query_dict({"mode": "ro", "uri": "true"})
        source = Store(_engine(url, WAIT_S), file=copy, recordings=None)
        try:
            with speaking(copy):
                source._check_ours()
                source._check_whole()
            before = self._kept_aside()
            with speaking(self.file), source._bare() as kept, self._bare() as live:
                kept.backup(live)
            with speaking(self.file), self._writes.connect() as connection:
                migrate(connection)
        finally:
            source.close()
        return before

    def _check_whole(self) -> None:
        with self._reads.begin() as connection:
            if version_of(connection) == 0:
                raise LogError(f"{self.file} is empty: it is no copy of a practice log.")
            said = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
        if said != ["ok"]:
            raise LogError(f"{self.file} is damaged and cannot be restored: {said[0]}.")

    def _kept_aside(self) -> Path | None:
        if self.file is None:
            return None
        number = 1
        while True:
            aside = self.file.with_name(
                f"{self.file.stem}-before-restore-{number}{self.file.suffix}"
            )
            if not aside.exists():
                return self.backup(aside)
            number += 1

    @contextmanager
    def _bare(self) -> Iterator[sqlite3.Connection]:
        """The driver's own connection: copying whole files is below the engine."""
        with closing(self._engine.raw_connection()) as raw:
            driver = raw.driver_connection
            if not isinstance(driver, sqlite3.Connection):
                raise TypeError("the log needs the sqlite3 driver")
            yield driver


def _engine(url: sa.URL, wait_s: float) -> sa.Engine:
    options = {"timeout": wait_s, "check_same_thread": False}
    if url.database == ":memory:":
        engine = sa.create_engine(url, connect_args=options, poolclass=StaticPool)
    else:
        engine = sa.create_engine(url, connect_args=options)
    sa.event.listen(engine, "connect", _prepare)
    sa.event.listen(engine, "begin", _begin)
    return engine


def _prepare(driver: sqlite3.Connection, _entry: ConnectionPoolEntry) -> None:
    driver.isolation_level = None  # transactions begin where we say, tables included
    for pragma in ("foreign_keys = ON", "synchronous = FULL", "secure_delete = ON"):
        driver.execute(f"PRAGMA {pragma}").close()


def _begin(connection: sa.Connection) -> None:
    connection.exec_driver_sql(f"BEGIN {connection.get_execution_options().get('begin', '')}")


def _check_place(file: Path) -> None:
    """Refuse a place where no log can be, before the database makes anything there."""
    try:
        if not file.parent.is_dir():
            raise LogError(f"There is no folder {file.parent}: make it, or choose another.")
        if file.is_dir():
            raise LogError(f"{file} is a folder: name a file in it.")
        with file.open("rb") as opened:
            begins = opened.read(len(_FIRST_BYTES))
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:  # a name with a zero byte is a ValueError
        said = error.strerror if isinstance(error, OSError) else error
        raise LogError(f"{file} cannot be read: {said}.") from error
    if begins not in (b"", _FIRST_BYTES):
        raise LogError(f"{file} is not a practice log: nothing in it was changed.")


_SENTENCES = {
    "SQLITE_BUSY": "{file} is in use: another program has been writing to it for too long. "
    "Nothing was written; try again.",
    "SQLITE_LOCKED": "{file} is in use by another part of this program. Nothing was written; "
    "try again.",
    "SQLITE_NOTADB": "{file} is not a practice log, or is damaged: restore it from a copy.",
    "SQLITE_CORRUPT": "{file} is damaged: restore it from a copy.",
    "SQLITE_READONLY": "{file} cannot be written: the file or its folder is read-only.",
    "SQLITE_CANTOPEN": "{file} cannot be opened: look whether its folder may be written to.",
    "SQLITE_PERM": "{file} cannot be opened: you may not read or write it.",
    "SQLITE_FULL": "{file} cannot be written: the disk is full. Nothing was written.",
    "SQLITE_IOERR": "{file} cannot be read or written: the disk reports an error.",
}


@contextmanager
def speaking(file: Path | None) -> Iterator[None]:
    """Turn the database's complaints into sentences; everything else passes through."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        raise _said(file, error.orig) from error
    except sa.exc.StatementError as error:  # a value that no column can hold
        raise LogError(f"The log cannot keep that: {error.orig}.") from error
    except sqlite3.Error as error:
        raise _said(file, error) from error


def _said(file: Path | None, error: BaseException | None) -> LogError:
    name = str(getattr(error, "sqlite_errorname", ""))
    place = "The practice log" if file is None else str(file)
    for start, sentence in _SENTENCES.items():
        if name.startswith(start):
            return LogError(sentence.format(file=place))
    return LogError(f"{place} cannot do that: {error}.")
