"""The climb as a drawing: passes across, tempo up, a step line as with a pencil."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from undersong.log.values import LadderState, Take
from undersong.practice.ladder import Outcome

WIDTH, HEIGHT, LEFT, STEP, MOST = 720.0, 180.0, 46.0, 22.0, 30
LEAST_WIDTH = 320.0
_SAID = {
    Outcome.CLEAN: "clean",
    Outcome.NOT_CLEAN: "not clean",
    Outcome.UNSURE: "could not tell",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One pass."""

    x: float
    y: float
    is_clean: bool
    said: str


@dataclass(frozen=True, slots=True)
class ClimbView:
    """The last passes and the next tempo; `song_y` is the song's own tempo, if it has one."""

    width: float
    height: float
    line: str
    steps: tuple[Step, ...]
    next_x: float
    next_y: float
    next_bpm: str
    rungs: tuple[tuple[float, str], ...]
    song_y: float | None
    said: str


def climb_view(takes: Sequence[Take], state: LadderState) -> ClimbView:
    """The climb so far; passes at another tempo than the climb's are left out."""
    counted = [take for take in takes if take.counted_as is not None][-MOST:]
    tempos = [take.tempo_bpm for take in counted] + [state.ladder.tempo_bpm]
    song = state.rule.song_bpm
    low = min([*tempos, song or tempos[0]]) - 5
    high = max([*tempos, song or tempos[0]]) + 5

    def y_of(bpm: float) -> float:
        return round(HEIGHT - 12 - (bpm - low) / (high - low) * (HEIGHT - 24), 1)

    xs = [LEFT + 12 + STEP * place for place in range(len(tempos))]
    points = [f"{xs[0]:g},{y_of(tempos[0])}"]
    for place in range(1, len(tempos)):
        between = xs[place] - STEP / 2
        points += [f"{between:g},{y_of(tempos[place - 1])}", f"{between:g},{y_of(tempos[place])}"]
    points.append(f"{xs[-1]:g},{y_of(tempos[-1])}")
    outcomes = [take.counted_as or take.outcome for take in counted]
    return ClimbView(
        width=min(WIDTH, max(LEAST_WIDTH, xs[-1] + 24)),
        height=HEIGHT,
        line=" ".join(points),
        steps=tuple(
            Step(x, y_of(bpm), outcome is Outcome.CLEAN, f"{bpm:g}: {_SAID[outcome]}")
            for x, bpm, outcome in zip(xs, tempos, outcomes, strict=False)
        ),
        next_x=xs[-1],
        next_y=y_of(tempos[-1]),
        next_bpm=f"{tempos[-1]:g}",
        rungs=tuple(
            (y_of(bpm), f"{bpm:g}") for bpm in sorted({*tempos, *([song] if song else [])})
        ),
        song_y=None if song is None else y_of(song),
        said=_words(tempos, outcomes, song),
    )


def _words(tempos: Sequence[float], outcomes: Sequence[Outcome], song: float | None) -> str:
    goal = f" The song goes at {song:g}." if song is not None else ""
    if not outcomes:
        return f"No pass yet. The climb begins at {tempos[-1]:g}.{goal}"
    passes = ", ".join(
        f"{bpm:g} {_SAID[outcome]}" for bpm, outcome in zip(tempos, outcomes, strict=False)
    )
    return f"The last passes: {passes}. Next: {tempos[-1]:g}.{goal}"
