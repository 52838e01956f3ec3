"""Whatever arrives becomes a Song: told by its first bytes, not by its name.

Our own chart text, sheets of text, PDF, word-processor files, MusicXML and MIDI are read;
pictures and old formats are refused with what to do instead.
"""

from __future__ import annotations

import re
from dataclasses import replace

from undersong.chart.arrive_docx import docx_lines
from undersong.chart.arrive_midi import song_from_midi
from undersong.chart.arrive_musicxml import song_from_musicxml
from undersong.chart.arrive_pdf import pdf_pages
from undersong.chart.arrive_text import MAX_SHEET_CHARACTERS, song_from_text
from undersong.chart.lines import Line, classified, text_lines
from undersong.chart.names import Naming
from undersong.chart.sheet import BRACKETED, SheetSettings
from undersong.chart.sheetfacts import row_of_facts
from undersong.chart.sheetlines import is_chord_line, words_of
from undersong.chart.signs import style_of
from undersong.chart.song import Remark, Song, Style
from undersong.chart.text import parse_song
from undersong.errors import ChartErrors, ChartSyntaxError

_PICTURES = (
    b"\x89PNG",
    b"\xff\xd8\xff",
    b"GIF8",
    b"BM",
    b"II*\x00",
    b"MM\x00*",
)
_SOUNDS = (b"ID3", b"OggS", b"fLaC")
_OLD_DOCUMENT = b"\xd0\xcf\x11\xe0"
_BYTE_ORDER_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
_FEWEST_NUMBERS = 4
_OWN_HEADERS = 3  # from so many header lines on, a text in letters is a chart of ours
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1a\x1c-\x1f]")


def read_sheet(data: bytes, name: str = "", settings: SheetSettings | None = None) -> Song:
    """Read any sheet.

    Parameters
    ----------
    data
        The whole file.
    name
        Its name, for messages, and for the title where the sheet has none.
    settings
        What the leader knows about it; used for everything but our own chart text.

    Raises
    ------
    ChartErrors
        With a sentence that says what it is instead, or all that is wrong in it.
    """
    settings = settings or SheetSettings()
    source = name or None
    song = _read(data, settings, source)
    if song.title == "Untitled" and name:
        stem = re.sub(r"\.[A-Za-z0-9]{1,8}$", "", re.split(r"[/\\]", name)[-1])
        song = replace(song, title=re.sub(r"[-_]+", " ", stem).strip().capitalize() or song.title)
    return song


def _read(data: bytes, settings: SheetSettings, source: str | None) -> Song:
    if data.startswith(b"%PDF"):
        return _from_pdf(data, settings, source)
    if data.startswith(b"MThd"):
        return song_from_midi(data, settings, source=source)
    if data.startswith(b"PK"):
        return _from_zip(data, settings, source)
    if _is_sound(data):
        raise _refused(
            "This is a sound, and a chart is read from text: record or hand in a take where you "
            "practise, and write the chords here, or bring a sheet, MusicXML or MIDI.",
            source,
        )
    if _is_picture(data):
        raise _refused(
            "This is a picture. Type its chords into a text file, a line of chords above each "
            "line of words, or ask for the sheet as text.",
            source,
        )
    if data.startswith((_OLD_DOCUMENT, b"{\\rtf")):
        raise _refused(
            "This is an old word-processor file: save it as .docx or as plain text.", source
        )
    text = decoded(data, source)
    if re.match(r"\s*<(\?xml|!DOCTYPE|score-)", text):
        return song_from_musicxml(data, settings, source=source)
    return _from_text(text, settings, source)


def _is_picture(data: bytes) -> bool:
    is_webp = data.startswith(b"RIFF") and data[8:12] == b"WEBP"
    return is_webp or data.startswith(_PICTURES) or data[4:12] in (b"ftypheic", b"ftypmif1")


def _is_sound(data: bytes) -> bool:
    is_wave = data[:4] in (b"RIFF", b"RF64") and data[8:12] == b"WAVE"
    is_aiff = data.startswith(b"FORM") and data[8:12] in (b"AIFF", b"AIFC")
    return is_wave or is_aiff or data.startswith(_SOUNDS)


def _refused(message: str, source: str | None) -> ChartErrors:
    return ChartErrors([ChartSyntaxError(message, source=source)])


