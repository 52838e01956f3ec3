"""Sheets of text: letter chords on a line above the words, or lists of chords.

Where bars come from
--------------------
Bar lines in the text are kept, and chords inside them stand as in our own charts. Slashes without
bar lines count beats: ``G / / / D / / /`` is two bars of 4/4. Where there is neither, every chord
is given a bar, in order, and the report says so: the place of a chord over a word tells where it
is sung, not how long it lasts. Words are dropped unless the leader keeps them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from undersong.chart.bars import read_bar
from undersong.chart.headers import bare_name
from undersong.chart.lines import text_lines
from undersong.chart.names import Naming
from undersong.chart.sheet import BRACKETED, LETTER_KEY, Sheet, SheetSettings, play_order, song_from
from undersong.chart.sheetfacts import facts_in, international
from undersong.chart.sheetlines import (
    ENDING,
    IDLE_MARKS,
    JUMP,
    JUMP_ADVICE,
    LABEL,
    LONG_NAMES,
    NUMBERED,
    TIMES,
    Word,
    bar_of,
    full_name,
    german_line,
    is_barred_line,
    is_chord_line,
    names_in,
    order_in,
    times_in,
    unread_bars,
    words_of,
)
from undersong.chart.signs import Reading, SignError, plain_signs
from undersong.chart.song import EIGHTH, Bar, ChordEvent, KeyChange, Section, Song, Style
from undersong.errors import ChartErrors, ChartSyntaxError, TheoryError
from undersong.theory.chord import number_of
from undersong.theory.key import parse_key
from undersong.theory.meter import Meter

MAX_SHEET_CHARACTERS = 1_000_000
MAX_SHEET_CHORDS = 5_000
_TITLE = re.compile(r"\s*(?:title|song)\s*:\s*", re.IGNORECASE)
_INLINE = re.compile(r"\[[A-G][^\]\s]{0,9}\]\s?\w")
_WORDS_TOO = ("A", "a", "Am", "am", "(a)", "(A)")
_STANZA = "Part"


@dataclass(slots=True)
class _Draft:
    name: str
    line: int
    bars: list[Bar] = field(default_factory=list)
    times: int = 1
    is_stanza: bool = False


def song_from_text(
    text: str, settings: SheetSettings | None = None, *, source: str | None = None
) -> Song:
    """Read a sheet of text.

    Raises
    ------
    ChartErrors
        If there is no chord in it, or it is too long to be a song.
    """
    if len(text) > MAX_SHEET_CHARACTERS:
        message = f"This is no song sheet: it has {len(text)} characters."
        raise ChartErrors([ChartSyntaxError(message, source=source)])
    settings = settings or SheetSettings()
    lines = text_lines(text)
    h_line = german_line(lines) if settings.naming == Naming() else 0
    if h_line:
        settings = replace(settings, naming=Naming(german=True))
    reader = SheetReader(settings)
    if h_line:
        said = "There is an H among the chords, so the names are read as German: B is B flat."
        reader.sheet.remark(h_line, 1, "guessed", said)
    return song_from(reader.read(lines), settings, source=source)


class SheetReader:
    """Gathers a sheet from its lines."""

    def __init__(self, settings: SheetSettings) -> None:
        self.settings = settings
        self.sheet = Sheet()
        self.sheet.meter = settings.meter or self.sheet.meter
        self.draft: _Draft | None = None
        self.change: KeyChange | None = None
        self.dropped: list[int] = []
        self.guessed_bars = 0
        self.stanzas = 0
        self.names: list[str] = []  # of all sections, also of those to come
        self.after_gap = False
        self.last_line: tuple[int, str] = (0, "")  # the last line of chords, and its section
        self.last_bar = 0  # the first bar of that line

    def read(self, lines: Sequence[str]) -> Sheet:
        """All lines of a sheet, in order."""
        plain = [self._without_jump(at + 1, line) for at, line in enumerate(lines)]
        words = [words_of(line, self.settings.naming) for line in plain]
        if sum(word.kind == "chord" for line in words for word in line) > MAX_SHEET_CHORDS:
            message = f"A sheet of more than {MAX_SHEET_CHORDS} chords cannot be one song."
            raise ChartErrors([ChartSyntaxError(message)])
        self.names = names_in(plain)
        for index, raw in enumerate(lines):
            self._line(index + 1, raw, plain[index], words, index)
        self._end_section()
        play_order(self.sheet)
        self._last_remarks()
        return self.sheet

    def _line(
        self, line: int, raw: str, plain: str, all_words: list[list[Word]], index: int
    ) -> None:
        if not plain.strip():
            self.after_gap = True
            return
        order = order_in(plain, self.names)
        if order is not None:
            self.sheet.order = (line, order)
            return
        if self._label(line, plain):
            return
        if self._meta(line, raw, plain):
            return
        is_chords = is_chord_line(all_words[index]) or is_barred_line(plain, all_words[index])
        if is_chords and not self._is_lone_word(all_words, index):
            self._chords(line, plain, all_words[index])
        elif _INLINE.search(plain):
            self.sheet.remark(line, 1, "left out", BRACKETED)
        else:
            self._other(line, raw)
            self._doubtful(line, all_words[index])
        self.after_gap = False

    def _without_jump(self, line: int, raw: str) -> str:
        """The line without D.S., D.C. and the like, which are told, never followed."""
        plain = plain_signs(raw.expandtabs())
        for match in JUMP.finditer(plain):
            text = f"{match[0].strip()} is not followed: {JUMP_ADVICE}."
            self.sheet.remark(line, match.start() + 1, "left out", text)
        return JUMP.sub(lambda match: " " * len(match[0]), plain)

    def _doubtful(self, line: int, words: list[Word]) -> None:
        """Say of names among words that they were not taken for chords; A and Am are words too."""
        for word in words:
            if word.kind == "chord" and word.text not in _WORDS_TOO:
                text = f"{word.text} stands among words and is not read as a chord."
                self.sheet.remark(line, word.column, "left out", text)
            elif word.kind == "times":
                text = f"{word.text} stands among words: write it after the chords it repeats."
                self.sheet.remark(line, word.column, "left out", text)

    # Section names

    def _label(self, line: int, plain: str) -> bool:
        match = LABEL.match(plain)
        if match is None:
            return self._numbered(line, plain)
        rest = plain[match.end() :]
        words = words_of(rest, self.settings.naming)
        short = re.split(r"[\d ]", match["name"].strip(), maxsplit=1)[0].casefold()
        is_closed = bool(match["colon"]) or plain.strip()[0] in "[("
        is_chords = is_chord_line(words) or is_barred_line(rest, words)
        if rest.strip() and not is_chords:
            if not is_closed or not TIMES.fullmatch(rest.strip()):
                return False
        elif short in LONG_NAMES and not is_closed and (rest.strip() or short in ("c", "b")):
            return False  # a chord name, as in B7 E
        self._start(line, full_name(match["name"]), times_in(match["times"]))
        if rest.strip() and is_chords:
            shifted = [replace(word, column=word.column + match.end()) for word in words]
            self._chords(line, plain, shifted, start=match.end())
        return True

    def _numbered(self, line: int, plain: str) -> bool:
        """A number alone on a line starts that verse."""
        match = NUMBERED.fullmatch(plain)
        if match is not None:
            self._start(line, f"Verse {match['number']}", 1)
        return match is not None

    def _start(self, line: int, name: str, times: int, *, is_stanza: bool = False) -> None:
        self._end_section()
        self.draft = _Draft(name, line, times=times, is_stanza=is_stanza)

    def _end_section(self) -> None:
        draft, self.draft = self.draft, None
        if draft is None:
            return
        if not draft.bars:
            self._revisit(draft)
            return
        taken = {bare_name(section.name): section for section in self.sheet.sections}
        name, number = draft.name, 2
        same = taken.get(bare_name(name))
        if same is not None and same.bars == tuple(draft.bars):
            self.sheet.visits.append(same.name)
            return
        while bare_name(name) in taken:
            name, number = f"{draft.name} {number}", number + 1
        self.sheet.sections.append(Section(name, tuple(draft.bars), draft.times))
        self.sheet.visits.append(name)

    def _revisit(self, draft: _Draft) -> None:
        """A section's name without chords: the one of that name is played again."""
        bare = bare_name(draft.name)
        stem = bare.rstrip("0123456789")
        names = {bare_name(section.name): section.name for section in self.sheet.sections}
        near = [name for key, name in names.items() if key.rstrip("0123456789") == stem]
        name = names.get(bare) or next(iter(near), None)
        if name is None:
            self.sheet.remark(draft.line, 1, "left out", f"{draft.name} has no chords.")
            return
        self.sheet.visits += [name if bare in names else draft.name] * draft.times
        self.sheet.aliases[bare] = name
        if bare not in names:
            self.sheet.remark(
                draft.line,
                1,
                "guessed",
                f"{draft.name} has no chords of its own; those of {name} are played.",
            )

    # Facts at the top

    def _meta(self, line: int, raw: str, plain: str) -> bool:
        facts = facts_in(plain, with_meter=self.draft is None)
        if facts is None:
            return self._title(raw) if self.draft is None and _TITLE.match(plain) else False
        if facts.key is not None:
            self._stated_key(line, facts.key)
        self.sheet.capo = self.sheet.capo if facts.capo is None else facts.capo
        self.sheet.tempo_bpm = facts.tempo_bpm or self.sheet.tempo_bpm
        if facts.meter is not None and self.settings.meter is None:
            self.sheet.meter = facts.meter
        rest = facts.rest_of(raw.expandtabs())
        if rest and self.draft is None and not self.sheet.title:
            self._title(rest)
        elif len(rest) > 1:
            self.sheet.remark(line, 1, "left out", f"Not used: {rest}")
        return True

    def _stated_key(self, line: int, match: re.Match[str]) -> None:
        name = international(match["key"], german=self.settings.naming.german)
        try:
            key = parse_key(name[0].upper() + name[1:])
        except TheoryError:
            self.sheet.remark(line, match.start("key") + 1, "left out", f"{name} is no key.")
            return
        if self.draft is None and not self.sheet.sections:
            self.sheet.key = self.sheet.key or key
        else:
            self.change = KeyChange(key=key)
            self.sheet.remark(line, match.start("key") + 1, "guessed", f"From here on in {key}.")

    def _title(self, raw: str) -> bool:
        self.sheet.title = _TITLE.sub("", raw).strip()
        return True

    # Chords

    def _is_lone_word(self, all_words: list[list[Word]], index: int) -> bool:
        """A single A at the start of a line is a word unless words or chords follow it."""
        words = all_words[index]
        if len(words) != 1 or words[0].text not in _WORDS_TOO:
            return False
        near = [all_words[i] for i in (index - 1, index + 1) if 0 <= i < len(all_words)]
        return not any(near)

    def _chords(self, line: int, plain: str, words: list[Word], start: int = 0) -> None:
        if self.draft is None or (self.draft.is_stanza and self.after_gap):
            self.stanzas += 1
            self._start(line, f"{_STANZA} {self.stanzas}", 1, is_stanza=True)
        assert self.draft is not None
        unread = unread_bars(plain, words)
        for word in words:
            if word.guess:
                self.sheet.remark(line, word.column, "guessed", f"{word.guess}.")
            is_stray = word.kind == "ending" and "|" not in plain
            if word.kind == "word" or is_stray:
                is_bar = bar_of(plain, word) in unread
                kept = "; its bar is kept, and the chord before carries on" if is_bar else ""
                text = f"{word.text} is no chord that can be read{kept}."
                self.sheet.remark(line, word.column, "left out", text)
        first = len(self.draft.bars)
        if "|" in plain[start:]:
            self._barred(line, plain, start, unread)
        elif any(set(word.text) == {"/"} for word in words):
            self._counted(line, words)
        else:
            chords = [word for word in words if word.kind == "chord"]
            self.draft.bars += [self._whole(word) for word in chords]
            self.guessed_bars += len(chords)
        times = next((word for word in words if word.kind == "times"), None)
        self._finish_line(line, first, times_in(times.text) if times else 1)

    def _finish_line(self, line: int, first: int, times: int) -> None:
        assert self.draft is not None
        bars = self.draft.bars
        if first >= len(bars):
            return
        self.last_line, self.last_bar = (line, self.draft.name), first
        if self.change is not None:
            bars[first] = replace(bars[first], key_change=self.change)
            self.change = None
        if times > 1 and not any(bar.opens_repeat for bar in bars[first:]):
            bars[first] = replace(bars[first], opens_repeat=True)
            bars[-1] = replace(bars[-1], closes_repeat=times)

    def _whole(self, word: Word) -> Bar:
        return Bar((_event(word),), self.sheet.meter)

    def _counted(self, line: int, words: list[Word]) -> None:
        """Chords with a slash for each beat more, without bar lines."""
        slots: list[Word | None] = []
        for word in words:
            if word.kind == "chord":
                slots.append(word)
            elif set(word.text) == {"/"}:
                slots += [None] * len(word.text)
        beats = self.sheet.meter.beats
        assert self.draft is not None
        if len(slots) % beats:
            chords = [word for word in words if word.kind == "chord"]
            self.draft.bars += [self._whole(word) for word in chords]
            self.sheet.remark(
                line,
                1,
                "guessed",
                f"{len(slots)} beats make no whole bars of {self.sheet.meter}; "
                "every chord is given a bar.",
            )
            return
        for start in range(0, len(slots), beats):
            events = []
            for beat, slot in enumerate(slots[start : start + beats]):
                if slot is not None:
                    events.append(replace(_event(slot), at=beat * self.sheet.meter.beat))
            self.draft.bars.append(Bar(tuple(events), self.sheet.meter))

    def _barred(self, line: int, plain: str, start: int, unread: set[int]) -> None:
        assert self.draft is not None
        parts = list(re.finditer(r"[^|]+", plain[start:]))
        ending: tuple[int, ...] = ()
        for place, part in enumerate(parts):
            first = len(self.draft.bars)
            text = part[0]
            opens, closes = text.startswith(":"), text.rstrip().endswith(":")
            words = words_of(text.replace(":", " "), self.settings.naming)
            played = [word for word in words if word.kind in ("chord", "mark")]
            times = next((word for word in words if word.kind == "times"), None)
            named = next((ENDING.fullmatch(w.text) for w in words if w.kind == "ending"), None)
            ending = ending if named is None else (int(named["number"]),)
            is_inside = part.start() > 0 and start + part.end() < len(plain)
            if is_inside and (start + part.start() in unread or _is_left_blank(parts, place)):
                self.draft.bars.append(Bar((), self.sheet.meter, opens_repeat=opens))
                if not words:
                    text = "This bar is empty; the chord before carries on."
                    self.sheet.remark(line, start + part.start() + 1, "guessed", text)
            elif not played:
                if times and place and self.draft.bars and self.draft.bars[-1].closes_repeat:
                    count = times_in(times.text)
                    self.draft.bars[-1] = replace(self.draft.bars[-1], closes_repeat=count)
                continue
            else:
                bar = self._bar(line, start + part.start() + 1, played)
                self.draft.bars.append(replace(bar, opens_repeat=opens))
            self.draft.bars[first:] = [
                replace(bar, endings=ending) for bar in self.draft.bars[first:]
            ]
            if closes:
                self._close()

    def _close(self) -> None:
        assert self.draft is not None
        bars = self.draft.bars
        at = len(bars) - 1
        while at > 0 and not bars[at].opens_repeat and not bars[at - 1].closes_repeat:
            at -= 1
        bars[at] = replace(bars[at], opens_repeat=True)
        bars[-1] = replace(bars[-1], closes_repeat=2)

    def _bar(self, line: int, column: int, words: list[Word]) -> Bar:
        """What stands between two bar lines; shared evenly where its beats do not fit."""
        assert self.draft is not None
        signs = [
            _signs(w) if w.kind == "chord" else w.text for w in words if w.text not in IDLE_MARKS
        ]
        reading = Reading(Style.LETTERS, LETTER_KEY, lambda _, __: None)
        before = self.draft.bars[-1].events if self.draft.bars else None
        try:
            return read_bar(
                " ".join(signs), column, meter=self.sheet.meter, before=before, reading=reading
            )
        except SignError:
            played = [word for word in words if word.kind == "chord"]
            chords = [word.chord for word in played]
            if not chords:
                return Bar((), self.sheet.meter)
            places = _shared_out(len(chords), self.sheet.meter)
            text = " ".join(str(chord or "N.C.") for chord in chords)
            said = (
                f"{text} do not share a bar of {self.sheet.meter} evenly; the first is held longer."
            )
            if len(chords) == 1:
                said = f"The beats after {text} make no bar of {self.sheet.meter}; it gets the bar."
            self.sheet.remark(line, column, "guessed", said)
            events = [replace(_event(word), at=at) for at, word in zip(places, played, strict=True)]
            return Bar(tuple(events), self.sheet.meter)

    # Words

    def _other(self, line: int, raw: str) -> None:
        draft = self.draft
        if self.settings.keep_words and draft and self.last_line == (line - 1, draft.name):
            bar = draft.bars[self.last_bar]
            words = re.sub(r"\s[#;].*", "", f" {raw}").strip()  # a comment to our own charts
            if words.strip("-—–"):
                draft.bars[self.last_bar] = replace(bar, directions=(*bar.directions, words))
        elif self.draft is None and not self.sheet.sections and not self.sheet.title:
            self._title(raw)
        else:
            self.dropped.append(line)

    def _last_remarks(self) -> None:
        if self.dropped:
            count = len(self.dropped)
            what = "1 line of words is" if count == 1 else f"{count} lines of words are"
            self.sheet.remark(
                self.dropped[0], 1, "left out", f"{what} left out, from this line on."
            )
        if self.guessed_bars:
            self.sheet.remark(
                0,
                0,
                "guessed",
                f"{self.guessed_bars} chords have no bar lines; each is given a bar of "
                f"{self.sheet.meter}.",
            )


