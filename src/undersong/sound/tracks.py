"""Practice tracks: what a player takes home to play along with.

Conventions
-----------
A `Track` is a recipe; nothing is rendered until it is written. One pass is played for each of its
tempos, each with its own count-in, equally loud, one after another in the same file.

A folder remembers (in `.tracks.json`) the recipe of every track in it, so that writing the same
tracks again makes only those whose recipe has changed or whose file is missing. Files appear whole
or not at all, and the folder's memory is written after each, so that a run that was stopped goes on
where it was.
"""

from __future__ import annotations

import hashlib
import json
import re
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from undersong.errors import AudioError
from undersong.sound.files import Tags, sweep_unfinished, write_sound
from undersong.sound.layers import Layers
from undersong.sound.mix import BAND, SAMPLE_RATE_HZ, Levels, Mix, render_part
from undersong.sound.schedule import PLAIN_CLICK, ClickPattern, ClickPlan
from undersong.sound.soundfont import SoundFont
from undersong.sound.strings import FINGERS, BassSound
from undersong.theory.excerpt import excerpt, looped
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Articulation, Note, Part
from undersong.theory.pitch import plain_pitch

Samples = NDArray[np.float32]

EDITION = 3  # of the instruments and the mix: a higher one makes every track anew
MEMORY = ".tracks.json"
SLOW_SHARE = 0.7
TUNING_NOTE_S = 8
TUNING_REST_S = 1
LONGEST_NAME = 100


@dataclass(frozen=True, slots=True)
class Track:
    """A recipe for one sound file.

    Parameters
    ----------
    name
        File name without its ending.
    title
        As the player's display shows it.
    part, with_parts
        What is played, and who plays along.
    tempos_bpm
        One pass for each; empty for one at the written tempo.
    click, count_in, levels, sound, soundfont
        As in `render_part`.
    """

    name: str
    title: str
    part: Part
    with_parts: tuple[Part, ...] = ()
    tempos_bpm: tuple[float, ...] = ()
    click: ClickPlan | None = PLAIN_CLICK
    count_in: bool = True
    levels: Levels = BAND
    sound: BassSound = FINGERS
    soundfont: SoundFont | None = None

    def passes(
        self, sample_rate_hz: int = SAMPLE_RATE_HZ, *, layers: Layers | None = None
    ) -> Iterator[Mix]:
        """Each pass rendered, in order; one at a time is held."""
        for tempo_bpm in self.tempos_bpm or (self.part.tempo_bpm,):
            yield render_part(
                self.part,
                with_parts=self.with_parts,
                tempo_bpm=tempo_bpm,
                sample_rate_hz=sample_rate_hz,
                count_in=self.count_in,
                click=self.click,
                levels=self.levels,
                sound=self.sound,
                soundfont=self.soundfont,
                layers=layers,
            )


@dataclass(frozen=True, slots=True)
class Album:
    """What all tracks of a set share: kind of file and tags."""

    title: str = ""
    artist: str = ""
    date: str = ""
    ending: str = ".mp3"
    sample_rate_hz: int = SAMPLE_RATE_HZ
    bits: int = 16


class TrackKind(StrEnum):
    """The tracks that are made of a song."""

    FULL = "full"
    BASS_OUT = "bass out"
    SLOW = "slow"
    TWO_AND_FOUR = "click on 2 and 4"
    HALF_TIME = "click on 1 and 3"
    DROP_OUT = "click drops out"
    CLIMB = "climb"


USUAL_TRACKS = (
    TrackKind.FULL,
    TrackKind.BASS_OUT,
    TrackKind.SLOW,
    TrackKind.TWO_AND_FOUR,
    TrackKind.DROP_OUT,
)
FOR_FOUR_BEATS = (TrackKind.TWO_AND_FOUR, TrackKind.HALF_TIME)
WITH_CALLS = Levels(cue=0.0)


