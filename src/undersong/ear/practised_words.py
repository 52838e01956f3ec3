"""What was practised, in figures for each bar, as JSON, and in sentences."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from undersong.ear.practised import BarPlayed, Passage, Practised
from undersong.theory.part import Part

MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class BarFigures:
    """One bar over a session.

    Attributes
    ----------
    clean
        Times without a fault.
    slowest_bpm, fastest_bpm
        Of all times it was played.
    fastest_clean_bpm
        None where it never was clean.
    last_clean
        Whether the last time was clean; None where that could not be told.
    """

    bar: int
    played: int
    clean: int
    slowest_bpm: float
    fastest_bpm: float
    fastest_clean_bpm: float | None
    last_clean: bool | None


def bar_figures(session: Practised) -> tuple[BarFigures, ...]:
    """Every bar that was played, in order of its number."""
    by_bar: dict[int, list[BarPlayed]] = {}
    for each in session.bars:
        by_bar.setdefault(each.bar, []).append(each)
    return tuple(_figures(bar, by_bar[bar]) for bar in sorted(by_bar))


def _figures(bar: int, times: list[BarPlayed]) -> BarFigures:
    clean_bpm = [each.tempo_bpm for each in times if each.clean]
    return BarFigures(
        bar=bar,
        played=len(times),
        clean=len(clean_bpm),
        slowest_bpm=min(each.tempo_bpm for each in times),
        fastest_bpm=max(each.tempo_bpm for each in times),
        fastest_clean_bpm=max(clean_bpm, default=None),
        last_clean=times[-1].clean,
    )


def practised_json(session: Practised, part: Part) -> dict[str, object]:
    """The documented JSON form: plain values, stable keys, rounded to what can be measured."""
    return {
        "reason": session.reason,
        "length_s": round(session.length_s, 2),
        "playing_s": round(session.playing_s, 2),
        "passages": [_passage_json(each, part) for each in session.passages],
        "bars": [
            {
                **_rounded(asdict(figures)),
                "times": [_rounded(asdict(each)) for each in session.of_bar(figures.bar)],
            }
            for figures in bar_figures(session)
        ],
    }


def _passage_json(passage: Passage, part: Part) -> dict[str, object]:
    values = _rounded(asdict(passage))
    return {
        **values,
        "first_bar": part.place_of(part.notes[passage.first].at)[0],
        "last_bar": part.place_of(part.notes[passage.last].at)[0],
        "faults": passage.faults,
        "notes": [_rounded(asdict(note)) for note in passage.notes],
    }


def _rounded(values: dict[str, object]) -> dict[str, object]:
    return {
        key: round(value, 4) if isinstance(value, float) else value for key, value in values.items()
    }


def practised_lines(session: Practised, part: Part) -> list[str]:
    """How much was played, every bar in a line, what needs work and what was left out."""
    if session.reason is not None:
        return [f"I could not judge this: {session.reason[:1].lower() + session.reason[1:]}"]
    if not session.passages:
        return [f"I heard nothing of {part.title!r} in this recording."]
    count = len(session.passages)
    lines = [
        f"{_minutes(session.playing_s)} of {_minutes(session.length_s)} spent on it, "
        f"in {count} {'passage' if count == 1 else 'passages'}."
    ]
    figures = bar_figures(session)
    lines += [_bar_line(each) for each in figures]
    worst = sorted(
        (each for each in figures if each.clean < each.played),
        key=lambda each: (each.clean / each.played, -each.played, each.bar),
    )
    if worst:
        named = ", ".join(str(each.bar) for each in worst[:MOST_NAMED])
        lines.append(f"Least often clean: {'bar' if len(worst) == 1 else 'bars'} {named}.")
    left_out = _runs(sorted({bar.number for bar in part.bars} - {each.bar for each in figures}))
    if left_out:
        lines.append(f"Not played: {left_out}.")
    return lines


def _bar_line(bar: BarFigures) -> str:
    often = "once" if bar.played == 1 else f"{bar.played} times"
    slowest, fastest = round(bar.slowest_bpm), round(bar.fastest_bpm)
    tempo = f"at {slowest}" if slowest == fastest else f"at {slowest} to {fastest}"
    line = f"Bar {bar.bar}: {often} {tempo}, {bar.clean} clean"
    if bar.fastest_clean_bpm is not None and slowest != fastest:
        line += f" (up to {bar.fastest_clean_bpm:.0f})"
    return line + "."


def _minutes(length_s: float) -> str:
    minutes, seconds = divmod(round(length_s), 60)
    return f"{minutes} min {seconds:02d} s" if minutes else f"{seconds} s"


def _runs(bars: list[int]) -> str:
    """Numbers as a musician lists bars: ``bars 3, 7 to 9``."""
    runs: list[list[int]] = []
    for bar in bars:
        if runs and bar == runs[-1][1] + 1:
            runs[-1][1] = bar
        else:
            runs.append([bar, bar])
    named = ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in runs)
    return f"{'bar' if len(bars) == 1 else 'bars'} {named}" if bars else ""
