"""Note lengths, evenness and the worst spots of a pass."""

from __future__ import annotations

import numpy as np
import pytest

from ear_player import RATE_HZ, SCALE, asked, part_of, plucked
from undersong.ear import hear, hearing_json, hearing_lines

TWO_BARS = (*SCALE, *SCALE[::-1])


@pytest.mark.parametrize("share", [0.4, 0.7, 0.95])
def test_the_share_of_the_written_length_is_told(share: float) -> None:
    part = part_of(*TWO_BARS)
    summary = hear([plucked(part, asked(part), share=share)], RATE_HZ, part).summary
    assert summary.length_share == pytest.approx(share, abs=0.05)
    assert summary.length_spread == pytest.approx(0, abs=0.06)
    assert (summary.cut_short == 0) is (share > 0.5)


def test_notes_cut_short_are_said_where_nothing_else_is_wrong() -> None:
    part = part_of(*TWO_BARS)
    hearing = hear([plucked(part, asked(part), share=0.35)], RATE_HZ, part)
    assert hearing.clean is True
    assert any("before half their length" in line for line in hearing_lines(hearing, part))


def test_the_worst_spots_have_bar_and_beat() -> None:
    part = part_of(*TWO_BARS)
    late = np.zeros(16)
    late[6] = 110.0
    midis = asked(part)
    midis[9] = 30
    hearing = hear([plucked(part, midis, late_ms=late)], RATE_HZ, part)
    spots = [(spot.bar, spot.beat, spot.faults) for spot in hearing.summary.worst_spots]
    assert spots == [(2, 3.0, 1), (3, 2.0, 1)]
    assert hearing.summary.worst_spots[0].worst_timing_ms == pytest.approx(110, abs=8)
    data = hearing_json(hearing)["summary"]
    assert isinstance(data, dict)
    assert data["worst_spots"][0]["bar"] == 2


@pytest.mark.parametrize(("tempo_to", "drift"), [(94.5, 5.0), (85.5, -5.0)])
def test_drift_is_the_change_of_tempo(tempo_to: float, drift: float) -> None:
    names = TWO_BARS * 3
    part = part_of(*names)
    beat_s = np.linspace(60 / 90, 60 / tempo_to, len(names))
    at_s = np.concatenate(([0.0], np.cumsum(beat_s)[:-1]))
    late = 1000 * (at_s - np.arange(len(names)) * 60 / 90)
    hearing = hear([plucked(part, asked(part), late_ms=late)], RATE_HZ, part)
    assert hearing.summary.drift_percent == pytest.approx(drift, abs=1.0)
