"""What each line of a chart's text is: header, section name, bars, direction, comment.

A line is judged by its own signs alone, except that bare numbers and letters need the chart's
style: in a chart of numbers ``A`` names a section.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter
from dataclasses import dataclass

from undersong.chart.headers import (
    HEADERS,
    SECTION_WORDS,
    SHORT_SECTIONS,
    read_ending,
    read_times,
)
from undersong.chart.signs import is_chord_like, is_roman, plain_signs, style_of
from undersong.chart.song import Style

BAR_LINE = re.compile(r"(?P<closes>:?)\s*\|+(?P<opens>:?)")
_LINE_END = re.compile(r"\r\n|\r|\n")
_COMMENT = re.compile(r"\s*(?:#(?![#b]*[1-7])|;)")
_LATE_COMMENT = re.compile(r"(?<=\s)(?:#(?=\s|$)|;).*")
_DIRECTION = re.compile(r"\s*(?:--+|[—–]+)\s*")
_LATE_DIRECTION = re.compile(r"(?<=[\s|])--+\s*(?P<words>.*)$")
_OWN_METER = re.compile(  # at the start of a bar, its colon no repeat sign
    r"(?:(?<=\|)|^)\s*(?:(?:pick-?up|up-?beat)\b)?\s*\d+\s*/\s*\d+\s*:(?!\|)", re.IGNORECASE
)
_BARE_HEADER = re.compile(  # without its colon, where nothing else can be meant
    r"\s*(?:key(?:\s+of)?\s+(?P<key>[A-G][#b]?(?:m|\s+minor|\s+major)?)"
    r"|(?:tempo|bpm)\s+(?P<tempo>\d{2,3}(?:\s*bpm)?)"
    r"|capo\s+(?P<capo>(?:at\s+|on\s+)?(?:fret\s+)?\d{1,2}(?:st|nd|rd|th)?(?:\s+fret)?)"
    r"|(?:meter|time)\s+(?P<meter>\d{1,2}/\d{1,2}))\s*",
    re.IGNORECASE,
)
_LONE_METER = re.compile(r"\s*(?P<upper>\d{1,2})\s*/\s*(?P<unit>\d{1,2})\s*")
_MARGIN_NAME = re.compile(
    r"\s*(?P<name>(?:"
    + "|".join(sorted((*SECTION_WORDS, *SHORT_SECTIONS), key=len, reverse=True))
    + r")\d{0,2})(?=\s)",
    re.IGNORECASE,
)
_LEAST_CHORDS = 2
_LONG_NAME = 3  # letters; shorter names may be chords in a chart of letters
_HEADER = re.compile(r"\s*(?P<name>[^\W\d_][^:=|]{0,40}?)\s*[:=](?P<value>.*)$")


@dataclass(slots=True)
class Line:
    """One line: as typed, with plain signs and its comment cut off, and what it holds.

    `name` is the header's field, or the unknown header's own name; `column` (1-based) is where
    the value of a header or a direction starts.
    """

    index: int
    raw: str
    plain: str
    kind: str = "blank"  # blank, header, other, section, bars or direction
    name: str = ""
    column: int = 1
    dashed: bool = False  # dashes between its chords stand for bar lines; `plain` is without

    @property
    def value(self) -> str:
        """What a header or a direction says, as typed."""
        return self.raw[self.column - 1 : len(self.plain.rstrip())].strip()


def text_lines(text: str) -> list[str]:
    """The lines of a text, without their ends; a byte-order mark is no part of the first."""
    return _LINE_END.split(text.removeprefix("\ufeff"))


def classified(raw_lines: list[str]) -> tuple[list[Line], Style]:
    """Every line with its kind, and what the chords are written in."""
    lines = [_cut(index, raw) for index, raw in enumerate(raw_lines)]
    for line in lines:
        _without_dashes(line)
    style = _style_of_chart(lines)
    for line in lines:
        _classify(line, style)
    _lone_meter(lines)
    _first_line_as_title(lines)
    return lines, style


def _cut(index: int, raw: str) -> Line:
    plain = plain_signs(raw)
    if not plain.strip() or _COMMENT.match(plain):
        return Line(index, raw, "")
    if "#" in plain or ";" in plain:
        plain = _LATE_COMMENT.sub("", plain)
    return Line(index, raw, plain)


def _without_dashes(line: Line) -> None:
    """Take out the dashes of ``1 - 5 - 6- - 4``: one between each chord and the next."""
    if " - " not in line.plain or "|" in line.plain or line.plain.lstrip().startswith("--"):
        return
    bars = late_direction(line.plain)[0]
    name, colon, value = bars.partition(":")
    if colon and name.strip().casefold() in HEADERS:
        return
    start = len(name) + 1 if colon else 0
    words = (value if colon else bars).split()
    if words and read_times(words[-1]) is not None:
        words = words[:-1]
    is_dashed = len(words) > 2 and len(words) % 2 == 1 and set(words[1::2]) == {"-"}
    if is_dashed and all(map(_is_chord_word, words[::2])):
        chords = re.sub(r"(?<=\s)-(?=\s)", " ", line.plain[start : len(bars)])
        line.plain = line.plain[:start] + chords + line.plain[len(bars) :]
        line.dashed = True


def _is_chord_word(word: str) -> bool:
    return is_chord_like(word) or is_roman(word)


def late_direction(plain: str) -> tuple[str, int | None]:
    """A line of bars without the direction after it, and where that direction's words start."""
    match = _LATE_DIRECTION.search(plain)
    if match is None:
        return plain, None
    return plain[: match.start()], match.start("words")


