"""The number chart of a song as pages: as a hand would write it, big enough to read from afar.

Title, key, meter and tempo stand at the top, section names in the left margin, four bars to a
line, the roadmap at the foot. Figures are as tall as one page allows, from 13 mm down to 9 mm
(15 to 12 mm in the large edition); a song too long for that goes on to the next page rather than
shrink. Between sizes that
need as few pages, the one that breaks fewest lines of four bars is taken, then the tallest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from undersong.chart.roadmap import duration_s, total_bars, unrolled
from undersong.chart.show import bar_keys
from undersong.chart.song import Bar, KeyChange, OrderItem, Section, Song
from undersong.page.chartbar import (
    BarInk,
    bar_ink,
    bar_line,
    ending_marks,
    repeat_dots,
)
from undersong.page.ground import Ink
from undersong.page.lettering import (
    BOLD,
    em_of_figures,
    fitting_size,
    prose_signs,
    signs,
    text_width,
    wrapped,
)
from undersong.page.marks import Anchor, Box, Drawing, Line, Mark, shifted, text
from undersong.theory.key import Key, Mode

BARS_A_LINE = 4
LEAST_FIGURE_MM = 9.0
MOST_FIGURE_MM = 13.0
LARGE_FIGURE_MM, LEAST_LARGE_MM = 15.0, 12.0
_LARGE_WORDS = 1.35  # the large edition's names, notes and roadmap
_TITLE_MM, _LEAST_TITLE_MM = 9.5, 7.0
_MARGIN_MM = 27.0  # for section names
_NAME_ROOM_MM = _MARGIN_MM - 2.5
_NAME_MM = 5.2
_ORDINALS = {1: "1st", 2: "2nd", 3: "3rd"}
_ROW_ABOVE, _ROW_BELOW = 0.62, 0.36  # room over and under the figures, in figure heights
_CLEAR = 0.1  # between the signs of a row and what stands over them
_ENDING_ABOVE = 0.4  # more room for the bracket of an ending
_LETTERS_BELOW = 0.62
_SECTION_GAP = 0.34
_WORDS = 0.62  # a line of directions above a row
_ROWS_CARRIED = 5
_TIGHTER = (0.8, 0.6)  # shares of that room to try before a song takes a second page
_SQUEEZE = 0.94  # how far a line may shrink before it is broken instead


@dataclass(frozen=True, slots=True)
class _Row:
    """One line of bars: what is in its margin, above it and between its bar lines."""

    name: str
    bars: tuple[BarInk, ...]
    widths: tuple[float, ...]
    words: str
    box: str  # a key change, boxed
    notes: tuple[str, ...]
    is_first: bool
    air: float

    @property
    def above(self) -> float:
        """Room over the figures, in figure heights."""
        signs_above = max(ink.above for ink in self.bars) + _CLEAR
        ending = _ENDING_ABOVE * bool(self.bars[0].bar.endings)
        return max(_ROW_ABOVE * self.air, signs_above) + ending

    def height(self, f: float, *, with_letters: bool) -> float:
        below = _ROW_BELOW + _LETTERS_BELOW * with_letters
        above = self.above + _WORDS * bool(self.words or self.box)
        return (above + 1 + below) * f + 5.0 * len(self.notes)


def chart_pages(
    song: Song,
    width_mm: float,
    height_mm: float,
    *,
    with_letters: bool = False,
    is_large: bool = False,
    singer: str = "",
) -> tuple[Drawing, ...]:
    """The chart on as many pages as it takes, each a drawing of the given size.

    Parameters
    ----------
    song
        In the key and at the tempo it is to be played.
    width_mm, height_mm
        The printed part of the sheet, > 100 mm each.
    with_letters
        Letters small under the numbers.
    is_large
        The edition for weak eyes: taller figures and words.
    """

    def planned(figure_mm: float, air: float) -> _Plan:
        return _Plan(
            song,
            width_mm,
            height_mm,
            figure_mm,
            air=air,
            words=_LARGE_WORDS if is_large else 1.0,
            with_letters=with_letters,
            singer=singer,
        )

    sizes = _sizes(is_large=is_large)
    plans = [planned(size, 1.0) for size in sizes]
    if len(plans[-1].pages) > 1:
        tighter = (planned(sizes[-1], air) for air in _TIGHTER)
        plans += next(([plan] for plan in tighter if len(plan.pages) == 1), [])
    # Fewest pages, then fewest broken lines, then the tallest figures and the most air.
    return min(plans, key=lambda plan: (len(plan.pages), plan.broken)).drawings()


def _sizes(*, is_large: bool) -> list[float]:
    """Heights of figures to try, the tallest first."""
    least = LEAST_LARGE_MM if is_large else LEAST_FIGURE_MM
    most = LARGE_FIGURE_MM if is_large else MOST_FIGURE_MM
    return [most - step for step in range(int(most - least) + 1)]


class _Plan:
    """The rows of one song at one figure height, dealt out to pages."""

    def __init__(
        self,
        song: Song,
        width: float,
        height: float,
        figure_mm: float,
        *,
        air: float,
        words: float,
        with_letters: bool,
        singer: str,
    ) -> None:
        self.song, self.width, self.height, self.f = song, width, height, figure_mm
        self.with_letters, self.air = with_letters, air
        self.words, self.broken = words, 0
        self.singer = singer
        self.keys = bar_keys(song)
        self.name_mm = min(
            fitting_size(_margin_name(section), wish, _NAME_ROOM_MM, 2, BOLD)
            for section in song.sections
            for wish in (_NAME_MM * self.words,)
        )
        self.rows = [row for place in range(len(song.sections)) for row in self._section(place)]
        self.head, self.head_height = self._head_marks(is_first=True)
        self.foot, self.foot_height = self._roadmap()
        self.pages = self._dealt()

    def _section(self, place: int) -> Iterator[_Row]:
        section = self.song.sections[place]
        name = _margin_name(section)
        is_first = True
        for group in lines_of_bars(section.bars):
            inks = [self._ink(place, index, section) for index in group]
            for part in self._fitted(inks):
                first = part[0][0].bar if part[0][0] is inks[0] else None
                notes = section.notes if is_first else ()
                yield _Row(
                    name if is_first else "",
                    tuple(ink for ink, _ in part),
                    tuple(width for _, width in part),
                    prose_signs(", ".join(first.directions)) if first else "",
                    self._change_words(first.key_change, place, group[0])
                    if first and first.key_change
                    else "",
                    tuple(line for note in notes for line in self._wrapped_note(note)),
                    is_first,
                    self.air,
                )
                is_first = False

    def _ink(self, place: int, index: int, section: Section) -> BarInk:
        key = self.song.counted_in(self.keys[place, index])
        return bar_ink(section.bars[index], key, self.f, with_letters=self.with_letters)

    def _change_words(self, change: KeyChange, place: int, index: int) -> str:
        return f"{_steps(change)}Key of {signs_of_key(self.keys[place, index])}"

    def _wrapped_note(self, note: str) -> tuple[str, ...]:
        return wrapped(prose_signs(note), 3.8, self.width - _MARGIN_MM)

    def _fitted(self, inks: list[BarInk]) -> Iterator[list[tuple[BarInk, float]]]:
        """A line of bars with their widths; broken in two where it does not fit."""
        room = self.width - _MARGIN_MM
        least = [ink.least_mm for ink in inks]
        share = room / max(sum(least), 1e-9)
        if share < _SQUEEZE and len(inks) > 1:
            self.broken += 1
            half = (len(inks) + 1) // 2
            yield from self._fitted(inks[:half])
            yield from self._fitted(inks[half:])
            return
        if share < 1:
            inks = [replace(ink, figure_mm=ink.figure_mm * share * 0.98) for ink in inks]
            least = [ink.least_mm for ink in inks]
        yield list(zip(inks, _widths(inks, least, room), strict=True))

    def _dealt(self) -> list[list[_Row]]:
        """Rows to pages; a section that does not fit goes over whole, unless it fills a page."""
        pages: list[list[_Row]] = [[]]
        room = self.height - self.head_height
        for row in self.rows:
            if pages[-1] and self._height_of([*pages[-1], row]) > room:
                pages.append(self._carried(pages[-1], row))
                room = self.height - self._head_marks(is_first=False)[1]
            pages[-1].append(row)
        if self._height_of(pages[-1]) + self.foot_height > room:
            pages.append(self._carried(pages[-1], None))
        return pages

    def _height_of(self, rows: Sequence[_Row]) -> float:
        return sum(self._tall(row, is_top=place == 0) for place, row in enumerate(rows))

    def _carried(self, page: list[_Row], row: _Row | None) -> list[_Row]:
        """Takes the rows of an unfinished section off a page, to go on the next."""
        if row is not None and row.is_first:
            return []
        start = max((place for place, each in enumerate(page) if each.is_first), default=0)
        if start == 0 or len(page) - start > _ROWS_CARRIED:
            start = len(page) - 1 if row is None else len(page)
        carried = page[start:]
        del page[start:]
        return carried if page else []

    def _tall(self, row: _Row, *, is_top: bool) -> float:
        gap = _SECTION_GAP * self.air * self.f if row.is_first and not is_top else 0.0
        return row.height(self.f, with_letters=self.with_letters) + gap

    def drawings(self) -> tuple[Drawing, ...]:
        pages = []
        for number, rows in enumerate(self.pages):
            head, y = self._head_marks(is_first=number == 0)
            marks = list(head)
            spare = self._spare(rows, y, is_last=number + 1 == len(self.pages))
            for place, row in enumerate(rows):
                y += spare if place else 0.0
                y += self._tall(row, is_top=place == 0)
                marks += self._row_marks(row, y)
            if number + 1 == len(self.pages):
                marks += [shifted(mark, 0.0, self.height - self.foot_height) for mark in self.foot]
            pages.append(Drawing(self.width, self.height, tuple(marks), self.song.title, "Chart"))
        return tuple(pages)

    def _spare(self, rows: Sequence[_Row], head: float, *, is_last: bool) -> float:
        """Room left over, shared between the rows, but never so much that they drift apart."""
        used = self._height_of(rows)
        foot = self.foot_height if is_last else 0.0
        left = self.height - head - used - foot
        return min(max(left, 0.0) / max(len(rows) - 1, 1), 0.5 * self.f)

    def _row_marks(self, row: _Row, bottom: float) -> Iterator[Mark]:
        f = self.f
        below = _ROW_BELOW + _LETTERS_BELOW * self.with_letters
        top = bottom - (1 + below) * f
        yield from self._name_marks(row.name, top + f)
        y = top - row.above * f
        if row.box:
            size = 0.5 * f
            wide = text_width(row.box, size, BOLD) + 0.5 * f
            yield Box(_MARGIN_MM, y - 0.6 * f, wide, 0.66 * f, 0.1 * f, 0.35)
            yield text(_MARGIN_MM + 0.25 * f, y - 0.14 * f, row.box, size, weight=BOLD)
        if row.words:
            x = _MARGIN_MM + (text_width(row.box, 0.5 * f, BOLD) + 0.9 * f if row.box else 0.0)
            size = fitting_size(row.words, 0.5 * f, self.width - x, 1)
            yield text(x, y - 0.14 * f, row.words, size, ink=Ink.MARK)
        y -= _WORDS * f if row.box or row.words else 0.0
        for place, note in enumerate(reversed(row.notes)):
            yield text(_MARGIN_MM, y - 0.8 - 5.0 * place, note, 3.8, ink=Ink.PENCIL)
        yield from self._bars(row, top)

    def _name_marks(self, name: str, baseline: float) -> Iterator[Mark]:
        """A section's name in the margin, in at most two lines, all names of one size."""
        lines = wrapped(name, self.name_mm, _NAME_ROOM_MM, BOLD) if name else ()
        for place, line in enumerate(lines):
            y = baseline - (len(lines) - 1 - place) * self.name_mm * 1.05
            level = 2 if place == 0 else 0
            size = self.name_mm
            yield text(0, y, line, size, weight=BOLD, heading=level, bookmark=name)

    def _bars(self, row: _Row, top: float) -> Iterator[Mark]:
        f, x = self.f, _MARGIN_MM
        first = row.bars[0].bar
        if not first.opens_repeat:
            yield bar_line(x, top, f, is_heavy=False)
        start = x
        for ink, width in zip(row.bars, row.widths, strict=True):
            if ink.bar.opens_repeat:
                yield bar_line(x + 0.06 * f, top, f, is_heavy=True)
                yield from repeat_dots(x + 0.36 * f, top, f)
            yield from ink.marks(x, width, top + (f - ink.figure_mm))
            if ink.bar.meter != self.song.meter and not ink.bar.is_pickup:
                yield text(
                    x + 0.2 * f, top - 0.22 * f, f"{ink.bar.meter}", 0.44 * f, ink=Ink.PENCIL
                )
            if ink.bar.is_pickup:
                yield text(x + 0.2 * f, top - 0.22 * f, "pick-up", 0.4 * f, ink=Ink.PENCIL)
            x += width
            if ink.bar.closes_repeat:
                yield bar_line(x - 0.06 * f, top, f, is_heavy=True)
                yield from repeat_dots(x - 0.36 * f, top, f)
                if ink.bar.closes_repeat > 2:
                    times = f"×{ink.bar.closes_repeat}"
                    yield text(
                        x - 0.1 * f, top - 0.24 * f, times, 0.5 * f, weight=BOLD, anchor=Anchor.END
                    )
            else:
                yield bar_line(x, top, f, is_heavy=False)
        if first.endings:
            words = " and ".join(_ORDINALS.get(n, f"{n}th") for n in first.endings)
            yield from ending_marks(start, x - start, top - (row.above - 0.1) * f, words, f)

    def _head_marks(self, *, is_first: bool) -> tuple[list[Mark], float]:
        facts = [("key", signs_of_key(self.song.key)), ("meter", str(self.song.meter))]
        facts.append(("tempo", f"{self.song.tempo_bpm:g}"))
        size = em_of_figures(9.0)
        marks: list[Mark] = []
        x = self.width
        for caption, value in reversed(facts):
            wide = max(text_width(value, size, BOLD), text_width(caption, 3.6))
            if is_first:
                marks.append(text(x - wide, 9.6, value, size, weight=BOLD))
                marks.append(text(x - wide, 15.6, caption, 3.6, ink=Ink.PENCIL))
                x -= wide + 7.0
        if not is_first:
            words = f"{self.song.title} ({signs_of_key(self.song.key)}), continued"
            size = fitting_size(words, 5.0, self.width, 1)
            marks.append(text(0, 4.5, words, size, ink=Ink.PENCIL))
            return [*marks, Line(0, 7.0, self.width, 7.0, 0.3, Ink.PENCIL)], 10.0
        room = x - 3.0
        title = self.song.title
        size = fitting_size(title, _TITLE_MM, room, 1, BOLD)
        if size < _LEAST_TITLE_MM:
            size = fitting_size(title, _LEAST_TITLE_MM * 1.15, room, 2, BOLD)
        y = 0.0
        for place, line in enumerate(wrapped(title, size, room, BOLD)):
            y += size * (0.78 if place == 0 else 1.02)
            level = 1 if place == 0 else 0
            marks.append(text(0, y, line, size, weight=BOLD, heading=level, bookmark=title))
        y = max(y + 1.4, 9.6)
        for line in self._small_print(room):
            y += 5.0 * self.words
            marks.append(text(0, y, line, 3.9 * self.words, ink=Ink.PENCIL))
        y = max(y, 16.0) + 3.0
        return [*marks, Line(0, y, self.width, y, 0.3, Ink.INK)], y + 1.5

    def _small_print(self, room: float) -> Iterator[str]:
        facts = [self.song.feel, f"sung by {self.singer}" if self.singer else ""]
        if self.song.key.mode is Mode.MINOR:
            facts.append(f"home is {'1-' if self.song.number_key == self.song.key else '6-'}")
        line = ", ".join(fact for fact in facts if fact)
        for words in (line, *map(prose_signs, self.song.notes)):
            yield from wrapped(words, 3.9 * self.words, room) if words else ()

    def _roadmap(self) -> tuple[list[Mark], float]:
        """The order of the sections, each with its bars, in lines from the top of the foot."""
        counts = _bar_counts(self.song)
        size, line_mm = 5.2 * self.words, 7.4 * self.words
        small = 3.9 * self.words
        x, y = _MARGIN_MM, 2.6 + 1.1 * size
        marks: list[Mark] = [Line(0, 2.0, self.width, 2.0, 0.3, Ink.INK)]
        marks.append(text(0, y, "Roadmap", small, ink=Ink.PENCIL))
        for item, bars in zip(self.song.playing_order, counts, strict=True):
            name = order_words(item)
            wide = text_width(name, size, BOLD) + 1.4 + text_width(bars, size * 0.72)
            if x + wide > self.width and x > _MARGIN_MM:
                x, y = _MARGIN_MM, y + line_mm
            fit = fitting_size(name, size, self.width - _MARGIN_MM - 12.0, 1, BOLD)
            marks.append(text(x, y, name, fit, weight=BOLD))
            x += text_width(name, fit, BOLD) + 1.4
            marks.append(text(x, y, bars, size * 0.72, ink=Ink.PENCIL))
            x += text_width(bars, size * 0.72) + 5.0
        minutes, seconds = divmod(round(duration_s(self.song)), 60)
        least = "at least " if any(item.is_open for item in self.song.playing_order) else ""
        count = total_bars(self.song)
        total = f"{least}{count} {'bar' if count == 1 else 'bars'}, {minutes}:{seconds:02} min"
        wide = text_width(total, small)
        if x + wide > self.width:
            x, y = _MARGIN_MM, y + line_mm
        marks.append(text(self.width, y, total, small, ink=Ink.PENCIL, anchor=Anchor.END))
        return marks, y + 2.0


