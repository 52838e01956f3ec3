"""Chords by letters and by numbers, and the kinds of chord we read.

Conventions
-----------
A plain number is major, a dash is minor. In ``5/7`` the note after the slash is a degree of the
key, not of the chord (trade handbook 2.2). One spelling is printed for each kind; many are read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from undersong.errors import TheoryError
from undersong.theory.interval import Interval, parse_interval
from undersong.theory.key import Degree, Key, parse_degree
from undersong.theory.pitch import PitchName, parse_pitch_name


class Role(StrEnum):
    """What a note is to its chord."""

    ROOT = "root"
    THIRD = "third"
    FOURTH = "fourth"
    SECOND = "second"
    FIFTH = "fifth"
    SIXTH = "sixth"
    SEVENTH = "seventh"
    EXTENSION = "extension"


_ROLE_OF_STEPS = {
    0: Role.ROOT,
    1: Role.SECOND,
    2: Role.THIRD,
    3: Role.FOURTH,
    4: Role.FIFTH,
    5: Role.SIXTH,
    6: Role.SEVENTH,
}


@dataclass(frozen=True, slots=True)
class Quality:
    """A kind of chord: what is printed after a number and after a letter, and its intervals."""

    name: str
    number_tail: str
    letter_tail: str
    intervals: tuple[Interval, ...]

    def __repr__(self) -> str:
        return f"quality({self.name!r})"


def _quality(name: str, number_tail: str, letter_tail: str, intervals: str) -> Quality:
    return Quality(
        name, number_tail, letter_tail, tuple(parse_interval(word) for word in intervals.split())
    )


QUALITIES: tuple[Quality, ...] = (
    _quality("major", "", "", "P1 M3 P5"),
    _quality("minor", "-", "m", "P1 m3 P5"),
    _quality("diminished", "dim", "dim", "P1 m3 d5"),
    _quality("augmented", "+", "+", "P1 M3 A5"),
    _quality("power", "(5)", "5", "P1 P5"),
    _quality("suspended fourth", "sus", "sus", "P1 P4 P5"),
    _quality("suspended second", "sus2", "sus2", "P1 M2 P5"),
    _quality("sixth", "(6)", "6", "P1 M3 P5 M6"),
    _quality("minor sixth", "-(6)", "m6", "P1 m3 P5 M6"),
    _quality("six nine", "(69)", "69", "P1 M3 P5 M6 M9"),
    _quality("minor six nine", "-(69)", "m69", "P1 m3 P5 M6 M9"),
    _quality("seventh", "(7)", "7", "P1 M3 P5 m7"),
    _quality("major seventh", "(maj7)", "maj7", "P1 M3 P5 M7"),
    _quality("minor seventh", "-(7)", "m7", "P1 m3 P5 m7"),
    _quality("minor major seventh", "-(maj7)", "m(maj7)", "P1 m3 P5 M7"),
    _quality("half-diminished seventh", "m7b5", "m7b5", "P1 m3 d5 m7"),
    _quality("diminished seventh", "dim7", "dim7", "P1 m3 d5 d7"),
    _quality("augmented seventh", "+(7)", "+7", "P1 M3 A5 m7"),
    _quality("augmented major seventh", "+(maj7)", "+maj7", "P1 M3 A5 M7"),
    _quality("seventh flat five", "(7b5)", "7b5", "P1 M3 d5 m7"),
    _quality("suspended seventh", "(7sus)", "7sus", "P1 P4 P5 m7"),
    _quality("added second", "(2)", "2", "P1 M2 M3 P5"),
    _quality("added ninth", "(add9)", "add9", "P1 M3 P5 M9"),
    _quality("minor added ninth", "-(add9)", "m(add9)", "P1 m3 P5 M9"),
    _quality("added fourth", "(add4)", "add4", "P1 M3 P4 P5"),
    _quality("ninth", "(9)", "9", "P1 M3 P5 m7 M9"),
    _quality("major ninth", "(maj9)", "maj9", "P1 M3 P5 M7 M9"),
    _quality("minor ninth", "-(9)", "m9", "P1 m3 P5 m7 M9"),
    _quality("suspended ninth", "(9sus)", "9sus", "P1 P4 P5 m7 M9"),
    _quality("seventh flat nine", "(7b9)", "7b9", "P1 M3 P5 m7 m9"),
    _quality("seventh sharp nine", "(7#9)", "7#9", "P1 M3 P5 m7 A9"),
    _quality("seventh sharp eleven", "(7#11)", "7#11", "P1 M3 P5 m7 A11"),
    _quality("major seventh sharp eleven", "(maj7#11)", "maj7#11", "P1 M3 P5 M7 A11"),
    _quality("eleventh", "(11)", "11", "P1 M3 P5 m7 M9 P11"),
    _quality("minor eleventh", "-(11)", "m11", "P1 m3 P5 m7 M9 P11"),
    _quality("thirteenth", "(13)", "13", "P1 M3 P5 m7 M9 M13"),
    _quality("major thirteenth", "(maj13)", "maj13", "P1 M3 P5 M7 M9 M13"),
    _quality("minor thirteenth", "-(13)", "m13", "P1 m3 P5 m7 M9 M13"),
)

_BY_NAME = {each.name: each for each in QUALITIES}


def quality(name: str) -> Quality:
    """The kind of chord with this name."""
    return _BY_NAME[name]


# Each pattern turns one family of spellings into the one key used for look-up. Order matters:
# the long words go before the letters they contain.
_SPELLINGS = (
    (re.compile(r"[()\s,]"), ""),
    (re.compile(r"♭"), "b"),
    (re.compile(r"♯"), "#"),
    (re.compile(r"[–—−]"), "-"),
    (re.compile(r"(?i)major|maj"), "M"),
    (re.compile(r"(?i)minor|min"), "-"),
    (re.compile(r"(?i)dim"), "o"),
    (re.compile(r"(?i)aug"), "+"),
    (re.compile(r"(?i)sus"), "s"),
    (re.compile(r"(?i)add"), "&"),
    (re.compile(r"Δ|△|∆"), "M"),
    (re.compile(r"°|º"), "o"),
    (re.compile(r"ø7?|Ø7?"), "-7b5"),
    (re.compile(r"ma(?=\d)"), "M"),
    (re.compile(r"mi(?=\d|$)"), "-"),
    (re.compile(r"m"), "-"),
    (re.compile(r"6/9"), "69"),
    (re.compile(r"s4"), "s"),
    (re.compile(r"M$"), "M7"),
    (re.compile(r"^(-?)M$"), r"\1M7"),
    (re.compile(r"^s(7|9)$"), r"\1s"),
    (re.compile(r"^\+(?=M)"), "+"),
    (re.compile(r"^7(\+|#5)$"), "+7"),
    (re.compile(r"^M7(\+|#5)$"), "+M7"),
    (re.compile(r"^#5$"), "+"),
    (re.compile(r"^-(#|\+)7$"), "-M7"),
    (re.compile(r"^-b5$"), "o"),
    (re.compile(r"^-7-5$"), "-7b5"),
    (re.compile(r"^(-?)&2$"), r"\1&9"),
    (re.compile(r"^-2$"), "-&9"),
    (re.compile(r"^4$"), "&4"),
    (re.compile(r"^&11$"), "&4"),
)


def _tail_key(tail: str) -> str:
    key = tail
    for pattern, put in _SPELLINGS:
        key = pattern.sub(put, key)
    return key


# A bare capital M or "maj" after a root is a plain major chord on number charts; only the
# triangle alone means a major seventh.
_PLAIN_MAJOR = {"M", "maj", "Maj", "MAJ", "major", "ma"}
_BY_TAIL: dict[str, Quality] = {}
for _each in QUALITIES:
    _BY_TAIL[_tail_key(_each.number_tail)] = _each
    _BY_TAIL[_tail_key(_each.letter_tail)] = _each


def parse_quality(tail: str) -> Quality:
    """Read what follows a root: ``-7``, ``m7``, ``(maj7)``, ``sus``, ``dim``, ``add9`` ..."""
    if tail.strip("() ") in _PLAIN_MAJOR:
        return _BY_NAME["major"]
    found = _BY_TAIL.get(_tail_key(tail))
    if found is None:
        raise TheoryError(f"{tail!r} is not a kind of chord we know.")
    return found


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord by letters: ``D/F#``, ``Am7``, ``Bbmaj7``."""

    root: PitchName
    quality: Quality = QUALITIES[0]
    bass: PitchName | None = None

    def __str__(self) -> str:
        over = f"/{self.bass}" if self.bass is not None else ""
        return f"{self.root}{self.quality.letter_tail}{over}"

    @property
    def lowest(self) -> PitchName:
        """The bass player's note: after the slash if there is one, else the root."""
        return self.root if self.bass is None else self.bass

    @property
    def tones(self) -> tuple[tuple[Role, PitchName], ...]:
        """Roles and note names upward from the root (the slash bass is not added)."""
        return tuple(
            (_role(interval), interval.above_name(self.root)) for interval in self.quality.intervals
        )


