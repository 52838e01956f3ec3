"""The invented sheets as PDF files, made by three open libraries with different habits.

fpdf2 writes line by line in a proportional face, in one column or two; reportlab writes all
chords of a page first and the words after them, with the figures of sevenths raised; matplotlib
embeds its own monospaced face and starts each word by its place.
"""

from __future__ import annotations

import io
import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sheets import Sheet, Written, make_sheet, over_words, written
from undersong.theory.key import key_on

PAGE_WIDTH, PAGE_HEIGHT = 595.0, 842.0  # A4 in points
MARGIN, LEADING, SIZE = 56.0, 15.0, 11.0
LINES_A_PAGE = 46


@dataclass(frozen=True)
class Line:
    """One line of a sheet: chords by their column in the words below, or plain text."""

    text: str
    is_chords: bool
    below: str = ""


def sheet_lines(text: str) -> list[Line]:
    lines = text.split("\n")
    found = []
    for place, line in enumerate(lines):
        following = lines[place + 1] if place + 1 < len(lines) else ""
        words = line.split()
        is_chords = bool(words) and all(re.fullmatch(r"[A-G][#b]?\S*", word) for word in words)
        is_chords = is_chords and bool(following) and line.count(":") == 0
        found.append(Line(line, is_chords, following if is_chords else ""))
    return found


def _chords(line: Line) -> list[tuple[int, str]]:
    return [(m.start(), m[0]) for m in re.finditer(r"\S+", line.text)]


def fpdf_bytes(lines: list[Line], *, columns: int = 1, face: str = "Helvetica") -> bytes:
    from fpdf import FPDF

    pdf = FPDF(unit="pt", format="A4")
    pdf.set_auto_page_break(auto=False)
    pdf.set_font(face, size=SIZE)
    pdf.add_page()
    pdf.set_font_size(16)
    pdf.text(MARGIN, MARGIN, lines[0].text)
    pdf.set_font_size(SIZE)
    body = lines[1:]
    per_column = -(-len(body) // columns) if columns > 1 else LINES_A_PAGE
    for place, line in enumerate(body):
        column, row = divmod(place, per_column)
        if columns == 1 and place and row == 0:
            pdf.add_page()
        left = MARGIN + (column * 260 if columns > 1 else 0)
        y = MARGIN + 24 + row * LEADING
        if line.is_chords:
            edge = left
            for at, chord in _chords(line):
                x = max(left + pdf.get_string_width(line.below[:at].ljust(at)), edge)
                pdf.text(x, y, chord)
                edge = x + pdf.get_string_width(chord + " ")
        elif line.text:
            pdf.text(left, y, line.text)
    return bytes(pdf.output())


def reportlab_bytes(lines: list[Line], *, raised: bool = True) -> bytes:
    from reportlab.pdfbase.pdfmetrics import stringWidth  # type: ignore[import-untyped]
    from reportlab.pdfgen.canvas import Canvas  # type: ignore[import-untyped]

    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(PAGE_WIDTH, PAGE_HEIGHT), invariant=True)
    pages = [lines[at : at + LINES_A_PAGE] for at in range(0, len(lines), LINES_A_PAGE)]
    for page in pages:
        for chords_first in (True, False):
            for row, line in enumerate(page):
                y = PAGE_HEIGHT - MARGIN - row * LEADING
                if line.is_chords and chords_first:
                    edge = MARGIN
                    for at, chord in _chords(line):
                        before = stringWidth(line.below[:at].ljust(at), "Times-Roman", SIZE)
                        x = max(MARGIN + before, edge)
                        edge = _reportlab_chord(canvas, x, y, chord, raised=raised)
                elif not line.is_chords and not chords_first and line.text:
                    canvas.setFont("Times-Roman", SIZE)
                    canvas.drawString(MARGIN, y, line.text)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _reportlab_chord(canvas: Any, x: float, y: float, chord: str, *, raised: bool) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    match = re.fullmatch(r"([A-G][#b]?m?)(7)", chord) if raised else None
    head, tail = (match[1], match[2]) if match else (chord, "")
    canvas.setFont("Times-Bold", SIZE)
    canvas.drawString(x, y, head)
    end: float = x + stringWidth(head, "Times-Bold", SIZE)
    if tail:
        canvas.setFont("Times-Bold", SIZE * 0.65)
        canvas.drawString(end, y + 4, tail)
        end += stringWidth(tail, "Times-Bold", SIZE * 0.65)
    return end + 4


@dataclass
class _Pen:
    """Writes words as odd programs do: letter by letter, signs set small, lines uneven."""

    canvas: Any
    letters: bool = False
    small_signs: bool = False

    def put(self, x: float, y: float, text: str) -> float:
        """Write from a place on; where it ends."""
        has_sign = self.small_signs and text[1:2] in ("#", "b")
        runs = list(text) if self.letters else [text]
        if has_sign:
            runs = [text[0], text[1], text[2:]]
        for place, run in enumerate(runs):
            is_sign = has_sign and place == 1
            size = SIZE * 0.7 if is_sign else SIZE
            self.canvas.setFont("Helvetica", size)
            self.canvas.drawString(x, y + (3 if is_sign else 0), run)
            x += self.canvas.stringWidth(run, "Helvetica", size)
        return x


