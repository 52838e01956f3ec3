"""A number chart as values: what the leader wrote, and nothing about paper or sound.

Conventions
-----------
Places and lengths are exact fractions of a whole note; a place inside a bar is counted from its
bar line. Chords are numbers of the song's `number_key`, so a song changes key by changing one
value (trade handbook 3.4, rule 7: transpose degrees, not letters).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction

from undersong.errors import ChartMeaningError, TheoryError
from undersong.theory.chord import NumberChord
from undersong.theory.interval import Interval, parse_interval
from undersong.theory.key import MAX_SIGNATURE, Key, MinorHabit, Mode, key_on
from undersong.theory.meter import Meter, Wholes
from undersong.theory.pitch import Pitch
from undersong.theory.tempo import Swing, checked_tempo

EIGHTH = Fraction(1, 8)
ASSUMED_TEMPO_BPM = 80.0  # where a chart names none; common practice, no source
MAX_TIMES = 64

# A lift keeps the letter moving with the ear: a half step up from D is Eb, not D# (3.4, rule 6).
_LIFTS = ("P1", "m2", "M2", "m3", "M3", "P4", "A4", "P5", "m6", "M6", "m7", "M7")


class Style(StrEnum):
    """What the chords of a chart are written in."""

    NUMBERS = "numbers"
    LETTERS = "letters"


@dataclass(frozen=True, slots=True)
class Remark:
    """Something a person should look at: what was guessed or left out, and where (1-based)."""

    line: int
    column: int
    kind: str  # "guessed" or "left out"
    text: str


@dataclass(frozen=True, slots=True)
class ChordEvent:
    """One chord of a bar, or silence (`chord` is None).

    `push` is how much before its written place it sounds; 0 is on its place.
    """

    at: Wholes
    chord: NumberChord | None
    held: bool = False  # the diamond: struck once, left to ring
    stopped: bool = False  # struck and damped
    push: Wholes = Fraction(0)
    fermata: bool = False

    def __post_init__(self) -> None:
        if self.at < 0 or self.push < 0:
            raise TheoryError(f"A chord cannot stand at {self.at} of a bar, {self.push} early.")

    @property
    def pushed(self) -> bool:
        """True where the chord comes early."""
        return self.push > 0


@dataclass(frozen=True, slots=True)
class KeyChange:
    """From here on: a key by name, or the same mode so many semitones higher."""

    semitones: int = 0
    key: Key | None = None

    def from_key(self, key: Key) -> Key:
        """The key that follows `key`."""
        return self.key if self.key is not None else lifted(key, self.semitones)


def lifted(key: Key, semitones: int) -> Key:
    """A key moved by semitones; its letter moves with it where that key exists."""
    interval = parse_interval(_LIFTS[abs(semitones) % len(_LIFTS)])
    interval = interval if semitones >= 0 else -interval
    return moved(key, interval)


def moved(key: Key, interval: Interval) -> Key:
    """A key moved by an interval; its neighbour by sound where that has fewer than seven signs.

    D down a half step is Db, five flats, and not C#, seven sharps; F up a half step keeps the
    letters moving to Gb, six flats, though F# has no more.
    """
    name = interval.above_name(key.tonic)
    plain = key_on(name.pitch_class, key.mode)
    try:
        found = Key(name, key.mode)
    except TheoryError:
        return plain
    return plain if abs(found.signature) == MAX_SIGNATURE else found


@dataclass(frozen=True, slots=True)
class Bar:
    """One written bar.

    No event at 0 means the chord before carries on. `pickup` is the length of a pick-up bar, 0
    for any other. `closes_repeat` is how many times the repeat is played in all, 0 where none
    closes. `endings` are the times round at which this bar is played; empty is every time.
    """

    events: tuple[ChordEvent, ...]
    meter: Meter
    pickup: Wholes = Fraction(0)
    key_change: KeyChange | None = None
    directions: tuple[str, ...] = ()
    opens_repeat: bool = False
    closes_repeat: int = 0
    endings: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        places = [event.at for event in self.events]
        if places != sorted(set(places)):
            raise TheoryError("The chords of a bar must follow one another.")
        if places and places[-1] >= self.length:
            raise TheoryError(f"A bar of {self.meter} has no place {places[-1]}.")
        if not 0 <= self.pickup < self.meter.bar:
            raise TheoryError("A pick-up must be shorter than a bar.")

    @property
    def length(self) -> Wholes:
        """How long the bar lasts."""
        return self.pickup or self.meter.bar

    @property
    def is_pickup(self) -> bool:
        """True for an incomplete bar that leads in."""
        return self.pickup > 0


@dataclass(frozen=True, slots=True)
class Section:
    """A named stretch of bars; `times` is how often it is played at each visit."""

    name: str
    bars: tuple[Bar, ...]
    times: int = 1
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class OrderItem:
    """One entry of the roadmap. `is_open` marks a repeat that goes on until the leader's cue.

    `called` is what the leader calls it there where that is not the section's own name: Verse 2,
    which plays the bars of Verse.
    """

    name: str
    times: int = 1
    lift: KeyChange | None = None
    is_open: bool = False
    called: str = ""

    @property
    def title(self) -> str:
        """What players call it."""
        return self.called or self.name


@dataclass(frozen=True, slots=True)
class Song:
    """A whole chart.

    `order` is empty where the sections are played as they are written. `others` holds header
    lines the tool has no use for (name and text). `text` is the chart as it was read, kept so
    that comments and layout survive; `report` and `assumed` say what was guessed while reading.
    None of the last four take part in comparison.
    """

    title: str
    key: Key
    meter: Meter
    sections: tuple[Section, ...]
    tempo_bpm: float = ASSUMED_TEMPO_BPM
    order: tuple[OrderItem, ...] = ()
    feel: str = ""
    minor_habit: MinorHabit = MinorHabit.RELATIVE
    melody: tuple[Pitch, Pitch] | None = None
    notes: tuple[str, ...] = ()
    others: tuple[tuple[str, str], ...] = ()
    style: Style = field(default=Style.NUMBERS, compare=False)
    report: tuple[Remark, ...] = field(default=(), compare=False)
    assumed: frozenset[str] = field(default=frozenset(), compare=False)
    text: str | None = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        checked_tempo(self.tempo_bpm)

    def __hash__(self) -> int:
        # What is kept for a song is asked for often; to go through every bar each time is slow.
        return hash((self.title, self.key, self.tempo_bpm))

    @property
    def number_key(self) -> Key:
        """The key whose tonic is 1 on this chart, before any key change."""
        return self.counted_in(self.key)

    def counted_in(self, key: Key) -> Key:
        """The key to count numbers from while `key` is in force."""
        return key.number_key(self.minor_habit)

    @property
    def playing_order(self) -> tuple[OrderItem, ...]:
        """The roadmap: as written, or the sections one after another."""
        return self.order or tuple(OrderItem(section.name) for section in self.sections)

    def section(self, name: str) -> Section:
        """The section with this name (letter case aside)."""
        for section in self.sections:
            if section.name.casefold() == name.casefold():
                return section
        raise ChartMeaningError(f"{self.title} has no section called {name}.")

    @property
    def swing(self) -> Swing | None:
        """Long and short notes of a pair where the feel asks for them, else None."""
        words = self.feel.casefold()
        if "swing" not in words and "shuffle" not in words:
            return None
        if "straight" in words or "no swing" in words:
            return None
        unit = Fraction(1, 16) if "16" in words else EIGHTH
        return Swing(unit=unit)

    def __iter__(self) -> Iterator[Section]:
        return iter(self.sections)


def in_key(song: Song, key: Key) -> Song:
    """The same song in another key: the numbers stay, key changes move along.

    Raises
    ------
    ChartMeaningError
        If a minor song is asked for in a major key, or the other way round.
    """
    if key.mode is not song.key.mode:
        kind = "minor" if song.key.mode is Mode.MINOR else "major"
        example = Key(key.tonic, song.key.mode) if _exists(key, song.key.mode) else key.relative
        raise ChartMeaningError(
            f"{song.title} is in {song.key}, a {kind} key: ask for a {kind} key, such as {example}."
        )
    if key == song.key:
        return song
    sections = tuple(
        replace(section, bars=tuple(_bar_in_key(bar, song.key, key) for bar in section.bars))
        for section in song.sections
    )
    order = tuple(
        item if item.lift is None else replace(item, lift=change_in_key(item.lift, song.key, key))
        for item in song.order
    )
    return replace(song, key=key, sections=sections, order=order)


def _exists(key: Key, mode: Mode) -> bool:
    try:
        Key(key.tonic, mode)
    except TheoryError:
        return False
    return True


def _bar_in_key(bar: Bar, old: Key, new: Key) -> Bar:
    if bar.key_change is None:
        return bar
    return replace(bar, key_change=change_in_key(bar.key_change, old, new))


def change_in_key(change: KeyChange, old: Key, new: Key) -> KeyChange:
    """A key change of a song in one key, as it is in another: a named key moves along."""
    if change.key is None:
        return change
    semitones = (new.tonic.pitch_class - old.tonic.pitch_class) % 12
    interval = Interval((new.tonic.step - old.tonic.step) % 7, semitones)
    return KeyChange(key=moved(change.key, interval))
