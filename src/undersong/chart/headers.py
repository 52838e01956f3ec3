"""The lines of a chart that are not bars: headers, section names, directions, the order.

Each function reads one stretch of text and raises SignError with the column where it stops
making sense.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from undersong.chart.signs import SignError
from undersong.chart.song import MAX_TIMES, KeyChange, OrderItem
from undersong.errors import TheoryError
from undersong.theory.key import Key, MinorHabit, parse_key
from undersong.theory.meter import Meter, parse_meter
from undersong.theory.pitch import Pitch, parse_pitch
from undersong.theory.tempo import checked_tempo

HEADERS = {
    "title": "title",
    "song": "title",
    "name": "title",
    "key": "key",
    "meter": "meter",
    "metre": "meter",
    "time": "meter",
    "time signature": "meter",
    "tempo": "tempo",
    "bpm": "tempo",
    "feel": "feel",
    "groove": "feel",
    "minor": "minor",
    "capo": "capo",
    "range": "melody",
    "melody": "melody",
    "note": "note",
    "notes": "note",
    "order": "order",
    "roadmap": "order",
    "form": "order",
}
SECTION_WORDS = (
    "intro",
    "verse",
    "chorus",
    "refrain",
    "pre",
    "prechorus",
    "bridge",
    "tag",
    "outro",
    "ending",
    "end",
    "turnaround",
    "instrumental",
    "interlude",
    "breakdown",
    "vamp",
    "solo",
    "coda",
    "hook",
    "inst",
)
SHORT_SECTIONS = ("v", "vs", "c", "ch", "b", "br", "pc", "t", "i", "o")
MAX_NAME_WORDS = 8
_SHORT_NAMES = {
    "v": "verse",
    "c": "chorus",
    "b": "bridge",
    "i": "intro",
    "t": "tag",
    "o": "outro",
}

MAX_CAPO = 11
_CAPO = re.compile(
    r"(?:none|no|(?:on|at)?\s*(?:the\s+)?(?:fret)?\s*(?P<fret>\d{1,2})(?:st|nd|rd|th)?\s*(?:fret)?)",
    re.IGNORECASE,
)
_ORDER_WORD = re.compile(
    r"(?:v|vs|verse|c|ch|chorus|pre|pc|pre-?chorus|b|br|bridge|t|tag|i|in|intro|o|out|outro|"
    r"inst|int|interlude|solo|end|ending)\d{0,2}|\(?x\d{1,2}\)?|\(?\d{1,2}x\)?",
    re.IGNORECASE,
)
_NOTE_VALUES = {
    "♩": Fraction(1, 4),
    "q": Fraction(1, 4),
    "quarter": Fraction(1, 4),
    "crotchet": Fraction(1, 4),
    "♪": Fraction(1, 8),
    "eighth": Fraction(1, 8),
    "quaver": Fraction(1, 8),
    "half": Fraction(1, 2),
    "minim": Fraction(1, 2),
}
_TEMPO = re.compile(
    r"(?:(?P<unit>[^=\d]+?)\s*=)?\s*(?:ca?\.?|about|~)?\s*(?P<bpm>\d{1,3}(?:\.\d{1,3})?)\s*"
    r"(?:bpm|beats.*)?",
    re.IGNORECASE,
)
_STEPS = {
    "half step": 1,
    "semitone": 1,
    "half": 1,
    "whole step": 2,
    "step": 2,
    "tone": 2,
    "whole": 2,
}
_LIFT = re.compile(
    r"(?:key\s*(?:change)?\s*[:=]?\s*)?"
    r"(?P<way>up|down|mod|modulate(?:\s+(?:up|down))?|lift|(?<=[\s:=])(?=[+-]\s*\d))"
    r"\s*(?:(?:a|one|by)\s+)?(?P<size>[+-]?\s*\d{1,2}\b(?!\s*\w)|" + "|".join(_STEPS) + r")",
    re.IGNORECASE,
)
_NEW_KEY = re.compile(
    r"(?:new\s+key|key|modulate\s+to|mod\s+to)\s*(?:of|to|is)?\s*[:=]?\s*(?P<key>[A-Ga-g]\S*"
    r"(?:\s+(?:minor|major|min|maj))?)",
    re.IGNORECASE,
)
_METER_WORDS = re.compile(r"\d{1,2}\s*/\s*\d{1,2}")
_HALF_A_KEY = re.compile(r"(?:new\s+)?key\s*[:=]?\s*\S{0,3}", re.IGNORECASE)
_TIMES = re.compile(r"\(?\s*(?:x\s*(?P<a>\d{1,3})|(?P<b>\d{1,3})\s*x)\s*\)?", re.IGNORECASE)
_END_TIMES = re.compile(
    r"(?:^|(?<=[\s\d)]))\(?(?:x\s*(?P<a>\d{1,3})|(?P<b>\d{1,3})\s*x)\)?$", re.IGNORECASE
)
_END_BARS = re.compile(r"\s*\(?(?P<bars>\d{1,3})\s*(?:bars?|measures?)\)?$", re.IGNORECASE)
_OPEN = re.compile(r"\s*(?:x\s*\?|until\s+cue|ad\s*lib\.?|\(open\))$", re.IGNORECASE)
_ENDING = re.compile(
    r"(?P<which>(?:\d{1,2}(?:st|nd|rd|th|\.)|first|second|third|last|final)"
    r"(?:\s*(?:,|\+|&|and)\s*(?:\d{1,2}(?:st|nd|rd|th|\.)|first|second|third))*)"
    r"\s*(?:ending|time)?\s*:?",
    re.IGNORECASE,
)
_BRACKETED_ENDING = re.compile(r"\s*[\[(](?P<which>[1-9])(?:\.|st|nd|rd|th)[\])]:?(?=.*\|)", re.I)
_ORDINALS = {"first": 1, "second": 2, "third": 3}


@dataclass(frozen=True, slots=True)
class Heading:
    """A section's name as typed, how often it is played, and how many bars it claims to have."""

    name: str
    times: int = 1
    bars: int | None = None


