"""What every kind of sheet becomes on its way to a Song: letter chords in bars, not yet counted.

An arriving sheet is gathered as a `Sheet` whose chords are letters as printed; `song_from` finds
the key, takes off the capo and counts the numbers, with a report of all that was guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby

from undersong.chart.headers import bare_name, order_of, read_order
from undersong.chart.keyfind import KeyGuess, find_key
from undersong.chart.names import Naming
from undersong.chart.signs import SignError
from undersong.chart.song import (
    ASSUMED_TEMPO_BPM,
    Bar,
    KeyChange,
    Remark,
    Section,
    Song,
    Style,
    change_in_key,
    in_key,
)
from undersong.errors import ChartErrors, ChartMeaningError
from undersong.theory.chord import Chord, number_of
from undersong.theory.key import Key, MinorHabit, key_on, parse_key
from undersong.theory.meter import FOUR_FOUR, Meter

LETTER_KEY = parse_key("C")
"""While a sheet is gathered its chords are counted from C, whatever its key: exact both ways."""

BRACKETED = "Chords in brackets inside the words are not read: write them on a line above."


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """What the leader knows about a sheet. None leaves a thing to the sheet itself."""

    naming: Naming = field(default_factory=Naming)
    key: Key | None = None  # the sounding key
    capo: int | None = None
    meter: Meter | None = None
    habit: MinorHabit = MinorHabit.RELATIVE
    keep_words: bool = False


@dataclass(slots=True)
class Sheet:
    """A sheet as gathered: bars hold chords counted from `LETTER_KEY`."""

    title: str = ""
    key: Key | None = None
    capo: int = 0
    meter: Meter = FOUR_FOUR
    tempo_bpm: float | None = None
    sections: list[Section] = field(default_factory=list)
    visits: list[str] = field(default_factory=list)
    aliases: dict[str, str] = field(default_factory=dict)  # bare names that play another section
    order: tuple[int, str] | None = None  # the line of the roadmap, and its words
    remarks: list[Remark] = field(default_factory=list)
    assumed: set[str] = field(default_factory=set)

    def remark(self, line: int, column: int, kind: str, text: str) -> None:
        """Add to the report (1-based place; 0 where the whole sheet is meant)."""
        self.remarks.append(Remark(line, column, kind, text))

    @property
    def chords(self) -> Iterator[Chord]:
        """The chords by letters, as they are written, up to the first change of key."""
        for section in self.sections:
            for bar in section.bars:
                if bar.key_change is not None:
                    return
                yield from _letters([bar])


def song_from(sheet: Sheet, settings: SheetSettings, *, source: str | None = None) -> Song:
    """The song of a gathered sheet, counted in its key.

    Raises
    ------
    ChartErrors
        If the sheet has no chord.
    """
    if not any(True for _ in sheet.chords):
        message = "There is no chord in this sheet that can be read."
        said = next((each for each in sheet.remarks if BRACKETED in each.text), None)
        if said is not None:
            message = said.text
        raise ChartErrors([ChartMeaningError(message, source=source)])
    _mend_repeats(sheet)
    shapes, sounding = _keys(sheet, settings)
    sections = tuple(_counted(sheet, shapes, sounding, settings.habit))
    names = [section.name for section in sections]
    order = () if sheet.visits in (names, []) else order_of(sheet.visits, sheet.aliases)
    if sheet.tempo_bpm is None:
        sheet.assumed.add("tempo")
        sheet.remark(0, 0, "guessed", f"No tempo is written; {ASSUMED_TEMPO_BPM:g} is assumed.")
    return Song(
        title=sheet.title or "Untitled",
        key=sounding,
        meter=sheet.meter,
        sections=sections,
        tempo_bpm=sheet.tempo_bpm or ASSUMED_TEMPO_BPM,
        order=order,
        minor_habit=settings.habit,
        report=tuple(sorted(sheet.remarks, key=lambda each: (each.line, each.column))),
        assumed=frozenset(sheet.assumed),
    )


def play_order(sheet: Sheet) -> None:
    """Put the order that stands on a sheet in place of that of its sections."""
    if sheet.order is None:
        return
    line, text = sheet.order
    names = [section.name for section in sheet.sections]
    try:
        items = read_order(text, 1, names, sheet.aliases)
    except SignError as error:
        sheet.remark(line, 1, "left out", f"The order is not used. {error.message}")
        return
    sheet.visits = [item.title for item in items for _ in range(item.times)]
    sheet.aliases |= {bare_name(item.called): item.name for item in items if item.called}
    played = {item.name for item in items}
    sheet.remark(line, 1, "guessed", "This line is read as the order.")
    for name in names:
        if name not in played:
            sheet.remark(line, 1, "left out", f"{name} is not in the order.")


def with_capo(song: Song, capo: int) -> Song:
    """A chart played with a capo, as it sounds: its letters are shapes, its numbers stay.

    Its key may be that of the shapes or, in letters, the one that sounds; the report says so.
    """
    if not capo:
        return song
    sheet = Sheet(key=song.key, capo=capo, sections=list(_in_letters(song)))
    if song.style is Style.NUMBERS or not any(True for _ in sheet.chords):
        sounding = _above(song.key, capo)
        _say_capo(sheet, song.key, sounding, capo)
        moved = in_key(song, sounding)
    else:
        guess = find_key(list(sheet.chords))
        shapes, sounding = _with_capo(sheet, song.key, capo, guess)
        moved = song if sounding == song.key else in_key(song, sounding)
        sections = tuple(_counted(sheet, shapes, sounding, song.minor_habit))
        moved = replace(moved, sections=sections)
    return replace(moved, report=(*sheet.remarks, *song.report))


def _in_letters(song: Song) -> Iterator[Section]:
    """The sections of a song with their chords counted from `LETTER_KEY`, as on a sheet."""
    key = song.key
    for section in song.sections:
        bars = []
        for bar in section.bars:
            key = key if bar.key_change is None else bar.key_change.from_key(key)
            bars.append(_recounted(bar, song.counted_in(key), LETTER_KEY))
        yield replace(section, bars=tuple(bars))


def _keys(sheet: Sheet, settings: SheetSettings) -> tuple[Key, Key]:
    """The key the chords are written in, and the key they sound in."""
    capo = settings.capo if settings.capo is not None else sheet.capo
    guess = find_key(list(sheet.chords))
    if settings.key is not None:
        return _below(settings.key, capo, guess), settings.key
    if sheet.key is None:
        sheet.assumed.add("key")
        sheet.remark(0, 0, "guessed", _guess_text(guess))
        return _sounding(sheet, guess.key, capo)
    if not capo:
        if guess.key != sheet.key and not guess.is_ambiguous:
            sheet.remark(
                0,
                0,
                "guessed",
                f"The sheet says {sheet.key}, and its chords sound like {guess.key}; "
                f"{sheet.key} is used.",
            )
        return sheet.key, sheet.key
    return _with_capo(sheet, sheet.key, capo, guess)


def _with_capo(sheet: Sheet, stated: Key, capo: int, guess: KeyGuess) -> tuple[Key, Key]:
    """With a capo the key on the sheet may be that of the shapes or the one that sounds."""
    is_sounding = _above(guess.key, capo).tonic.pitch_class == stated.tonic.pitch_class
    if is_sounding and guess.key.mode is stated.mode:
        shapes, sounding = guess.key, stated
    else:
        shapes, sounding = stated, _above(stated, capo)
    _say_capo(sheet, shapes, sounding, capo)
    return shapes, sounding


def _sounding(sheet: Sheet, shapes: Key, capo: int) -> tuple[Key, Key]:
    sounding = _above(shapes, capo)
    if capo:
        _say_capo(sheet, shapes, sounding, capo)
    return shapes, sounding


def _say_capo(sheet: Sheet, shapes: Key, sounding: Key, capo: int) -> None:
    sheet.remark(
        0,
        0,
        "guessed",
        f"With the capo at fret {capo} the shapes of {shapes} sound in {sounding}.",
    )


def _guess_text(guess: KeyGuess) -> str:
    ask = " Please check it." if guess.is_ambiguous else ""
    return (
        f"No key is written; from its chords it is {guess.key} "
        f"({guess.confidence:.0%} sure), or else {guess.runner_up}.{ask}"
    )


def _above(key: Key, capo: int) -> Key:
    return key if not capo else key_on(key.tonic.pitch_class + capo, key.mode)


def _below(key: Key, capo: int, guess: KeyGuess) -> Key:
    if not capo:
        return key
    shapes = key_on(key.tonic.pitch_class - capo, key.mode)
    same = guess.key.tonic.pitch_class == shapes.tonic.pitch_class and guess.key.mode is key.mode
    return guess.key if same else shapes


def _counted(sheet: Sheet, shapes: Key, sounding: Key, habit: MinorHabit) -> Iterator[Section]:
    """Sections with their chords counted in the key of their shapes, key changes as they sound."""
    key = shapes
    later = iter(_later_keys(sheet, shapes, sounding))
    for section in sheet.sections:
        bars = []
        for bar in section.bars:
            if bar.key_change is not None and bar.key_change.key is not None:
                key, change = next(later)
                bar = replace(bar, key_change=change)
            elif bar.key_change is not None:
                key = bar.key_change.from_key(key)
            bars.append(_recounted(bar, LETTER_KEY, key.number_key(habit)))
        yield replace(section, bars=tuple(bars))


def _later_keys(sheet: Sheet, shapes: Key, sounding: Key) -> Iterator[tuple[Key, KeyChange]]:
    """For each key named later on: that of its shapes, and the change as it sounds.

    With a capo a new key may be that of the shapes or the one that sounds, as at the top; its
    own chords tell, and where they do not it is meant as the first one was.
    """
    first_sounds = sheet.key is not None and sheet.key == sounding
    for stretch in _stretches_by_key(sheet.sections):
        change = stretch[0].key_change
        if change is None or change.key is None:
            continue
        named = change.key
        lowered = change_in_key(change, sounding, shapes).from_key(named)
        tonics = {key.tonic.pitch_class for key in (named, lowered)}
        chords = list(_letters(stretch))
        home = find_key(chords).key.tonic.pitch_class if chords else -1
        sounds = home == lowered.tonic.pitch_class if home in tonics else first_sounds
        if sounds:
            yield lowered, change
        else:
            higher = change_in_key(change, shapes, sounding)
            if shapes != sounding:
                sheet.remark(
                    0, 0, "guessed", f"With the capo the later {named} sounds in {higher.key}."
                )
            yield named, higher


def _stretches_by_key(sections: list[Section]) -> Iterator[list[Bar]]:
    stretch: list[Bar] = []
    for bar in (bar for section in sections for bar in section.bars):
        if bar.key_change is not None and stretch:
            yield stretch
            stretch = []
        stretch.append(bar)
    if stretch:
        yield stretch


def _letters(bars: Iterable[Bar]) -> Iterator[Chord]:
    """The chords by letters of bars that are counted from `LETTER_KEY`."""
    for bar in bars:
        for event in bar.events:
            if event.chord is not None:
                yield event.chord.in_key(LETTER_KEY)


def _recounted(bar: Bar, old: Key, new: Key) -> Bar:
    """A bar whose chords were counted in one key, counted in another."""
    events = tuple(
        event
        if event.chord is None
        else replace(event, chord=number_of(event.chord.in_key(old), new))
        for event in bar.events
    )
    return replace(bar, events=events)


def _mend_repeats(sheet: Sheet) -> None:
    for place, section in enumerate(sheet.sections):
        bars = tuple(whole_repeats(section.bars))
        if any(_has_lost(was, now) for was, now in zip(section.bars, bars, strict=True)):
            sheet.remark(
                0,
                0,
                "left out",
                f"{section.name} has a repeat or an ending without its fellow; it is played on.",
            )
        sheet.sections[place] = replace(section, bars=bars)


def _has_lost(was: Bar, now: Bar) -> bool:
    return (was.opens_repeat and not now.opens_repeat) or was.endings != now.endings


def whole_repeats(bars: Sequence[Bar]) -> list[Bar]:
    """Bars whose repeats all open and close, and whose endings come from 1 up, two at least.

    A repeat closed without being opened goes back to the one before it; any other sign without
    its fellow is taken off.
    """
    mended = list(bars)
    opened: int | None = None
    start = at = 0
    while at < len(mended):
        bar = mended[at]
        if bar.opens_repeat:
            if opened is not None:
                mended[opened] = replace(mended[opened], opens_repeat=False)
            opened = at
        if bar.endings:
            end = _end_of_endings(mended, at)
            body = start if opened is None else opened
            is_whole = body < at and _are_whole(mended[at:end])
            for place in range(at, end):
                endings = mended[place].endings if is_whole else ()
                mended[place] = replace(
                    mended[place], endings=endings, opens_repeat=False, closes_repeat=0
                )
            if body < at:
                mended[body] = replace(mended[body], opens_repeat=is_whole)
            opened, start, at = None, end, end
            continue
        if bar.closes_repeat:
            body = start if opened is None else opened
            mended[body] = replace(mended[body], opens_repeat=True)
            opened, start = None, at + 1
        at += 1
    if opened is not None:
        mended[opened] = replace(mended[opened], opens_repeat=False)
    return mended


def _end_of_endings(bars: list[Bar], at: int) -> int:
    while at < len(bars) and bars[at].endings:
        at += 1
    return at


def _are_whole(bars: list[Bar]) -> bool:
    groups = [endings for endings, _ in groupby(bar.endings for bar in bars)]
    numbers = [number for group in groups for number in group]
    return len(groups) > 1 and numbers == list(range(1, len(numbers) + 1))
