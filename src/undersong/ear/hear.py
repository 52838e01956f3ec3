"""One take against one part, from samples to a `Hearing`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from undersong.ear.align import (
    NONE,
    REACH_S,
    Asked,
    Heard,
    Match,
    aligned,
    aligned_each,
    pitch_odds,
)
from undersong.ear.attack import attacks
from undersong.ear.evidence import Evidence, Sound, kept_of, weighed
from undersong.ear.frames import Take, listen
from undersong.ear.grid import Grid, fitted, followed, located, on_click, timing_grid
from undersong.ear.hearing import HeardNote, Hearing, Reference, Verdict
from undersong.ear.lengths import with_lengths
from undersong.ear.passing import passed, stopped_before
from undersong.ear.pitch import MIDIS
from undersong.ear.refusal import (
    ANOTHER_PIECE,
    BLUR,
    SHIFTED_SHARE,
    blurred,
    crowded,
    is_guessed,
    never_begun,
    nothing_fits,
    recognised,
    shifted,
    unheard,
    unlike,
    withdrawn,
)
from undersong.ear.slid import with_arrivals
from undersong.ear.summary import summed_up
from undersong.ear.tolerance import window_ms
from undersong.ear.turn import SURE, told, turned, wrong_turn
from undersong.ear.unclick import Click, without_click
from undersong.ear.verdict import judged, lowest_string, sounding
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
    others: Sequence[Part] = (),
) -> Hearing:
    """Judge every note of a take.

    Parameters
    ----------
    blocks
        Mono samples, shape (n,) each, any n, full scale 1.0; read once, for one hour at most.
    sample_rate_hz
        Their rate.
    part
        What was to be played.
    tempo_bpm
        What tempo was asked, in the meter's own beat; None for the part's own.
    start_s
        Where beat 0 of the part falls in the take, in seconds, where that is known: then timing is
        absolute. None to find it: a constant lateness cannot be told then, and is taken out.
    level
        1 to 6: chooses the timing window (see `tolerance`).
    tolerance_ms
        A timing window to use instead, > 0.
    others
        What the player may have played instead (other drills, other songs): where the take is not
        this part but one of them, `reason` says so.

    Returns
    -------
    Hearing
        Silence, noise, another piece of music or too poor a recording are answers: `clean` is None
        and `reason` says why.

    Raises
    ------
    AudioError
        If the rate is out of range or a block is not one row of floating-point samples.
    PracticeError
        If a setting makes no sense, or the part has no notes.
    TheoryError
        If the tempo cannot be played.
    """
    asked_part = part if tempo_bpm is None else part.at_tempo(tempo_bpm)
    window = _window(asked_part, level, tolerance_ms)
    if start_s is not None and not isfinite(start_s):
        raise PracticeError(f"A start at {start_s} seconds is no place in a recording.")
    asked, index = asked_strokes(asked_part)
    take, sound, click = listened(blocks, sample_rate_hz, asked_part)
    if isinstance(sound, str):
        return _refused(sound, asked_part, window, start_s)
    if start_s is not None and start_s >= take.length_s:
        return _refused(never_begun(start_s, take.length_s), asked_part, window, start_s)
    evidence = weighed(sound)
    hearing = heard_against(asked_part, asked, index, take, evidence, window, start_s, click=click)
    if hearing.reason == ANOTHER_PIECE and (known := _recognised(others, evidence)) is not None:
        hearing = replace(hearing, reason=recognised(part, known))
    return hearing


def _recognised(others: Sequence[Part], evidence: Evidence) -> Part | None:
    """The part of some that a take is, or None if it is none of them."""
    heard = Heard(evidence.onset_s, _attack_odds(evidence), pitch_odds(evidence.scores))
    best, most = None, LEAST_RECOGNISED - 1
    for other in others:
        asked = asked_strokes(other)[0]
        share = _fitting_share(asked, heard)
        if share >= SHIFTED_SHARE and share * len(asked) > most:
            best, most = other, int(share * len(asked))
    return best


def _fitting_share(asked: Asked, heard: Heard) -> float:
    """Share of asked strokes that have their pitch in the best alignment."""
    found = best_alignment(asked, heard, None)
    if found is None:
        return 0.0
    matched = found.match.attack != NONE
    best = MIDIS[heard.pitch_odds[found.match.attack[matched]].argmax(axis=1)]
    return float(np.count_nonzero(best == asked.midi[matched])) / len(asked)


def listened(
    blocks: Iterable[NDArray[np.floating]], sample_rate_hz: int, part: Part
) -> tuple[Take, Sound | str, Click | None]:
    """A take without its samples, what is kept of its sound (or why nothing is), and its click."""
    take = listen(blocks, sample_rate_hz)
    none = np.zeros(0, np.float32)
    bare = replace(take, samples=none, top=none)
    reason = unheard(take)
    if reason is not None:
        return bare, reason, None
    found = attacks(take.samples, take.top)
    beat_s = part.tempo_map.seconds_at(part.meter.beat)
    samples = take.samples
    del take
    unclicked = without_click(samples, found, beat_s)
    if unclicked is None:
        return bare, kept_of(samples, bare.length_s, found), None
    del samples
    # Of its highest treble, which the click is left in, nothing is made use of.
    cleaned, click = unclicked
    return bare, kept_of(cleaned, bare.length_s, attacks(cleaned)), click


def _window(part: Part, level: int, tolerance_ms: float | None) -> float:
    usual = window_ms(part, level=level)
    if tolerance_ms is None:
        return usual
    if not (isfinite(tolerance_ms) and tolerance_ms > 0):
        raise PracticeError(
            f"A timing window of {tolerance_ms} ms cannot be kept: use more than 0."
        )
    return tolerance_ms


def asked_strokes(part: Part) -> tuple[Asked, NDArray[np.intp]]:
    """The strokes to listen for, and the index of each one's first written note.

    Of notes written at one place only the lowest is listened for.
    """
    strokes = [
        stroke
        for before, stroke in zip((None, *part.strokes), part.strokes, strict=False)
        if before is None or before.at < stroke.at
    ]
    if not strokes:
        raise PracticeError(f"{part.title!r} has no notes to listen for.")
    tempo_map = part.tempo_map
    midi = [
        NONE if stroke.note.articulation is Articulation.GHOST else stroke.note.pitch.midi
        for stroke in strokes
    ]
    grid_s = np.array([tempo_map.seconds_at(stroke.at) for stroke in strokes])
    return Asked(grid_s, np.array(midi)), np.array([stroke.index for stroke in strokes])


def heard_against(
    part: Part,
    asked: Asked,
    index: NDArray[np.intp],
    take: Take,
    evidence: Evidence,
    window: float,
    start_s: float | None,
    *,
    click: Click | None = None,
) -> Hearing:
    """Judge evidence that has been gathered (see `hear`)."""
    heard = Heard(evidence.onset_s, _attack_odds(evidence), pitch_odds(evidence.scores))
    found = best_alignment(asked, heard, start_s)
    if found is None:
        return _refused(nothing_fits(evidence), part, window, start_s)
    turn = wrong_turn(
        part, asked, heard, found.grid, found.match, is_start_known=start_s is not None
    )
    written, end_s = (asked, index), part.tempo_map.seconds_at(part.strokes[-1].end)
    if turn is not None:
        asked, index = turned(turn, part, *written)
        end_s += turn.shift_s
        found = best_alignment(asked, heard, start_s) or found
    evidence, match = with_arrivals(
        evidence, found.match, asked, found.expected_s, _slid(part, index)
    )
    reference, grid = _reference(
        part, asked, _matched_s(evidence.onset_s, match), found.grid, window, start_s, click
    )
    expected_s = grid.at(asked.grid_s)
    end_s = grid.start_s + grid.ratio * end_s
    heard_notes = sounding(evidence, match, asked)
    lowest = lowest_string(part)
    notes = judged(asked, index, evidence, heard_notes, expected_s, end_s, lowest, window)
    if turn is not None:
        notes = told(turn, notes, part, *written)
    notes = with_lengths(notes, part, evidence.string, grid.ratio)
    stopped = stopped_before(notes)
    reason = unlike(part, take, evidence, notes, stopped)
    if reason == ANOTHER_PIECE:
        reason = _transposed(asked, heard) or (BLUR if is_guessed(evidence) else reason)
    stroke_odds = evidence.odds[match.attack[match.attack != NONE]]
    if reason is None and (reason := blurred(notes, stroke_odds)) is not None:
        notes = withdrawn(notes, window)
    if reason is None and (reason := crowded(notes)) is not None:
        notes = tuple(
            replace(note, verdict=Verdict.UNSURE) if note.verdict is Verdict.EXTRA else note
            for note in notes
        )
    clean, why, belief = (
        passed(part, notes, window, stopped) if reason is None else (None, reason, 1.0)
    )
    if turn is not None and reason is None:
        clean, why, belief = False, turn.words(part), max(belief, SURE)
    return Hearing(
        clean=clean,
        reason=why,
        reference=reference,
        tolerance_ms=window,
        tempo_bpm=part.tempo_bpm / grid.ratio,
        start_s=grid.start_s,
        tuning_cents=_tuning(notes, evidence),
        notes=notes,
        summary=summed_up(part, notes, window, stopped),
        probability=belief,
        stopped_at=stopped,
    )


def _slid(part: Part, index: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Which strokes the part asks to be slid into."""
    return np.array([part.notes[at].articulation is Articulation.SLIDE for at in index])


