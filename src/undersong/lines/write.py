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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from undersong.chart.song import Song
from undersong.lines.asked import Asked, BarWish, check, level_of, no_such_bar
from undersong.lines.desk import Desk
from undersong.lines.feel import Feel
from undersong.lines.figures import Figure, Kind
from undersong.lines.levels import LOWEST_LEVEL
from undersong.lines.report import FOUR_STRINGS, LineReport, fast_shifts, report_on
from undersong.lines.score import score_of
from undersong.lines.search import Choice, best_line
from undersong.lines.targets import (
    Touch,
)
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
    score = score_of(song, asked.feel)
    check(score, asked)
    desk = Desk(score, asked, instrument, weights)
    simpler: dict[int, str] = {}
    is_done = False
    while not is_done:
        line = _with_ideas(desk, desk.choices())
        part = score.part(_notes(desk, line), Voice.BASS)
        fingering = finger_part(part, instrument)
        hard = fast_shifts(fingering, instrument, over_mm_s=FASTEST_SHIFT_MM_S)
        is_done = not _made_simpler(desk, hard, simpler)
    report = report_on(fingering, instrument, asked.level)
    return LineSheet(
        fingering.part,
        report,
        asked,
        instrument,
        _ideas(desk, line),
        tuple(simpler[number] for number in sorted(simpler)),
        fingering,
        weights,
    )


def _made_simpler(
    desk: Desk, hard: Sequence[tuple[Wholes, Wholes]], remarks: dict[int, str]
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
        found = next((index for index in both if desk.can_be_simpler(index)), None)
        number = bars[both[1] if found is None else found].number
        if found is None:
            remarks[number] = f"Bar {number} asks for a shift faster than most hands can move."
        else:
            lower.add(found)
            remarks[number] = f"Bar {number} is written simpler: there is no time for the shift."
    for index in lower:
        desk.levels[index] -= 1
    return bool(lower)


def _with_ideas(desk: Desk, choices: list[Choice]) -> tuple[Figure, ...]:
    """The best line, then, where bars want another idea, the best line around those."""
    line = best_line(choices, desk.weights)
    wanted = {number: wish.idea for number, wish in desk.asked.bars if wish.idea}
    if not wanted:
        return line
    for index, bar in enumerate(desk.score.bars):
        if bar.number in wanted:
            places = [i for i, choice in enumerate(choices) if choice.bar == index]
            _force_idea(choices, line, places, wanted[bar.number])
    return best_line(choices, desk.weights)


def _force_idea(
    choices: list[Choice], line: Sequence[Figure], places: Sequence[int], idea: int
) -> None:
    """Leave one slot of a bar its idea alone: the slot with the most to choose from."""
    if not places:
        return
    place = max(places, key=lambda each: (len(choices[each].figures), each))
    own = line[place]
    ranked = sorted(
        (each for each in choices[place].figures if each.signature != own.signature),
        key=choices[place].points,
    )
    chosen = [own, *ranked][idea % (len(ranked) + 1)]
    # A leader's choice stands whatever came shortly before it, so it counts as plain.
    forced = replace(chosen, kind=Kind.PLAIN)
    choices[place] = replace(choices[place], figures=(forced,))


def _notes(desk: Desk, line: Sequence[Figure]) -> tuple[Note, ...]:
    notes: list[Note] = []
    for target, figure in zip(desk.targets, line, strict=True):
        bar_at = desk.score.bars[target.bar].at
        dynamic = desk.score.plans[target.bar].dynamic
        notes.extend(
            Note(
                at=bar_at + tone.at,
                length=tone.length,
                pitch=tone.name.with_midi(tone.midi),
                degree=target.key.degree_of(tone.name),
                chord=target.chord,
                articulation=tone.articulation,
                dynamic=dynamic,
                accented=target.touch is Touch.STOPPED and tone is figure.tones[0],
                why=tone.why,
            )
            for tone in figure.tones
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