def _margin_name(section: Section) -> str:
    return section.name + (f" ×{section.times}" if section.times > 1 else "")


def lines_of_bars(bars: Sequence[Bar]) -> Iterator[list[int]]:
    """Indices of the bars of each line: four, fewer where something begins or ends."""
    group: list[int] = []
    for index, bar in enumerate(bars):
        if group:
            previous = bars[group[-1]]
            full = sum(not bars[each].is_pickup for each in group)
            begins = bar.opens_repeat or bar.directions or bar.key_change
            if (
                full >= BARS_A_LINE
                or begins
                or previous.closes_repeat
                or previous.endings != bar.endings
            ):
                yield group
                group = []
        group.append(index)
    if group:
        yield group


def signs_of_key(key: Key) -> str:
    """A key with musical signs: ``B♭``, ``F♯m``."""
    return signs(str(key))


def order_words(item: OrderItem) -> str:
    """One entry of the roadmap in words."""
    words = item.title + (f" ×{item.times}" if item.times > 1 else "")
    words += f", {_steps(item.lift).strip(': ').lower()}" if item.lift and not item.lift.key else ""
    words += f", key of {signs_of_key(item.lift.key)}" if item.lift and item.lift.key else ""
    return words + (", round until the cue" if item.is_open else "")


def _steps(change: KeyChange) -> str:
    if change.key is not None or not change.semitones:
        return ""
    way = "Up" if change.semitones > 0 else "Down"
    size = abs(change.semitones)
    words = {1: "a half step", 2: "a whole step"}.get(size, f"{size} half steps")
    return f"{way} {words}: "


