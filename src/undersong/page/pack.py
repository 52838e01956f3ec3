"""The print pack of one player for one Sunday, and single pages: chart, line, drill.

Everything is handed in as values, and what comes out is the bytes of a PDF. The door names the
function that writes a Part as MusicXML, since pages and exchange files never meet.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from undersong.chart.song import Song
from undersong.errors import PageError
from undersong.neck.instrument import Instrument
from undersong.page import flow, packpages
from undersong.page.carepage import care
from undersong.page.chartpage import chart_pages, signs_of_key
from undersong.page.diagram import PAGE_FRETS, neck_drawing
from undersong.page.ground import BLACK, PRINT, Ground, ground_named
from undersong.page.lettering import prose_signs
from undersong.page.marks import Drawing
from undersong.page.packpages import (
    MusicXml,
    PackPlayer,
    PackSong,
    PlanDay,
    PlanTurn,
    Setting,
    day_words,
)
from undersong.page.pdf import (
    Document,
    document_pdf,
    drawing_png,
    drawn,
    figure,
    sheet_named,
)
from undersong.page.svg import svg_of
from undersong.theory.part import Part

__all__ = [
    "LOOKS",
    "Edition",
    "PackPlayer",
    "PackSong",
    "PlanDay",
    "PlanTurn",
    "chart_pdf",
    "chart_png",
    "chart_svg",
    "drill_pdf",
    "pack_pdf",
    "part_pdf",
]

_BODY_MM, _LARGE_BODY_MM = 4.2, 5.8


@dataclass(frozen=True, slots=True)
class Look:
    """One edition of the pages: its ground, and whether everything is larger."""

    ground: Ground
    is_large: bool = False


LOOKS = {"print": Look(PRINT), "large": Look(PRINT, is_large=True), "black": Look(BLACK)}


@dataclass(frozen=True, slots=True)
class Edition:
    """When pages were made, and which time round; printed at the foot of every page."""

    made_on: datetime.date
    number: str = ""

    @property
    def words(self) -> str:
        """As it is printed: ``edition 2, made 25 November 2026``."""
        made = f"made {day_words(self.made_on)}"
        return f"edition {self.number}, {made}" if self.number else made


def pack_pdf(
    title: str,
    held_on: datetime.date | None,
    songs: Sequence[PackSong],
    player: PackPlayer,
    *,
    musicxml: MusicXml,
    edition: Edition,
    plan: Sequence[PlanDay] = (),
    sheet: str = "a4",
    look: str = "print",
    with_letters: bool = False,
    set_notes: str = "",
) -> bytes:
    """The whole pack of one player as a tagged PDF.

    Parameters
    ----------
    title, held_on
        The set's name and its day.
    songs
        In order, each in its key and at its tempo for the day, with this player's fingered line.
    player
        Name, level and instrument; a left-hander's necks are mirrored.
    musicxml
        Writes a Part as MusicXML; called with stretches of the lines.
    edition
        Date and number for the foot of every page.
    plan
        This week's days; no page where there are none.
    sheet
        ``a4`` or ``letter``.
    look
        ``print``, ``large`` (large print) or ``black`` (light on black, for a screen on stage).
    with_letters
        Letters small under the numbers.

    Raises
    ------
    PageError
        For an unknown sheet or look, or a sign no face can print.
    """
    setting = _setting(musicxml, sheet, look, with_letters=with_letters)
    pages = [packpages.cover(title, held_on, songs, player, setting, set_notes)]
    for place, each in enumerate(songs, 1):
        pages += packpages.chart(each, place, setting)
        pages.append(packpages.line(each.part, each.song.title, setting))
        neck = packpages.neck(each, player.instrument, setting)
        hard = packpages.hard_bars(each, player.instrument, setting)
        pages.append(f"{neck}\n{hard}")
    pages += [packpages.plan(plan, setting)] if plan else []
    pages.append(care(setting.ground))
    day = f", {day_words(held_on)}" if held_on is not None else ""
    foot = f"{title}{day}. {player.name}, {edition.words}."
    return _document(f"{title}{day}: {player.name}", pages, foot, setting, edition)


def chart_pdf(
    song: Song,
    *,
    edition: Edition,
    sheet: str = "a4",
    look: str = "print",
    with_letters: bool = False,
) -> bytes:
    """The number chart of one song as a tagged PDF."""
    setting = _setting(_no_music, sheet, look, with_letters=with_letters)
    pages = [drawn(drawing, setting.ground) for drawing in _chart(song, setting)]
    return _document(song.title, pages, f"{song.title}, {edition.words}.", setting, edition)


def chart_svg(
    song: Song,
    *,
    page: int = 1,
    sheet: str = "a4",
    ground: str = "paper",
    with_letters: bool = False,
) -> str:
    """One page of a song's chart as an SVG document."""
    drawing = _one_page(song, page, sheet, with_letters=with_letters)
    return svg_of(drawing, ground_named(ground))