def read_key(text: str, column: int) -> Key:
    """A key by name."""
    try:
        return parse_key(text)
    except TheoryError as error:
        raise SignError(str(error), column, means=True) from None


def read_meter(text: str, column: int) -> Meter:
    """A time signature; common time and cut time by name too."""
    named = {"common": "4/4", "common time": "4/4", "c": "4/4", "cut": "2/2", "cut time": "2/2"}
    try:
        return parse_meter(named.get(text.strip().casefold(), text))
    except TheoryError as error:
        raise SignError(str(error), column, means=True) from None


def read_capo(text: str, column: int) -> int:
    """The fret of a capo: ``2``, ``fret 2``, ``2nd fret``; 0 for none."""
    match = _CAPO.fullmatch(text.strip())
    if match is None:
        raise SignError(
            f"{text.strip()!r} is no place for a capo: write its fret, 0 to {MAX_CAPO}.", column
        )
    fret = int(match["fret"] or 0)
    if fret > MAX_CAPO:
        raise SignError(f"A capo stands at fret 1 to {MAX_CAPO}, not {fret}.", column, means=True)
    return fret


def read_tempo(text: str, column: int, meter: Meter) -> float:
    """Beats a minute of the meter's own beat, from ``72``, ``72 bpm`` or ``♩ = 96``."""
    match = _TEMPO.fullmatch(text.strip())
    if match is None:
        raise SignError(
            f"{text.strip()!r} is not a tempo: write beats a minute, such as 72.", column
        )
    tempo = Fraction(match["bpm"])
    if match["unit"]:
        tempo *= _note_value(match["unit"], column) / meter.beat
    try:
        return checked_tempo(float(tempo))
    except TheoryError as error:
        raise SignError(str(error), column, means=True) from error


