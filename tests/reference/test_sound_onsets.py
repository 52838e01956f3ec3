"""Strokes in finished files against the score, for every feel, by a detector that knows neither.

A covering set: every feel and meter; tempos, kinds of file and drums in turn. The whole table is
`benchmarks/sound_onsets.py`; the times expected are worked out there from tempo, meter and swing.
"""

from itertools import cycle
from pathlib import Path

import numpy as np
import pytest

from sound_onsets import ENDINGS, METERS, RATE_HZ, TEMPOS, measured, onsets_s, parts, players
from undersong.lines.feel import Feel

CASES = [(feel, meter) for feel, meters in METERS.items() for meter in meters]
# 14 cases against 6 tempos and 4 kinds of file: each tempo and each kind comes more than once.
TURNS = list(zip(CASES, cycle(TEMPOS), cycle(ENDINGS), strict=False))


@pytest.mark.parametrize(
    ("case", "tempo_bpm", "ending"),
    TURNS,
    ids=[f"{feel.value} {meter} {bpm} {ending}" for (feel, meter), bpm, ending in TURNS],
)
def test_every_stroke_is_found_within_a_millisecond(
    tmp_path: Path, case: tuple[Feel, str], tempo_bpm: float, ending: str
) -> None:
    feel, meter = case
    bass, drums = parts(feel, meter)
    everybody = list(players(bass, drums))
    some_drums = everybody[2 + CASES.index(case) % 2 :: 2]
    for name, part in everybody[:2] + some_drums:
        found = measured(name, part, tempo_bpm, ending, tmp_path)
        assert found.strokes > 0
        assert found.is_right, found


def test_every_tempo_and_kind_has_its_turn() -> None:
    assert {tempo for _, tempo, _ in TURNS} == set(TEMPOS)
    assert {ending for _, _, ending in TURNS} == set(ENDINGS)


def test_the_detector_finds_bursts_and_no_change_of_a_steady_tone() -> None:
    t_s = np.arange(2 * RATE_HZ) / RATE_HZ
    tone = np.sin(2 * np.pi * 82.4 * t_s)
    tone[: RATE_HZ // 2] = 0
    tone[round(1.2 * RATE_HZ) : round(1.5 * RATE_HZ)] = 0
    assert onsets_s(tone) == pytest.approx([0.5, 1.5], abs=0.001)
    steady = np.sin(2 * np.pi * 82.4 * t_s)
    assert len(onsets_s(steady)) <= 1  # its own beginning
