"""A bass line for a chart, playable and explained.

The notes the chart asks for, the best figures between them, a hand that can play it, and a
reason for every note.

The road of a line: plan the bars (plan.py), find the targets and their octaves (targets.py),
gather the figures each slot allows at its level (ideas.py, flights.py), search the cheapest line
(search.py), finger it (neck), report on it (report.py). A leader's wishes, bar by bar, come in
as `BarWish`es: another level, another idea, or notes pinned as they are.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from undersong.chart.song import Song
from undersong.lines.asked import Asked, BarWish, check, level_of, no_such_bar
from undersong.lines.desk import Desk
from undersong.lines.feel import Feel
from undersong.lines.figures import Figure, Kind
from undersong.lines.levels import LOWEST_LEVEL, MELODY
from undersong.lines.report import FOUR_STRINGS, LineReport, fast_shifts, report_on
from undersong.lines.score import feel_remarks, score_of
from undersong.lines.search import Choice, best_line
from undersong.lines.targets import Touch
from undersong.lines.walk import plain_degree_name, readable
from undersong.lines.weights import WEIGHTS, LineWeights
from undersong.neck.fingering import Fingering, finger_part
from undersong.neck.instrument import Instrument
from undersong.theory.meter import Wholes
from undersong.theory.part import Note, Part, Voice

FASTEST_SHIFT_MM_S = 2500.0  # common practice, no source: a setting, not a measurement


@dataclass(frozen=True, slots=True)
class LineSheet:
    """A finished line.

    `ideas` says for each played bar what is done there; `remarks` what a leader should know.
    """

    part: Part
    report: LineReport
    asked: Asked
    instrument: Instrument
    ideas: tuple[str, ...]
    remarks: tuple[str, ...]
    fingering: Fingering = field(repr=False)
    weights: LineWeights = field(default=WEIGHTS, repr=False)


def write_line(
    song: Song,
    *,
    level: int,
    instrument: Instrument = FOUR_STRINGS,
    seed: int = 1,
    feel: Feel | None = None,
    section_levels: Mapping[str, int] | None = None,
    bars: Mapping[int, BarWish] | None = None,
    weights: LineWeights = WEIGHTS,
) -> LineSheet:
    """A bass line for a whole song, fingered and explained.

    Parameters
    ----------
    song
        The chart.
    level
        1 (held roots) to 6 (melodic lines); see `LEVELS`.
    instrument
        The neck and the hand that will play it.
    seed
        1 is the line of least cost; another number turns near equals round: another idea.
        The same seed gives the same line.
    feel
        Overrides the chart's own.
    section_levels
        A level for sections by name, letter case aside.
    bars
        Wishes by bar number as played (1 is the first full bar, 0 a pick-up).
    weights
        The costs of the search.

    Raises
    ------
    LineError
        If there is no such level, section or bar.
    UnplayableError
        If the instrument lacks a note of the chart in every octave.
    """
    asked = Asked(
        level,
        seed,
        feel,
        tuple(sorted((section_levels or {}).items())),
        tuple(sorted((bars or {}).items(), key=lambda each: each[0])),
    )
    return _written(song, asked, instrument, weights)


def another_idea(song: Song, sheet: LineSheet, bar: int) -> LineSheet:
    """The same line with the next idea for one bar; after the last idea, the first again."""
    wish = sheet.asked.wish(bar)
    return _asked_again(song, sheet, bar, replace(wish, idea=wish.idea + 1, pinned=None))


def simplify_bar(song: Song, sheet: LineSheet, bar: int) -> LineSheet:
    """The same line with one bar a level lower, down to held roots."""
    wish = sheet.asked.wish(bar)
    score = score_of(song, sheet.asked.feel)
    now = wish.level
    if now is None:
        plan = next((each for each in score.plans if each.played.number == bar), None)
        now = sheet.asked.level if plan is None else level_of(plan, sheet.asked)
    lower = max(now - 1, LOWEST_LEVEL)
    return _asked_again(song, sheet, bar, BarWish(level=lower))


def pin_bar(song: Song, sheet: LineSheet, bar: int) -> LineSheet:
    """The same line with one bar's notes kept, whatever else is asked for later."""
    score = score_of(song, sheet.asked.feel)
    played = next((each for each in score.bars if each.number == bar), None)
    if played is None:
        raise no_such_bar(bar, score)
    end = played.at + played.length
    kept = tuple(
        replace(note, at=note.at - played.at)
        for note in sheet.part.notes
        if played.at <= note.at < end
    )
    return _asked_again(song, sheet, bar, replace(sheet.asked.wish(bar), pinned=kept))


