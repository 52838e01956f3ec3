"""A judged pass as a page shows it: marks on the music by shape, a strip of lateness, sentences.

What is shown comes from the Hearing contract (JSON), live and from the log alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from undersong.ear import (
    HeardNote,
    Hearing,
    Reference,
    Summary,
    Verdict,
    WorstBar,
    WorstSpot,
    fault_line,
    hearing_lines,
)
from undersong.ear.passing import is_fault
from undersong.errors import TheoryError
from undersong.exchange import part_from_json
from undersong.log.values import Take
from undersong.practice.weak import WeakBar, weak_bars
from undersong.theory.part import Part
from undersong.theory.pitch import musical_signs, plain_pitch
from undersong.web.tabs import TabBar, bar_at

STROKE_PX_MS = 0.25
LONGEST_STROKE_PX, SHORTEST_SHOWN_MS = 22.0, 10.0
EXTRA_PX = 20.0  # the width of a note's name
PLOT_WIDTH, PLOT_HEIGHT, PLOT_LEFT, PLOT_TOP = 720.0, 170.0, 46.0, 20.0
PLOT_LEAST_WIDTH, PLOT_BAR_WIDTH = 320.0, 64.0  # a short part is seen whole on a phone


@dataclass(frozen=True, slots=True)
class Mark:
    """What became of one written note; `stroke` is its lateness in drawing units, early < 0."""

    verdict: str
    said: str
    heard: str
    stroke: float
    is_outside: bool


@dataclass(frozen=True, slots=True)
class Extra:
    """A note nobody asked for."""

    x: float
    heard: str
    said: str


@dataclass(frozen=True, slots=True)
class Marks:
    """Marks by the index of the written note, extra notes by the number of their bar."""

    notes: Mapping[int, Mark]
    extras: Mapping[int, Sequence[Extra]]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that was not right: its place in the hearing, and what is said of it."""

    place: int
    said: str
    put_right: bool


@dataclass(frozen=True, slots=True)
class Point:
    """One note in the strip of lateness."""

    x: float
    y: float
    is_outside: bool
    said: str


@dataclass(frozen=True, slots=True)
class Strip:
    """Bars across, lateness up (late) and down (early), the tolerance a band, drift a line."""

    width: float
    height: float
    left: float
    zero: float
    band: tuple[float, float]
    tolerance: str
    bars: tuple[tuple[float, int], ...]
    points: tuple[Point, ...]
    drift: tuple[float, float, float, float] | None
    said: str


def hearing_of(saved: Mapping[str, Any]) -> Hearing:
    """A Hearing from its documented JSON."""
    summary = dict(saved["summary"])
    summary["worst_bars"] = tuple(WorstBar(**bar) for bar in summary["worst_bars"])
    summary["worst_spots"] = tuple(WorstSpot(**spot) for spot in summary.get("worst_spots", ()))
    fields = dict(saved)
    return Hearing(
        clean=fields["clean"],
        reason=fields["reason"],
        reference=Reference(fields["reference"]),
        tolerance_ms=fields["tolerance_ms"],
        tempo_bpm=fields["tempo_bpm"],
        start_s=fields["start_s"],
        tuning_cents=fields["tuning_cents"],
        notes=tuple(
            HeardNote(**(note | {"verdict": Verdict(note["verdict"])})) for note in fields["notes"]
        ),
        summary=Summary(**summary),
        probability=fields.get("probability", 1.0),
        stopped_at=fields.get("stopped_at"),
    )


def fits(hearing: Hearing, part: Part) -> bool:
    """Whether the hearing is of this very part: the line may have been written anew since."""
    return all(
        note.index is None
        or (
            note.index < len(part.notes)
            and note.asked_midi in (None, part.notes[note.index].pitch.midi)
        )
        for note in hearing.notes
    )


def is_session(take: Take) -> bool:
    """Whether a take is practice without a script and no pass."""
    return take.hearing is not None and "passages" in take.hearing