def decoded(data: bytes, source: str | None = None) -> str:
    """Text from its bytes: by its byte-order mark, as UTF-8, or as Western European (cp1252).

    Raises
    ------
    ChartErrors
        If it is no text at all.
    """
    encoding = next((name for mark, name in _BYTE_ORDER_MARKS if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    if len(_CONTROL.findall(text[:20_000])) > len(text[:20_000]) // 200:
        raise _refused("This file is not text, and no kind of sheet that can be read.", source)
    return text


def _from_text(text: str, settings: SheetSettings, source: str | None) -> Song:
    if len(text) > MAX_SHEET_CHARACTERS:
        raise _refused(f"This is no song sheet: it has {len(text)} characters.", source)
    lines, style = classified(text_lines(text))
    if style is Style.NUMBERS and (row := row_of_facts(text_lines(text))) is not None:
        return _from_rewritten(text, row, settings, source)
    if settings.naming == Naming() and (style is Style.NUMBERS or _is_letter_chart(lines)):
        try:
            return parse_song(text, source=source)
        except ChartErrors as refused:
            headers = sum(line.kind == "header" for line in lines)
            has_numbers = style is Style.NUMBERS and any(line.kind == "bars" for line in lines)
            if not _has_letters(lines) and (has_numbers or headers >= _OWN_HEADERS):
                raise
            own = refused
        try:
            return song_from_text(text, settings, source=source)
        except ChartErrors as refused:
            if has_numbers or BRACKETED not in str(refused):
                raise own from None
            raise
    return song_from_text(text, settings, source=source)


def _from_rewritten(
    text: str, row: tuple[int, list[str]], settings: SheetSettings, source: str | None
) -> Song:
    """A chart whose facts stand on one line, read with a line for each; places stay as typed."""
    index, headers = row
    lines = text_lines(text)
    lines[index : index + 1] = headers

    def typed(line: int) -> int:
        return line if line <= index else max(index + 1, line - len(headers) + 1)

    try:
        song = _from_text("\n".join(lines), settings, source)
    except ChartErrors as refused:
        for error in refused.errors:
            error.line = typed(error.line)
        raise ChartErrors(list(refused.errors)) from None
    report = tuple(replace(each, line=typed(each.line)) for each in song.report)
    return replace(song, report=report)


def _is_letter_chart(lines: list[Line]) -> bool:
    """True for a chart of ours in letters: it names its key, and all its chords stand in bars."""
    has_key = any(line.kind == "header" and line.name == "key" for line in lines)
    return has_key and not _has_letters(lines)


def _has_letters(lines: list[Line]) -> bool:
    """True where letter chords stand on a line without bar lines, as above words."""
    return any(
        "|" not in line.plain
        and line.kind in ("bars", "section", "other")
        and is_chord_line(words_of(line.plain.partition(":")[2] or line.plain, Naming()))
        for line in lines
    )


def _from_pdf(data: bytes, settings: SheetSettings, source: str | None) -> Song:
    pages = pdf_pages(data, source=source)
    text = "\n".join(line for page in pages for line in page)
    if _is_number_chart(text):
        return _from_text(re.sub(r" {2,}", "  ", text), settings, source)
    whole = song_from_text(text, settings)
    whole = replace(whole, title=" ".join(whole.title.split()))
    firsts = [next((line.strip() for line in page if line.strip()), "") for page in pages]
    if len(pages) < 2 or firsts[0][:12].casefold() != firsts[1][:12].casefold():
        return whole
    return _without_copies(pages, whole, settings)


def _is_number_chart(text: str) -> bool:
    """True where most that stands in bars is numbers: words of a sheet hold none."""
    lines, style = classified(text_lines(text))
    words = [word for line in lines if line.kind == "bars" for word in line.plain.split()]
    chords = [word for word in words if style_of(word.strip("|:")) is Style.NUMBERS]
    return style is Style.NUMBERS and len(chords) >= _FEWEST_NUMBERS


def _without_copies(pages: list[list[str]], whole: Song, settings: SheetSettings) -> Song:
    """Pages that hold one song again in another key are left out, and said so."""
    songs = []
    for page in pages:
        try:
            songs.append(song_from_text("\n".join(page), settings))
        except ChartErrors:
            return whole
    first = songs[0]
    if any(song.sections != first.sections for song in songs[1:]):
        return whole
    others = ", ".join(str(song.key) for song in songs[1:])
    remark = Remark(0, 0, "left out", f"The same song follows in {others}; the first copy is read.")
    return replace(first, report=(*first.report, remark))


def _from_zip(data: bytes, settings: SheetSettings, source: str | None) -> Song:
    if b"word/document.xml" in data:
        lines = docx_lines(data, source=source)
        return _from_text("\n".join(lines), settings, source)
    return song_from_musicxml(data, settings, source=source)
