"""A Song back to chart text.

A song that was read keeps its text: unedited it comes back letter for letter, and an edited bar
changes its own stretch of one line. `fresh_text` writes a song made by code. Whatever is written
reads back as the same song; a patch that would not is given up for a fresh text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from difflib import SequenceMatcher

from undersong.chart.bars import bar_signs
from undersong.chart.headers import quoted_words
from undersong.chart.song import Bar, KeyChange, OrderItem, Section, Song, Style
from undersong.chart.text import Layout, read_with_layout
from undersong.errors import ChartErrors
from undersong.theory.key import Key, MinorHabit, Mode
from undersong.theory.meter import Meter

BARS_A_LINE = 4
_ORDINALS = {1: "1st", 2: "2nd", 3: "3rd"}
_FIELDS = ("title", "key", "meter", "tempo", "feel", "minor", "melody")


def song_text(song: Song) -> str:
    """The chart as text, with the leader's own comments and layout where it was read from one."""
    if song.text is None:
        return fresh_text(song)
    read, layout = read_with_layout(song.text)
    if read == song and read.style is song.style:
        return song.text
    if read.style is not song.style:
        return fresh_text(song)
    patched = _Patch(song, read, layout).text()
    return patched if _reads_as(patched, song) else fresh_text(song)


def _reads_as(text: str, song: Song) -> bool:
    try:
        return read_with_layout(text)[0] == song
    except ChartErrors:
        return False


def fresh_text(song: Song) -> str:
    """The chart in the one layout we print: headers, sections four bars a line, the order."""
    lines = list(_header_lines(song))
    key = song.key
    for section in song.sections:
        written, key = section_lines(section, song, key)
        lines += ["", *written]
    if song.order:
        lines += ["", f"Order: {order_words(song.order)}"]
    return "\n".join(lines) + "\n"


def _header_values(song: Song) -> dict[str, str]:
    """What is written after each header; "" where the header is left out."""
    is_minor = song.key.mode is Mode.MINOR or song.minor_habit is MinorHabit.TONIC
    home = "6-" if song.minor_habit is MinorHabit.RELATIVE else "1-"
    return {
        "title": song.title,
        "key": str(song.key),
        "meter": str(song.meter),
        "tempo": f"{song.tempo_bpm:g}",
        "feel": song.feel,
        "minor": home if is_minor else "",
        "melody": "{} to {}".format(*song.melody) if song.melody else "",
    }


def _header_lines(song: Song) -> Iterator[str]:
    for name, value in _header_values(song).items():
        if value:
            yield f"{_label(name)}: {value}"
    for name, value in song.others:
        yield f"{name}: {value}"
    for note in song.notes:
        yield f"Note: {note}"


def _label(name: str) -> str:
    return "Range" if name == "melody" else name.capitalize()


def section_lines(section: Section, song: Song, key: Key) -> tuple[list[str], Key]:
    """A section as lines of text, given the key it starts in; and the key it ends in."""
    lines = [section.name + (f" x{section.times}" if section.times > 1 else "")]
    lines += [f"Note: {note}" for note in section.notes]
    meter = song.meter
    meters = {bar.meter for bar in section.bars}
    if len(meters) == 1 and meters != {meter}:
        meter = next(iter(meters))
        lines.append(f"-- {meter}")
    for group in _lines_of_bars(section.bars):
        first = group[0]
        if first.key_change is not None:
            lines.append(f"-- {change_words(first.key_change)}")
            key = first.key_change.from_key(key)
        lines += [f"-- {quoted_words(words)}" for words in first.directions]
        lines.append(bars_line(group, song, key, meter))
    return lines, key


def _lines_of_bars(bars: tuple[Bar, ...]) -> Iterator[list[Bar]]:
    """Four bars a line; a new line for a repeat, an ending, and whatever is written above."""
    group: list[Bar] = []
    for bar in bars:
        previous = group[-1] if group else None
        full = sum(not each.is_pickup for each in group)
        is_start = bool(bar.opens_repeat or bar.directions or bar.key_change)
        if previous is not None and (
            is_start
            or (full >= BARS_A_LINE and not bar.endings)
            or previous.closes_repeat
            or previous.endings != bar.endings
        ):
            yield group
            group = []
        group.append(bar)
    if group:
        yield group


def bars_line(bars: list[Bar], song: Song, key: Key, meter: Meter) -> str:
    """Bars with their bar lines and repeats, as one line of text."""
    start = ""
    if bars[0].endings:
        start = " and ".join(_ORDINALS.get(n, f"{n}th") for n in bars[0].endings) + ": "
    line = start + ("|:" if bars[0].opens_repeat else "|")
    for bar in bars:
        signs = bar_signs(bar, style=song.style, key=song.counted_in(key), meter=meter)
        times = f" x{bar.closes_repeat}" if bar.closes_repeat not in (0, 2) else ""
        line += f" {signs} {':|' + times if bar.closes_repeat else '|'}"
    return line


def change_words(change: KeyChange) -> str:
    """A key change as it is typed."""
    if change.key is not None:
        return f"key {change.key}"
    return f"{'up' if change.semitones >= 0 else 'down'} {abs(change.semitones)}"


def order_words(order: tuple[OrderItem, ...]) -> str:
    """The roadmap as it is typed."""
    words = []
    for item in order:
        text = item.title + (f" x{item.times}" if item.times > 1 else "")
        text += f" {change_words(item.lift)}" if item.lift else ""
        words.append(text + (" x?" if item.is_open else ""))
    return ", ".join(words)