def _note_value(text: str, column: int) -> Fraction:
    words = text.casefold().replace("note", "").strip()
    is_dotted = words.startswith("dotted") or words.endswith(".")
    base = words.removeprefix("dotted").strip(" .-")
    if base not in _NOTE_VALUES:
        raise SignError(
            f"{text.strip()!r} is no note value: write quarter, dotted quarter or eighth.", column
        )
    return _NOTE_VALUES[base] * (Fraction(3, 2) if is_dotted else 1)


def read_habit(text: str, column: int) -> MinorHabit:
    """How a minor song is numbered: by its home chord, ``6-`` or ``1-``."""
    word = text.strip().casefold()
    if word in ("6-", "6m", "6", "relative", "relative major", "from 6"):
        return MinorHabit.RELATIVE
    if word in ("1-", "1m", "1", "tonic", "from 1"):
        return MinorHabit.TONIC
    raise SignError(
        f"{text.strip()!r} says nothing about minor: write the number of the home chord, 6- or 1-.",
        column,
    )


def read_range(text: str, column: int) -> tuple[Pitch, Pitch]:
    """The melody's lowest and highest note: ``A3 to D5``."""
    parts = re.split(r"\s*(?:\bto\b|-|\.\.|,)\s*", text.strip())
    try:
        low, high = (parse_pitch(part) for part in parts)
    except (TheoryError, ValueError):
        raise SignError(
            f"{text.strip()!r} is no range: write the lowest and the highest note, as in A3 to D5.",
            column,
        ) from None
    if low > high:
        raise SignError(f"The range starts above its end: write {high} to {low}.", column)
    return low, high


def read_change(text: str, column: int) -> KeyChange | None:
    """A key change in words (``key E``, ``up 2``, ``up a half step``), or None for other words."""
    match = _NEW_KEY.fullmatch(text.strip())
    if match is not None:
        return KeyChange(key=read_key(match["key"], column))
    match = _LIFT.fullmatch(text.strip())
    if match is None:
        return None
    size = match["size"].casefold()
    semitones = _STEPS[size] if size in _STEPS else int(size.replace(" ", ""))
    if match["way"].casefold().endswith("down"):
        semitones = -semitones
    if not 0 < abs(semitones) < 12:
        raise SignError("A key change moves by 1 to 11 half steps.", column, means=True)
    return KeyChange(semitones=semitones)


def quoted_words(words: str) -> str:
    """Words to the players as they are typed: in quotes where they would be read as a sign."""
    is_sign = _METER_WORDS.fullmatch(words) or _HALF_A_KEY.fullmatch(words) or words[:1] == '"'
    try:
        is_sign = is_sign or read_change(words, 1) is not None
    except SignError:
        is_sign = True
    return f'"{words}"' if is_sign else words


def read_direction(words: str, column: int) -> Meter | KeyChange | str:
    """What stands after two dashes: a meter, a key change, or words to the players."""
    if len(words) > 1 and words[0] == words[-1] == '"':
        return words[1:-1]
    if _METER_WORDS.fullmatch(words):
        return read_meter(words, column)
    change = read_change(words, column)
    if change is None and _HALF_A_KEY.fullmatch(words):
        raise SignError("Name the new key, as in -- key A.", column)
    return words if change is None else change


def read_times(text: str) -> tuple[int, int] | None:
    """How many times, and the length of the sign, where a text starts with ``x2`` or ``2x``."""
    match = _TIMES.match(text)
    return None if match is None else (int(match["a"] or match["b"]), match.end())


def checked_times(times: int, column: int) -> int:
    """A number of repeats that a band would play."""
    if not 1 <= times <= MAX_TIMES:
        raise SignError(f"{times} times cannot be meant: use 1 to {MAX_TIMES}.", column, means=True)
    return times


def read_heading(text: str, column: int) -> Heading:
    """A section's name with what may follow it: ``Chorus x2``, ``Verse (8 bars):``."""
    name = _unbracketed(text.strip().rstrip(":").strip())
    times, bars = 1, None
    for _ in range(2):
        found = _END_TIMES.search(name)
        if found is not None and found.start():
            times = checked_times(int(found["a"] or found["b"]), column)
            name = name[: found.start()].strip()
        found = _END_BARS.search(name)
        if found is not None and found.start():
            bars = int(found["bars"])
            name = name[: found.start()].strip()
    name = _unbracketed(name.rstrip(":").strip())
    return Heading(name, times, bars)