def _event(word: Word) -> ChordEvent:
    """A chord on the bar line, played as its signs say."""
    number = None if word.chord is None else number_of(word.chord, LETTER_KEY)
    return ChordEvent(
        Fraction(0),
        number,
        held="held" in word.touch,
        stopped="stopped" in word.touch,
        push=EIGHTH if "pushed" in word.touch else Fraction(0),
        fermata="fermata" in word.touch,
    )


def _signs(word: Word) -> str:
    """The chord as our own charts write it."""
    if word.chord is None:
        return "0"
    text = f"<{word.chord}>" if "held" in word.touch else str(word.chord)
    text = ("<<" if "pushed" in word.touch else "") + text
    return text + "!" * ("stopped" in word.touch) + "(hold)" * ("fermata" in word.touch)


def _is_left_blank(parts: list[re.Match[str]], place: int) -> bool:
    """True for a bar with nothing in it among others, not for the gap of a double bar line."""
    later = parts[place + 1 :]
    if parts[place][0].strip() or not any(part[0].strip() for part in later):
        return False
    is_first = not any(part[0].strip(" :") for part in parts[:place])
    return not (is_first or parts[place - 1][0].rstrip().endswith(":") or later[0][0][:1] == ":")


def _shared_out(count: int, meter: Meter) -> list[Fraction]:
    """Places for chords that do not divide a bar: a beat each, what is left for the first."""
    spare = meter.beats - count
    if spare < 0:
        return [meter.bar * place / count for place in range(count)]
    return [Fraction(0), *(meter.beat * (place + spare) for place in range(1, count))]
