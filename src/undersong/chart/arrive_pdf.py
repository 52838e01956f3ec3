"""PDF sheets with a text layer: their words put back into lines, page by page, column by column.

Words are gathered by their height on the page and set on a grid of character widths, so that a
chord stands over its syllable again; then the sheet is read like any text. A page cut in two by an
empty gutter is read left column first. A page without text is a picture, and is refused.
"""

from __future__ import annotations

import io
import statistics
from collections import Counter
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from undersong.chart.names import read_name
from undersong.chart.sheetlines import section_name
from undersong.errors import ChartErrors, ChartSyntaxError

MAX_PDF_BYTES = 30_000_000
MAX_PAGES = 40
MAX_PAGE_WORDS = 6_000
_X_TOLERANCE = 1.5  # points: letters nearer than this are one word
_LINE_SHARE = 0.45  # of the letter height: words whose middles are nearer are one line
_RAISED_SHARE = 0.85  # a run smaller than this share of its neighbour's size is raised
_GUTTER_POINTS = 14.0
_MIDDLE = (0.25, 0.9)  # of the width of a page's text: where a second column may begin
_FEW_WORDS, _FEW_LINES, _FEW_NAMES = 12, 4, 2
_EDGE_POINTS = 2.0
_GAP_SHARE = 1.7  # a gap this much wider than usual is a blank line


@dataclass(frozen=True, slots=True)
class Run:
    """A word on a page: its text, its box in points (y downward) and its size."""

    text: str
    left: float
    right: float
    top: float
    bottom: float

    @property
    def middle(self) -> float:
        """Half way between top and bottom."""
        return (self.top + self.bottom) / 2

    @property
    def height(self) -> float:
        """The box's height."""
        return self.bottom - self.top


def pdf_pages(data: bytes, *, source: str | None = None) -> list[list[str]]:
    """The lines of each page of a PDF as text.

    Raises
    ------
    ChartErrors
        If it is no PDF, has too many pages, or is a scan.
    """
    if len(data) > MAX_PDF_BYTES:
        raise _refused("This PDF is too large to be a song sheet.", source)
    pages = [
        [line for column in _columns(_joined(words)) for line in [*_lines(column), ""]]
        for words in _pages(data, source)
    ]
    if not any(line.strip() for page in pages for line in page):
        raise _refused(
            "This PDF is a picture without text: type the chords, or ask for the sheet as text.",
            source,
        )
    return pages


def _refused(message: str, source: str | None) -> ChartErrors:
    return ChartErrors([ChartSyntaxError(message, source=source)])


def _pages(data: bytes, source: str | None) -> list[list[Run]]:
    try:
        import pdfplumber
        from pdfminer.pdfexceptions import PDFException
        from pdfplumber.utils.exceptions import PdfminerException
    except ImportError:
        raise _refused(
            "PDF sheets need the pdfplumber library, which is missing.", source
        ) from None
    wanted = list(range(1, MAX_PAGES + 2))
    try:
        with pdfplumber.open(io.BytesIO(data), pages=wanted) as document:
            if len(document.pages) > MAX_PAGES:
                raise _refused(
                    f"This PDF has more than {MAX_PAGES} pages, and no song sheet does.", source
                )
            return [_runs(page) for page in document.pages]
    except (PDFException, PdfminerException, ValueError, KeyError, TypeError, AttributeError):
        raise _refused("This PDF is damaged or locked and cannot be read.", source) from None


def _runs(page: Any) -> list[Run]:
    words = page.extract_words(x_tolerance=_X_TOLERANCE, keep_blank_chars=False)
    return [
        Run(word["text"], word["x0"], word["x1"], word["top"], word["bottom"])
        for word in words[:MAX_PAGE_WORDS]
    ]


def _joined(words: list[Run]) -> list[Run]:
    """Raised figures and signs set smaller (the 7 of a seventh) joined to the name before them."""
    joined: list[Run] = []
    for word in sorted(words, key=lambda each: (each.left, each.top)):
        host = next(
            (
                place
                for place in range(len(joined) - 1, max(-1, len(joined) - 40), -1)
                if _is_raised(word, joined[place])
            ),
            None,
        )
        if host is None:
            joined.append(word)
        else:
            before = joined[host]
            joined[host] = replace(before, text=before.text + word.text, right=word.right)
    return joined


