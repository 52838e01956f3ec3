"""When every sound of a part begins: notes, clicks and the count-in, in seconds.

Conventions
-----------
Seconds count from the start of the file; `start_s` is where place 0 of the part falls, so that
a listener can be told it. A count-in fills whole bars before bar 1; before a pick-up it goes on
through the beats that the pick-up bar leaves out. Clicks follow the part's own tempo changes and
swing. A beat slower than one second is subdivided (trade handbook 5.8).

The count-in gives at least four counts: one bar of 4/4 (with its eighths when slower than 66), two
bars of 3/4 or 2/4; one bar of 6/8 in six where an eighth lasts 300 ms or more, else its two big
beats twice; a cut feel (2/2) is counted in two and then in four. Trade handbook 5.8, common
practice; 300 ms is the short end of the range in which tempo is judged best [Drake & Botte 1993].
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from undersong.errors import AudioError
from undersong.theory.key import Mode
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import Articulation, Bar, Note, Part
from undersong.theory.tempo import TempoMap

SLOW_BEAT_S = 1.0
SLOW_COUNT_S = 60 / 66  # a count-in slower than this needs its eighths
SHORTEST_COUNT_S = 0.3
LEAST_COUNTS = 4
LEAD_IN_S = 0.25  # silence before the first sound
LONGEST_S = 3600.0
CUE_OCTAVE_MIDI = 72
CUE_APART_S = 0.25
# A section's call in semitones above the tonic, in the order in which sections first come; 3 stands
# for the key's own third.
CALLS = ((0, 7), (7, 12), (0, 3, 7), (12, 7), (7, 3, 0), (0, 12), (12, 7, 3))
SLIDE_S = 0.09
SLIDE_SHARE = 0.4  # of the note it leaves


class ClickPattern(StrEnum):
    """On which beats the click sounds."""

    EVERY_BEAT = "every beat"
    HALF_TIME = "1 and 3"
    TWO_AND_FOUR = "2 and 4"
    ONE = "1 only"
    EVERY_SECOND_BAR = "1 of every second bar"
    OFF_BEAT = "the off-beats"


class ClickKind(StrEnum):
    """What a click marks."""

    ACCENT = "accent"
    BEAT = "beat"
    SUBDIVISION = "subdivision"


@dataclass(frozen=True, slots=True)
class ClickPlan:
    """What the click does once the music has begun.

    `subdivided` None means: where a beat lasts longer than a second. `bars_on` bars with click are
    followed by `bars_off` without, from bar 1 on; 0 off means it never drops out.
    """

    pattern: ClickPattern = ClickPattern.EVERY_BEAT
    subdivided: bool | None = None
    bars_on: int = 4
    bars_off: int = 0

    def __post_init__(self) -> None:
        if self.bars_on < 1 or self.bars_off < 0:
            raise AudioError("A click that drops out needs at least one bar on, as in 4 on, 4 off.")

    def is_on(self, bar_number: int) -> bool:
        """True where bar `bar_number` has a click; a pick-up bar goes with bar 1."""
        turn = (max(1, bar_number) - 1) % (self.bars_on + self.bars_off)
        return turn < self.bars_on


PLAIN_CLICK = ClickPlan()


@dataclass(frozen=True, slots=True)
class NoteEvent:
    """One stroke to be sounded: when, for how long, and the written note.

    `from_midi` is the pitch it is slid or hammered from (None: struck on its own). A slide leaves
    the note before it `lead_s` early, and arrives at `onset_s`.
    """

    onset_s: float
    length_s: float
    note: Note
    from_midi: int | None = None
    lead_s: float = 0.0


@dataclass(frozen=True, slots=True)
class ClickEvent:
    """One click: when and what it marks."""

    onset_s: float
    kind: ClickKind
    counting_in: bool = False


@dataclass(frozen=True, slots=True)
class CueEvent:
    """One tone of the call on the way into a section."""

    onset_s: float
    midi: int


@dataclass(frozen=True, slots=True)
class Schedule:
    """Every sound of a part in seconds from the start of the file, in order.

    `start_s` is where place 0 of the part falls, `end_s` where its written length ends. Cues are
    calls of two or three tones of the key's chord in the last beat before each new section; a
    section has the same call each time it comes, and the next one another.
    """

    notes: tuple[NoteEvent, ...]
    clicks: tuple[ClickEvent, ...]
    start_s: float
    end_s: float
    cues: tuple[CueEvent, ...] = ()


def schedule(
    part: Part,
    *,
    tempo_bpm: float | None = None,
    count_in: bool = True,
    click: ClickPlan | None = None,
) -> Schedule:
    """Time a part.

    Parameters
    ----------
    part
        What is played.
    tempo_bpm
        Its tempo; None for the written one. Later tempo changes keep their proportion.
    count_in
        Whether clicks are counted in before it.
    click
        The click under the music; None for none.

    Raises
    ------
    AudioError
        If the part is empty or lasts longer than an hour.
    """
    if part.length == 0:
        raise AudioError(f"{part.title!r} has no notes and no length: there is nothing to play.")
    played = part if tempo_bpm is None else part.at_tempo(tempo_bpm)
    tempo = played.tempo_map
    before = _count_in_counts(played, tempo) if count_in else ()
    start_s = LEAD_IN_S - (tempo.seconds_at(before[0][0]) if before else 0.0)
    end_s = start_s + tempo.seconds_at(played.length)
    if end_s > LONGEST_S:
        raise AudioError(f"{part.title!r} would last {end_s / 60:.0f} min: an hour is the most.")
    clicks = [
        ClickEvent(start_s + tempo.seconds_at(at), kind, counting_in=True) for at, kind in before
    ]
    if click is not None:
        clicks.extend(
            ClickEvent(start_s + tempo.seconds_at(at), kind)
            for bar in played.bars
            if click.is_on(bar.number)
            for at, kind in _bar_clicks(bar, click, tempo)
        )
    notes, cues = _note_events(played, tempo, start_s), _cue_events(played, tempo, start_s)
    return Schedule(notes, tuple(clicks), start_s, end_s, cues)


def _cue_events(part: Part, tempo: TempoMap, start_s: float) -> tuple[CueEvent, ...]:
    cues: list[CueEvent] = []
    names = list(dict.fromkeys(section.name.casefold() for section in part.sections))
    for section in part.sections:
        if section.at == 0 or section.at > part.length:
            continue
        key = part.key_at(section.at)
        tonic, third = CUE_OCTAVE_MIDI + key.tonic.pitch_class, 4 if key.mode is Mode.MAJOR else 3
        call = CALLS[names.index(section.name.casefold()) % len(CALLS)]
        beat_s = _span_s(tempo, section.at - part.meter.beat, section.at)
        begin_s = start_s + tempo.seconds_at(section.at) - beat_s
        apart_s = min(beat_s / len(call), CUE_APART_S)
        cues += [
            CueEvent(begin_s + turn * apart_s, tonic + (third if step == 3 else step))
            for turn, step in enumerate(call)
        ]
    return tuple(cues)


def _note_events(part: Part, tempo: TempoMap, start_s: float) -> tuple[NoteEvent, ...]:
    events: list[NoteEvent] = []
    strokes = part.strokes
    for index, stroke in enumerate(strokes):
        onset_s = start_s + tempo.seconds_at(stroke.at)
        length_s = start_s + tempo.seconds_at(stroke.end) - onset_s
        before = strokes[index - 1] if index else None
        joined = (
            stroke.note.articulation in (Articulation.SLIDE, Articulation.HAMMERED)
            and before is not None
            and before.end == stroke.at
        )
        lead_s = 0.0
        if joined and stroke.note.articulation is Articulation.SLIDE:
            left = events[-1]
            lead_s = min(SLIDE_S, SLIDE_SHARE * left.length_s)
            events[-1] = NoteEvent(
                left.onset_s, left.length_s - lead_s, left.note, left.from_midi, left.lead_s
            )
        from_midi = before.note.pitch.midi if joined and before is not None else None
        events.append(NoteEvent(onset_s, length_s, stroke.note, from_midi, lead_s))
    return tuple(events)


def _count_in_counts(part: Part, tempo: TempoMap) -> tuple[tuple[Wholes, ClickKind], ...]:
    """Places (before 0) and kinds of the counts before a part."""
    meter = part.meter
    first_bar = part.pickup - meter.bar if part.pickup else Fraction(0)
    bars = _count_in_bars(meter, _span_s(tempo, Fraction(0), meter.beat))
    counts: list[tuple[Wholes, ClickKind]] = []
    for number, counting in enumerate(bars):
        at = first_bar - (len(bars) - number) * meter.bar
        counts.extend(_counts(at, at + meter.bar, counting))
    if part.pickup:
        counts.extend(_counts(first_bar, Fraction(0), bars[-1]))
    return tuple(counts)


@dataclass(frozen=True, slots=True)
class _Counting:
    """How one bar is counted in: one count each `step`, a beat each `beat`."""

    step: Wholes
    beat: Wholes


def _count_in_bars(meter: Meter, beat_s: float) -> list[_Counting]:
    if meter == Meter(2, 2):
        half = meter.beat / 2
        return [_Counting(meter.beat, meter.beat), _Counting(half, half)]
    if meter.is_compound:
        in_six = beat_s / _parts_of_beat(meter) >= SHORTEST_COUNT_S
        step = meter.beat / _parts_of_beat(meter) if in_six else meter.beat
        counts = meter.bar / step
    else:
        step = meter.beat / _parts_of_beat(meter) if beat_s > SLOW_COUNT_S else meter.beat
        counts = meter.bar / meter.beat
    return [_Counting(step, meter.beat)] * -(-LEAST_COUNTS // int(counts))


def _parts_of_beat(meter: Meter) -> int:
    return 3 if meter.is_compound else 2


def _counts(bar_at: Wholes, end: Wholes, counting: _Counting) -> Iterator[tuple[Wholes, ClickKind]]:
    at = bar_at
    while at < end:
        if at == bar_at:
            yield at, ClickKind.ACCENT
        else:
            on_beat = (at - bar_at) % counting.beat == 0
            yield at, ClickKind.BEAT if on_beat else ClickKind.SUBDIVISION
        at += counting.step


def _bar_clicks(bar: Bar, plan: ClickPlan, tempo: TempoMap) -> Iterator[tuple[Wholes, ClickKind]]:
    """Clicks of one bar of the music; a pick-up bar has only its last beats."""
    meter = bar.meter
    bar_at = bar.at + bar.length - meter.bar if bar.number == 0 else bar.at
    parts = _parts_of_beat(meter)
    for beat in range(meter.beats):
        at = bar_at + beat * meter.beat
        kind = _pattern_kind(plan.pattern, beat, meter, bar.number)
        shift = meter.beat / 2 if plan.pattern is ClickPattern.OFF_BEAT else Fraction(0)
        if kind is not None and bar.at <= at + shift < bar.at + bar.length:
            yield at + shift, kind
        if plan.pattern is not ClickPattern.EVERY_BEAT:
            continue
        slow = _span_s(tempo, at, at + meter.beat) > SLOW_BEAT_S
        if slow if plan.subdivided is None else plan.subdivided:
            for place in range(1, parts):
                inner = at + place * meter.beat / parts
                if bar.at <= inner < bar.at + bar.length:
                    yield inner, ClickKind.SUBDIVISION


def _pattern_kind(
    pattern: ClickPattern, beat: int, meter: Meter, bar_number: int
) -> ClickKind | None:
    """What beat number `beat` (0 is the bar line) gets; None is silence.

    In three, "1 and 3" is the 1 alone and "2 and 4" are the 2 and the 3.
    """
    accent = ClickKind.ACCENT if beat == 0 else ClickKind.BEAT
    even = meter.beats % 2 == 0
    match pattern:
        case ClickPattern.EVERY_BEAT:
            return accent
        case ClickPattern.HALF_TIME:
            heard = beat % 2 == 0 if even and meter.beats > 2 else beat == 0
        case ClickPattern.TWO_AND_FOUR:
            return ClickKind.BEAT if (beat % 2 if even else beat) else None
        case ClickPattern.OFF_BEAT:
            return ClickKind.BEAT
        case ClickPattern.ONE:
            heard = beat == 0
        case ClickPattern.EVERY_SECOND_BAR:
            heard = beat == 0 and bar_number % 2 == 1
    return accent if heard else None


def _span_s(tempo: TempoMap, start: Wholes, end: Wholes) -> float:
    return tempo.seconds_at(end) - tempo.seconds_at(start)