class _Patch:
    """The text of a song that was read, with only the changed lines rewritten."""

    def __init__(self, song: Song, read: Song, layout: Layout) -> None:
        self.song = song
        self.read = read
        self.layout = layout
        # What each line becomes: itself first, then what is added after it.
        self.lines: list[list[str]] = [[line.raw] for line in layout.lines]
        self.top: list[str] = []
        # A changed chart is written as it sounds: the capo goes, and letters are spelt anew.
        self.capo = layout.headers.get("capo", [])

    def text(self) -> str:
        self._headers()
        self._sections()
        self._order()
        assert self.read.text is not None
        found = re.search(r"\r\n|\r|\n", self.read.text)
        end = found[0] if found else "\n"
        mark = "\ufeff" if self.read.text.startswith("\ufeff") else ""
        return mark + end.join(line for lines in [self.top, *self.lines] for line in lines)

    def _headers(self) -> None:
        old, new = _header_values(self.read), _header_values(self.song)
        for name in _FIELDS:
            if old[name] != new[name] or (name == "key" and self.capo):
                self._header(name, new[name])
        for index in self.capo:
            self.lines[index] = self.lines[index][1:]
        if self.read.notes != self.song.notes:
            self._header_list("note", [f"Note: {note}" for note in self.song.notes])
        if self.read.others != self.song.others:
            self._header_list("other", [f"{name}: {value}" for name, value in self.song.others])

    def _header(self, name: str, value: str) -> None:
        at = self.layout.headers.get(name)
        if not at:
            self._after_headers([f"{_label(name)}: {value}"])
            return
        line = self.layout.lines[at[0]]
        added = self.lines[at[0]][1:]
        if not value:
            self.lines[at[0]] = added
            return
        value_start = line.raw[: line.column - 1].rstrip()
        space = " " if value_start else ""
        changed = value_start + space + value + line.raw[len(line.plain.rstrip()) :]
        self.lines[at[0]] = [changed, *added]

    def _header_list(self, name: str, new: list[str]) -> None:
        at = self.layout.headers.get(name)
        if not at:
            self._after_headers(new)
            return
        for index in at:
            self.lines[index] = self.lines[index][1:]
        self.lines[at[0]] = [*new, *self.lines[at[0]]]

    def _after_headers(self, new: list[str]) -> None:
        ends = self.layout.sections[0] if self.layout.sections else len(self.lines)
        above = [i for found in self.layout.headers.values() for i in found if i < ends]
        if above:
            self.lines[max(above)] += new
        else:
            self.top += new

    def _sections(self) -> None:
        old = [section.name for section in self.read.sections]
        new = [section.name for section in self.song.sections]
        matcher = SequenceMatcher(a=old, b=new, autojunk=False)
        for tag, a, a_end, b, b_end in matcher.get_opcodes():
            if tag == "equal":
                for step in range(a_end - a):
                    self._section(a + step, b + step)
                continue
            for index in range(a, a_end):
                self._clear(index)
            fresh = [line for each in range(b, b_end) for line in [*self._fresh(each), ""]]
            place = self.layout.sections[a] if a < len(old) else len(self.lines) - 1
            if fresh and a == len(old):
                self.lines[place] += ["", *fresh]
            else:
                self.lines[place] = [*fresh, *self.lines[place]]

    def _fresh(self, index: int) -> list[str]:
        key = self.song.key
        for section in self.song.sections[:index]:
            key = section_lines(section, self.song, key)[1]
        return section_lines(self.song.sections[index], self.song, key)[0]

    def _clear(self, index: int) -> None:
        for line in self._range(index):
            if self.layout.lines[line].plain.strip() and line not in self._kept():
                self.lines[line] = []

    def _range(self, index: int) -> range:
        starts = [*self.layout.sections, len(self.layout.lines)]
        return range(starts[index], starts[index + 1])

    def _kept(self) -> set[int]:
        return set(self.layout.headers.get("order", ()))

    def _section(self, old: int, new: int) -> None:
        was, now = self.read.sections[old], self.song.sections[new]
        is_moved = self.song.key != self.read.key or bool(self.capo)
        respell = self.song.style is Style.LETTERS and is_moved
        if was == now and not respell:
            return
        is_patchable = (
            (was.times, was.notes, len(was.bars)) == (now.times, now.notes, len(now.bars))
        ) and all(_differ_inside(a, b) for a, b in zip(was.bars, now.bars, strict=True))
        if not is_patchable or respell:
            self._clear(old)
            self.lines[self.layout.sections[old]] = self._fresh(new)
            return
        places = {place.bar: place for place in self.layout.bars if place.section == old}
        for index in reversed(range(len(now.bars))):
            if was.bars[index] != now.bars[index]:
                self._bar(places[index].line, places[index].start, places[index].end, now, index)

    def _bar(self, line: int, start: int, end: int, section: Section, index: int) -> None:
        text = self.lines[line][0]
        bar = section.bars[index]
        has_meter = ":" in text[start:end]
        meter = self.song.meter if has_meter else bar.meter
        key = self.song.key
        for each in self.song.sections[: self.song.sections.index(section)]:
            key = section_lines(each, self.song, key)[1]
        for each_bar in section.bars[: index + 1]:
            key = each_bar.key_change.from_key(key) if each_bar.key_change else key
        signs = bar_signs(bar, style=self.song.style, key=self.song.counted_in(key), meter=meter)
        self.lines[line] = [text[:start] + signs + text[end:]]

    def _order(self) -> None:
        if self.song.order == self.read.order:
            return
        new = [f"Order: {order_words(self.song.order)}"] if self.song.order else []
        if self.layout.headers.get("order"):
            self._header_list("order", new)
        else:
            self.lines.append(new)


def _differ_inside(was: Bar, now: Bar) -> bool:
    """True where two bars differ at most in what stands between their bar lines."""
    return was == replace(now, events=was.events, meter=was.meter, pickup=was.pickup)
