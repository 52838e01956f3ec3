"""A line of a sheet, sign by sign: chords, marks, words, and the names of sections."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from undersong.chart.headers import looks_like_order, short_order
from undersong.chart.names import Naming, read_name
from undersong.chart.signs import plain_signs
from undersong.chart.song import MAX_TIMES
from undersong.theory.chord import Chord

LABEL = re.compile(
    r"\s*[\[(]?\s*(?:repeat\s+)?"
    r"(?P<name>(?:intro|verse|chorus|refrain|pre[- ]?chorus|post[- ]?chorus|bridge|tag|"
    r"outro|ending|hook|turnaround|instrumental|interlude|breakdown|vamp|solo|coda|"
    r"strophe|strofa|coro|estribillo|puente|ritornello|inst|pre|vs|v|c|ch|b|br|pc)"
    r"(?![a-z])(?:[ ]*\d{1,2}(?!\s*x)[a-z]?)?)(?![\w#♯♭])\s*"
    r"(?P<times>\(?\s*(?:x\s*\d+|\d+\s*x)\s*\)?)?\s*[\])]?\s*(?P<colon>:?)\s*[\])]?",
    re.IGNORECASE,
)
NUMBERED = re.compile(r"\s*(?P<number>\d{1,2})\s*[.):]\s*")
LONG_NAMES = {"v": "Verse", "c": "Chorus", "ch": "Chorus", "b": "Bridge", "br": "Bridge"}
LONG_NAMES |= {"pc": "Pre-Chorus", "pre": "Pre-Chorus", "vs": "Verse", "inst": "Instrumental"}
TIMES = re.compile(r"\(?\s*(?:x\s*(?P<a>\d{1,2})|(?P<b>\d{1,2})\s*x)\s*\)?", re.IGNORECASE)
REPEAT = re.compile(r"\(?\b(?:repeat|play)\s+(?=x?\s*\d)", re.IGNORECASE)
JUMP = re.compile(
    r"(?:\bD\.?\s?[SC]\.?\s+al\s+(?:coda|fine)|\bD\.\s?[SC]\.|\b(?:dal\s+segno|da\s+capo)"
    r"(?:\s+al\s+(?:coda|fine))?|\bto\s+coda\b|^\s*fine\s*$)",
    re.IGNORECASE,
)
JUMP_ADVICE = "write the order of the sections, as in Order: Verse, Chorus, Verse, Coda"
_H_CHORD = re.compile(r"H(?![a-ln-z])")
_ORDER = re.compile(r"\s*(?:order|form|roadmap)\s*:\s*(?=\S)", re.IGNORECASE)
ENDING = re.compile(r"[\[(]?(?P<number>[1-9])(?:\.|st|nd|rd|th)[\])]?[:.]?", re.IGNORECASE)
_ENDING_WORD = re.compile(r"[\[(]?(?:ending|time)[\])]?:?", re.IGNORECASE)
_HOLD = re.compile(r"\(hold\)|𝄐", re.IGNORECASE)
# Signs of how a chord is played, as our own charts have them, and others that are only told.
_TOUCHED = re.compile(
    r"(?P<push><<|<-|←|\^)?(?P<other>[>~'\"]+)?(?P<open>[<◇◆])?"
    r"(?P<core>[A-Ha-h(NS][^<>◇◆!]*?)(?P<close>[>◇◆])?(?P<tail>(?:!|\(hold\)|𝄐)*)",
    re.IGNORECASE,
)
_PLAIN_NAME = re.compile(r"(?!.*\(hold\))[^<>◇◆!^←~𝄐]+", re.IGNORECASE)
_PLAYED_MARKS = {"/", "%", ".", "//", "///", "////", "0"}
IDLE_MARKS = {"-", "--", "~", "→", "->", ">", "*", "&", "…", "..."}


@dataclass(frozen=True, slots=True)
class Word:
    """A run of signs on a line, its column (1-based), and what it is."""

    text: str
    column: int
    kind: str  # chord, mark, times, ending or word
    chord: Chord | None = None
    guess: str = ""
    touch: tuple[str, ...] = ()  # how a chord is played: held, pushed, stopped, fermata


def section_name(text: str) -> str | None:
    """The section that words name (``Verse 2``, ``[CHORUS]``), or None for other words."""
    match = LABEL.fullmatch(plain_signs(text))
    return None if match is None or len(text.strip()) < 2 else full_name(match["name"])


def names_in(lines: Sequence[str]) -> list[str]:
    """The names of all sections of a sheet, by its lines."""
    found: dict[str, None] = {}
    for line in lines:
        match = LABEL.match(line)
        if match is None or looks_like_order(line):
            continue
        is_short = len(match["name"].rstrip("0123456789 ")) < 3  # C may be a chord
        if not is_short or match.end() == len(line.rstrip()) or match["colon"]:
            found[full_name(match["name"])] = None
    return list(found)


def order_in(plain: str, names: Sequence[str]) -> str | None:
    """The roadmap on a line, with its header or in the usual short forms; else None."""
    headed = _ORDER.match(plain)
    if headed is not None:
        return plain[headed.end() :].strip()
    text = plain.strip()
    return None if short_order(text, names, {}) is None else text


def words_of(plain: str, naming: Naming) -> list[Word]:
    """The runs of signs on a line, each told for what it is."""
    found: list[Word] = []
    plain = REPEAT.sub(lambda match: " " * len(match[0]), plain)
    for match in re.finditer(r"\([^()\s]*\)|[^\s|]+", plain):
        last = found[-1] if found else None
        if last is not None and last.kind == "chord" and _HOLD.fullmatch(match[0]):
            found[-1] = replace(last, touch=(*last.touch, "fermata"))
            continue
        if last is not None and last.kind == "ending" and _ENDING_WORD.fullmatch(match[0]):
            continue
        word = _word(match[0], match.start() + 1, naming)
        joined = _joined_by_dashes(word, naming) if word.kind == "word" else []
        found += joined or [word]
    return _small_letters(found, naming)


def _joined_by_dashes(word: Word, naming: Naming) -> list[Word]:
    """The chords of ``G-D-Em``, empty where it is anything else."""
    parts = [_word(m[0], word.column + m.start(), naming) for m in re.finditer("[^-]+", word.text)]
    is_list = len(parts) > 1 and all(part.kind == "chord" for part in parts)
    return parts if is_list else []


def _small_letters(words: list[Word], naming: Naming) -> list[Word]:
    """A line of nothing but chords, some in small letters, as chords; else the line as it is."""
    small = [word for word in words if word.kind == "word"]
    if not small or len(words) < 2 or naming != Naming():
        return words
    if all(word.text in ("a", "A") for word in words):
        return words
    raised = {
        word: _word(word.text[:1].upper() + word.text[1:], word.column, naming) for word in small
    }
    if any(each.kind != "chord" for each in raised.values()):
        return words
    return [
        replace(raised[word], text=word.text, guess=f"{word.text} is read as {raised[word].chord}")
        if word in raised
        else word
        for word in words
    ]


def _word(text: str, column: int, naming: Naming) -> Word:
    if text in IDLE_MARKS or text in _PLAYED_MARKS or set(text) <= {"/", ":", "."}:
        return Word(text, column, "mark")
    if TIMES.fullmatch(text):
        return Word(text, column, "times")
    if ENDING.fullmatch(text):
        return Word(text, column, "ending")
    name = read_name(text, naming) if _PLAIN_NAME.fullmatch(text) else None
    if name is not None:
        return Word(text, column, "chord", name.chord, name.guess)
    return _touched(text, column, naming) or Word(text, column, "word")


def _touched(text: str, column: int, naming: Naming) -> Word | None:
    """A chord with a sign that says how it is played: ``<G>``, ``^C``, ``G!``, ``D(hold)``."""
    match = _TOUCHED.fullmatch(text)
    name = None if match is None else read_name(match["core"], naming)
    if match is None or name is None:
        return None
    is_held = bool(match["open"] and match["close"]) or match["open"] in ("◇", "◆")
    tail = match["tail"].casefold()
    touch = [
        *(["held"] if is_held else []),
        *(["pushed"] if match["push"] else []),
        *(["stopped"] if "!" in tail else []),
        *(["fermata"] if "hold" in tail or "𝄐" in tail else []),
    ]
    guess = name.guess
    if name.chord is not None and (match["other"] or (not is_held and match["open"])):
        guess = guess or f"{text} is read as {name.chord}"
    return Word(text, column, "chord", name.chord, guess, tuple(touch))


def is_chord_line(words: list[Word]) -> bool:
    """True where a line holds chords, with at most a stray word or two among many."""
    chords = sum(word.kind == "chord" for word in words)
    others = sum(word.kind == "word" for word in words)
    if not chords:
        return bool(words) and all(word.text == "%" for word in words)
    return others == 0 or (chords >= 2 and others * 2 <= chords)


def is_barred_line(plain: str, words: list[Word]) -> bool:
    """True where chords stand in bars, whatever else is in them: no bar may get lost."""
    if plain.count("|") < 2 or not any(word.kind == "chord" for word in words):
        return False
    outside = sum(word.kind == "word" and bar_of(plain, word) is None for word in words)
    return plain.lstrip().startswith("|") or not outside


def bar_of(plain: str, word: Word) -> int | None:
    """Where the bar around a word starts in its line; None where it is not between bar lines."""
    start = plain.rfind("|", 0, word.column - 1)
    return None if start < 0 or plain.find("|", word.column) < 0 else start + 1


def unread_bars(plain: str, words: list[Word]) -> set[int]:
    """Where the bars start that hold words and no chord or mark."""
    read = {bar_of(plain, word) for word in words if word.kind in ("chord", "mark")}
    unread = {bar_of(plain, word) for word in words if word.kind == "word"} - read
    return {start for start in unread if start is not None}


def times_in(text: str | None) -> int:
    """How often a mark like ``x2`` or ``(2x)`` asks for a line; 1 without one."""
    match = TIMES.search(text or "")
    return 1 if match is None else min(MAX_TIMES, max(1, int(match["a"] or match["b"])))


def full_name(name: str) -> str:
    """A section's name written out: ``V1`` is Verse 1."""
    name = " ".join(name.split())
    stem = name.rstrip("0123456789 ")
    number = name[len(stem) :].strip()
    full = LONG_NAMES.get(stem.casefold(), stem if not stem.isupper() else stem.capitalize())
    return f"{full} {number}".strip()


def german_line(lines: Sequence[str]) -> int:
    """The first line (1-based) of chords with an H among them; 0 where there is none."""
    for number, line in enumerate(lines, 1):
        if "H" not in line:
            continue
        words = words_of(plain_signs(line.expandtabs()), Naming(german=True))
        chords = [word for word in words if word.kind == "chord"]
        if is_chord_line(words) and any(_H_CHORD.match(word.text) for word in chords):
            return number
    return 0