def _attack_odds(evidence: Evidence) -> Floats:
    """Odds of each attack for the alignment: capped, and lower for what is soft in this take."""
    likely = evidence.odds > 0
    if not likely.any():
        return evidence.odds
    usual_db = float(np.median(evidence.level_db[likely]))
    soft = np.clip(usual_db - SOFT_DB - evidence.level_db, 0, 30)
    return np.asarray(np.minimum(evidence.odds, SURE_ATTACK) - SOFT_WORTH * soft)


def _reference(
    part: Part,
    asked: Asked,
    heard_s: Floats,
    grid: Grid,
    window: float,
    start_s: float | None,
    click: Click | None,
) -> tuple[Reference, Grid]:
    """What lateness is measured from: a known start, else a click, else the best steady grid."""
    if start_s is not None:
        return Reference.START, Grid(start_s, 1.0)
    own = timing_grid(asked, heard_s, grid, window)
    if click is not None and not part.tempo_marks:
        beat_s = part.tempo_map.seconds_at(part.meter.beat)
        clicked = on_click(own, click.comb.start_s, click.comb.period_s, part, beat_s)
        ends_s = asked.grid_s[[0, -1]]
        if clicked is not None and np.all(
            np.abs(own.at(ends_s) - clicked.at(ends_s)) < MOST_OFF_CLICK_S
        ):
            return Reference.CLICK, clicked
    return Reference.FITTED, own


