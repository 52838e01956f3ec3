"""Word-processor files (.docx): their paragraphs as lines, read like any sheet of text.

A .docx is a ZIP of XML [ISO/IEC 29500]; only the text runs, tabs and line breaks of the main
document are looked at. In a proportional face a chord's column says little, its order says all.
"""

from __future__ import annotations

import io
import zipfile

from lxml import etree

from undersong.errors import ChartErrors, ChartSyntaxError

MAX_DOCUMENT_BYTES = 20_000_000
_DOCUMENT = "word/document.xml"
_W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"
_LEAST_CELLS = 3
_PICTURES = ("drawing", "pict", "object")


def docx_lines(data: bytes, *, source: str | None = None) -> list[str]:
    """The lines of a word-processor file.

    Raises
    ------
    ChartErrors
        If the file is damaged, too large, or holds pictures and no text.
    """
    try:
        root = _document(data)
    except ChartSyntaxError as error:
        error.source = source
        raise ChartErrors([error]) from None
    lines: list[str] = []
    in_rows: set[etree._Element] = set()
    for element in root.iter(f"{_W}p", f"{_W}tr"):
        if element in in_rows:
            continue
        row = _row(element) if element.tag == f"{_W}tr" else None
        if row is not None:
            lines.append(row)
            in_rows.update(element.iter(f"{_W}p"))
        elif element.tag == f"{_W}p":
            lines += _paragraph(element).split("\n")
    if not any(line.strip() for line in lines):
        has_picture = any(next(root.iter(f"{_W}{name}"), None) is not None for name in _PICTURES)
        what = "only pictures" if has_picture else "no text"
        message = f"There is {what} in this file: type the chords, or ask for the sheet as text."
        raise ChartErrors([ChartSyntaxError(message, source=source)])
    return lines


def _document(data: bytes) -> etree._Element:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if archive.getinfo(_DOCUMENT).file_size > MAX_DOCUMENT_BYTES:
                raise ChartSyntaxError("This file is too large to be a song sheet.")
            with archive.open(_DOCUMENT) as document:
                xml = document.read(MAX_DOCUMENT_BYTES + 1)
    except (zipfile.BadZipFile, KeyError, NotImplementedError, RuntimeError, EOFError):
        raise ChartSyntaxError("This word-processor file is damaged.") from None
    if b"<!DOCTYPE" in xml or b"<!ENTITY" in xml:
        raise ChartSyntaxError("This file declares entities of its own, which no sheet needs.")
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        return etree.fromstring(xml, parser)
    except (etree.XMLSyntaxError, ValueError):
        raise ChartSyntaxError("This word-processor file is damaged.") from None


def _row(row: etree._Element) -> str | None:
    """A row of a table as bars, one to a cell; None where it is no row of short cells."""
    cells = [
        "\n".join(_paragraph(each) for each in cell.iter(f"{_W}p")).strip()
        for cell in row.iter(f"{_W}tc")
    ]
    if len(cells) < _LEAST_CELLS or any("\n" in cell for cell in cells):
        return None
    return " | ".join(cells).rstrip(" |") + " |"


def _paragraph(paragraph: etree._Element) -> str:
    text = []
    for node in paragraph.iter(f"{_W}t", f"{_W}tab", f"{_W}br", f"{_W}cr", f"{_W}noBreakHyphen"):
        if node.tag == f"{_W}t":
            text.append(node.text or "")
        elif node.tag == f"{_W}tab":
            text.append("    ")
        elif node.tag == f"{_W}noBreakHyphen":
            text.append("-")
        else:
            text.append("\n")
    return "".join(text)
