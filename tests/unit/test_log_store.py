import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from undersong.errors import LogError
from undersong.log.book import Book
from undersong.log.migrations import VERSION
from undersong.practice.ladder import Outcome

AT = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)
NOBODY = 65534


@contextmanager
def as_ordinary_user() -> Iterator[None]:
    """Folder rights mean nothing to the superuser, as whom tests in containers often run."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that an ordinary user can look into (pytest's own is private)."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        folder.chmod(0o755)


def sql(file: Path, statement: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        return list(connection.execute(statement))


def filled(file: Path) -> Path:
    with Book.open(file) as book:
        player = book.add_player("Mara", at=AT)
        item = book.keep_item("drill", "scale", key="G")
        book.keep_take(player, item, outcome=Outcome.CLEAN, tempo_bpm=70, at=AT)
    return file


def test_a_new_file_is_made_and_opens_again(tmp_path: Path) -> None:
    file = filled(tmp_path / "log.db")
    with Book.open(str(file)) as book:
        assert [player.name for player in book.players()] == ["Mara"]
    assert sql(file, "PRAGMA journal_mode") == [("wal",)]
    assert sql(file, "PRAGMA user_version") == [(VERSION,)]


def test_names_with_signs_that_mean_something_elsewhere(tmp_path: Path) -> None:
    file = tmp_path / "Mara's log? #1 %41 & täglich.db"
    filled(file)
    assert [path.name for path in tmp_path.iterdir()] == [file.name]


def test_closing_twice_is_harmless() -> None:
    book = Book.in_memory()
    book.close()
    book.close()


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(LogError, match=r"There is no folder .*nowhere: make it"):
        Book.open(tmp_path / "nowhere" / "log.db")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_no_log(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="is a folder: name a file in it"):
        Book.open(tmp_path)


def test_a_name_that_cannot_be(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="cannot be read"):
        Book.open(f"{tmp_path}/log\0.db")


@pytest.mark.parametrize("content", [b"Dear diary", b"SQLite", b"\0" * 5000])
def test_another_kind_of_file_is_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "notes.txt"
    file.write_bytes(content)
    with pytest.raises(LogError, match=r"notes\.txt is not a practice log"):
        Book.open(file)
    assert file.read_bytes() == content
    assert list(tmp_path.iterdir()) == [file]


def test_another_programs_database_is_left_as_it_is(tmp_path: Path) -> None:
    file = tmp_path / "shop.db"
    sql(file, "CREATE TABLE orders (id INTEGER)")
    before = file.read_bytes()
    with pytest.raises(LogError, match="a database of another program"):
        Book.open(file)
    assert file.read_bytes() == before
    assert list(tmp_path.iterdir()) == [file]


def test_an_empty_file_becomes_a_log(tmp_path: Path) -> None:
    file = tmp_path / "log.db"
    file.touch()
    filled(file)


def test_a_newer_log_is_refused_unchanged(tmp_path: Path) -> None:
    file = filled(tmp_path / "log.db")
    sql(file, "PRAGMA user_version = 99")
    before = file.read_bytes()
    with pytest.raises(LogError, match=r"newer Undersong \(log version 99; this one reads up to"):
        Book.open(file)
    assert file.read_bytes() == before


def test_a_damaged_log_says_so(tmp_path: Path) -> None:
    file = filled(tmp_path / "log.db")
    content = bytearray(file.read_bytes())
    content[100:8192] = b"\xff" * 8092
    file.write_bytes(content)
    with pytest.raises(LogError, match="damaged: restore it from a copy"):
        Book.open(file)


def complaints(file: Path) -> tuple[str, ...]:
    try:
        with Book.open(file) as book:
            return book.faults()
    except LogError as error:
        return (str(error),)


def test_a_cut_off_log_is_noticed(tmp_path: Path) -> None:
    file = filled(tmp_path / "log.db")
    assert complaints(file) == ()
    file.write_bytes(file.read_bytes()[:-4096])
    assert "damaged" in complaints(file)[0]


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="this system has no such folder rights")
def test_a_read_only_folder_says_so(open_folder: Path) -> None:
    open_folder.chmod(0o555)
    with as_ordinary_user(), pytest.raises(LogError, match="cannot be opened: look whether"):
        Book.open(open_folder / "log.db")
    assert list(open_folder.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="this system has no such folder rights")
def test_a_read_only_log_says_so(open_folder: Path) -> None:
    file = filled(open_folder / "log.db")
    file.chmod(0o444)
    before = file.read_bytes()
    with as_ordinary_user(), pytest.raises(LogError, match=r"cannot be (written|opened)"):
        Book.open(file)
    assert file.read_bytes() == before


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="this system has no such folder rights")
def test_a_private_folder_says_so(open_folder: Path) -> None:
    open_folder.chmod(0o700)
    if os.geteuid() != 0:
        open_folder.chmod(0o000)
    with as_ordinary_user(), pytest.raises(LogError, match="cannot be read: Permission denied"):
        Book.open(open_folder / "log.db")


def test_a_full_disk_says_so_and_nothing_is_half_written(tmp_path: Path) -> None:
    with Book.open(tmp_path / "log.db") as book:
        with book._bare() as bare:  # the nearest thing to a full disk: a file that may not grow
            pages = bare.execute("PRAGMA page_count").fetchone()[0]
            bare.execute(f"PRAGMA max_page_count = {pages}").close()
        with pytest.raises(LogError, match=r"the disk is full\. Nothing was written"):
            book.keep_chart("Slow Water", "| 1 |" * 10_000, at=AT)
        assert book.charts() == ()


def test_a_copy_is_one_file_and_restores(tmp_path: Path) -> None:
    file, copy = tmp_path / "log.db", tmp_path / "copy.db"
    filled(file)
    with Book.open(file) as book:
        assert book.backup(copy) == copy
        kept = book.export_json()
        book.delete_player(book.player("Mara"))
        before = book.restore(copy)
        assert book.export_json() == kept
        assert book.faults() == ()
        assert before is not None
        with Book.open(before) as aside:
            assert aside.players() == ()
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {"log.db", "copy.db", "log-before-restore-1.db"}
    assert sql(file, "PRAGMA journal_mode") == [("wal",)]


def test_a_copy_is_a_log_of_its_own(tmp_path: Path) -> None:
    with Book.open(filled(tmp_path / "log.db")) as book:
        book.backup(tmp_path / "copy.db")
        kept = book.export_json()
    with Book.open(tmp_path / "copy.db") as copy:
        assert copy.export_json() == kept


def test_an_older_copy_is_replaced_and_another_file_is_not(tmp_path: Path) -> None:
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Mara")
    with Book.open(filled(tmp_path / "log.db")) as book:
        book.backup(tmp_path / "copy.db")
        book.add_player("Jonas", at=AT)
        book.backup(tmp_path / "copy.db")
        with pytest.raises(LogError, match="is not a practice log"):
            book.backup(letter)
        with pytest.raises(LogError, match="is the log itself"):
            book.backup(tmp_path / "log.db")
        with pytest.raises(LogError, match="There is no folder"):
            book.backup(tmp_path / "nowhere" / "copy.db")
    assert letter.read_text() == "Dear Mara"
    with Book.open(tmp_path / "copy.db") as copy:
        assert len(copy.players()) == 2


def test_restoring_twice_keeps_both_old_logs(tmp_path: Path) -> None:
    with Book.open(filled(tmp_path / "log.db")) as book:
        copy = book.backup(tmp_path / "copy.db")
        asides = {book.restore(copy), book.restore(copy)}
    assert {path.name for path in asides if path} == {
        "log-before-restore-1.db",
        "log-before-restore-2.db",
    }


def test_a_log_that_others_have_open_is_restored_for_them_too(tmp_path: Path) -> None:
    file = filled(tmp_path / "log.db")
    with Book.open(file) as book, Book.open(file) as other:
        copy = book.backup(tmp_path / "copy.db")
        other.add_player("Jonas", at=AT)
        assert len(other.players()) == 2
        book.restore(copy)
        assert [player.name for player in other.players()] == ["Mara"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "There is no file"),
        (b"Dear diary", "is not a practice log"),
        (b"", "is empty: it is no copy"),
    ],
)
def test_what_is_no_copy_changes_nothing(tmp_path: Path, content: bytes | None, said: str) -> None:
    copy = tmp_path / "copy.db"
    if content is not None:
        copy.write_bytes(content)
    with Book.open(filled(tmp_path / "log.db")) as book:
        kept = book.export_json()
        with pytest.raises(LogError, match=said):
            book.restore(copy)
        assert book.export_json() == kept
    assert not list(tmp_path.glob("*before*"))


def test_a_damaged_or_newer_copy_changes_nothing(tmp_path: Path) -> None:
    with Book.open(filled(tmp_path / "log.db")) as book:
        newer = book.backup(tmp_path / "newer.db")
        sql(newer, "PRAGMA user_version = 99")
        damaged = book.backup(tmp_path / "damaged.db")
        content = bytearray(damaged.read_bytes())
        content[4096 + 100 : 4096 * 3] = b"\xff" * (4096 * 2 - 100)
        damaged.write_bytes(content)
        kept = book.export_json()
        with pytest.raises(LogError, match="newer Undersong"):
            book.restore(newer)
        with pytest.raises(LogError, match="damaged"):
            book.restore(damaged)
        assert book.export_json() == kept


def test_restoring_into_memory() -> None:
    with tempfile.TemporaryDirectory() as folder, Book.in_memory() as book:
        file = filled(Path(folder) / "log.db")
        assert book.restore(file) is None
        assert [player.name for player in book.players()] == ["Mara"]


def test_unknown_complaints_pass_on_their_words() -> None:
    with Book.in_memory() as book:
        with book._writing() as connection:
            connection.exec_driver_sql("DROP TABLE settings")
        with pytest.raises(LogError, match="cannot do that: no such table: settings"):
            book.setting("click")


def test_every_connection_keeps_the_promises(tmp_path: Path) -> None:
    with Book.open(tmp_path / "log.db") as book, book._bare() as one, book._bare() as two:
        assert one is not two
        for pragma, value in (("foreign_keys", 1), ("synchronous", 2), ("secure_delete", 1)):
            for bare in (one, two):
                assert bare.execute(f"PRAGMA {pragma}").fetchone()[0] == value
