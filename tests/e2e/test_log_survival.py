"""A log file that is written while its programs are killed, or by two programs at once."""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from undersong.errors import LogError
from undersong.log.book import Book
from undersong.log.store import Store

WRITER = Path(__file__).parent.parent / "log_writer.py"
ROUNDS = 40
LONGEST_S = 0.04  # longer than one take needs


def writer(file: Path, player: str, count: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, str(WRITER), str(file), player, count],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def killed(process: "subprocess.Popen[str]", luck: random.Random) -> list[str]:
    """Let one writer go, kill it at a random moment, and return what it said it had committed.

    Half of them are killed while opening (and the first of all: making) the file, half after a
    few commits, somewhere in the next.
    """
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write("go\n")
    process.stdin.flush()
    child = int(process.stdout.readline())
    said = [process.stdout.readline().strip() for _ in range(luck.choice([0, luck.randint(1, 6)]))]
    time.sleep(luck.uniform(0, LONGEST_S))
    os.kill(child, signal.SIGKILL)
    for line in process.stdout:
        if line == "dead\n":
            return [uid for uid in said if len(uid) == 36]
        said.append(line.strip())
    raise AssertionError("the writer ended before it was killed")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork and no SIGKILL")
def test_killed_at_any_moment_nothing_committed_is_lost(tmp_path: Path) -> None:
    file = tmp_path / "log.db"
    luck = random.Random(20261125)
    committed: set[str] = set()
    kept: set[str] = set()
    seen = 0
    with writer(file, "Mara", "endless") as process:
        for _ in range(ROUNDS):
            said = killed(process, luck)
            committed.update(said)
            with Book.open(file) as book:
                assert book.faults() == ()  # sound, and the ladder is the replay of its takes
                kept = {take.uid for take in book.takes_of(None)}
            assert committed <= kept
            # At most one take more: committed, and killed before it could be said.
            assert len(kept) - seen <= 1 + len(said)
            seen = len(kept)
        assert process.stdin is not None
        process.stdin.close()
    assert len(committed) > ROUNDS  # the rounds were long enough to write
    assert len(kept - committed) <= ROUNDS


def test_two_programs_write_at_once(tmp_path: Path) -> None:
    file = tmp_path / "log.db"
    both = [writer(file, "Mara", "60") for _ in range(2)]
    said = [process.communicate()[0].split() for process in both]
    assert [process.returncode for process in both] == [0, 0]
    with Book.open(file) as book:
        assert book.faults() == ()
        kept = {take.uid for take in book.takes_of(book.player("Mara"))}
    assert kept == {*said[0], *said[1]}
    assert len(kept) == 120


def test_a_second_program_waits_and_then_says_so(tmp_path: Path) -> None:
    file = tmp_path / "log.db"
    Store.open(file).close()
    with closing(sqlite3.connect(file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LogError, match=r"log\.db is in use: another program"):
            Book.open(file, wait_s=0.1)
        other.execute("COMMIT")
    with Book.open(file, wait_s=0.1) as book:
        book.keep_setting("click", 60)
        assert book.setting("click") == 60


def test_readers_do_not_wait_for_a_writer(tmp_path: Path) -> None:
    file = tmp_path / "log.db"
    with Book.open(file, wait_s=0.1) as book:
        book.keep_setting("click", 60)
        with closing(sqlite3.connect(file, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            other.execute("DELETE FROM settings")
            assert book.setting("click") == 60
            with pytest.raises(LogError, match="Nothing was written; try again"):
                book.keep_setting("click", 61)
            other.execute("ROLLBACK")
        assert book.setting("click") == 60