def odd_bytes(lines: list[Line], *, letters: bool, small_signs: bool, jitter: float) -> bytes:
    """Pages as odd programs make them, with a footer."""
    from reportlab.pdfgen.canvas import Canvas

    rng = random.Random(1)
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(PAGE_WIDTH, PAGE_HEIGHT), invariant=True)
    pen = _Pen(canvas, letters=letters, small_signs=small_signs)
    for start in range(0, len(lines), LINES_A_PAGE):
        for row, line in enumerate(lines[start : start + LINES_A_PAGE]):
            y = PAGE_HEIGHT - MARGIN - row * LEADING + rng.uniform(-jitter, jitter)
            edge = MARGIN
            for at, word in _chords(line) if line.is_chords else [(0, line.text)]:
                over = canvas.stringWidth(line.below[:at].ljust(at), "Helvetica", SIZE)
                edge = pen.put(max(MARGIN + over, edge), y, word) + 4
        canvas.setFont("Helvetica", 8)
        canvas.drawString(250, 30, f"Page {start // LINES_A_PAGE + 1} - for our band only")
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def matplotlib_bytes(lines: list[Line]) -> bytes:
    import matplotlib

    matplotlib.use("agg")
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure

    out = io.BytesIO()
    cell = 0.602 * SIZE  # the advance of DejaVu Sans Mono
    with PdfPages(out) as pages:
        for start in range(0, len(lines), LINES_A_PAGE):
            figure = Figure(figsize=(PAGE_WIDTH / 72, PAGE_HEIGHT / 72))
            for row, line in enumerate(lines[start : start + LINES_A_PAGE]):
                y = 1 - (MARGIN + row * LEADING) / PAGE_HEIGHT
                for match in re.finditer(r"\S+", line.text):
                    x = (MARGIN + match.start() * cell) / PAGE_WIDTH
                    figure.text(x, y, match[0], family="DejaVu Sans Mono", size=SIZE)
            pages.savefig(figure)
    return out.getvalue()


MAKERS: dict[str, Callable[[list[Line]], bytes]] = {
    "fpdf2, proportional": fpdf_bytes,
    "fpdf2, typewriter": lambda lines: fpdf_bytes(lines, face="Courier"),
    "fpdf2, two columns": lambda lines: fpdf_bytes(lines, columns=2),
    "reportlab, chords first": reportlab_bytes,
    "matplotlib": matplotlib_bytes,
    "letter by letter": lambda lines: odd_bytes(lines, letters=True, small_signs=False, jitter=0),
    "small raised signs": lambda lines: odd_bytes(lines, letters=False, small_signs=True, jitter=0),
    "uneven lines": lambda lines: odd_bytes(lines, letters=False, small_signs=False, jitter=1.5),
}


def written_pdfs(count: int) -> list[tuple[Written, bytes]]:
    """The first `count` PDF sheets, makers and songs in turn."""
    sheets = [each for each in written(200) if each.name.partition(" ")[2] in PDF_LAYOUTS]
    found = []
    for place, sheet in enumerate(sheets[:count]):
        maker = tuple(MAKERS)[place % len(MAKERS)]
        data = MAKERS[maker](sheet_lines(sheet.text))
        found.append((Written(f"{sheet.name}, {maker}", "", sheet.settings, sheet.truth), data))
    return found


PDF_LAYOUTS = ("over words", "bracketed", "no key", "capo", "dashed")


def two_copies(seed: int) -> tuple[Sheet, bytes]:
    """One song in two keys, a page each."""
    from fpdf import FPDF

    sheet = make_sheet(seed)
    pdf = FPDF(unit="pt", format="A4")
    pdf.set_font("Courier", size=SIZE)
    for key in (sheet.key, key_on(sheet.key.tonic.pitch_class + 2, sheet.key.mode)):
        pdf.add_page()
        text = over_words(Sheet(sheet.title, key, sheet.sections), 1)
        for row, line in enumerate(text.split("\n")):
            pdf.text(MARGIN, MARGIN + row * LEADING, line)
    return sheet, bytes(pdf.output())


def scanned() -> bytes:
    """A page that is a picture and no text."""
    from fpdf import FPDF
    from PIL import Image

    pdf = FPDF()
    pdf.add_page()
    pdf.image(Image.new("L", (200, 200), 128), x=10, y=10, w=180)
    return bytes(pdf.output())


def many_pages(count: int) -> bytes:
    """A PDF of so many pages."""
    from fpdf import FPDF

    pdf = FPDF()
    pdf.set_font("Courier", size=12)
    for _ in range(count):
        pdf.add_page()
        pdf.cell(0, 10, "G D Em C")
    return bytes(pdf.output())