def practice_tracks(
    name: str,
    part: Part,
    with_parts: tuple[Part, ...] = (),
    *,
    kinds: Sequence[TrackKind] = USUAL_TRACKS,
    slow_share: float = SLOW_SHARE,
    climb_bpm: Sequence[float] = (),
    soundfont: SoundFont | None = None,
) -> tuple[Track, ...]:
    """Tracks of one song.

    Parameters
    ----------
    name
        Start of every file name, as "03 Slow Water".
    part, with_parts
        The bass part, and drums and pad if there are any.
    kinds
        Which, in their order. Sections are called in the full and the slow one, which teach the
        form; the others leave it to the player.
    slow_share
        Tempo of the slow version as a share of the written one.
    climb_bpm
        Tempos of a climb, one pass at each.
    soundfont
        Whose instruments play; None for our own.
    """
    name = file_name_of(name)
    slow_bpm = round(part.tempo_bpm * slow_share)
    full = Track(name, part.title, part, with_parts, levels=WITH_CALLS, soundfont=soundfont)

    def made(kind: TrackKind) -> Track:
        what = f"slow {slow_bpm}" if kind is TrackKind.SLOW else str(kind)
        other = replace(full, name=f"{name} - {what}", title=f"{part.title} ({what})", levels=BAND)
        match kind:
            case TrackKind.FULL:
                return full
            case TrackKind.BASS_OUT:
                return replace(other, levels=Levels(bass=None))
            case TrackKind.SLOW:
                return replace(other, tempos_bpm=(float(slow_bpm),), levels=WITH_CALLS)
            case TrackKind.TWO_AND_FOUR:
                return replace(other, click=ClickPlan(ClickPattern.TWO_AND_FOUR))
            case TrackKind.HALF_TIME:
                return replace(other, click=ClickPlan(ClickPattern.HALF_TIME))
            case TrackKind.DROP_OUT:
                return replace(other, click=ClickPlan(bars_on=4, bars_off=4))
            case TrackKind.CLIMB:
                return replace(other, tempos_bpm=tuple(climb_bpm))

    # A click on 2 and 4, or on 1 and 3, is one in bars of four beats only.
    in_four = part.meter.beats == 4
    return tuple(made(kind) for kind in kinds if in_four or kind not in FOR_FOUR_BEATS)


def loop_track(track: Track, bars: tuple[int, int], *, times: int) -> Track:
    """Some bars of a track, both ends included, again and again; the band goes along."""

    def loop(part: Part) -> Part:
        return looped(excerpt(part, *bars), times)

    where = f"bar {bars[0]}" if bars[0] == bars[1] else f"bars {bars[0]} to {bars[1]}"
    return replace(
        track,
        name=f"{track.name} - {where}",
        title=f"{track.title} ({where})",
        part=loop(track.part),
        with_parts=tuple(map(loop, track.with_parts)),
    )


def file_name_of(title: str) -> str:
    """A title as a file name that every system takes: ``What? / Why`` is ``What - Why``."""
    plain = re.sub(r'[\\/:*?"<>|\x00-\x1f]+', " - ", title)
    plain = re.sub(r"(\s*-)*\s*-\s+|\s+", lambda m: " - " if "-" in m[0] else " ", plain)
    return plain.strip(" .-")[:LONGEST_NAME] or "Track"


def tuning_track(tuning: Sequence[int], *, sound: BassSound = FINGERS) -> Track:
    """Each open string, low to high, held for eight seconds; `tuning` in MIDI numbers."""
    beat = Fraction(1, 4)
    step = (TUNING_NOTE_S + TUNING_REST_S) * beat
    notes = tuple(
        Note(
            index * step,
            TUNING_NOTE_S * beat,
            plain_pitch(midi, prefer_flats=True),
            string=len(tuning) - index,
            fret=0,
            articulation=Articulation.HELD,
        )
        for index, midi in enumerate(tuning)
    )
    part = Part(
        "Tuning notes",
        parse_key("C"),
        FOUR_FOUR,
        60.0,
        notes,
        length=len(tuning) * step,
        tuning=tuple(tuning),
    )
    return Track("Tuning notes", "Tuning notes", part, click=None, count_in=False, sound=sound)


def write_track(
    track: Track,
    folder: Path,
    *,
    album: Album | None = None,
    number: int | None = None,
    layers: Layers | None = None,
) -> Path:
    """Render a track and write it: all passes, one after another, in bounded memory."""
    album = album or Album()
    tempos = track.tempos_bpm or (track.part.tempo_bpm,)
    tags = Tags(
        title=track.title,
        album=album.title,
        artist=album.artist,
        track=number,
        tempo_bpm=tempos[0],
        date=album.date,
        comment=_climb_words(tempos),
    )
    return write_sound(
        folder / f"{track.name}{album.ending}",
        (mix.samples for mix in track.passes(album.sample_rate_hz, layers=layers)),
        album.sample_rate_hz,
        tags=tags,
        bits=album.bits,
    )


