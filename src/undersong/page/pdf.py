"""Sheets, documents, and the one door to the typesetter: drawings and prose to PDF and PNG.

Every PDF is checked by the typesetter against PDF/UA-1 while it is made: title, language, tags
and a glyph for every sign, or no file at all. Only the face of the pages and the typesetter's own
faces are used, so that a page looks the same on every machine, and the same input makes the same
bytes.

References
----------
PDF/UA-1 [ISO 14289-1:2014]. Sheet sizes: A4 [ISO 216], US Letter [ANSI/ASME Y14.1].
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

import typst

from undersong.errors import PageError
from undersong.page.ground import Ground, Ink
from undersong.page.lettering import FALLBACK, FAMILY
from undersong.page.marks import Box, Curve, Drawing, Line, Mark, Run, Shape, Text

_LEFT, _TOP, _BOTTOM = 15.0, 13.0, 17.0
_BETWEEN_MM = 2.5  # between systems of music
_MM_PER_INCH = 25.4
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029]")
_MISSING = re.compile(r"""[`"']+([^`"']{1,2})[`"']+""")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A size of paper in mm, and the part of it that is printed on (the foot line lies below)."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def inner_width_mm(self) -> float:
        """Width between the margins."""
        return self.width_mm - 2 * _LEFT

    @property
    def inner_height_mm(self) -> float:
        """Height between the margins."""
        return self.height_mm - _TOP - _BOTTOM


SHEETS = {"a4": Sheet("a4", 210.0, 297.0), "letter": Sheet("letter", 215.9, 279.4)}


def sheet_named(name: str) -> Sheet:
    """The sheet called a4 or letter (letter case aside)."""
    plain = name.casefold().removeprefix("us ").removeprefix("us-")
    if plain not in SHEETS:
        raise PageError(f"There is no sheet called {name}: choose a4 or letter.")
    return SHEETS[plain]


@dataclass(frozen=True, slots=True)
class Document:
    """Pages in order, each as typesetter's source, and what is true of all of them.

    `foot` stands at the bottom of every page beside its number. `made_on` dates the file.
    """

    title: str
    pages: tuple[str, ...]
    sheet: Sheet
    ground: Ground
    foot: str = ""
    made_on: datetime.date | None = None
    body_mm: float = 4.0


def document_pdf(document: Document) -> bytes:
    """The document as a tagged PDF.

    Raises
    ------
    PageError
        If a sign in it has no glyph, naming the sign.
    """
    stamp = 0
    if document.made_on is not None:
        noon = datetime.datetime.combine(document.made_on, datetime.time(12), datetime.UTC)
        stamp = int(noon.timestamp())
    source = _head(document) + "\n#pagebreak(weak: true)\n".join(document.pages)
    return _compiled(source, stamp)


def drawing_png(drawing: Drawing, ground: Ground, *, width_px: int) -> bytes:
    """The drawing as a PNG picture of a width in pixels."""
    if not 16 <= width_px <= 20_000:
        raise PageError(f"A picture {width_px} pixels wide cannot be made: ask for 16 to 20000.")
    size = f"width: {mm(drawing.width_mm)}, height: {mm(drawing.height_mm)}"
    source = (
        f'#set page({size}, margin: 0mm, fill: rgb("{ground.ground}"))\n'
        f"{_text_rules(ground, 4.0)}{drawn(drawing, ground)}\n"
    )
    ppi = width_px / (drawing.width_mm / _MM_PER_INCH)
    made = typst.compile(
        source.encode(), format="png", ppi=ppi, font_paths=_fonts(), ignore_system_fonts=True
    )
    return _bytes(made)


def mm(value: float) -> str:
    """A length for the typesetter."""
    return f"{value:.3f}mm"


def quoted(words: str) -> str:
    """Words as a string of the typesetter's language; what they say is never markup."""
    plain = _CONTROL.sub("", words)
    return '"' + plain.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ") + '"'


def said(words: str) -> str:
    """Words as running text within markup."""
    return f"#text({quoted(words)})"


def drawn(drawing: Drawing, ground: Ground) -> str:
    """A drawing as a block of its size whose words are text of the page."""
    marks = "\n".join(_mark(mark, ground) for mark in drawing.marks)
    size = f"width: {mm(drawing.width_mm)}, height: {mm(drawing.height_mm)}"
    return f"#block({size}, breakable: false, spacing: 0mm, {{\n{marks}\n}})"


def figure(drawing: Drawing, ground: Ground) -> str:
    """A drawing as a figure, with its description for those who do not see it."""
    body = drawn(drawing, ground).removeprefix("#")
    return f"#figure(alt: {quoted(drawing.description)}, supplement: none, gap: 0mm, {body})"


def picture(svg: str, width_mm: float, alt: str) -> str:
    """An SVG as a figure of a width."""
    return (
        f"#block(above: 0mm, below: {mm(_BETWEEN_MM)}, breakable: false, "
        f'image(bytes({quoted(svg)}), format: "svg", width: {mm(width_mm)}, alt: {quoted(alt)}))'
    )


def ink_rgb(ground: Ground, ink: Ink) -> str:
    """A colour for the typesetter."""
    return f'rgb("{ground.colour(ink)}")'


def _head(document: Document) -> str:
    sheet, ground = document.sheet, document.ground
    foot = (
        f"text(size: {mm(3.1)}, fill: {ink_rgb(ground, Ink.PENCIL)}, context {{ "
        f"grid(columns: (1fr, auto), align: (left, right), text({quoted(document.foot)}), "
        'text("Page " + str(here().page()) + " of " + str(counter(page).final().first()))) })'
    )
    date = document.made_on
    dated = f"datetime(year: {date.year}, month: {date.month}, day: {date.day})" if date else "none"
    return (
        f'#set document(title: {quoted(document.title)}, author: "Undersong", date: {dated})\n'
        f"#set page(width: {mm(sheet.width_mm)}, height: {mm(sheet.height_mm)}, "
        f"margin: (x: {mm(_LEFT)}, top: {mm(_TOP)}, bottom: {mm(_BOTTOM)}), "
        f'fill: rgb("{ground.ground}"), footer-descent: 5mm, footer: {foot})\n'
        f"{_text_rules(ground, document.body_mm)}"
    )


def _text_rules(ground: Ground, body_mm: float) -> str:
    ink = ink_rgb(ground, Ink.INK)
    return (
        f"#set text(font: ({quoted(FAMILY)}, {quoted(FALLBACK)}), size: {mm(body_mm)}, "
        f'fill: {ink}, lang: "en", kerning: false, ligatures: false)\n'
        "#set par(leading: 0.62em, spacing: 0.9em)\n"
        f"#set heading(numbering: none)\n"
        "#show heading.where(level: 1): set text(size: 1.9em, weight: 700)\n"
        "#show heading.where(level: 2): set text(size: 1.35em, weight: 700)\n"
        "#show heading.where(level: 3): set text(size: 1.1em, weight: 700)\n"
        "#show heading: set block(above: 1.4em, below: 0.7em)\n"
        f"#set table(stroke: none, inset: (x: 0mm, y: 1.1mm))\n"
        f"#set list(marker: text({quoted('–')}), spacing: 0.75em)\n"
    )


def _mark(mark: Mark, ground: Ground) -> str:
    if isinstance(mark, Text):
        return _text(mark, ground)
    if isinstance(mark, Line):
        stroke = _stroke(ground, mark.ink, mark.width_mm, mark.dash_mm)
        ends = f"start: {_point(mark.x1, mark.y1)}, end: {_point(mark.x2, mark.y2)}"
        return f"place(top + left, line({ends}, stroke: {stroke}))"
    if isinstance(mark, Box):
        stroke = _stroke(ground, mark.stroke, mark.stroke_mm, mark.dash_mm)
        return (
            f"place(top + left, dx: {mm(mark.x)}, dy: {mm(mark.y)}, rect(width: {mm(mark.width)}, "
            f"height: {mm(mark.height)}, radius: {mm(mark.radius_mm)}, stroke: {stroke}, "
            f"fill: {_fill(ground, mark.fill)}))"
        )
    if isinstance(mark, Curve):
        stroke = _stroke(ground, mark.ink, mark.width_mm, mark.dash_mm)
        run = ", ".join(_point(*point) for point in (mark.first, mark.second, mark.end))
        return (
            f"place(top + left, curve(stroke: {stroke}, curve.move({_point(*mark.start)}), "
            f"curve.cubic({run})))"
        )
    return _shape(mark, ground)


def _shape(mark: Shape, ground: Ground) -> str:
    stroke = _stroke(ground, mark.stroke, mark.stroke_mm)
    steps = [f"curve.move({_point(*mark.points[0])})"]
    steps += [f"curve.line({_point(*point)})" for point in mark.points[1:]]
    steps += ["curve.close()"] if mark.is_closed else []
    fill = _fill(ground, mark.fill)
    return f"place(top + left, curve(fill: {fill}, stroke: {stroke}, {', '.join(steps)}))"


def _text(mark: Text, ground: Ground) -> str:
    runs = " + ".join(_run(run, mark) for run in mark.runs)
    size = f"size: {mm(mark.size_mm)}, weight: {mark.weight}"
    edges = 'top-edge: "baseline", bottom-edge: "baseline"'
    body = f"text({size}, fill: {ink_rgb(ground, mark.ink)}, {edges}, {runs})"
    if mark.heading:
        name = quoted(mark.bookmark or mark.plain)
        body = f"{{ show heading: it => {body}; heading(level: {mark.heading}, {name}) }}"
    return f"place(top + left, dx: {mm(mark.left)}, dy: {mm(mark.y)}, box(width: auto, {body}))"


def _run(run: Run, mark: Text) -> str:
    if run.scale == 1.0 and not run.lift:
        return f"text({quoted(run.text)})"
    lift = mm(-run.lift * mark.size_mm)
    return f"text(size: {mm(mark.size_mm * run.scale)}, baseline: {lift}, {quoted(run.text)})"


def _point(x: float, y: float) -> str:
    return f"({mm(x)}, {mm(y)})"


def _fill(ground: Ground, ink: Ink | None) -> str:
    return "none" if ink is None else ink_rgb(ground, ink)


def _stroke(ground: Ground, ink: Ink, width_mm: float, dash_mm: float = 0.0) -> str:
    if not width_mm:
        return "none"
    dash = f", dash: ({mm(dash_mm)}, {mm(dash_mm)})" if dash_mm else ""
    paint = ink_rgb(ground, ink)
    return f'(paint: {paint}, thickness: {mm(width_mm)}, cap: "round", join: "round"{dash})'


@cache
def _fonts() -> typst.Fonts:
    """The faces of the pages and those the typesetter brings, none of the system's."""
    folder = Path(str(files("undersong.page") / "fonts"))
    return typst.Fonts(include_system_fonts=False, font_paths=[folder])


def _compiled(source: str, stamp: int) -> bytes:
    try:
        made = typst.compile(
            source.encode(),
            format="pdf",
            pdf_standards=["ua-1"],
            timestamp=stamp,
            font_paths=_fonts(),
            ignore_system_fonts=True,
        )
    except typst.TypstError as error:
        raise _trouble(error, source) from error
    return _bytes(made)


def _bytes(made: object) -> bytes:
    if not isinstance(made, bytes):
        raise PageError("The typesetter gave more than one page where one was asked for.")
    return made


def _trouble(error: typst.TypstError, source: str) -> PageError:
    """One sentence about what the typesetter could not do."""
    said_so = f"{error.message} {' '.join(error.hints)}"
    for sign in _MISSING.findall(said_so):
        if sign in source:
            return PageError(
                f"The sign {sign} cannot be printed: no face of the pages has it. "
                "Write it in another way."
            )
    return PageError(f"The page cannot be set: {error.message}.")
