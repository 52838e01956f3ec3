"""Chord names as people write them on sheets, in the habits of several countries.

What cannot be read whole is read as the most that is known of it, and said so: `read_name` gives
the chord, and what was guessed. Marks around a name (brackets, stars) are taken off.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from undersong.errors import TheoryError
from undersong.theory.chord import Chord, parse_chord

_NO_CHORD = re.compile(r"\(?n\.?\s?c\.?\)?", re.IGNORECASE)
_WORDS = ("Do", "Go")  # D and G diminished to a machine, words to a singer
_MARKS = "*†‡,;:"
_SOLFEGE = {"do": "C", "re": "D", "ré": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"}
_SOLFEGE_ROOT = re.compile(r"(do|r[eé]|mi|fa|sol|la|si)([#b]*)(.*)", re.IGNORECASE)
# German and Nordic names: H is B, B is B flat; -is sharpens, -es flattens.
_GERMAN = {
    "h": "B",
    "his": "B#",
    "b": "Bb",
    "cis": "C#",
    "dis": "D#",
    "eis": "E#",
    "fis": "F#",
    "gis": "G#",
    "ais": "A#",
    "ces": "Cb",
    "des": "Db",
    "es": "Eb",
    "fes": "Fb",
    "ges": "Gb",
    "as": "Ab",
    "hes": "Bb",
    "a": "A",
    "c": "C",
    "d": "D",
    "e": "E",
    "f": "F",
    "g": "G",
}
_GERMAN_ROOT = re.compile(
    r"(his|hes|h|cis|dis|eis|fis|gis|ais|ces|des|es|fes|ges|as|[a-g])([#b]*)(?!us)(.*)",
    re.IGNORECASE,
)
_ROOT = re.compile(r"([A-G](?:#|b)*)(.*)")
_OMITTED = re.compile(r"\(?(?:no|omit)\s?3(?:rd)?\)?", re.IGNORECASE)
_OMITTED_OTHER = re.compile(r"\(?(?:no|omit)\s?\d+(?:th|st)?\)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Naming:
    """The habits a sheet is written in."""

    german: bool = False  # H for B, B for B flat, small letters minor
    solfege: bool = False  # Do Re Mi


@dataclass(frozen=True, slots=True)
class Name:
    """A name that was read; `chord` is None for "no chord", `guess` "" where all is plain."""

    chord: Chord | None
    guess: str = ""


@lru_cache(maxsize=8192)
def read_name(text: str, naming: Naming = Naming()) -> Name | None:
    """A chord name, or None for anything else. `text` is as `plain_signs` gives it."""
    body = text.strip().strip(_MARKS)
    if _NO_CHORD.fullmatch(body):
        return Name(None)
    guess = ""
    if body.startswith("(") and body.endswith(")"):
        body, guess = body[1:-1], "a chord in brackets is played"
    if not body:
        return None
    found = _read(body, naming)
    if found is None or not (guess and found.guess == ""):
        return found
    return Name(found.chord, guess)


def _read(body: str, naming: Naming) -> Name | None:
    english = _english(body, naming)
    if english is None:
        return None
    match = None if english in _WORDS else _ROOT.fullmatch(english)
    if match is None or not _looks_like_tail(match[2]):
        return None
    english = _OMITTED.sub("5", english) if _OMITTED.search(english) else english
    without = _OMITTED_OTHER.sub("", english)
    chord = _parse(without)
    if chord is not None:
        guess = f"{body} is read as {chord}" if without != english else ""
        return Name(chord, guess)
    return _shortened(body, without)


def _looks_like_tail(tail: str) -> bool:
    """False for the rest of an ordinary word."""
    words = re.sub(
        r"(?i)^o(?=7)|maj|min|m(?=add)|dim|aug|sus|add|alt|no|omit|ma|mi|m|dom", "", tail
    )
    bass = re.sub(r"/[A-Ga-g][#b]?$", "", words)
    return not re.search(r"[A-Za-z]", re.sub(r"[b#](?=\d)", "", bass)) or bass in ("o", "M")


def _parse(name: str) -> Chord | None:
    try:
        return parse_chord(name)
    except TheoryError:
        return None


def _shortened(body: str, english: str) -> Name | None:
    """The longest beginning of a name that is a chord, its bass kept."""
    head, slash, bass = english.rpartition("/")
    if not slash or not re.fullmatch(r"[A-Ga-g][#b]?", bass):
        head, slash, bass = english, "", ""
    for end in range(len(head) - 1, 0, -1):
        chord = _parse(head[:end] + slash + bass)
        if chord is not None:
            return Name(chord, f"{body} is read as {chord}")
    return None


def _english(body: str, naming: Naming) -> str | None:
    """The name with its root, and its bass, in English letters."""
    head, slash, bass = body.rpartition("/")
    if not slash or not re.match(r"[A-Za-z]", bass):
        return _english_root(body, naming)
    first, second = _english_root(head, naming), _english_root(bass, naming)
    return None if first is None or second is None else f"{first}/{second.rstrip('m')}"


def _english_root(text: str, naming: Naming) -> str | None:
    if naming.solfege:
        match = _SOLFEGE_ROOT.fullmatch(text)
        return None if match is None else _SOLFEGE[match[1].casefold()] + match[2] + match[3]
    if naming.german:
        match = _GERMAN_ROOT.fullmatch(text)
        if match is None:
            return None
        is_minor = match[1][0].islower() and not re.match(r"m(?!aj)|-|dim|o|°|ø", match[3])
        return _GERMAN[match[1].casefold()] + match[2] + ("m" if is_minor else "") + match[3]
    return text
