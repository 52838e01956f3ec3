"""Staff and tab engraved from MusicXML, system by system.

The notes, stems, clefs and lines are the engraver's, in its music font; every word (chord numbers
above, fingers, degrees below, frets) is set again in the face of the pages, with musical signs,
so that paper has one hand and its text can be found. Degrees are centred under their notes, and
labels that would touch are set smaller.

References
----------
MusicXML 4.0 [W3C Music Notation Community Group, 2021]. Music font: Leland [SIL OFL], which the
engraver brings.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import verovio
from lxml import etree

from undersong.errors import PageError
from undersong.page.ground import Ground, Ink
from undersong.page.lettering import BOLD, FAMILY, REGULAR, signs, text_width

BARS_A_LINE = 4
STAFF_MM = 7.2
LARGE_STAFF_MM = 9.4
_engravers = threading.local()  # the engraver is not safe to share between threads
_UNITS_PER_MM = 10  # the engraver's page is measured in tenths of a millimetre
_FINE = 10  # and its drawing ten times finer
_STAFF_UNITS = 8.0  # a staff is eight of the engraver's units high
_SVG = "{http://www.w3.org/2000/svg}"
_HEAD_WIDTH = 325 * 0.72 / 2  # half a note head in the finest units at the engraver's own scale
_NUMBER = re.compile(r"[b#]*[1-7](?:$|[^a-z]|m7b5|dim|sus)")
_FONT_SIGNS = {  # the engraver's codes for accidentals within words [SMuFL 1.4]
    "\ue260": "♭", "\ue261": "♮", "\ue262": "♯", "\ue263": "𝄪", "\ue264": "𝄫",
    "\uea64": "♭", "\uea65": "♮", "\uea66": "♯",
}  # fmt: skip
_SET_SHARE = 0.8  # of a staff's height, for a size of 1
_LEAST_SIZE = 0.6  # a label may shrink to this share before it is left to touch
_NOTES_A_MM = 0.2  # more notes than this to a millimetre of line crowd a reader
_SAID_ELSEWHERE = ("direction-type/rehearsal", "direction-type/metronome", "sound/swing")
_FINGER_LEFT = 0.08  # of a staff's height: off the stem that may rise beside it


@dataclass(frozen=True, slots=True)
class _Style:
    """How words of one kind are set: share of a staff's height, weight and ink."""

    size: float
    weight: int = REGULAR
    ink: Ink = Ink.INK


_STYLES = {
    "dir": _Style(0.7, BOLD),
    "harm": _Style(0.55, REGULAR, Ink.PENCIL),
    "fing": _Style(0.47),
    "syl": _Style(0.54, BOLD),
    "mNum": _Style(0.52, REGULAR, Ink.PENCIL),
    "note": _Style(0.52, BOLD),
}
_OTHER = _Style(0.46)


@dataclass(frozen=True, slots=True)
class System:
    """One line of music as SVG, its size in mm, and its chords and degrees as printed."""

    svg: str
    width_mm: float
    height_mm: float
    chords: tuple[str, ...]
    degrees: tuple[str, ...]

    @property
    def in_words(self) -> str:
        """For those who do not see it."""
        words = ["Staff and tab."]
        words += [f"The chords are {', '.join(self.chords)}."] if self.chords else []
        words += [f"The degrees are {', '.join(self.degrees)}."] if self.degrees else []
        return " ".join(words)