def chart_png(
    song: Song,
    *,
    page: int = 1,
    sheet: str = "a4",
    ground: str = "paper",
    with_letters: bool = False,
    width_px: int = 1600,
) -> bytes:
    """One page of a song's chart as a PNG picture."""
    drawing = _one_page(song, page, sheet, with_letters=with_letters)
    return drawing_png(drawing, ground_named(ground), width_px=width_px)


def part_pdf(
    part: Part,
    *,
    musicxml: MusicXml,
    edition: Edition,
    sheet: str = "a4",
    look: str = "print",
) -> bytes:
    """Any fingered part as staff and tab."""
    setting = _setting(musicxml, sheet, look, with_letters=False)
    pages = [f"{flow.heading(part.title, 1)}\n{packpages.line(part, part.title, setting)}"]
    return _document(part.title, pages, f"{part.title}, {edition.words}.", setting, edition)


def drill_pdf(
    part: Part,
    instrument: Instrument,
    *,
    musicxml: MusicXml,
    edition: Edition,
    purpose: str = "",
    listen_for: str = "",
    mistakes: str = "",
    remarks: Sequence[str] = (),
    sheet: str = "a4",
    look: str = "print",
) -> bytes:
    """A drill as pages: what it is for, the notes, the key on the neck."""
    setting = _setting(musicxml, sheet, look, with_letters=False)
    title = prose_signs(part.title)  # a drill's title names its key
    words = {"": purpose, "Listen for": listen_for, "Common mistakes": mistakes}
    parts = [flow.heading(title, 1)]
    for head, said in words.items():
        parts += [flow.paragraph(f"{head}: {said}" if head else said)] if said else []
    parts += [flow.paragraph(remark) for remark in remarks]
    parts.append(packpages.line(part, title, setting))
    drawing = neck_drawing(instrument, part.key, last_fret=PAGE_FRETS, width_mm=setting.width_mm)
    head = flow.heading(f"The key of {signs_of_key(part.key)} on the neck", 2)
    parts.append(flow.kept_together((head, figure(drawing, setting.ground))))
    return _document(title, ["\n".join(parts)], f"{title}, {edition.words}.", setting, edition)


def _setting(musicxml: MusicXml, sheet: str, look: str, *, with_letters: bool) -> Setting:
    if look not in LOOKS:
        raise PageError(f"There is no look called {look}: choose {', '.join(LOOKS)}.")
    chosen = LOOKS[look]
    return Setting(sheet_named(sheet), chosen.ground, musicxml, chosen.is_large, with_letters)


def _no_music(part: Part) -> bytes:
    raise PageError(f"{part.title} has no music on a chart page.")


def _chart(song: Song, setting: Setting) -> tuple[Drawing, ...]:
    return chart_pages(
        song,
        setting.width_mm,
        setting.sheet.inner_height_mm - 0.5,
        with_letters=setting.with_letters,
        is_large=setting.is_large,
    )


def _one_page(song: Song, page: int, sheet: str, *, with_letters: bool) -> Drawing:
    setting = _setting(_no_music, sheet, "print", with_letters=with_letters)
    drawings = _chart(song, setting)
    if not 1 <= page <= len(drawings):
        count = len(drawings)
        pages = "one page" if count == 1 else f"{count} pages"
        raise PageError(f"The chart of {song.title} has {pages}: there is no page {page}.")
    return drawings[page - 1].framed(8.0)


def _document(
    title: str, pages: Sequence[str], foot: str, setting: Setting, edition: Edition
) -> bytes:
    return document_pdf(
        Document(
            title,
            tuple(_full(pages)),
            setting.sheet,
            setting.ground,
            foot,
            edition.made_on,
            _LARGE_BODY_MM if setting.is_large else _BODY_MM,
        )
    )


def _full(pages: Sequence[str]) -> Iterator[str]:
    """Pages that hold something."""
    return (page for page in pages if page)