def _style_of_chart(lines: list[Line]) -> Style:
    barred = [line.plain for line in lines if "|" in line.plain and not _is_words(line.plain)]
    count: Counter[Style | None] = Counter()
    for plain in barred:
        bars = _OWN_METER.sub(" ", late_direction(plain)[0])
        bars = bars.replace(":", " ").replace("|", " ")
        count.update(style_of(word) for word in bars.split())
    if not count[Style.NUMBERS] and not count[Style.LETTERS]:
        for line in lines:
            words = line.plain.partition(":")[2].split() or line.plain.split()
            if words and all(is_chord_like(word) for word in words):
                count.update(style_of(word) for word in words)
            words = line.plain.replace("|", " ").split()
            if len(words) > 1 and all(is_roman(word) for word in words):
                count[Style.NUMBERS] += len(words)  # to be refused as numbers
    return Style.LETTERS if count[Style.LETTERS] > count[Style.NUMBERS] else Style.NUMBERS


def _is_words(plain: str) -> bool:
    """True for a direction and for a header of words: a bar line in them is only a sign."""
    if plain.lstrip().startswith("--"):
        return True
    match = _HEADER.match(plain)
    return match is not None and HEADERS.get(match["name"].casefold()) in ("order", "note", "title")


def _classify(line: Line, style: Style) -> None:
    plain = line.plain
    if not plain.strip():
        return
    direction = _DIRECTION.match(line.raw)
    header = _HEADER.match(plain)
    known = HEADERS.get(header["name"].casefold()) if header else None
    if direction is not None:
        line.column = direction.end() + 1
        # A ruled line of dashes says nothing.
        line.kind = "direction" if line.raw.strip(" -—–\t") else "blank"
    elif "|" in plain and not (known and _is_words(plain)):
        line.kind = "bars"
    elif header is not None and known is not None:
        line.kind, line.name, line.column = "header", known, header.start("value") + 1
    elif header is not None:
        _classify_named(line, header["name"], header["value"], header.start("value"), style)
    elif (bare := _BARE_HEADER.fullmatch(plain)) is not None:
        name = next(group for group in ("key", "tempo", "capo", "meter") if bare[group])
        line.kind, line.name, line.column = "header", name, bare.start(name) + 1
    elif _is_bars(plain, style) or margin_name(plain, style):
        line.kind = "bars"
    else:
        line.kind = "section"