@dataclass(frozen=True, slots=True)
class NumberChord:
    """A chord by numbers: ``5/7``, ``2-(7)``, ``b7``; both numbers are degrees of the key."""

    root: Degree
    quality: Quality = QUALITIES[0]
    bass: Degree | None = None

    def __str__(self) -> str:
        over = f"/{self.bass}" if self.bass is not None else ""
        return f"{self.root}{self.quality.number_tail}{over}"

    @property
    def lowest(self) -> Degree:
        """The bass player's degree: after the slash if there is one, else the root."""
        return self.root if self.bass is None else self.bass

    def in_key(self, key: Key) -> Chord:
        """The same chord by letters, spelled by degree."""
        bass = None if self.bass is None else key.name_of(self.bass)
        return Chord(key.name_of(self.root), self.quality, bass)


def number_of(chord: Chord, key: Key) -> NumberChord:
    """The same chord by numbers of a key."""
    bass = None if chord.bass is None else key.degree_of(chord.bass)
    return NumberChord(key.degree_of(chord.root), chord.quality, bass)


def _role(interval: Interval) -> Role:
    return _ROLE_OF_STEPS.get(interval.steps, Role.EXTENSION)


_SLASH_BASS = re.compile(r"(.*)/((?:[#♯b♭]*[1-7])|(?:[A-Ga-g][#♯b♭]*))$")
_NUMBER_ROOT = re.compile(r"([#♯b♭]*[1-7])(.*)", re.DOTALL)
# As many signs as a spelling by degree can ask for: #3 in A# minor is C###.
_LETTER_ROOT = re.compile(r"([A-G](?:[#♯]{1,4}|[b♭]{1,4})?)(.*)", re.DOTALL)