def weak_in(takes: Sequence[Take]) -> tuple[WeakBar, ...]:
    """The weak bars of takes of one item; those of a line written anew since are left out."""
    if not takes or takes[-1].item.part is None:
        return ()
    part = part_from_json(takes[-1].item.part)
    judged = [
        take.judged
        for take in takes
        if take.hearing is not None
        and not is_session(take)
        and fits(hearing_of(take.hearing), part)
    ]
    return weak_bars(part, judged)


def spoken(hearing: Hearing, part: Part) -> list[str]:
    """The verdict, one thing to keep, one to fix, and what it was timed against."""
    return hearing_lines(hearing, part)


def marks_of(hearing: Hearing, part: Part, bars: tuple[TabBar, ...]) -> Marks:
    """The marks for the music."""
    notes: dict[int, Mark] = {}
    extras: dict[int, list[Extra]] = {}
    heard = [
        (note.onset_s, part.tempo_map.seconds_at(part.notes[note.index].at))
        for note in hearing.notes
        if note.index is not None and note.onset_s is not None
    ]
    for place, note in enumerate(hearing.notes):
        said = _said(hearing, part, place)
        if note.index is not None:
            notes[note.index] = mark_of(note, part, hearing.tolerance_ms, said)
        elif note.onset_s is not None and heard:
            s = _between(heard, note.onset_s)
            bar = bar_at(bars, s)
            x = min(bar.x_of(s), bar.width - EXTRA_PX)
            name = _name(note.heard_midi, part, None)
            extras.setdefault(bar.number, []).append(Extra(round(x, 1), name, said))
    return Marks(notes, {bar: _apart(each) for bar, each in extras.items()})


def _between(heard: Sequence[tuple[float, float]], onset_s: float) -> float:
    """Where a moment of a take falls in the music, between the notes that were heard around it.

    A player may be at another tempo, or have played a bar twice.
    """
    onsets_s, written_s = np.array(heard).T
    inside = float(np.interp(onset_s, onsets_s, written_s))
    first_s, last_s = float(onsets_s[0]), float(onsets_s[-1])
    return inside + min(0.0, onset_s - first_s) + max(0.0, onset_s - last_s)


def _apart(extras: Sequence[Extra]) -> tuple[Extra, ...]:
    """Extra notes as they can be drawn: those too close for their names are one mark."""
    runs: list[list[Extra]] = []
    for each in extras:
        if runs and each.x - runs[-1][-1].x < EXTRA_PX:
            runs[-1].append(each)
        else:
            runs.append([each])
    return tuple(
        run[0]
        if len(run) == 1
        else Extra(run[0].x, f"{len(run)} more", " ".join(each.said for each in run))
        for run in runs
    )


def mark_of(note: HeardNote, part: Part, tolerance_ms: float, said: str = "") -> Mark:
    """The mark of one asked note."""
    late = note.timing_ms or 0.0
    length = min(abs(late) * STROKE_PX_MS, LONGEST_STROKE_PX)
    return Mark(
        verdict=str(note.verdict),
        said=said,
        heard=_name(note.heard_midi, part, note.index),
        stroke=round(np.copysign(length, late), 1) if abs(late) >= SHORTEST_SHOWN_MS else 0.0,
        is_outside=abs(late) > tolerance_ms,
    )


def short_words(note: HeardNote, part: Part, tolerance_ms: float) -> str:
    """One asked note in a word or two, for somebody who is playing."""
    if note.index is None or note.verdict is Verdict.MISSED:
        return "missing"
    if note.verdict is Verdict.WRONG:
        asked = musical_signs(str(part.notes[note.index].pitch))
        return f"{_name(note.heard_midi, part, note.index)} for {asked}"
    late = note.timing_ms
    if late is None:
        return "right"
    if abs(late) <= tolerance_ms:
        return "in time"
    return f"{abs(late):.0f} ms {'late' if late > 0 else 'early'}"


def _name(midi: int | None, part: Part, index: int | None) -> str:
    if midi is None:
        return "?"
    key = part.key if index is None else part.key_at(part.notes[index].at)
    try:
        return musical_signs(str(key.spell(midi)))
    except TheoryError:
        return musical_signs(str(plain_pitch(midi)))