def free_bar(song: Song, sheet: LineSheet, bar: int) -> LineSheet:
    """The same line with every wish for one bar taken back."""
    return _asked_again(song, sheet, bar, None)


def _asked_again(song: Song, sheet: LineSheet, bar: int, wish: BarWish | None) -> LineSheet:
    return _written(song, sheet.asked.with_wish(bar, wish), sheet.instrument, sheet.weights)


def _written(song: Song, asked: Asked, instrument: Instrument, weights: LineWeights) -> LineSheet:
    pins = tuple((bar, wish) for bar, wish in asked.bars if wish.pinned is not None)
    score = score_of(song, asked.feel)
    check(score, asked)
    ground = _ground(song, replace(asked, bars=pins), instrument, weights)
    desk = Desk(score, asked, instrument, weights)
    desk.levels = list(ground.levels)
    line, fingering, simpler = ground.line, ground.fingering, dict(ground.simpler)
    wished = _wished_bars(desk)
    if wished:
        line, fingering = _playable(
            desk, lambda: _with_wishes(desk, ground.line, wished), wished, simpler
        )
    report = report_on(fingering, instrument, asked.level)
    return LineSheet(
        fingering.part,
        report,
        asked,
        instrument,
        _ideas(desk, line),
        (*feel_remarks(score), *(simpler[number] for number in sorted(simpler))),
        fingering,
        weights,
    )


@dataclass(frozen=True, slots=True)
class _Ground:
    """A line before any bar of it is wished otherwise: figures, levels by bar, remarks by bar."""

    line: tuple[Figure, ...]
    levels: tuple[int, ...]
    simpler: tuple[tuple[int, str], ...]
    fingering: Fingering


@lru_cache(maxsize=32)  # a leader wishes bar after bar of one line
def _ground(song: Song, asked: Asked, instrument: Instrument, weights: LineWeights) -> _Ground:
    desk = Desk(score_of(song, asked.feel), asked, instrument, weights)
    simpler: dict[int, str] = {}
    every = range(len(desk.score.bars))
    line, fingering = _playable(desk, lambda: best_line(desk.choices(), weights), every, simpler)
    return _Ground(line, tuple(desk.levels), tuple(simpler.items()), fingering)


def _playable(
    desk: Desk,
    find: Callable[[], tuple[Figure, ...]],
    may_change: Sequence[int],
    remarks: dict[int, str],
) -> tuple[tuple[Figure, ...], Fingering]:
    """A line and its fingering; bars that `may_change` fall in level till the hand can follow."""
    while True:
        line = find()
        part = desk.score.part(_notes(desk, line), Voice.BASS)
        fingering = finger_part(part, desk.instrument)
        hard = fast_shifts(fingering, desk.instrument, over_mm_s=FASTEST_SHIFT_MM_S)
        if not _made_simpler(desk, hard, may_change, remarks):
            return line, fingering


def _made_simpler(
    desk: Desk,
    hard: Sequence[tuple[Wholes, Wholes]],
    may_change: Sequence[int],
    remarks: dict[int, str],
) -> bool:
    """Lower the level of bars the hand cannot leave in time; False where none can be lowered.

    The bar of the note that is left comes first, then the bar that is reached. A bar's level
    falls at most five times, so that asking again comes to an end.
    """
    bars = desk.score.bars
    starts = [bar.at for bar in bars]
    lower: set[int] = set()
    for left, reached in hard:
        both = [bisect_right(starts, place) - 1 for place in (left, reached)]
        can = [index for index in both if index in may_change and desk.can_be_simpler(index)]
        number = bars[can[0] if can else both[1]].number
        if can:
            lower.add(can[0])
            remarks[number] = f"Bar {number} is written simpler: there is no time for the shift."
        else:
            remarks[number] = f"Bar {number} asks for a shift faster than most hands can move."
    for index in lower:
        desk.levels[index] -= 1
    return bool(lower)


def _wished_bars(desk: Desk) -> list[int]:
    """Indices of the bars that a leader wants otherwise, each at the level asked for it."""
    wished = []
    for index, bar in enumerate(desk.score.bars):
        wish = desk.asked.wish(bar.number)
        if wish.pinned is None and (wish.idea or wish.level is not None):
            wished.append(index)
            desk.levels[index] = desk.levels[index] if wish.level is None else wish.level
    return wished