def _split_bass(text: str) -> tuple[str, str | None]:
    # The slash of 6/9 inside a kind is no bass: "C6/9" and "1(6/9)".
    if re.search(r"6/9\)?$", text):
        return text, None
    match = _SLASH_BASS.fullmatch(text)
    return (match[1], match[2]) if match else (text, None)


def parse_number_chord(text: str) -> NumberChord:
    """Read ``1``, ``6-``, ``2-7``, ``2-(7)``, ``5/7``, ``b7``, ``#4dim`` ..."""
    body, bass = _split_bass(text.strip())
    match = _NUMBER_ROOT.fullmatch(body)
    if match is None:
        raise TheoryError(f"{text!r} is not a chord number: write 1 to 7, as in 1, 6-, 5/7 or b7.")
    return NumberChord(
        parse_degree(match[1]),
        parse_quality(match[2]),
        None if bass is None else parse_degree(bass),
    )


def parse_chord(text: str) -> Chord:
    """Read ``G``, ``Am7``, ``D/F#``, ``Bbmaj7``, ``F#m7b5`` ..."""
    body, bass = _split_bass(text.strip())
    match = _LETTER_ROOT.fullmatch(body)
    if match is None:
        raise TheoryError(
            f"{text!r} is not a chord name: write a letter A to G, as in Am7 or D/F#."
        )
    return Chord(
        parse_pitch_name(match[1]),
        parse_quality(match[2]),
        None if bass is None else parse_pitch_name(bass),
    )


def diatonic_chords(key: Key, *, sevenths: bool = False) -> tuple[Chord, ...]:
    """The chord on each degree of a key, thirds stacked on its own scale, upward from the tonic."""
    names = key.names
    size = 4 if sevenths else 3
    chords = []
    for start in range(len(names)):
        stack = [names[(start + 2 * place) % len(names)] for place in range(size)]
        semitones = tuple((name.pitch_class - stack[0].pitch_class) % 12 for name in stack)
        kind = next(
            each
            for each in QUALITIES
            if tuple(i.semitones for i in each.intervals) == semitones
            and all(i.steps == 2 * place for place, i in enumerate(each.intervals))
        )
        chords.append(Chord(stack[0], kind))
    return tuple(chords)
