"""One take against one part, from samples to a `Hearing`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import NONE, Asked, Heard, Match, aligned, pitch_odds
from undersong.ear.evidence import Evidence, gathered
from undersong.ear.frames import listen
from undersong.ear.grid import Grid, fitted, followed, located
from undersong.ear.hearing import Hearing, HeardNote, Reference, Summary, Verdict, WorstBar
from undersong.ear.tolerance import window_ms
from undersong.ear.verdict import judged, sounding
from undersong.errors import PracticeError
from undersong.theory.part import Articulation, Part

Floats = NDArray[np.float64]


def hear(
    blocks: Iterable[NDArray[np.floating]],
    sample_rate_hz: int,
    part: Part,
    *,
    tempo_bpm: float | None = None,
    start_s: float | None = None,
    level: int = 1,
    tolerance_ms: float | None = None,
) -> Hearing:
    asked_part = part if tempo_bpm is None else part.at_tempo(tempo_bpm)
    window = tolerance_ms if tolerance_ms is not None else window_ms(asked_part, level=level)
    take = listen(blocks, sample_rate_hz)
    evidence = gathered(take)
    tempo_map = asked_part.tempo_map
    strokes = asked_part.strokes
    asked = Asked(
        np.array([tempo_map.seconds_at(stroke.at) for stroke in strokes]),
        np.array(
            [
                NONE if s.note.articulation is Articulation.GHOST else s.note.pitch.midi
                for s in strokes
            ]
        ),
    )
    index = np.array([s.index for s in strokes])
    heard = Heard(evidence.onset_s, evidence.odds, pitch_odds(evidence.scores))
    grid, match = best_alignment(asked, heard, start_s)
    onset_s = np.where(match.attack == NONE, np.nan, heard.onset_s[match.attack])
    if start_s is None:
        grid = timing_grid(asked, onset_s, grid, window)
    expected_s = grid.at(asked.grid_s)
    notes = judged(asked, index, evidence, sounding(evidence, match), expected_s)
    clean = passed(notes, window)
    return Hearing(
        clean,
        None,
        Reference.FITTED,
        window,
        asked_part.tempo_bpm / grid.ratio,
        grid.start_s,
        evidence.tuning_cents,
        notes,
        None,
        1.0,
    )


def passed(notes, window):
    if any(n.verdict in (Verdict.WRONG, Verdict.MISSED, Verdict.EXTRA) for n in notes):
        return False
    if any(n.timing_ms is not None and abs(n.timing_ms) > window for n in notes):
        return False
    if any(n.verdict is Verdict.UNSURE for n in notes):
        return None
    return True


def best_alignment(asked: Asked, heard: Heard, start_s: float | None) -> tuple[Grid, Match]:
    best = None
    grids = located(asked, heard) if start_s is None else [Grid(start_s, 1.0)]
    for grid in grids:
        for _ in range(2):
            match = aligned(asked, heard, grid.at(asked.grid_s), timing_s=0.05)
            onset_s = np.where(match.attack == NONE, np.nan, heard.onset_s[match.attack])
            grid = fitted(asked.grid_s, onset_s, grid)
        match = aligned(asked, heard, grid.at(asked.grid_s), timing_s=0.05)
        if best is None or match.score > best[1].score:
            best = (grid, match)
    grid = best[0]
    expected_s = followed(asked, heard, grid)
    return grid, aligned(asked, heard, expected_s)


def timing_grid(asked: Asked, onset_s: Floats, grid: Grid, window_ms: float) -> Grid:
    free = fitted(asked.grid_s, onset_s, grid)
    span = np.ptp(asked.grid_s)
    if abs(free.ratio - 1) * span < 0.0005 * window_ms:
        return fitted(asked.grid_s, onset_s, Grid(free.start_s, 1.0), steady=True)
    return free