def _unbracketed(name: str) -> str:
    return name[1:-1].strip(" :") if name[:1] == "[" and name[-1:] == "]" else name


def bracketed_ending(plain: str) -> tuple[tuple[int, ...], int] | None:
    """The times round of an ending in brackets, ``[1.] 4 | 5 :|``, and where its bars begin."""
    match = _BRACKETED_ENDING.match(plain)
    return None if match is None else ((int(match["which"]),), match.end())


def read_ending(text: str) -> tuple[int, ...] | None:
    """The times round of an ending (``1st:``, ``2nd and 3rd:``); (0,) is the last one."""
    match = _ENDING.fullmatch(text.strip())
    if match is None:
        return None
    words = re.findall(r"\d+|first|second|third|last|final", match["which"].casefold())
    return tuple(int(w) if w.isdigit() else _ORDINALS.get(w, 0) for w in words)


def read_order(
    text: str, column: int, names: Sequence[str], aliases: dict[str, str]
) -> list[OrderItem]:
    """The roadmap: section names (or their first letters) with commas, arrows or spaces."""
    if re.search(r"[,;>→|]", text):
        parts = [(m[0], m.start()) for m in re.finditer(r"[^,;>→|]+", text)]
    elif re.search(r"\s-\s", text):
        parts = [(m[0], m.start()) for m in re.finditer(r"(?:(?!\s-\s).)+", text)]
    else:
        return _spaced_order(text, column, names, aliases)
    items = []
    for part, start in parts:
        name = part.strip(" -\t")
        if name:
            at = column + start + part.index(name)
            items.append(_order_item(name, at, names, aliases))
    return items


def short_order(text: str, names: Sequence[str], aliases: dict[str, str]) -> list[OrderItem] | None:
    """The roadmap in a line without its header, ``V1 C V1 C C``; None for any other line.

    Every word must be a usual short form, and every one must mean a section of the song.
    """
    if not looks_like_order(text):
        return None
    try:
        return read_order(text, 1, names, aliases)
    except SignError:
        return None


def looks_like_order(text: str) -> bool:
    """True where all words of a line are usual short forms of sections, and not chords."""
    words = re.sub(r"[,;>→|]|\s-+\s", " ", text).split()
    if len(words) < 3 or not all(_ORDER_WORD.fullmatch(word) for word in words):
        return False
    is_named = len(words[0].rstrip("0123456789")) > 2  # "Intro C C B" are chords
    return not all(re.fullmatch(r"[CB]|\(?x?\d+x?\)?", word) for word in words[is_named:])


def _spaced_order(
    text: str, column: int, names: Sequence[str], aliases: dict[str, str]
) -> list[OrderItem]:
    """An order with spaces alone, ``V C V C B C``: each entry takes as many words as it can."""
    words = list(re.finditer(r"\S+", text))
    items: list[OrderItem] = []
    at = 0
    while at < len(words):
        for count in range(min(MAX_NAME_WORDS, len(words) - at), 0, -1):
            part = text[words[at].start() : words[at + count - 1].end()]
            try:
                item = _order_item(part, column + words[at].start(), names, aliases)
            except SignError:
                if count == 1:
                    raise
                continue
            if _is_several(part, names, aliases):
                continue
            items.append(item)
            at += count
            break
    return items


def _is_several(part: str, names: Sequence[str], aliases: dict[str, str]) -> bool:
    """True for ``Pre C``: not a name as written, and each of its words is one by itself."""
    name = _END_TIMES.sub("", part).strip()
    words = name.split()
    if len(words) < 2 or bare_name(name) in {*map(bare_name, names), *aliases}:
        return False
    return all(_match(word, names, aliases) is not None for word in words)