def _said(hearing: Hearing, part: Part, place: int) -> str:
    note = hearing.notes[place]
    if is_fault(note, hearing.tolerance_ms):
        return fault_line(note, part, before=_before(hearing, place))
    if note.index is None:
        return "Perhaps an extra note."
    bar, beat = part.place_of(part.notes[note.index].at)
    name = musical_signs(str(part.notes[note.index].pitch))
    where = f"Bar {bar}, beat {float(beat):g}: {name}"
    if note.verdict is Verdict.UNSURE:
        return f"{where}, I could not tell."
    late = note.timing_ms
    if late is None or abs(late) < 1:
        return f"{where}, right."
    return f"{where}, right, {abs(late):.0f} milliseconds {'late' if late > 0 else 'early'}."


def _before(hearing: Hearing, place: int) -> int | None:
    for note in reversed(hearing.notes[: place + 1]):
        if note.index is not None:
            return note.index
    return None


def faults_of(hearing: Hearing, part: Part, put_right: Mapping[int, str]) -> tuple[Fault, ...]:
    """All that was not right or not sure, in the order of the music."""
    return tuple(
        Fault(place, _said(hearing, part, place), place in put_right)
        for place, note in enumerate(hearing.notes)
        if is_fault(note, hearing.tolerance_ms) or note.verdict is Verdict.UNSURE
    )


def strip_of(hearing: Hearing, part: Part) -> Strip:
    """Lateness over the bars."""
    tempo = part.tempo_map
    length_s = tempo.seconds_at(part.length)
    timed = [
        (tempo.seconds_at(part.notes[n.index].at), n.timing_ms, _said(hearing, part, place))
        for place, n in enumerate(hearing.notes)
        if n.index is not None and n.timing_ms is not None
    ]
    width = min(PLOT_WIDTH, max(PLOT_LEAST_WIDTH, PLOT_LEFT + PLOT_BAR_WIDTH * len(part.bars)))
    reach_ms = max([1.5 * hearing.tolerance_ms, *(min(abs(ms), 400.0) for _, ms, _ in timed)])
    zero = PLOT_TOP + (PLOT_HEIGHT - PLOT_TOP) / 2
    unit = (PLOT_HEIGHT - PLOT_TOP) / 2 / reach_ms * 0.94

    def x_of(s: float) -> float:
        return round(PLOT_LEFT + s / length_s * (width - PLOT_LEFT - 10), 1)

    def y_of(ms: float) -> float:
        return round(zero - min(max(ms, -reach_ms), reach_ms) * unit, 1)

    drift = None
    if len(timed) >= 3:
        slope, first = np.polyfit([s for s, _, _ in timed], [ms for _, ms, _ in timed], 1)
        ends = (timed[0][0], timed[-1][0])
        ys = [y_of(float(first + slope * s)) for s in ends]
        drift = (x_of(ends[0]), ys[0], x_of(ends[1]), ys[1])
    tolerance = hearing.tolerance_ms
    return Strip(
        width=width,
        height=PLOT_HEIGHT,
        left=PLOT_LEFT,
        zero=zero,
        band=(y_of(tolerance), round(2 * tolerance * unit, 1)),
        tolerance=f"{tolerance:.0f}",
        bars=tuple((x_of(tempo.seconds_at(bar.at)), bar.number) for bar in part.bars),
        points=tuple(Point(x_of(s), y_of(ms), abs(ms) > tolerance, said) for s, ms, said in timed),
        drift=drift,
        said=_strip_words(hearing),
    )


def _strip_words(hearing: Hearing) -> str:
    summary = hearing.summary
    if summary.mean_ms is None or summary.spread_ms is None:
        return "No note could be timed."
    spread = f"{summary.spread_ms:.0f} ms either way"
    window = f"within {hearing.tolerance_ms:.0f} ms is in time"
    if hearing.reference is Reference.FITTED:
        return (
            f"{spread} of your own pulse; {window}. "
            "Timed against that pulse, the whole cannot be early or late."
        )
    way = "late" if summary.mean_ms > 0 else "early"
    return f"On the whole {abs(summary.mean_ms):.0f} ms {way}, {spread}; {window}."
