"""Chart text to a Song: forgiving about spaces and signs, exact about music.

`lines` tells what each line is, `head` reads the headers, `body` the sections; a chord is read
last, since the key and the style of writing must be known before it can be. Every error of a
chart is collected and all are raised together. `docs/charts.md` teaches the language.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from undersong.chart import headers
from undersong.chart.body import BarPlace, Body, BodyReader
from undersong.chart.faults import Faults
from undersong.chart.head import Head, read_head
from undersong.chart.lines import Line, classified, text_lines
from undersong.chart.sheet import with_capo
from undersong.chart.signs import SignError
from undersong.chart.song import OrderItem, Song, Style
from undersong.errors import ChartErrors, ChartSyntaxError

MAX_CHART_CHARACTERS = 400_000


@dataclass(frozen=True, slots=True)
class Layout:
    """What each line of a chart's text holds, for the writer. Line indices count from 0."""

    lines: list[Line]
    bars: list[BarPlace]
    headers: dict[str, list[int]]
    sections: list[int]


def parse_song(text: str, *, source: str | None = None) -> Song:
    """Read a chart.

    Parameters
    ----------
    text
        The whole chart; any line ends, plain, full-width or musical signs.
    source
        A file name for the error messages.

    Raises
    ------
    ChartErrors
        With every error of the chart, in the order of its lines.
    """
    return _parsed(text, source)


@lru_cache(maxsize=64)
def _parsed(text: str, source: str | None) -> Song:
    # The app reads the same few charts again for every page; a song never changes.
    return read_with_layout(text, source=source)[0]


def read_with_layout(text: str, *, source: str | None = None) -> tuple[Song, Layout]:
    """Read a chart and where in its text each thing stands; raises as `parse_song` does."""
    if len(text) > MAX_CHART_CHARACTERS:
        message = (
            f"This is no chart: it has {len(text)} characters, and no song needs more than "
            f"{MAX_CHART_CHARACTERS}."
        )
        raise ChartErrors([ChartSyntaxError(message, source=source)])
    raw = text_lines(text)
    faults = Faults(raw, source)
    lines, style = classified(raw)
    _find_order(lines, faults)
    head = read_head(lines, style, faults)
    body = BodyReader(head, style, faults).read(lines)
    order = _order(head, body, faults)
    if not body.sections and not faults.errors:
        faults.error(-1, 0, "There are no bars in this chart: write one as | 1 | 4 | 5 | 1 |.")
    if faults.errors:
        raise ChartErrors(faults.in_order)
    layout = Layout(lines, body.bars, head.at, body.section_lines)
    return with_capo(_song(head, body, order, style, faults, text), head.capo), layout


def _find_order(lines: list[Line], faults: Faults) -> None:
    """A line such as ``V1 C V1 C C`` is the order, where it has no header and names sections."""
    if any(line.kind == "header" and line.name == "order" for line in lines):
        return
    names = [name for line in lines if (name := _section_named(line))]
    for line in lines:
        is_bare_title = line.kind == "header" and line.name == "title" and line.column == 1
        if (line.kind == "section" or is_bare_title) and (
            headers.short_order(line.plain.strip(), names, {}) is not None
        ):
            line.kind, line.name, line.column = "header", "order", 1
            faults.remark(line.index, 1, "This line is read as the order.")


def _section_named(line: Line) -> str:
    """The section a line names, in its margin or alone; "" where it names none."""
    start = re.split(r"[|:]", line.plain.strip(), maxsplit=1)[0].strip()
    if line.kind not in ("section", "bars") or headers.looks_like_order(start):
        return ""
    try:
        return headers.read_heading(start, 1).name
    except SignError:
        return ""


def _order(head: Head, body: Body, faults: Faults) -> tuple[OrderItem, ...]:
    names = [section.name for section in body.sections]
    if not head.order:
        return () if body.visits == names else headers.order_of(body.visits, body.aliases)
    items: list[OrderItem] = []
    for line in head.order:
        try:
            read = headers.read_order(
                line.raw[line.column - 1 : len(line.plain.rstrip())],
                line.column,
                names,
                body.aliases,
            )
        except SignError as error:
            faults.sign_error(line.index, error)
            continue
        items += read
        for item in read:
            if item.called and headers.bare_name(item.called) not in body.aliases:
                message = f"{item.called} has no bars of its own; those of {item.name} are played."
                faults.remark(line.index, 1, message)
    if not faults.errors:
        _remark_unplayed(names, items, head, faults)
    return tuple(items)


def _remark_unplayed(names: list[str], items: list[OrderItem], head: Head, faults: Faults) -> None:
    played = {item.name for item in items}
    for name in names:
        if name not in played:
            faults.remark(head.order[0].index, 1, f"{name} is not in the order.", "left out")


def _song(
    head: Head, body: Body, order: tuple[OrderItem, ...], style: Style, faults: Faults, text: str
) -> Song:
    return Song(
        title=head.title,
        key=head.key,
        meter=head.meter,
        sections=tuple(body.sections),
        tempo_bpm=head.tempo_bpm,
        order=order,
        feel=head.feel,
        minor_habit=head.habit,
        melody=head.melody,
        notes=head.notes,
        others=head.others,
        style=style,
        report=tuple(sorted(faults.remarks, key=lambda each: (each.line, each.column))),
        assumed=head.assumed,
        text=text,
    )
