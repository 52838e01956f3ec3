"""The alignment is the best there is: the same worth as trying every alignment of small cases."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from undersong.ear.align import (
    MATCH_GAIN,
    NONE,
    PITCH_FLOOR,
    SKIP_COST,
    TIMING_S,
    Asked,
    Heard,
    aligned,
)
from undersong.ear.frames import Resampler
from undersong.ear.pitch import LOWEST_MIDI, MIDIS

PITCHES = st.integers(28, 31)


@st.composite
def cases(draw: st.DrawFn) -> tuple[Asked, Heard]:
    n_strokes, n_attacks = draw(st.integers(1, 4)), draw(st.integers(0, 5))
    grid_s = np.cumsum([draw(st.floats(0.1, 0.3)) for _ in range(n_strokes)])
    midi = np.array([draw(PITCHES) for _ in range(n_strokes)])
    onset_s = np.sort(np.array([draw(st.floats(0.0, 1.2)) for _ in range(n_attacks)]))
    odds = np.array([draw(st.floats(-4, 8)) for _ in range(n_attacks)])
    pitch = np.full((n_attacks, len(MIDIS)), -5.0)
    for row in range(n_attacks):
        pitch[row, draw(PITCHES) - LOWEST_MIDI] = 0.0
    return Asked(grid_s, midi), Heard(onset_s, odds, pitch)


def worth(asked: Asked, heard: Heard, strokes: tuple[int, ...], attacks: tuple[int, ...]) -> float:
    total = -SKIP_COST * (len(asked) - len(strokes))
    for stroke, attack in zip(strokes, attacks, strict=True):
        late = (heard.onset_s[attack] - asked.grid_s[stroke]) / TIMING_S
        fit = max(heard.pitch_odds[attack, asked.midi[stroke] - LOWEST_MIDI], PITCH_FLOOR)
        total += MATCH_GAIN + heard.attack_odds[attack] + fit - np.log1p(late**2)
    return float(total)


@settings(max_examples=60, deadline=None)
@given(cases())
def test_as_good_as_trying_everything(case: tuple[Asked, Heard]) -> None:
    asked, heard = case
    n_strokes, n_attacks = len(asked), len(heard.onset_s)
    best = max(
        worth(asked, heard, strokes, attacks)
        for count in range(min(n_strokes, n_attacks) + 1)
        for strokes in combinations(range(n_strokes), count)
        for attacks in combinations(range(n_attacks), count)
    )
    match = aligned(asked, heard, asked.grid_s, reach_s=5.0)
    assert np.isclose(match.score, best)
    strokes = tuple(int(s) for s in np.flatnonzero(match.attack != NONE))
    attacks = tuple(int(match.attack[s]) for s in strokes)
    assert np.isclose(worth(asked, heard, strokes, attacks), best)
    assert list(attacks) == sorted(set(attacks))


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from([4000, 11025, 22050, 44100, 48000]),
    st.lists(st.integers(0, 4000), max_size=6),
    st.integers(0, 2**16),
)
def test_a_stream_sounds_the_same_however_it_is_cut(
    rate_hz: int, cuts: list[int], seed: int
) -> None:
    samples = np.random.default_rng(seed).normal(size=4000).astype(np.float32)
    whole, pieces = Resampler(rate_hz), Resampler(rate_hz)
    at_once = np.concatenate((whole.feed(samples), whole.finish()))
    blocks = np.split(samples, sorted(cuts))
    cut = np.concatenate([*(pieces.feed(block) for block in blocks), pieces.finish()])
    np.testing.assert_allclose(cut, at_once, atol=1e-5)