def _bar_counts(song: Song) -> list[str]:
    """How many bars each entry of the roadmap plays, as figures."""
    played = [bar for bar in unrolled(song) if bar.number]
    counts: list[str] = []
    rest = [(bar.section, bar.visit) for bar in played]
    for item in song.playing_order:
        visits = item.times * song.section(item.name).times
        count = 0
        for _ in range(visits):
            first = rest[0] if rest else None
            while rest and rest[0] == first:
                rest.pop(0)
                count += 1
        counts.append(str(count))
    return counts


def _widths(inks: Sequence[BarInk], least: Sequence[float], room: float) -> list[float]:
    """A quarter of the line each, more where a bar needs it, less for a pick-up."""
    whole = room / BARS_A_LINE
    wishes = [
        max(need, whole * float(ink.bar.length / ink.bar.meter.bar)) if ink.bar.is_pickup else whole
        for ink, need in zip(inks, least, strict=True)
    ]
    widths = [max(wish, need) for wish, need in zip(wishes, least, strict=True)]
    over = sum(widths) - room
    if over > 0:
        slack = [width - need for width, need in zip(widths, least, strict=True)]
        share = over / max(sum(slack), 1e-9)
        widths = [width - each * min(share, 1.0) for width, each in zip(widths, slack, strict=True)]
    return widths
