"""Reading a made PDF back with two independent libraries, and what must hold on every page.

PDFium (by pypdfium2) measures the ink of every letter and draws the pages; pypdf, on a parser of
its own, reads fonts, tags and bookmarks. Neither shares code with the typesetter.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pypdf
import pypdfium2

EDGE_PT = 14.0  # 5 mm: most printers cannot print nearer to the edge
SLACK_PT = 0.9  # 0.3 mm: the boxes of a and j lean into one another, their ink does not
_SCALE = 1.0  # pixels to a point when a page is drawn


@dataclass(frozen=True, slots=True)
class Letter:
    """One printed character and the box of its ink, in points from the bottom left corner."""

    sign: str
    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True, slots=True)
class Leaf:
    """One page of a PDF: its letters, and whether anything is drawn near its edges."""

    number: int
    width: float
    height: float
    text: str
    letters: tuple[Letter, ...]
    inks_the_edge: bool


def leaves(pdf: bytes) -> Iterator[Leaf]:
    """Every page of a PDF."""
    document = pypdfium2.PdfDocument(pdf)
    for number, page in enumerate(document, 1):
        width, height = page.get_size()
        textpage = page.get_textpage()
        text = textpage.get_text_range()
        letters = tuple(_letters(textpage))
        picture = page.render(scale=_SCALE, grayscale=True).to_numpy()
        yield Leaf(number, width, height, text, letters, _inks_the_edge(picture))
    document.close()


def _letters(textpage: Any) -> Iterator[Letter]:
    for index in range(textpage.count_chars()):
        code = pypdfium2.raw.FPDFText_GetUnicode(textpage, index)
        if chr(code).strip() and not pypdfium2.raw.FPDFText_IsGenerated(textpage, index):
            yield Letter(chr(code), *textpage.get_charbox(index))


def _inks_the_edge(picture: np.ndarray[Any, np.dtype[np.uint8]]) -> bool:
    """Whether the outer 5 mm differ from the ground in the corner."""
    edge = int(EDGE_PT * _SCALE)
    bands = (picture[:edge], picture[-edge:], picture[:, :edge], picture[:, -edge:])
    return any(bool(np.any(band != picture[0, 0])) for band in bands)


def outside(leaf: Leaf) -> list[Letter]:
    """Letters that a printer would cut off, wholly or in part."""
    return [
        letter
        for letter in leaf.letters
        if letter.left < EDGE_PT
        or letter.bottom < EDGE_PT
        or letter.right > leaf.width - EDGE_PT
        or letter.top > leaf.height - EDGE_PT
    ]


def touching(leaf: Leaf) -> list[tuple[Letter, Letter]]:
    """Pairs of letters that are printed over one another."""
    letters = sorted(leaf.letters, key=lambda letter: letter.left)
    pairs = []
    for place, letter in enumerate(letters):
        for other in letters[place + 1 :]:
            if other.left >= letter.right - SLACK_PT:
                break
            wide = min(letter.right, other.right) - other.left
            high = min(letter.top, other.top) - max(letter.bottom, other.bottom)
            if wide > SLACK_PT and high > SLACK_PT:
                pairs.append((letter, other))
    return pairs


def loose_fonts(pdf: bytes) -> list[str]:
    """Names of fonts that are used and not embedded."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    loose = []
    for page in reader.pages:
        for font in _fonts(page.get("/Resources", {})):
            descendants = font.get("/DescendantFonts")
            inner = descendants[0].get_object() if descendants is not None else font
            if inner.get("/Subtype") == "/Type3":
                continue  # its shapes are in the file by definition
            descriptor = inner.get("/FontDescriptor")
            files = ("/FontFile", "/FontFile2", "/FontFile3")
            if descriptor is None or not any(key in descriptor.get_object() for key in files):
                loose.append(str(font.get("/BaseFont")))
    return loose


def _fonts(resources: Any) -> Iterator[Any]:
    resources = resources.get_object()
    for font in resources.get("/Font", {}).get_object().values() if "/Font" in resources else ():
        yield font.get_object()
    for inner in (
        resources.get("/XObject", {}).get_object().values() if "/XObject" in resources else ()
    ):
        inner_object = inner.get_object()
        if "/Resources" in inner_object:
            yield from _fonts(inner_object["/Resources"])


@dataclass(frozen=True, slots=True)
class Catalogue:
    """What a PDF says of itself."""

    title: str
    language: str
    is_tagged: bool
    has_structure: bool
    shows_title: bool
    bookmarks: tuple[str, ...]
    text: str


@cache
def catalogue(pdf: bytes) -> Catalogue:
    """Title, language, tags, bookmarks and text, read by pypdf."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    root: Any = reader.trailer["/Root"]
    return Catalogue(
        str(reader.metadata.title) if reader.metadata is not None else "",
        str(root.get("/Lang", "")),
        bool(root.get("/MarkInfo", {}).get("/Marked", False)),
        "/StructTreeRoot" in root,
        bool(root.get("/ViewerPreferences", {}).get("/DisplayDocTitle", False)),
        tuple(_bookmarks(reader.outline)),
        "\n".join(page.extract_text() for page in reader.pages),
    )


def _bookmarks(outline: Any) -> Iterator[str]:
    for each in outline:
        if isinstance(each, list):
            yield from _bookmarks(each)
        else:
            yield str(each.title)
