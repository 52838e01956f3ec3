"""One chord as it is typed: its name and the marks on it (diamond, push, stop, hold, place).

Columns are 1-based and counted in the line as written: `plain_signs` changes characters one for
one.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from undersong.chart.song import EIGHTH, Bar, ChordEvent, Style
from undersong.errors import TheoryError
from undersong.theory.chord import Chord, NumberChord, number_of, parse_chord, parse_number_chord
from undersong.theory.key import Key
from undersong.theory.meter import Wholes

_FULL_WIDTH = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)}
_LIKE = {
    "\u3000\u00a0\u2002\u2003\u2007\u2009\u202f\t": " ",
    "♭": "b",
    "♯": "#",
    "‐‑‒–—−": "-",
    "×✕": "x",
    "│┃❘": "|",
    "‹〈⟨": "<",
    "›〉⟩": ">",
    "’‘": "'",
}
_PLAIN = _FULL_WIDTH | {ord(sign): put for signs, put in _LIKE.items() for sign in signs}

_PLACE = r"@(\d{1,2})(?:\.(\d{1,4})|([&ea])|\+(\d{1,2}/\d{1,2}))?"
_TOKEN = re.compile(
    r"(?P<push><<|<-|←|\^)?\s*(?P<diamond>[<◇◆]\s*)?(?P<core>.+?)(?P<close>\s*[>◇◆])?"
    rf"(?P<tail>(?:!|\(hold\)|𝄐|{_PLACE})*)(?P<dots>[.…]*)",
    re.IGNORECASE,
)
_NO_CHORD = re.compile(r"n\.?\s?c\.?", re.IGNORECASE)
_BARE_DIGITS = re.compile(r"([#b]*[1-7])(2|4|5|6|7)")
_SUPERSCRIPT = re.compile(r"[⁰¹²³⁴⁵⁶⁷⁸⁹]+")
_SUPER_DIGITS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789")
PREFIX_WORDS = {"push": "<<", "pushed": "<<", "held": "<", "hold": "<", "diamond": "<"}
_ROMAN = re.compile(
    r"[#b]*(?:VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)"
    r"(?:7|maj7|M7|m|-|\+|o|°|ø|o7|°7|ø7|dim|aug|sus|sus[24])?(?:/\w+)?"
)
_LETTER_START = re.compile(r"[A-Ga-g]")
_NUMBER_START = re.compile(r"[#b]*[0-9]")
_SUBBEATS = {"e": Fraction(1, 4), "&": Fraction(1, 2), "a": Fraction(3, 4)}


class SignError(Exception):
    """A sign that cannot be read: what would do, and its column in the line."""

    def __init__(self, message: str, column: int, *, means: bool = False) -> None:
        super().__init__(message)
        self.message = message
        self.column = column
        self.means = means  # the signs are clear, the music is not


@dataclass(frozen=True, slots=True)
class Token:
    """A run of signs without spaces, and its column."""

    text: str
    column: int


@dataclass(frozen=True, slots=True)
class Sign:
    """One chord as typed: its event (not yet placed), its dots and its places."""

    event: ChordEvent
    dots: int
    places: tuple[Fraction, ...]
    column: int


@dataclass(frozen=True, slots=True)
class Reading:
    """How to read chords: in numbers, or in letters of the key in force."""

    style: Style
    key: Key
    remark: Callable[[int, str], None]


def plain_signs(text: str) -> str:
    """Full-width and musical signs as the plain ones, character for character."""
    return text.translate(_PLAIN)


def tokens_of(text: str, column: int) -> list[Token]:
    """The runs of signs in a stretch of a line that starts at a column."""
    return [Token(m[0], column + m.start()) for m in re.finditer(r"\S+", text)]


def is_chord_like(text: str, style: Style | None = None) -> bool:
    """True where a token is a chord of the style (of either, where none is given)."""
    match = _TOKEN.fullmatch(_unwrapped(plain_signs(text)))
    if match is None:
        return False
    core = match["core"]
    if core in ("0", "%", "/") or _NO_CHORD.fullmatch(core):
        return True
    as_number = style is not Style.LETTERS and _number(core) is not None
    return as_number or (style is not Style.NUMBERS and _letters(core) is not None)


def _unwrapped(text: str) -> str:
    """A token without the bracket of a split bar: ``(1`` and ``5)``, but not of ``5(7)``."""
    text = text.removeprefix("(")
    return text[:-1] if text.endswith(")") and text.count(")") > text.count("(") else text


def is_roman(text: str) -> bool:
    """True where a token is a chord in Roman numerals (``vi``, ``bVII``), which are not read."""
    return _ROMAN.fullmatch(_unwrapped(text)) is not None


def style_of(text: str) -> Style | None:
    """Which style a token is written in; None where it is no chord."""
    match = _TOKEN.fullmatch(_unwrapped(plain_signs(text)))
    if match is None or match["core"] == "0":
        return None
    core = match["core"]
    if _NUMBER_START.match(core):
        return Style.NUMBERS if _number(core) is not None else None
    is_letters = bool(_LETTER_START.match(core)) and _letters(core) is not None
    return Style.LETTERS if is_letters else None


@lru_cache(maxsize=4096)
def _number(core: str) -> NumberChord | None:
    try:
        return parse_number_chord(_lowered(core))
    except TheoryError:
        return None


@lru_cache(maxsize=4096)
def _letters(core: str) -> Chord | None:
    try:
        return parse_chord(_lowered(core))
    except TheoryError:
        return None


def _lowered(core: str) -> str:
    return _SUPERSCRIPT.sub(lambda m: f"({m[0].translate(_SUPER_DIGITS)})", core)


def read_sign(token: Token, reading: Reading) -> Sign:
    """One chord with its marks; raises SignError."""
    match = _TOKEN.fullmatch(token.text)
    if match is None:
        raise SignError(f"{token.text} is no chord.", token.column)
    opened, closed = bool(match["diamond"]), bool(match["close"])
    is_diamond_sign = opened and match["diamond"].strip() != "<"
    if opened and not closed and not is_diamond_sign:
        core = match["core"]
        raise SignError(
            f"{token.text} is open: write <{core}> for a held chord or <<{core} for a push.",
            token.column,
        )
    if closed and not opened and not match["push"] and match["close"].strip() == ">":
        raise SignError(
            f"{token.text} has no opening sign: write <{match['core']}> for a held chord.",
            token.column,
        )
    tail = match["tail"].casefold()
    event = ChordEvent(
        at=Fraction(0),
        chord=_read_chord(match["core"], token.column, reading),
        held=opened or closed,
        stopped="!" in tail,
        push=EIGHTH if match["push"] else Fraction(0),
        fermata="(hold)" in tail or "𝄐" in tail,
    )
    dots = len(match["dots"].replace("…", "..."))
    if _NO_CHORD.fullmatch(match["core"]) and dots == 1:
        dots = 0  # the full stop of N.C.
    return Sign(event, dots, tuple(_read_places(tail, token.column)), token.column)


def _read_places(tail: str, column: int) -> list[Fraction]:
    """Beats from the bar line of each ``@`` in a tail; raises SignError before beat 1."""
    places = []
    for beat, decimals, letter, fraction in re.findall(_PLACE, tail):
        if not int(beat):
            raise SignError(
                f"There is no beat {beat}: beats are counted from 1, so the bar line is @1.",
                column,
                means=True,
            )
        inside = Fraction(0)
        if decimals:
            inside = Fraction(int(decimals), 10 ** len(decimals))
        elif letter:
            inside = _SUBBEATS[letter]
        elif fraction and not fraction.endswith("/0"):
            inside = Fraction(fraction)
        places.append(int(beat) - 1 + inside)
    return places


def _read_chord(core: str, column: int, reading: Reading) -> NumberChord | None:
    if core == "0":
        return None
    if _NO_CHORD.fullmatch(core):
        reading.remark(column, "N.C. is read as silence for the bass.")
        return None
    if reading.style is Style.LETTERS:
        return _read_letters(core, column, reading)
    bare = _BARE_DIGITS.fullmatch(core)
    if bare is not None and bare[2] != "7":
        raise SignError(
            f"{core} can be read two ways: write {bare[1]}({bare[2]}) for one chord, "
            f"or {bare[1]} {bare[2]} for two.",
            column,
        )
    chord = _number(core)
    if chord is None:
        raise SignError(_no_number(core, reading), column)
    if bare is not None:
        reading.remark(column, f"{core} is read as one chord, {chord}.")
    return chord


def _read_letters(core: str, column: int, reading: Reading) -> NumberChord:
    name = core[0].upper() + core[1:]
    chord = _letters(name)
    if chord is None:
        if _number(core) is not None:
            raise SignError(
                f"{core} is a number and this chart is in letters: "
                f"write {_number(core).in_key(reading.key)}.",  # type: ignore[union-attr]
                column,
            )
        if is_roman(core):
            message = (
                f"{core} is no chord here: this chart is in letters, such as {reading.key.tonic}."
            )
            raise SignError(message, column)
        if _is_jump(core):
            raise SignError(_JUMP_ADVICE.format(core), column)
        raise SignError(f"{core} is no chord: write a name such as Am7, D/F# or Bbmaj7.", column)
    if name != core:
        reading.remark(column, f"{core} is read as {chord}.")
    return number_of(chord, reading.key)


_JUMP_ADVICE = (
    "{} is not followed here: write the order of the sections, "
    "as in Order: Verse, Chorus, Verse, Coda."
)


def _is_jump(core: str) -> bool:
    """True for D.S. and D.C., which send players back on a paper chart."""
    return re.fullmatch(r"D\.[SC]\.?", core, re.IGNORECASE) is not None


def _no_number(core: str, reading: Reading) -> str:
    if _is_jump(core):
        return _JUMP_ADVICE.format(core)
    as_letters = _letters(core[0].upper() + core[1:])
    if as_letters is not None:
        number = number_of(as_letters, reading.key)
        return f"{core} is a letter and this chart is in numbers: in {reading.key} write {number}."
    match = re.match(r"([#b]*)([089])", core)
    if match is not None:
        return f"{core} is no chord: degrees go from 1 to 7."
    if re.fullmatch(r"[1-7][#b]+.*", core):
        return f"{core} is no chord: write the flat or sharp before the number, as in b7."
    if is_roman(core):
        return f"{core} is no chord here: write figures, 1 to 7, with a dash for minor (6-)."
    if core.strip("-") == "":
        return "A dash stands alone: write / for a beat more, or put it to its number for a minor."
    if core.startswith("/"):
        return f"{core} stands alone: write the bass note without spaces, as in 5/7."
    return f"{core} is no chord: write 1 to 7, as in 1, 6-, 5/7, 2-(7) or b7."


def sign_text(event: ChordEvent, bar: Bar, style: Style, key: Key, written: str = "") -> str:
    """One chord with its marks as we print it; `written` is its place where one must be named."""
    if event.chord is None:
        text = "0"
    else:
        text = str(event.chord if style is Style.NUMBERS else event.chord.in_key(key))
    if event.held:
        text = f"<{text}>"
    text = ("<<" if event.pushed else "") + text
    text += ("!" if event.stopped else "") + ("(hold)" if event.fermata else "")
    text += f"@{written}" if written else ""
    if event.pushed and (written or event.push != EIGHTH):
        text += f"@{place_text((event.at - event.push) % bar.length, bar.meter.beat)}"
    return text


def place_text(at: Wholes, beat: Wholes) -> str:
    """A place as players count it: ``1`` is the bar line, ``2.5`` the and of 2."""
    whole, inside = divmod(at / beat, 1)
    if not inside:
        return str(whole + 1)
    if 10000 % inside.denominator == 0:
        decimals = f"{int(inside * 10000):04d}".rstrip("0")
        return f"{whole + 1}.{decimals}"
    return f"{whole + 1}+{inside}"