def _with_wishes(desk: Desk, line: tuple[Figure, ...], wished: Sequence[int]) -> tuple[Figure, ...]:
    """The line with the bars a leader wants otherwise; no other bar changes.

    One bar after another: the best there is at its level between the bars around it as they
    are, then the idea that was asked for.
    """
    offered = desk.choices()
    for index in wished:
        places = [place for place, choice in enumerate(offered) if choice.bar == index]
        wish = desk.asked.wish(desk.score.bars[index].number)
        if places and wish.level is not None:
            line = best_line(_only(offered, line, index, wished), desk.weights)
        if places and wish.idea:
            line = _with_idea(offered, line, places, wish.idea)
    return line


def _only(
    offered: Sequence[Choice], line: Sequence[Figure], bar: int, wished: Sequence[int]
) -> list[Choice]:
    """What may still change is one bar alone; all others have nothing but what they play.

    What another wished bar plays may be of a higher level than it is asked to have by now.
    """
    return [
        choice
        if choice.bar == bar
        else replace(
            choice,
            figures=(line[place],),
            level=MELODY if choice.bar in wished else choice.level,
        )
        for place, choice in enumerate(offered)
    ]


def _with_idea(
    offered: Sequence[Choice], line: tuple[Figure, ...], places: Sequence[int], idea: int
) -> tuple[Figure, ...]:
    """Another idea in one slot of a bar, the one with the most to choose from.

    A leader's choice stands whatever came shortly before it, so it counts as plain.
    """
    place = max(places, key=lambda each: (len(offered[each].figures), each))
    own = line[place]
    ranked = sorted(
        (each for each in offered[place].figures if each.signature != own.signature),
        key=offered[place].points,
    )
    chosen = [own, *ranked][idea % (len(ranked) + 1)]
    return (*line[:place], replace(chosen, kind=Kind.PLAIN), *line[place + 1 :])


def _notes(desk: Desk, line: Sequence[Figure]) -> tuple[Note, ...]:
    notes: list[Note] = []
    for target, figure in zip(desk.targets, line, strict=True):
        bar_at = desk.score.bars[target.bar].at
        dynamic = desk.score.plans[target.bar].dynamic
        notes.extend(
            Note(
                at=bar_at + tone.at,
                length=tone.length,
                pitch=readable(name, target.chord, target.key).with_midi(tone.midi),
                degree=target.key.degree_of(name),
                chord=target.chord,
                articulation=tone.articulation,
                dynamic=dynamic,
                accented=target.touch is Touch.STOPPED and tone is figure.tones[0],
                why=tone.why,
            )
            for tone in figure.tones
            for name in [plain_degree_name(tone.name, target.chord, target.key)]
        )
    return _with_pins(desk, notes)


def _with_pins(desk: Desk, notes: list[Note]) -> tuple[Note, ...]:
    """Pinned bars in place of what was written there; notes end where the next begins."""
    for bar in desk.score.bars:
        pinned = desk.asked.wish(bar.number).pinned
        if pinned is None:
            continue
        end = bar.at + bar.length
        notes = [note for note in notes if not bar.at <= note.at < end]
        notes.extend(replace(note, at=note.at + bar.at) for note in pinned)
    notes.sort(key=lambda note: note.at)
    trimmed = []
    ends = [*(note.at for note in notes[1:]), desk.score.length]
    for note, until in zip(notes, ends, strict=bool(notes)):
        trimmed.append(replace(note, length=min(note.length, until - note.at)))
    return tuple(trimmed)


def _ideas(desk: Desk, line: Sequence[Figure]) -> tuple[str, ...]:
    """What is done in each played bar, in words."""
    said: list[list[str]] = [[] for _ in desk.score.bars]
    for target, figure in zip(desk.targets, line, strict=True):
        if figure.idea not in said[target.bar]:
            said[target.bar].append(figure.idea)
    words = []
    for bar, ideas in zip(desk.score.bars, said, strict=True):
        if desk.asked.wish(bar.number).pinned is not None:
            words.append("pinned")
        elif bar.is_out:
            words.append("bass out")
        else:
            words.append("; ".join(ideas) if ideas else "silence")
    return tuple(words)
