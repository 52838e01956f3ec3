"""The sections of a chart: bars, repeats, endings, directions, in the order they are written."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from undersong.chart import headers
from undersong.chart.bars import read_bar
from undersong.chart.faults import Faults
from undersong.chart.head import Head
from undersong.chart.headers import Heading, bare_name
from undersong.chart.lines import Line, late_direction, margin_name
from undersong.chart.roadmap import passes
from undersong.chart.signs import Reading, SignError, is_chord_like
from undersong.chart.song import Bar, KeyChange, Section, Style
from undersong.chart.stretches import Stretch, is_phrased, starts_with_number, stretches_of
from undersong.theory.chord import NumberChord, quality
from undersong.theory.key import Degree, MinorHabit, Mode
from undersong.theory.meter import Meter

LONE_SECTION = "Song"
MAX_BARS = 5_000
_MAJOR = quality("major")
_JUMP = re.compile(r"(?:d\.?\s?[sc]\.?|dal segno|da capo|to coda|fine)(?!\w)", re.IGNORECASE)
_BAR_OPENING = re.compile(r"\s*(?:pick-?up\b|up-?beat\b|\d+\s*/\s*\d+\s*:)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class BarPlace:
    """Where a bar stands in the text: line index, and columns from 0 in that line."""

    section: int
    bar: int
    line: int
    start: int
    end: int


@dataclass(slots=True)
class Body:
    """The sections, the roadmap as the headings tell it, and where each thing stands."""

    sections: list[Section]
    visits: list[str]
    aliases: dict[str, str]  # bare names that play another section's bars
    bars: list[BarPlace]
    section_lines: list[int]


@dataclass(slots=True)
class _Draft:
    """A section being read. Bar indices count from 0; `repeat_from` is where ``:|`` goes back."""

    heading: Heading
    line: int
    meter: Meter
    bars: list[Bar] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    open_at: int | None = None
    open_line: int = 0
    repeat_from: int = 0
    ending: int = 0
    ending_line: int = 0


class BodyReader:
    """Reads the lines of sections one by one; errors and guesses go to `faults`."""

    def __init__(self, head: Head, style: Style, faults: Faults) -> None:
        self.head = head
        self.style = style
        self.faults = faults
        self.key = head.key
        self.body = Body([], [], {}, [], [])
        self.draft: _Draft | None = None
        self.words: list[str] = []
        self.change: KeyChange | None = None
        self.next_meter: Meter | None = None
        # In a minor song counted from its relative major, a plain 3 is the usual 5 of home.
        is_relative = head.key.mode is Mode.MINOR and head.habit is MinorHabit.RELATIVE
        self.usually_minor = (2, 6) if is_relative else (2, 3, 6)
        self.asked_minor: set[int] = set()
        self.bar_count = 0
        self.has_unbarred = False

    def read(self, lines: list[Line]) -> Body:
        """All lines of a chart; headers above the first section are passed over."""
        readers = {
            "bars": self._bars_line,
            "section": self._heading_line,
            "direction": self._direction_line,
            "header": self._header_line,
        }
        self.has_unbarred = any(line.kind == "bars" and "|" not in line.plain for line in lines)
        for line in lines:
            if line.kind in readers and not self.faults.is_full:
                self.faults.attempt(line, readers[line.kind])
        self._end_section()
        return self.body

    # Sections

    def _heading_line(self, line: Line) -> None:
        self._start_section(line, line.plain, 0)

    def _start_section(self, line: Line, text: str, start: int) -> None:
        column = start + len(text) - len(text.lstrip()) + 1
        self._end_section()
        typed = line.raw[start : start + len(text)]
        heading = headers.read_heading(typed, column)
        if not heading.name:
            raise SignError("This section has no name.", column)
        meter = self.next_meter or self.head.meter
        self.next_meter = None
        self.draft = _Draft(heading, line.index, meter)

    def _end_section(self) -> None:
        draft, self.draft = self.draft, None
        if draft is None:
            return
        if draft.bars and self.words:
            last = draft.bars[-1]
            draft.bars[-1] = replace(last, directions=last.directions + tuple(self.words))
            self.words = []
        self._check_repeats(draft)
        if draft.bars:
            self._add_section(draft)
        else:
            self._revisit(draft)

    def _check_repeats(self, draft: _Draft) -> None:
        if draft.open_at is not None and not draft.ending:
            self.faults.error(
                draft.open_line, 1, "The repeat that opens here is never closed with :|."
            )
        if draft.ending == 1:
            self.faults.error(
                draft.ending_line, 1, "A 1st ending wants a 2nd: write a line that starts 2nd:."
            )
        stated = draft.heading.bars
        written = sum(not bar.is_pickup for bar in draft.bars)
        played = sum(not draft.bars[index].is_pickup for index in passes(tuple(draft.bars)))
        if stated is not None and draft.bars and stated not in (written, played):
            self.faults.error(
                draft.line,
                1,
                f"{draft.heading.name} says {stated} bars and has {played}.",
                means=True,
            )

    def _add_section(self, draft: _Draft) -> None:
        name = draft.heading.name
        taken = {bare_name(section.name) for section in self.body.sections}
        number = 2
        while bare_name(name) in taken:
            name = f"{draft.heading.name} {number}"
            number += 1
        if name != draft.heading.name:
            self.faults.remark(
                draft.line, 1, f"{draft.heading.name} is written again; it is called {name}."
            )
        section = Section(name, tuple(draft.bars), draft.heading.times, tuple(draft.notes))
        self.body.sections.append(section)
        self.body.section_lines.append(draft.line)
        self.body.visits.append(name)

    def _revisit(self, draft: _Draft) -> None:
        """A heading without bars plays the section of that name again."""
        name = draft.heading.name
        names = [section.name for section in self.body.sections]
        own = next((each for each in names if bare_name(each) == bare_name(name)), None)
        played = own or headers.same_kind(name, names)
        if played is not None:
            self.body.visits.extend([own or name] * draft.heading.times)
            if own is None:
                self.body.aliases[bare_name(name)] = played
                self.faults.remark(
                    draft.line, 1, f"{name} has no bars of its own; those of {played} are played."
                )
            return
        if _JUMP.match(name):
            message = f"{name}: write the way through the song as Order: Verse, Chorus, Verse."
        else:
            message = (
                f"{name} has no bars under it. If it is a note to the player, write it after two "
                f"dashes: -- {name}"
            )
        self.faults.error(draft.line, 1, message)

    def _section(self, line: Line) -> _Draft:
        if self.draft is None:
            self.draft = _Draft(
                Heading(LONE_SECTION), line.index, self.next_meter or self.head.meter
            )
            self.next_meter = None
        return self.draft

    # Directions and headers among the sections

    def _direction_line(self, line: Line) -> None:
        self._direction(line.raw[line.column - 1 : len(line.plain.rstrip())].strip(), line.column)

    def _direction(self, words: str, column: int) -> None:
        said = headers.read_direction(words, column)
        if isinstance(said, Meter):
            self._set_meter(said)
        elif isinstance(said, KeyChange):
            self._set_change(said)
        else:
            self.words.append(said)

    def _set_change(self, change: KeyChange) -> None:
        self.change = change
        self.key = change.from_key(self.key)

    def _set_meter(self, meter: Meter) -> None:
        if self.draft is not None and self.draft.bars:
            self.draft.meter = meter
        self.next_meter = meter
        if self.draft is not None and not self.draft.bars:
            self.draft.meter, self.next_meter = meter, None

    def _header_line(self, line: Line) -> None:
        if self.draft is None and not self.body.sections:
            return
        if line.name == "key":
            self._set_change(KeyChange(key=headers.read_key(line.value, line.column + 1)))
        elif line.name == "meter":
            self._set_meter(headers.read_meter(line.value, line.column + 1))
        elif line.name == "note":
            self._section(line).notes.append(line.value)

    # Bars

    def _bars_line(self, line: Line) -> None:
        plain, words_at = late_direction(line.plain)
        late: list[str] = []
        if words_at is not None:
            pending, self.words = self.words, late
            self._direction(line.raw[words_at : len(line.plain.rstrip())].strip(), words_at + 1)
            self.words = pending  # what starts a section here ends the one before it first
        plain, start, endings = self._beginning(line, plain)
        draft = self._section(line)
        if endings is None:
            self._leave_endings(draft, line)
        else:
            endings = self._enter_ending(draft, line, endings)
        self.words = [*self.words, *late]
        first = len(draft.bars)
        if self.has_unbarred and is_phrased(plain[start:]):
            text = "Every chord is given a bar here, as in the lines without bar lines."
            self.faults.remark(line.index, start + 1, text)
            self._unbarred(line, draft, plain.replace("|", " "), start, endings or ())
        elif "|" in plain[start:]:
            self._barred(line, draft, stretches_of(plain, start), endings or ())
        else:
            self._unbarred(line, draft, plain, start, endings or ())
        if endings is not None:
            draft.repeat_from = len(draft.bars)
        elif len(draft.bars) == first and words_at is None:
            raise SignError("There is no bar in this line.", start + 1)

    def _beginning(self, line: Line, plain: str) -> tuple[str, int, tuple[int, ...] | None]:
        """The line, where its bars begin, and its ending; a section's name before them is read."""
        bracketed = headers.bracketed_ending(plain)
        if bracketed is not None:
            return plain, bracketed[1], bracketed[0]
        first = plain.find("|")
        before = plain[:first] if first >= 0 else plain
        head, colon, _ = before.partition(":")
        ending = headers.read_ending(head if colon else before)
        if ending is not None and (colon or first >= 0):
            return plain, len(head) + 1 if colon else first, ending
        words = before.split()
        if not words or all(is_chord_like(word.strip(":"), self.style) for word in words):
            return plain, 0, None
        if _BAR_OPENING.match(before) or (not colon and starts_with_number(words[0])):
            return plain, 0, None
        if colon and _BAR_OPENING.match(before[len(head) + 1 :] + "|") is None and first < 0:
            self._start_section(line, head, 0)
            return plain, len(head) + 1, None
        end = 0 if colon else margin_name(before, self.style)
        if end:
            self._start_section(line, plain[:end], 0)
        if end or first < 0:
            return plain, end, None
        return self._named_line(line, plain, first, before)

    def _named_line(
        self, line: Line, plain: str, first: int, before: str
    ) -> tuple[str, int, tuple[int, ...] | None]:
        name, colon, rest = before.partition(":")
        if colon and rest.strip() and not headers.read_times(rest.strip()):
            # "Verse: 1 | 4 | 5 |": the first bar has no bar line before it.
            self._start_section(line, name, 0)
            return plain, len(name) + 1, None
        self._start_section(line, before.replace(":", " "), 0)
        last = before.replace(":", " ").split()[-1]
        if not colon and is_chord_like(last, self.style):
            assert self.draft is not None
            self.faults.remark(
                line.index, 1, f"The line is read as a section called {self.draft.heading.name}."
            )
        return plain, first, None

    def _enter_ending(self, draft: _Draft, line: Line, which: tuple[int, ...]) -> tuple[int, ...]:
        numbers = tuple(number or draft.ending + 1 for number in which)
        if draft.ending and draft.bars[-1].endings == numbers:
            return numbers  # an ending goes on, below a direction written inside it
        expected = tuple(range(draft.ending + 1, draft.ending + 1 + len(numbers)))
        if numbers != expected:
            self.faults.error(
                line.index, 1, f"Ending {expected[0]} comes here, not {numbers[0]}.", means=True
            )
        if not draft.ending:
            at = draft.repeat_from if draft.open_at is None else draft.open_at
            if at >= len(draft.bars):
                at = self._reopened(draft, line)
            draft.bars[at] = replace(draft.bars[at], opens_repeat=True)
            draft.open_at = at
        draft.ending, draft.ending_line = numbers[-1], line.index
        return numbers

    def _reopened(self, draft: _Draft, line: Line) -> int:
        """Where a repeat begins that was closed before its endings came; an error is noted."""
        if not draft.bars or not draft.bars[-1].closes_repeat:
            raise SignError("There are no bars before this ending to repeat.", 1, means=True)
        self.faults.error(
            line.index, 1, "Leave out the :| in front of the endings: they repeat by themselves."
        )
        draft.bars[-1] = replace(draft.bars[-1], closes_repeat=0)
        return max(at for at, bar in enumerate(draft.bars) if bar.opens_repeat)

    def _leave_endings(self, draft: _Draft, line: Line) -> None:
        if not draft.ending:
            return
        if draft.ending == 1:
            self.faults.error(
                line.index, 1, "The 2nd ending comes here: start this line with 2nd:.", means=True
            )
        draft.ending, draft.open_at, draft.repeat_from = 0, None, len(draft.bars)

    def _barred(
        self, line: Line, draft: _Draft, stretches: list[Stretch], endings: tuple[int, ...]
    ) -> None:
        first = len(draft.bars)
        has_repeat = False
        for place, stretch in enumerate(stretches):
            is_edge = place in (0, len(stretches) - 1)
            after_close = place > 0 and stretches[place - 1].closes
            text, start = stretch.text, stretch.start
            found = headers.read_times(text.lstrip())
            if found is not None and (after_close or is_edge) and place > 0:
                times = headers.checked_times(found[0], start + 1)
                self._set_times(draft, first, times, line, start, closed=has_repeat or after_close)
                skip = len(text) - len(text.lstrip()) + found[1]
                text, start, is_edge = text[skip:], start + skip, True
            if stretch.opens:
                self._open(draft, line, start, endings)
                has_repeat = True
            if text.strip():
                self._bar(line, draft, text, start, endings)
            elif not is_edge:
                raise SignError(
                    "This bar is empty: write a chord, % for the bar before again, or 0 for "
                    "silence.",
                    start + 1,
                )
            if stretch.closes and not endings:
                self._close(draft, line, start)
                has_repeat = True

    def _set_times(
        self, draft: _Draft, first: int, times: int, line: Line, start: int, *, closed: bool
    ) -> None:
        if closed and draft.bars:
            draft.bars[-1] = replace(draft.bars[-1], closes_repeat=times)
            return
        if draft.open_at is not None or draft.ending or first >= len(draft.bars):
            raise SignError("Write how many times right after the :| of the repeat.", start + 1)
        if times > 1:
            draft.bars[first] = replace(draft.bars[first], opens_repeat=True)
            draft.bars[-1] = replace(draft.bars[-1], closes_repeat=times)
        draft.repeat_from = len(draft.bars)

    def _open(self, draft: _Draft, line: Line, start: int, endings: tuple[int, ...]) -> None:
        if draft.open_at is not None or endings:
            self.faults.error(
                line.index, start + 1, "A repeat cannot open inside another.", means=True
            )
        draft.open_at, draft.open_line = len(draft.bars), line.index

    def _close(self, draft: _Draft, line: Line, start: int) -> None:
        at = draft.repeat_from if draft.open_at is None else draft.open_at
        if at >= len(draft.bars):
            raise SignError("There is no bar before this sign to repeat.", start + 1, means=True)
        draft.bars[at] = replace(draft.bars[at], opens_repeat=True)
        draft.bars[-1] = replace(draft.bars[-1], closes_repeat=2)
        draft.open_at, draft.repeat_from = None, len(draft.bars)

    def _unbarred(
        self, line: Line, draft: _Draft, plain: str, start: int, endings: tuple[int, ...]
    ) -> None:
        """A line without bar lines: every number is a bar, a bracket a split bar."""
        first = len(draft.bars)
        if line.dashed:
            self.faults.remark(line.index, start + 1, "The dashes are read as bar lines.")
        for match in re.finditer(r"\([^()\s]+\s[^()]*\)|\S+", plain[start:]):
            times = headers.read_times(match[0]) if len(match[0]) > 1 else None
            if times is not None and times[1] == len(match[0]):
                count = headers.checked_times(times[0], start + match.start() + 1)
                self._set_times(draft, first, count, line, start + match.start(), closed=False)
            else:
                self._bar(line, draft, match[0], start + match.start(), endings)

    def _bar(
        self, line: Line, draft: _Draft, text: str, start: int, endings: tuple[int, ...]
    ) -> None:
        self.bar_count += 1
        if self.bar_count > MAX_BARS:
            raise SignError(f"A chart of more than {MAX_BARS} bars cannot be meant.", start + 1)
        reading = Reading(
            self.style,
            self.key.number_key(self.head.habit),
            lambda column, words: self.faults.remark(line.index, column, words),
        )
        before = draft.bars[-1].events if draft.bars else None
        try:
            bar = read_bar(text, start + 1, meter=draft.meter, before=before, reading=reading)
        except SignError as error:
            # The place is kept, so that later bars and counts still fit.
            self.faults.sign_error(line.index, error)
            bar = Bar((), draft.meter)
        if bar.is_pickup and draft.bars:
            self.faults.error(
                line.index, start + 1, "A pick-up can only be a section's first bar.", means=True
            )
        self._ask_for_minors(line, bar, start)
        draft.bars.append(
            replace(
                bar,
                directions=tuple(self.words),
                key_change=self.change,
                opens_repeat=draft.open_at == len(draft.bars),
                endings=endings,
            )
        )
        self.words, self.change = [], None
        indent = len(text) - len(text.lstrip())
        self.body.bars.append(
            BarPlace(
                len(self.body.sections),
                len(draft.bars) - 1,
                line.index,
                start + indent,
                start + len(text.rstrip()),
            )
        )

    def _ask_for_minors(self, line: Line, bar: Bar, start: int) -> None:
        """A plain 2, 3 or 6 is often a slip of the pen: say once how it is read."""
        for event in bar.events:
            chord = event.chord
            if (
                self.style is Style.NUMBERS
                and chord is not None
                and chord == NumberChord(Degree(chord.root.number))
                and chord.root.number in self.usually_minor
                and chord.root.number not in self.asked_minor
            ):
                self.asked_minor.add(chord.root.number)
                self.faults.remark(
                    line.index,
                    start + 1,
                    f"{chord} is read as a major chord; write {chord}- if it is minor.",
                )