def margin_name(plain: str, style: Style) -> int:
    """Where the name ends in ``INTRO  1  4  1  4``: a section and its bars without bar lines.

    0 for any other line. A number one space after the name is a chord, unless a wider gap
    follows it: ``Verse 1   1 4 5 1``.
    """
    match = _MARGIN_NAME.match(plain)
    if match is None:
        return 0
    end = match.end()
    numbered = re.match(r" \d{1,2}(?=\s{2})", plain[end:])
    end += numbered.end() if numbered and not plain[match.end() :].startswith("  ") else 0
    words = late_direction(plain[end:])[0].split()
    is_short = len(match["name"].rstrip("0123456789")) < _LONG_NAME
    chords = [word for word in words if is_chord_like(word, style)]
    if len(chords) < _LEAST_CHORDS or (is_short and style is Style.LETTERS):
        return 0
    return end if all(_is_bar_word(word, style) for word in words) else 0


def _classify_named(line: Line, name: str, value: str, start: int, style: Style) -> None:
    line.name, line.column = name.strip(), start + 1
    words = late_direction(value)[0].split()
    if words and meant_header(name) is not None:
        line.kind = "other"
    elif read_ending(name) is not None or (words and all(_is_bar_word(w, style) for w in words)):
        line.kind = "bars"
    elif not words or read_times(value.strip()) is not None:
        line.kind = "section"
    else:
        line.kind = "other"


def meant_header(name: str) -> str | None:
    """The header a misspelt name is close to, if any."""
    plain = name.strip().casefold()
    cutoff = 0.65 if len(plain) == len("key") else 0.75  # one letter of three is a third
    close = difflib.get_close_matches(plain, HEADERS, n=1, cutoff=cutoff)
    return close[0] if close else None


def _is_bars(plain: str, style: Style) -> bool:
    words = plain.split()
    ordinal, colon, _ = plain.partition(":")
    if colon and read_ending(ordinal) is not None:
        return True
    if len(words) == 1 and len(words[0]) == 1 and words[0].isalpha():
        return False  # a rehearsal letter
    if len(words) > 1 and all(is_roman(word) for word in words):
        return True
    chords = sum(_is_bar_word(word, style) for word in words)
    if style is Style.NUMBERS and words[0][0].isdigit() and 3 * chords >= 2 * len(words) > 4:
        return True  # the sign that is none is named when the bars are read
    return chords == len(words) or (
        chords > 1 and words[0] != "-" and chords + words.count("-") == len(words)
    )


def _is_bar_word(word: str, style: Style) -> bool:
    return is_chord_like(word, style) or (len(word) > 1 and read_times(word) is not None)


def _lone_meter(lines: list[Line]) -> None:
    """A known meter alone on a line above the first section is the song's meter."""
    written = [line for line in lines if line.kind != "blank"]
    for place, line in enumerate(written[:-1]):
        if line.kind in ("bars", "section") and is_lone_meter(line):
            line.kind, line.name = "header", "meter"
            return
        is_title = place == 0 and line.kind == "section" and not _names_a_section(line.plain)
        if line.kind in ("bars", "section") and not is_title:
            return


def is_lone_meter(line: Line) -> bool:
    """True where a line holds a meter and nothing else: ``3/4``, not the chord ``5/7``."""
    match = _LONE_METER.fullmatch(line.plain)
    return match is not None and int(match["upper"]) > 1 and match["unit"] in ("2", "4", "8", "16")


def _names_a_section(plain: str) -> bool:
    words = plain.casefold().split()
    return len(words[0]) == 1 or words[0].strip("[]:0123456789") in SECTION_WORDS


def _first_line_as_title(lines: list[Line]) -> None:
    """A first line of plain words that headers or nothing but a gap follow is the title."""
    if any(line.kind == "header" and line.name == "title" for line in lines):
        return
    written = [line for line in lines if line.kind != "blank"]
    if len(written) > 1 and written[0].kind == "section" and written[1].kind != "bars":
        first = written[0]
        first.kind, first.name, first.column = "header", "title", 1
