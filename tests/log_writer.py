"""A program beside the tests that writes takes to a log file, to be killed or to be raced.

    python log_writer.py FILE PLAYER endless    after each "go" on its input, writes until killed
    python log_writer.py FILE PLAYER COUNT      writes that many takes and ends

Each take's uid is printed after its commit. In endless mode every writer is a fork that prints
its process number first; "dead" follows when it has been killed.
"""

import os
import sys
from contextlib import suppress
from datetime import UTC, datetime

from undersong.errors import LogError
from undersong.log.book import Book
from undersong.practice.ladder import Outcome

AT = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)
PATTERN = "CCCFUCCF"


def say(word: object) -> None:
    sys.stdout.write(f"{word}\n")
    sys.stdout.flush()


def write(file: str, name: str, count: int) -> None:
    with Book.open(file, wait_s=30) as book:
        with suppress(LogError):  # the other program, or the last one, was first
            book.add_player(name, at=AT)
        player = book.player(name)
        item = book.keep_item("drill", "scale", key="G")
        for number in range(count):
            kept = book.keep_take(
                player,
                item,
                outcome=Outcome(PATTERN[number % len(PATTERN)]),
                tempo_bpm=book.ladder_of(player, item).ladder.tempo_bpm,
                at=AT,
                hearing={"clean": None, "notes": [{"verdict": "right"}] * 40},
            )
            say(kept.take.uid)


def write_until_killed(file: str, name: str) -> None:
    with Book.in_memory():  # what is imported late is imported before the first fork
        pass
    for _ in sys.stdin:
        child = os.fork()
        if child == 0:
            say(os.getpid())
            write(file, name, 1_000_000)
            os._exit(0)
        os.waitpid(child, 0)
        say("\ndead")  # on a line of its own, whatever the killed one left unfinished


if __name__ == "__main__":
    path, who, how_many = sys.argv[1:]
    if how_many == "endless":
        write_until_killed(path, who)
    else:
        write(path, who, int(how_many))