def _transposed(asked: Asked, heard: Heard) -> str | None:
    """The sentence for a pass that fits once every asked pitch is moved alike, or None."""
    for shift in SHIFTS:
        moved = Asked(asked.grid_s, np.where(asked.midi == NONE, NONE, asked.midi + shift))
        if _fitting_share(moved, heard) >= SHIFTED_SHARE:
            return shifted(shift)
    return None


def _matched_s(onset_s: Floats, match: Match) -> Floats:
    return np.where(match.attack == NONE, np.nan, onset_s[match.attack])


def _tuning(notes: tuple[HeardNote, ...], evidence: Evidence) -> float:
    off = [note.cents for note in notes if note.cents is not None]
    return evidence.tuning_cents + (float(np.median(off)) if off else 0.0)


def _refused(reason: str, part: Part, window: float, start_s: float | None) -> Hearing:
    return Hearing(
        clean=None,
        reason=reason,
        reference=Reference.FITTED if start_s is None else Reference.START,
        tolerance_ms=window,
        tempo_bpm=part.tempo_bpm,
        start_s=start_s,
        tuning_cents=None,
        notes=(),
        summary=summed_up(part, (), window),
        probability=1.0,
    )


SURE_ATTACK = 5.0
"""Log-odds from which one attack is as sure as another: between two such, time and pitch decide."""
SURE_STROKE = 2.5
"""The same once it is known where each stroke is expected: what is surer and yet no stroke is told
as an extra note, so of two the one in time is the stroke."""
HOPELESS_SHARE = 0.5
MOST_OFF_CLICK_S = 0.1
"""Whose pass begins or ends further than this from where the click has it does not play to it."""
LEAST_RECOGNISED = 6
"""Strokes by which another part is known: fewer fit anything."""
SOFT_DB, SOFT_WORTH = 5.0, 0.12
CHOSEN_BY_S = 45.0
"""Asked seconds by which one place to begin is preferred to another."""
GOOD_SHARE, FOLLOWED = 0.7, 3
"""Where the part is longer, the earliest few that fit nearly as well are followed to its end too:
music that repeats fits again and again."""
TURNS = 2
SHIFTS = (-12, 12, *(way * size for size in range(1, 8) for way in (1, -1)))
"""Semitones by which a whole pass may be played too high or too low."""
FIRST_TIMING_S = 0.05
MOVES = 8
REACH_SHARE, LEAST_REACH_S = 0.7, 0.1
LATE_ENTRY_COST = 4.0
"""For each stroke left out at the beginning: a player starts at the start and may stop anywhere."""


def _first_matched(match: Match) -> int:
    matched = np.flatnonzero(match.attack != NONE)
    return int(matched[0]) if len(matched) else len(match.attack)


@dataclass(frozen=True, slots=True)
class Laid:
    """A part laid over a take.

    Attributes
    ----------
    grid
        The straight line that fits best.
    match
        Which attack is which stroke.
    expected_s
        Shape (n_strokes,): when each is expected of a player whose tempo is followed. Over a long
        part the straight line may be off by more than a note.
    """

    grid: Grid
    match: Match
    expected_s: Floats


