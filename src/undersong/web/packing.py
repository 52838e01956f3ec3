"""The tracks of a pack made beside the app, in a process of its own, and put together as one file.

A process and not a thread: rendering would hold up whoever is heard at the same time. It takes
only what time is left over, where the system knows of such a thing.
"""

from __future__ import annotations

import os
import shutil
import signal
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

from undersong.errors import UndersongError
from undersong.practice.takehome import PAGES
from undersong.sound.tracks import Album, Track, write_tracks

PARCEL = "pack.zip"
STOPPED = (
    "The tracks could not be finished: this computer stopped the work, perhaps for want of memory. "
    "Close what is not needed and make them again."
)
_NICENESS = 10  # of at most 19: well behind the listening, yet not at a standstill


@dataclass(frozen=True, slots=True)
class Step:
    """How far the making is: how many tracks are done, and which was the last of them.

    The last step says that all is packed, or what went wrong.
    """

    done: int = 0
    name: str = ""
    is_last: bool = False
    error: str = ""


@dataclass(frozen=True, slots=True)
class Packing:
    """What is to be packed: pages and tracks, into a folder of the player's name."""

    name: str
    pages: bytes
    tracks: tuple[Track, ...]
    album: Album


class Packer:
    """One process that packs; its steps are asked for, never waited for."""

    def __init__(self, packing: Packing, folder: Path) -> None:
        # Begun afresh: a copy of a process with threads may stand still for ever.
        begun = get_context("spawn")
        self._steps, told = begun.Pipe(duplex=False)
        self._process: BaseProcess = begun.Process(
            target=pack, args=(packing, folder, told), daemon=True
        )
        self._told = told

    def start(self) -> None:
        """Begin; this takes a moment."""
        self._process.start()
        self._told.close()  # ours: so that the end of theirs is seen

    def step(self) -> Step | None:
        """The next step, None while there is no news."""
        if not self._steps.poll():
            return None
        try:
            step: Step = self._steps.recv()
        except EOFError:
            return Step(is_last=True, error=STOPPED)
        return step

    def close(self) -> None:
        """Stop it, wherever it is."""
        if self._process.pid is not None:
            self._process.kill()
            self._process.join()
        self._steps.close()


def pack(packing: Packing, folder: Path, told: Connection) -> None:
    """Make the tracks in a folder and put them into its `PARCEL`, telling each step."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the app ends this process itself
    if hasattr(os, "nice"):
        os.nice(_NICENESS)

    def progress(done: int, _: int, name: str) -> None:
        told.send(Step(done, name))

    inside = folder / packing.name
    try:
        paths = write_tracks(
            packing.tracks, inside, album=packing.album, progress=progress, workers=1
        )
        _put_together(packing, paths, folder / PARCEL)
        shutil.rmtree(inside)
    except UndersongError as error:
        told.send(Step(is_last=True, error=str(error)))
    except BrokenPipeError:
        return  # the app is gone, and nobody waits any more
    except OSError as error:
        told.send(Step(is_last=True, error=f"The tracks cannot be put together: {error.strerror}."))
    else:
        told.send(Step(is_last=True))
    told.close()


def _put_together(packing: Packing, paths: Sequence[Path], parcel: Path) -> None:
    """Pages and tracks in one file, stored as they are: MP3 and PDF hardly get smaller."""
    with zipfile.ZipFile(parcel, "w") as whole:
        whole.writestr(f"{packing.name}/{PAGES}", packing.pages)
        for path in paths:
            whole.write(path, f"{packing.name}/{path.name}")
