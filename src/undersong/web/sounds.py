"""Sounds for the browser: made once, kept in a folder that goes when the app closes.

What the page plays is the same rendered sound as the tracks. Only a few are kept: a song of four
minutes is some twenty megabytes.
"""

from __future__ import annotations

import tempfile
import threading
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from undersong.sound.click import click_sound
from undersong.sound.files import write_sound
from undersong.sound.mix import Levels, render_part
from undersong.sound.schedule import ClickKind, ClickPlan
from undersong.theory.part import Part

KEPT = 12
CLICK_RATE_HZ = 48_000


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to sound: a part, who plays with it, at what tempo, and whether the bass is in."""

    part: Part
    band: tuple[Part, ...] = ()
    tempo_bpm: float | None = None
    has_bass: bool = True
    has_click: bool = True
    has_count_in: bool = True


class SoundShelf:
    """Rendered sounds by what was wanted; two who want the same wait for one rendering."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="undersong-")
        self._kept: OrderedDict[Wanted, Path] = OrderedDict()
        self._lock = threading.Lock()
        self._made = 0

    def close(self) -> None:
        """Let the sounds go."""
        self._folder.cleanup()

    def sound(self, wanted: Wanted) -> Path:
        """The sound as a FLAC file."""
        # One rendering at a time: two at once would take each twice as long.
        with self._lock:
            if wanted in self._kept:
                self._kept.move_to_end(wanted)
                return self._kept[wanted]
            self._made += 1
            path = Path(self._folder.name) / f"{self._made}.flac"
            mix = render_part(
                wanted.part,
                with_parts=wanted.band,
                tempo_bpm=wanted.tempo_bpm,
                count_in=wanted.has_count_in,
                click=ClickPlan() if wanted.has_click else None,
                levels=Levels(bass=0.0 if wanted.has_bass else None),
            )
            write_sound(path, mix.samples, mix.sample_rate_hz)
            self._kept[wanted] = path
            while len(self._kept) > KEPT:
                _, old = self._kept.popitem(last=False)
                old.unlink(missing_ok=True)
            return path

    def click(self, kind: ClickKind) -> Path:
        """One click as a WAV file."""
        path = Path(self._folder.name) / f"click-{kind.value}.wav"
        with self._lock:
            if not path.exists():
                samples: NDArray[np.float32] = click_sound(kind, CLICK_RATE_HZ)
                write_sound(path, samples, CLICK_RATE_HZ)
        return path