def engraved(
    musicxml: bytes,
    *,
    width_mm: float,
    ground: Ground,
    staff_mm: float = STAFF_MM,
    first_bar: int = 1,
    with_letters: bool = False,
) -> tuple[System, ...]:
    """The music as systems of a width.

    Parameters
    ----------
    musicxml
        One part with a staff and, where it is fingered, a TAB staff.
    width_mm
        Width of every system, > 40.
    ground
        Colours of notes and words.
    staff_mm
        Height of the five lines.
    first_bar
        The number the first full bar is to have.
    with_letters
        Chord symbols by letters over the numbers.

    Raises
    ------
    PageError
        If the engraver cannot read the music.
    """
    most_notes = int(_NOTES_A_MM * width_mm * STAFF_MM / staff_mm)
    tree = _prepared(musicxml, first_bar, most_notes, with_letters=with_letters)
    toolkit = _toolkit()
    toolkit.setOptions(
        {
            "adjustPageHeight": True,
            "breaks": "encoded",
            "font": "Leland",
            "footer": "none",
            "header": "none",
            "lyricElision": "regular",
            "lyricTopMinMargin": 2.5,
            "minLastJustification": 0,
            "mnumInterval": 0,
            "pageHeight": 100,  # cut to the one system that each page holds
            "pageMarginBottom": 15,
            "pageMarginLeft": 6,
            "pageMarginRight": 4,
            "pageMarginTop": 5,
            "pageWidth": round(width_mm * _UNITS_PER_MM),
            "scale": 100,
            "spacingStaff": 5,
            "svgRemoveXlink": True,
            "svgViewBox": True,
            "unit": staff_mm * _UNITS_PER_MM / _STAFF_UNITS,
            "xmlIdSeed": 1,
        }
    )
    toolkit.resetXmlIdSeed(1)
    if not toolkit.loadData(tree):
        raise PageError("The music cannot be engraved: it is not MusicXML the engraver can read.")
    pages = range(1, toolkit.getPageCount() + 1)
    return tuple(_system(toolkit.renderToSVG(page), width_mm, ground, staff_mm) for page in pages)


def _toolkit() -> verovio.toolkit:
    """This thread's engraver: making one takes longer than engraving a short section."""
    if not hasattr(_engravers, "toolkit"):
        verovio.enableLog(verovio.LOG_OFF)
        _engravers.toolkit = verovio.toolkit()
    toolkit: verovio.toolkit = _engravers.toolkit
    return toolkit


def _prepared(musicxml: bytes, first_bar: int, most_notes: int, *, with_letters: bool) -> str:
    """The music without what the page says elsewhere, its bars numbered as on the chart."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True)
    try:
        root = etree.fromstring(musicxml, parser)
    except etree.XMLSyntaxError as error:
        raise PageError(f"The music cannot be engraved: {error.msg}.") from None
    # a chord symbol's own text says its added degrees already
    for tag in ("work", "harmony/degree" if with_letters else "harmony"):
        for element in root.findall(f".//{tag}"):
            _remove(element)
    for direction in root.findall(".//direction"):
        if any(direction.find(path) is not None for path in _SAID_ELSEWHERE):
            _remove(direction)
    for name in root.findall(".//part-name"):
        name.text = ""
    for style in root.findall(".//bar-style"):
        style.text = "light-light"  # a stretch ends; the song does not
    measures = root.findall(".//measure")
    for measure in measures:
        number = measure.get("number", "")
        if number.isdigit() and int(number) > 0:
            measure.set("number", str(int(number) + first_bar - 1))
    _break_lines(measures, most_notes)
    return str(etree.tostring(root, encoding="unicode"))


def _break_lines(measures: list[etree._Element], most_notes: int) -> None:
    """Four bars to a line as on the chart, lines about even, fewer bars where notes would crowd."""
    notes = [_notes_on_the_staff(measure) for measure in measures]
    full = [measure for measure in measures if measure.get("implicit") != "yes"]
    lines = max(-(-len(full) // BARS_A_LINE), 1)
    while lines < len(full) and max(_notes_a_line(notes, _starts(len(notes), lines))) > most_notes:
        lines += 1
    for start in _starts(len(measures), lines)[1:]:
        measures[start].insert(0, etree.Element("print", {"new-page": "yes"}))


def _notes_on_the_staff(measure: etree._Element) -> int:
    return sum(note.findtext("staff", "1") == "1" for note in measure.findall("note"))


def _starts(count: int, lines: int) -> list[int]:
    """Where each of so many lines begins; the longer ones first."""
    size, rest = divmod(count, lines)
    starts, at = [], 0
    for line in range(lines):
        starts.append(at)
        at += size + (line < rest)
    return starts


def _notes_a_line(notes: list[int], starts: list[int]) -> list[int]:
    ends = [*starts[1:], len(notes)]
    return [sum(notes[start:end]) for start, end in zip(starts, ends, strict=True)]


def _remove(element: etree._Element) -> None:
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _system(svg: str, width_mm: float, ground: Ground, staff_mm: float) -> System:
    root = etree.fromstring(svg.encode())
    for style in root.findall(f"{_SVG}style"):
        if style.text is not None and "@font-face" in style.text:
            root.remove(style)  # the engraver's own text font: none of its words are left
    box = [float(part) for part in root.get("viewBox", "0 0 1 1").split()]
    height_mm = width_mm * box[3] / box[2]
    for group in root.findall(f".//{_SVG}g[@class='grpSym']"):
        _remove(group)  # no brace: the two staves are one part, and it would need a margin
    inner = root.find(f"{_SVG}svg")
    if inner is None:
        raise PageError("The music cannot be engraved: the engraver drew no page.")
    inner.set("color", ground.ink)
    inner.set("fill", ground.ink)
    inner.set("font-family", FAMILY)
    labels = [*_labels(root, ground, staff_mm * _UNITS_PER_MM * _FINE)]
    _part_labels([label for label in labels if label.kind in ("dir", "harm", "syl")])
    for label in labels:
        label.write()
    chords, degrees = (
        tuple(label.words for label in labels if label.kind == kind) for kind in ("dir", "syl")
    )
    text = etree.tostring(root, encoding="unicode")
    return System(text, width_mm, height_mm, chords, degrees)


@dataclass(slots=True)
class _Label:
    """One word of the music on its way into the page's face; sizes in the finest units."""

    element: etree._Element
    kind: str
    words: str
    x: float
    y: float
    size: float
    weight: int
    colour: str
    anchor: str

    @property
    def width(self) -> float:
        return text_width(self.words, self.size, self.weight)

    @property
    def left(self) -> float:
        return self.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width

    def write(self) -> None:
        tail = self.element.tail
        self.element.clear()
        self.element.tail = tail
        self.element.text = self.words
        places = {"x": self.x, "y": self.y, "font-size": self.size}
        for name, value in places.items():
            self.element.set(name, f"{value:.0f}")
        self.element.set("font-weight", str(self.weight))
        self.element.set("font-style", "normal")
        self.element.set("fill", self.colour)
        self.element.set("text-anchor", self.anchor)


