"""The face of the pages: how wide its words are, in millimetres.

One open face, in two weights, with every musical sign a chart needs drawn into it
(design/page_font.py; licence beside the files). Widths are its advances without kerning, so a
measured word is never narrower than the printed one by more than a hair.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

from undersong.theory.pitch import musical_signs

FAMILY = "Undersong Text"
FALLBACK = "Libertinus Serif"  # comes with the typesetter: Greek, Cyrillic and rarer signs
REGULAR, BOLD = 400, 700
UNITS_PER_EM = 1000
CAP_EM = 0.668  # height of capitals and figures, as the face itself states it
DESCENT_EM = 0.2
_UNKNOWN_EM = 0.7  # a sign that a fallback face has to print
_MM_PER_PT = 25.4 / 72
_AFTER_HYPHEN = re.compile(r"(?<=[^\W\d]-)(?=[^\W\d])")
_NOTE_NAME = re.compile(r"(?<![A-Za-z0-9])[A-G][b#](?=m?(?![A-Za-z0-9#]))")


def points(size_mm: float) -> float:
    """Typographic points of a length in mm."""
    return size_mm / _MM_PER_PT


def em_of_figures(height_mm: float) -> float:
    """The size (em) at which figures are `height_mm` tall."""
    return height_mm / CAP_EM


@cache
def _widths() -> dict[int, dict[str, int]]:
    text = (files("undersong.page") / "fonts" / "widths.json").read_text("utf-8")
    return {int(weight): widths for weight, widths in json.loads(text).items()}


def text_width(text: str, size_mm: float, weight: int = REGULAR) -> float:
    """Width in mm of a line of text set at `size_mm` to the em, not kerned."""
    widths = _widths()[weight]
    unknown = int(_UNKNOWN_EM * UNITS_PER_EM)
    return sum(widths.get(sign, unknown) for sign in text) * size_mm / UNITS_PER_EM


def wrapped(text: str, size_mm: float, width_mm: float, weight: int = REGULAR) -> tuple[str, ...]:
    """Lines of words, each at most `width_mm` wide; a word too long is broken."""
    lines = [""]
    for glue, word in _pieces(text, size_mm, width_mm, weight):
        longer = f"{lines[-1]}{glue}{word}".strip()
        if lines[-1] and text_width(longer, size_mm, weight) > width_mm:
            lines.append(word)
        else:
            lines[-1] = longer
    return tuple(lines)


def _words(text: str) -> Iterator[tuple[str, str]]:
    """Words, and what joins each to the one before; a line may end after a hyphen in a word."""
    for word in text.split():
        first, *others = _AFTER_HYPHEN.split(word)
        yield " ", first
        yield from (("", other) for other in others)


def _pieces(text: str, size_mm: float, width_mm: float, weight: int) -> Iterator[tuple[str, str]]:
    for glue, word in _words(text):
        piece = ""
        for sign in word:
            if piece and text_width(piece + sign, size_mm, weight) > width_mm:
                yield glue, piece
                glue, piece = "", ""
            piece += sign
        yield glue, piece


def fitting_size(
    text: str, size_mm: float, width_mm: float, most_lines: int, weight: int = REGULAR
) -> float:
    """The largest size up to `size_mm` at which the text takes at most so many lines.

    No word is broken unless the size would fall below a quarter.
    """
    size = size_mm
    words = [word for _, word in _words(text)]
    longest = max(words, key=lambda word: text_width(word, size_mm, weight), default="")
    while size > size_mm / 4 and (
        len(wrapped(text, size, width_mm, weight)) > most_lines
        or text_width(longest, size, weight) > width_mm
    ):
        size *= 0.97
    return size


def prose_signs(words: str) -> str:
    """Running text with the note names in it in musical signs: ``the low Bb`` has a real flat.

    Only a capital A to G with one sign, standing as a word of its own or before the m of a minor
    chord, is taken for a note name. Not for titles: ``Ab`` may be a word in one.
    """
    return _NOTE_NAME.sub(lambda found: musical_signs(found[0]), words)


def signs(plain: str) -> str:
    """A name, degree or chord tail with musical signs; words such as ``sus`` are left alone."""
    return musical_signs(plain)