def _is_raised(word: Run, before: Run) -> bool:
    return (
        word.height < _RAISED_SHARE * before.height
        and -_X_TOLERANCE <= word.left - before.right <= _X_TOLERANCE
        and before.top - before.height / 2 <= word.middle <= before.bottom
    )


def _columns(words: list[Run]) -> list[list[Run]]:
    """The words of a page, parted where a second column of words begins."""
    start = _second_column(words)
    if start is None:
        return [words]
    gutter = start - _GUTTER_POINTS
    across = [w for w in words if w.left < gutter and w.right > gutter]
    first = [w for w in words if w.right <= start and w not in across]
    second = [w for w in words if w.left >= start - 1 and w not in across]
    top = min(w.top for w in second)
    # A heading over both columns: whatever stands above the second one's first line.
    above = [w for w in first if w.bottom <= top] + [w for w in across if w.bottom <= top]
    below = [w for w in across if w not in above]
    return [above, [w for w in first if w not in above] + below, second]


def _second_column(words: list[Run]) -> float | None:
    """Where a second column begins on the page, or None.

    It begins where many lines begin, right of an empty gutter, with words (and not chords alone)
    or names of sections on both sides: a grid of chords also has empty gutters.
    """
    if len(words) < _FEW_WORDS:
        return None
    left, right = min(w.left for w in words), max(w.right for w in words)
    starts = Counter(round(w.left) for w in words)
    found: list[tuple[int, float]] = []
    for start, count in starts.items():
        share = (start - left) / max(1.0, right - left)
        if count < _FEW_NAMES or not _MIDDLE[0] < share < _MIDDLE[1]:
            continue
        gutter = start - _GUTTER_POINTS
        crossing = sum(w.left < start - 1 and w.right > gutter for w in words)
        has_words = count >= _FEW_LINES and _has_words_on_both_sides(words, start)
        has_names = has_words or _has_names_on_both_sides(words, start)
        if crossing <= max(2, len(words) // 40) and has_names:
            found.append((count, float(start)))
    return max(found)[1] if found else None


def _has_words_on_both_sides(words: list[Run], start: float) -> bool:
    plain = [w for w in words if len(w.text) > 1 and w.text.isalpha() and not read_name(w.text)]
    second = sum(w.left >= start - 1 for w in plain)
    return second >= _FEW_LINES and len(plain) - second >= _FEW_LINES


def _has_names_on_both_sides(words: list[Run], start: float) -> bool:
    """True where sections begin at the left edge and where the second column would begin."""
    left = min(w.left for w in words)
    names = [w.left for w in words if section_name(w.text.rstrip(":")) is not None]
    second = sum(abs(at - start) < _EDGE_POINTS for at in names)
    return second >= _FEW_NAMES and any(abs(at - left) < _EDGE_POINTS for at in names)


def _lines(words: list[Run]) -> list[str]:
    """Words as lines of text, each in the column of its place on the page."""
    if not words:
        return []
    rows: list[list[Run]] = []
    for word in sorted(words, key=lambda each: (each.middle, each.left)):
        if rows and abs(word.middle - rows[-1][0].middle) < _LINE_SHARE * word.height:
            rows[-1].append(word)
        else:
            rows.append([word])
    width = statistics.median((w.right - w.left) / len(w.text) for w in words)
    left = min(w.left for w in words)
    tops = [min(w.top for w in row) for row in rows]
    gaps = [b - a for a, b in pairwise(tops)]
    usual = statistics.median(gaps) if gaps else 0.0
    lines: list[str] = []
    for place, row in enumerate(rows):
        if place and gaps[place - 1] > _GAP_SHARE * usual:
            lines.append("")
        lines.append(_line(row, left, width))
    return lines


def _line(row: list[Run], left: float, width: float) -> str:
    text = ""
    for word in sorted(row, key=lambda each: each.left):
        column = round((word.left - left) / max(width, 0.1))
        text = text.ljust(max(len(text) + bool(text), column)) + word.text
    return text