def _labels(root: etree._Element, ground: Ground, staff: float) -> Iterator[_Label]:
    for element in root.iter(f"{_SVG}text"):
        # line breaks between the engraver's spans are layout, not spaces
        pieces = [str(part) for part in element.itertext()]
        words = "".join(part for part in pieces if part.strip() or "\n" not in part).strip()
        for sign, plain in _FONT_SIGNS.items():
            words = words.replace(sign, plain)
        if not words:
            _remove(element)
            continue
        group = element.getparent()
        kind = "" if group is None else group.get("class", "").split()[0]
        style = _STYLES.get(kind, _OTHER)
        x, anchor = float(element.get("x", "0")), element.get("text-anchor", "start")
        if kind == "syl":
            x, anchor = _under_head(element, x, staff), "middle"
        if kind == "fing":
            x -= _FINGER_LEFT * staff
        if kind == "mNum":
            x, anchor = 0.0, "start"  # over the first bar line, not half outside the picture
        if kind == "syl" or (kind == "dir" and _NUMBER.match(words)):
            words = signs(words)
        yield _Label(
            element,
            kind,
            words,
            x,
            float(element.get("y", "0")),
            style.size * staff * _SET_SHARE,
            style.weight,
            ground.colour(style.ink),
            anchor,
        )


def _under_head(element: etree._Element, x: float, staff: float) -> float:
    """The middle of the note head a degree belongs to."""
    for above in element.iterancestors():
        if above.get("class", "").split()[:1] in (["note"], ["chord"]):
            head = above.find(f".//{_SVG}g[@class='notehead']/{_SVG}use")
            match = (
                re.match(r"translate\(([\d.]+)", head.get("transform", ""))
                if head is not None
                else None
            )
            if match is not None:
                return float(match[1]) + _HEAD_WIDTH * staff / (STAFF_MM * _UNITS_PER_MM * _FINE)
    return x


def _part_labels(labels: list[_Label]) -> None:
    """Labels of one height that would touch are made smaller, both of them alike."""
    rows: dict[tuple[str, int], list[_Label]] = {}
    for label in labels:
        rows.setdefault((label.kind, round(label.y)), []).append(label)
    for row in rows.values():
        row.sort(key=lambda label: label.left)
        for left, right in pairwise(row):
            room = right.left - left.left - 0.25 * left.size
            if left.width > room > 0:
                share = max(room / left.width, _LEAST_SIZE)
                left.size *= share
                right.size = min(right.size, left.size)