def best_alignment(asked: Asked, heard: Heard, start_s: float | None) -> Laid | None:
    """The best place where the part may begin, followed to its end; None if there is none."""
    grids = located(asked, heard) if start_s is None else [Grid(start_s, 1.0)]
    if not grids or len(heard.onset_s) == 0:
        return None
    # On a straight line through minutes of music that repeats a drifting player fits elsewhere.
    some = asked.part(0, int(np.searchsorted(asked.grid_s, asked.grid_s[0] + CHOSEN_BY_S)))
    matches = _aligned_to(some, heard, grids)
    for _ in range(TURNS):
        most = max(match.score for match in matches)
        grids = [
            fitted(some.grid_s, _matched_s(heard.onset_s, match), grid)
            for grid, match in zip(grids, matches, strict=True)
            if match.score >= most - HOPELESS_SHARE * abs(most)
        ]
        matches = _aligned_to(some, heard, grids)
    worth = np.array([_worth(match) for match in matches])
    if start_s is None:
        best = int(worth.argmax())
        grids[best], worth[best] = _beside(some, heard, grids[best], float(worth[best]))
    tried = [int(worth.argmax())]
    if len(some) < len(asked):
        good = np.flatnonzero(worth >= GOOD_SHARE * worth.max())
        by_start = sorted((int(each) for each in good), key=lambda each: grids[each].start_s)
        tried += [each for each in by_start[:FOLLOWED] if each not in tried]
    every = [_followed(asked, heard, grids[each]) for each in tried]
    return max(every, key=lambda laid: laid.match.score)


def _worth(match: Match) -> float:
    return match.score - LATE_ENTRY_COST * _first_matched(match)


def _beside(asked: Asked, heard: Heard, grid: Grid, worth: float) -> tuple[Grid, float]:
    """The place moved from note to note, as long as it fits better there.

    Of one pitch every place fits a little, and a false start leaves more of them than are tried.
    """
    begins_s = heard.onset_s[heard.attack_odds > 0]
    for _ in range(MOVES):
        first = int(np.abs(begins_s - float(grid.at(asked.grid_s[0]))).argmin())
        onsets_s = begins_s[[k for k in (first - 1, first + 1) if 0 <= k < len(begins_s)]]
        if len(onsets_s) == 0:
            break
        moved = [Grid(at_s - grid.ratio * asked.grid_s[0], grid.ratio) for at_s in onsets_s]
        matches = _aligned_to(asked, heard, moved)
        best = max(range(len(moved)), key=lambda each: _worth(matches[each]))
        if _worth(matches[best]) <= worth:
            break
        worth = _worth(matches[best])
        grid = fitted(asked.grid_s, _matched_s(heard.onset_s, matches[best]), moved[best])
    return grid, worth


def _followed(asked: Asked, heard: Heard, grid: Grid) -> Laid:
    expected_s = followed(asked, heard, grid)
    heard = replace(heard, attack_odds=np.minimum(heard.attack_odds, SURE_STROKE))
    match = aligned(asked, heard, expected_s, reach_s=_reach_s(asked, grid))
    match = _without_straggler(match, asked, heard, expected_s)
    line = fitted(asked.grid_s, _matched_s(heard.onset_s, match), grid)
    return Laid(line, match, expected_s)


def _without_straggler(match: Match, asked: Asked, heard: Heard, expected_s: Floats) -> Match:
    """Without the last stroke of a pass broken off, if nothing speaks for it: a stray note."""
    matched = np.flatnonzero(match.attack != NONE)
    if len(matched) == 0 or matched[-1] == len(asked) - 1:
        return match
    last = int(matched[-1])
    attack = slice(match.attack[last], match.attack[last] + 1)
    alone = Heard(heard.onset_s[attack], heard.attack_odds[attack], heard.pitch_odds[attack])
    stroke = asked.part(last, last + 1)
    if aligned(stroke, alone, expected_s[last : last + 1]).score >= 0:
        return match
    return replace(match, attack=np.where(np.arange(len(asked)) == last, NONE, match.attack))


def _aligned_to(asked: Asked, heard: Heard, grids: list[Grid]) -> list[Match]:
    expected_s = np.stack([grid.at(asked.grid_s) for grid in grids])
    return aligned_each(asked, heard, expected_s, timing_s=FIRST_TIMING_S)


def _reach_s(asked: Asked, grid: Grid) -> Floats:
    """How far from its place each stroke may be found: not beyond its neighbours' places."""
    gap_s = np.diff(asked.grid_s) * grid.ratio
    nearest_s = np.minimum(np.append(np.inf, gap_s), np.append(gap_s, np.inf))
    return np.asarray(np.clip(REACH_SHARE * nearest_s, LEAST_REACH_S, REACH_S))