def _order_item(part: str, column: int, names: Sequence[str], aliases: dict[str, str]) -> OrderItem:
    is_open = _OPEN.search(part) is not None
    name = _OPEN.sub("", part).strip()
    change = None
    words = re.search(r"\s+\(?((?:up|down|mod|key|new key|lift)\b.*?)\)?$", name, re.IGNORECASE)
    if words is not None:
        change = read_change(words[1], column + words.start(1))
        name = name if change is None else name[: words.start()]
    heading = read_heading(name, column)
    times, name = heading.times, heading.name
    before = re.match(r"(\d{1,3})\s*x\s+(.+)", name, re.IGNORECASE)
    if before is not None:
        times, name = checked_times(int(before[1]), column), before[2]
    found = _match(name, names, aliases) or same_kind(name, names)
    if found is None:
        raise SignError(_no_section(name, names), column, means=True)
    return OrderItem(found, times, change, is_open, _called(name, found))


def same_kind(name: str, names: Iterable[str]) -> str | None:
    """The section whose bars a later one without its own plays: Verse or Verse 1 for Verse 2."""
    fits = (full for full in names if _is_numbered_twin(name, full))
    return next(fits, None)


def _is_numbered_twin(name: str, other: str) -> bool:
    """True for ``Verse 2`` beside ``Verse`` or ``Verse 1``: one word, another number."""
    bare, twin = bare_name(name), bare_name(other)
    stem = bare.rstrip("0123456789")
    return bare not in (twin, stem) and stem == twin.rstrip("0123456789")


def _called(name: str, own: str) -> str:
    """``Verse 2`` where that or ``V2`` was asked and another verse has the bars, else nothing."""
    bare, played = bare_name(name), bare_name(own)
    digits = bare[len(bare.rstrip("0123456789")) :]
    if digits in ("", "1", played[len(played.rstrip("0123456789")) :]):
        return ""
    return f"{own.rstrip('0123456789 ')} {digits}"


def order_of(visits: Iterable[str], aliases: Mapping[str, str]) -> tuple[OrderItem, ...]:
    """The roadmap of sections as they come; `aliases` says whose bars a bare name plays."""
    items = []
    for name in visits:
        own = aliases.get(bare_name(name), name)
        items.append(OrderItem(own, called=_called(name, own)))
    return tuple(items)


def _no_section(name: str, names: Sequence[str]) -> str:
    close = difflib.get_close_matches(name, names, n=1)
    if close:
        return f"There is no section called {name}: did you mean {close[0]}?"
    return f"There is no section called {name}: this chart has {', '.join(names) or 'none'}."


def bare_name(name: str) -> str:
    """A section name without case, spaces and signs, to compare by."""
    return "".join(sign for sign in name.casefold() if sign.isalnum())


def _match(name: str, names: Sequence[str], aliases: dict[str, str]) -> str | None:
    """The one section a name or its first letters can mean, else None."""
    asked = bare_name(name)
    if not asked:
        return None
    for full in names:
        if bare_name(full) == asked:
            return full
    if asked in aliases:
        return aliases[asked]
    letters = asked.rstrip("0123456789")
    digits = asked[len(letters) :]
    fits = [full for full in names if _fits(full, letters, digits)]
    if not fits and digits:  # V2 where Verse 2 plays the bars of another
        fits = [aliases[bare] for bare in aliases if _fits(bare, letters, digits)]
    if not fits and digits == "1":  # V1 where there is one verse, without a number
        fits = [full for full in names if bare_name(full).isalpha() and _fits(full, letters, "")]
    if len(fits) > 1 and letters in _SHORT_NAMES:
        usual = _SHORT_NAMES[letters]
        fits = [full for full in fits if bare_name(full).rstrip("0123456789") == usual]
    return fits[0] if len(fits) == 1 else None


def _fits(full: str, letters: str, digits: str) -> bool:
    bare = bare_name(full)
    stem = bare.rstrip("0123456789")
    if not letters or (digits and bare[len(stem) :] != digits):
        return False
    initials = "".join(word[0] for word in re.findall(r"[^\W\d_]+", full.casefold()))
    return stem.startswith(letters) or initials == letters
