"""A session of practice without a script, as a page shows it: bars by times, and when each was.

Conventions
-----------
A session is kept in the log as a take that moves no climb: it has the documented form of
`practised_json` in the place of a hearing, without the notes of its passages. Drawing units are
CSS pixels; time runs across, the bars of the part down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from undersong.ear.practised import BarPlayed, Passage, Practised
from undersong.ear.practised_words import BarFigures, bar_figures, practised_json, practised_lines
from undersong.log.values import Take
from undersong.theory.part import Part
from undersong.web.pages import fragment

WIDTH, LEFT, TOP, BOTTOM = 720.0, 46.0, 8.0, 26.0
LEAST_HEIGHT, MOST_HEIGHT, BAR_HEIGHT, LEAST_STROKE = 90.0, 460.0, 16.0, 3.0
MINUTE_S = 60.0
LEAST_WIDTH, MINUTE_WIDTH = 320.0, 64.0  # a short session is seen whole on a phone
MOST_MINUTES_NAMED = 10
_NOT_KEPT = ("first_bar", "last_bar", "faults")


@dataclass(frozen=True, slots=True)
class Stroke:
    """One time a bar was played: from when to when, how high it stands, whether it was clean."""

    x: float
    width: float
    y: float
    is_clean: bool
    said: str


@dataclass(frozen=True, slots=True)
class SessionPlot:
    """The session drawn: every bar played at its time."""

    width: float
    height: float
    left: float
    strokes: tuple[Stroke, ...]
    bars: tuple[tuple[float, int], ...]
    minutes: tuple[tuple[float, str], ...]
    said: str


def kept_session(session: Practised, part: Part) -> dict[str, object]:
    """What is kept of a session: all of its JSON but the notes, which are thousands."""
    document = practised_json(session, part)
    passages = document["passages"]
    assert isinstance(passages, list)
    return document | {"passages": [{**each, "notes": []} for each in passages]}


def session_of(saved: Mapping[str, Any]) -> Practised:
    """A session from what was kept of it."""
    passages = [
        {key: value for key, value in each.items() if key not in _NOT_KEPT} | {"notes": ()}
        for each in saved["passages"]
    ]
    times = [BarPlayed(**each) for bar in saved["bars"] for each in bar["times"]]
    return Practised(
        reason=saved["reason"],
        length_s=saved["length_s"],
        playing_s=saved["playing_s"],
        passages=tuple(Passage(**each) for each in passages),
        bars=tuple(sorted(times, key=lambda each: each.start_s)),
    )


def session_html(take: Take, part: Part, lost: Sequence[str] = ()) -> Markup:
    """What was practised, as a piece of a page."""
    assert take.hearing is not None
    session = session_of(take.hearing)
    figures = bar_figures(session)
    head, *rest = practised_lines(session, part)
    return fragment(
        "session.html",
        take=take,
        head=head,
        lines=[*rest[len(figures) :], *lost],
        rows=[_row(each) for each in figures],
        plot=session_plot(session, part) if figures else None,
    )


def _row(bar: BarFigures) -> dict[str, object]:
    slowest, fastest = round(bar.slowest_bpm), round(bar.fastest_bpm)
    return {
        "bar": bar.bar,
        "played": bar.played,
        "clean": bar.clean,
        "tempo": f"{slowest}" if slowest == fastest else f"{slowest} to {fastest}",
        "fastest_clean": "" if bar.fastest_clean_bpm is None else f"{bar.fastest_clean_bpm:.0f}",
        "last": {True: "clean", False: "not clean", None: "could not tell"}[bar.last_clean],
    }


def session_plot(session: Practised, part: Part) -> SessionPlot:
    """Time across, bars down: what was gone over again and again stands out."""
    numbers = [bar.number for bar in part.bars]
    height = min(MOST_HEIGHT, max(LEAST_HEIGHT, TOP + BOTTOM + BAR_HEIGHT * len(numbers)))
    row = (height - TOP - BOTTOM) / len(numbers)
    width = min(WIDTH, max(LEAST_WIDTH, LEFT + MINUTE_WIDTH * session.length_s / MINUTE_S))
    across = (width - LEFT - 10) / max(session.length_s, 1.0)

    def y_of(bar: int) -> float:
        return round(TOP + (bar - numbers[0] + 0.5) * row, 1)

    strokes = [
        Stroke(
            x=round(LEFT + each.start_s * across, 1),
            width=round(max(LEAST_STROKE, (each.end_s - each.start_s) * across), 1),
            y=y_of(each.bar),
            is_clean=each.clean is True,
            said=f"bar {each.bar} at {each.tempo_bpm:.0f}, {_how(each)}",
        )
        for each in session.bars
    ]
    every = max(1, round(20 / row))
    step = max(1, round(session.length_s / MINUTE_S / MOST_MINUTES_NAMED))
    minutes = range(0, int(session.length_s / MINUTE_S) + 1, step)
    return SessionPlot(
        width=round(width, 1),
        height=round(height, 1),
        left=LEFT,
        strokes=tuple(strokes),
        bars=tuple((y_of(bar), bar) for bar in numbers[::every]),
        minutes=tuple((round(LEFT + n * MINUTE_S * across, 1), f"{n} min") for n in minutes),
        said=_plot_words(session.bars),
    )


def _how(bar: BarPlayed) -> str:
    return {True: "clean", False: "not clean", None: "could not tell"}[bar.clean]


def _plot_words(bars: Sequence[BarPlayed]) -> str:
    clean = sum(each.clean is True for each in bars)
    return f"{len(bars)} bars played one after another, {clean} of them clean."