def _climb_words(tempos: Sequence[float]) -> str:
    return "" if len(tempos) == 1 else "climb: " + ", ".join(f"{bpm:g}" for bpm in tempos)


def write_tracks(
    tracks: Sequence[Track],
    folder: Path,
    *,
    album: Album | None = None,
    progress: Callable[[int, int, str], None] | None = None,
    workers: int = 2,
) -> tuple[Path, ...]:
    """Write the tracks of a set into a folder, making only what has changed.

    Parameters
    ----------
    tracks
        In the order of their track numbers; no two of one name.
    folder
        Made if it is missing. Tracks of an earlier run that are no longer wanted go, unless
        somebody has changed them; other files in it are left alone.
    album
        Kind of file and tags.
    progress
        Called as ``progress(done, total, name)`` after each track, from any thread.
    workers
        Tracks made side by side.

    Returns
    -------
    tuple of Path
        One file for each track, in their order.

    Raises
    ------
    AudioError
        If two tracks have one name, or a file cannot be written; what was finished stays.
    """
    album = album or Album()
    names = [track.name.casefold() for track in tracks]
    if twice := {name for name in names if names.count(name) > 1}:
        raise AudioError(f"Two tracks are called {min(twice)!r}: give each a name of its own.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise AudioError(f"{folder} cannot be made: {error.strerror}.") from None
    sweep_unfinished(folder)
    memory, layers = _Memory(folder), Layers()
    done = 0
    lock = threading.Lock()

    def make(number: int, track: Track) -> Path:
        nonlocal done
        path = folder / f"{track.name}{album.ending}"
        recipe = _recipe(track, album, number)
        if not memory.holds(path, recipe):
            write_track(track, folder, album=album, number=number, layers=layers)
            memory.keep(path, recipe)
        with lock:
            done += 1
            if progress is not None:
                progress(done, len(tracks), track.name)
        return path

    pool = ThreadPoolExecutor(max_workers=max(1, workers))
    try:
        made = tuple(pool.map(make, range(1, len(tracks) + 1), tracks))
    finally:
        pool.shutdown(cancel_futures=True)
    memory.forget_all_but({path.name for path in made})
    return made


def write_stems(
    mix: Mix, folder: Path, *, name: str, album: Album | None = None
) -> tuple[Path, ...]:
    """Each player of a mix in a file of its own, all equally long, adding up to the mix."""
    album = album or Album(ending=".wav", bits=24)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise AudioError(f"{folder} cannot be made: {error.strerror}.") from None
    return tuple(
        write_sound(
            folder / f"{name} - {player}{album.ending}",
            mix.stem(player),
            mix.sample_rate_hz,
            tags=Tags(title=f"{name} ({player})", album=album.title, date=album.date),
            bits=album.bits,
        )
        for player in mix.stem_names
    )


def _recipe(track: Track, album: Album, number: int) -> str:
    """A short name for everything that decides how a file sounds and what it says."""
    return hashlib.sha256(repr((EDITION, track, album, number)).encode()).hexdigest()


class _Memory:
    """What a folder's tracks were made from: file name to recipe and size."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / MEMORY
        self._lock = threading.Lock()
        self._known: dict[str, list[str | int]] = {}
        try:
            known = json.loads(self._path.read_text(encoding="utf-8"))
            self._known = {name: fact for name, fact in known.items() if isinstance(fact, list)}
        except (OSError, ValueError, AttributeError):
            pass  # no memory, or a spoilt one: everything is made anew

    def holds(self, path: Path, recipe: str) -> bool:
        """True where the file is there, whole, and made from this recipe."""
        return path.is_file() and self._known.get(path.name) == [recipe, path.stat().st_size]

    def keep(self, path: Path, recipe: str) -> None:
        """Remember a file that has just been written."""
        with self._lock:
            self._known[path.name] = [recipe, path.stat().st_size]
            self._write()

    def forget_all_but(self, names: set[str]) -> None:
        """Remove tracks of earlier runs: one left from last Sunday would be practised."""
        gone = set(self._known) - names
        for name in gone:
            path = self._path.parent / Path(name).name
            if path.is_file() and self._known[name][1:] == [path.stat().st_size]:
                path.unlink()
            del self._known[name]
        if gone:
            self._write()

    def _write(self) -> None:
        part = self._path.with_suffix(".json.new")
        part.write_text(json.dumps(self._known, indent=1), encoding="utf-8")
        part.replace(self._path)
