"""A click in the recording: it fixes the grid, never counts as a note, and hides none."""

from __future__ import annotations

import numpy as np
import pytest

from ear_player import RATE_HZ, SCALE, asked, jitter_ms, part_of, plucked, with_clicks
from undersong.ear import Hearing, Reference, Verdict, hear
from undersong.ear.attack import attacks
from undersong.ear.frames import listen
from undersong.ear.unclick import without_click

BEAT_S = 60 / 90
START_S = 4 * BEAT_S + 0.5
TWO_BARS = (*SCALE, *SCALE[::-1])
MS = 1.0


def beats(first: int = -4, last: int = 18, step: int = 1) -> list[float]:
    return [START_S + k * BEAT_S for k in range(first, last, step)]


def tones(count: int, first: int = -4) -> list[float]:
    """Accented on every first beat of a bar."""
    return [1500.0 if (first + k) % 4 == 0 else 1000.0 for k in range(count)]


def heard(
    at_s: list[float], hz: list[float], *, level: float = 0.2, late_ms: float = 0.0, **plants: int
) -> Hearing:
    part = part_of(*TWO_BARS)
    midis = asked(part)
    if "missed" in plants:
        midis[plants["missed"]] = None
    late = late_ms + jitter_ms(len(midis))
    sound = plucked(part, midis, start_s=START_S, late_ms=late)
    return hear([with_clicks(sound, at_s, hz, level)], RATE_HZ, part)


@pytest.mark.parametrize("level", [0.03, 0.1, 0.3, 0.8])
def test_a_click_is_the_reference_and_no_note(level: float) -> None:
    hearing = heard(beats(), tones(22), level=level)
    assert hearing.reference is Reference.CLICK
    assert hearing.clean is True
    assert hearing.start_s == pytest.approx(START_S, abs=0.003)
    assert not [note for note in hearing.notes if note.verdict is Verdict.EXTRA]


@pytest.mark.parametrize("late_ms", [-30.0, 25.0])
def test_a_constant_lateness_is_told_against_a_click_only(late_ms: float) -> None:
    against = heard(beats(), tones(22), late_ms=late_ms)
    without = heard([], [], late_ms=late_ms)
    assert against.summary.mean_ms == pytest.approx(late_ms, abs=3 * MS)
    assert without.reference is Reference.FITTED
    assert without.summary.mean_ms == pytest.approx(0, abs=3 * MS)


def test_a_click_where_a_note_is_missing_does_not_stand_in_for_it() -> None:
    hearing = heard(beats(), tones(22), level=0.3, missed=6)
    assert [n.index for n in hearing.notes if n.verdict is Verdict.MISSED] == [6]


def test_a_click_on_two_and_four() -> None:
    at_s = beats(-3, 18, 2)
    hearing = heard(at_s, [1000.0] * len(at_s), late_ms=20)
    assert hearing.reference is Reference.CLICK
    assert hearing.summary.mean_ms == pytest.approx(20, abs=3 * MS)


def test_subdivisions_are_clicks_too() -> None:
    at_s = [START_S + k * BEAT_S / 2 for k in range(-8, 34)]
    hz = [1500.0 if k % 8 == 0 else 1000.0 if k % 2 == 0 else 1200.0 for k in range(-8, 34)]
    hearing = heard(at_s, hz)
    assert hearing.reference is Reference.CLICK
    assert hearing.clean is True


def test_a_click_that_drops_out_for_a_bar() -> None:
    part = part_of(*TWO_BARS, *TWO_BARS)
    at_s = beats(-4, 32)
    kept = [at for k, at in enumerate(at_s) if (k // 4) % 3 != 2]
    sound = plucked(part, asked(part), start_s=START_S, late_ms=15 + jitter_ms(32))
    hearing = hear([with_clicks(sound, kept, [1000.0] * len(kept), 0.2)], RATE_HZ, part)
    assert hearing.reference is Reference.CLICK
    assert hearing.clean is True
    assert hearing.summary.mean_ms == pytest.approx(15, abs=3 * MS)


def test_a_click_at_another_tempo_than_asked() -> None:
    part = part_of(*TWO_BARS, tempo_bpm=96.0)
    played = part.at_tempo(90.0)
    sound = plucked(played, asked(part), start_s=START_S, late_ms=jitter_ms(16))
    hearing = hear([with_clicks(sound, beats(), tones(22), 0.2)], RATE_HZ, part)
    assert hearing.reference is Reference.CLICK
    assert hearing.tempo_bpm == pytest.approx(90, abs=0.01)
    assert hearing.clean is True


def test_a_known_start_comes_before_a_click() -> None:
    part = part_of(*TWO_BARS)
    sound = with_clicks(plucked(part, asked(part), start_s=START_S), beats(), tones(22), 0.2)
    hearing = hear([sound], RATE_HZ, part, start_s=START_S - 0.02)
    assert hearing.reference is Reference.START
    assert hearing.summary.mean_ms == pytest.approx(20, abs=3 * MS)


def test_beeps_out_of_time_are_no_click() -> None:
    rng = np.random.default_rng(5)
    at_s = [at + rng.normal(0, 0.006) for at in beats()]
    assert heard(at_s, tones(22)).reference is Reference.FITTED


def test_an_even_player_is_no_click() -> None:
    part = part_of(*["E1"] * 32, of=8)
    assert hear([plucked(part, asked(part))], RATE_HZ, part).reference is Reference.FITTED


def test_what_is_left_of_a_click_is_far_below_it() -> None:
    part = part_of(*TWO_BARS)
    sound = with_clicks(plucked(part, asked(part), start_s=START_S), beats(), tones(22), 0.3)
    take = listen([sound], RATE_HZ)
    cleaned = without_click(take.samples, attacks(take.samples), BEAT_S)
    assert cleaned is not None
    samples, click = cleaned
    assert len(click.strokes_s) >= 20
    count_in = slice(0, int((START_S - 0.1) * 8000))
    before, after = (float(np.sum(s[count_in] ** 2)) for s in (take.samples, samples))
    assert 10 * np.log10(before / after) > 20


@pytest.mark.parametrize(
    ("ratio", "late_s", "reference"),
    [(1.003, 0.03, Reference.CLICK), (1.012, 0.12, Reference.FITTED)],
)
def test_who_runs_away_from_a_click_does_not_play_to_it(
    ratio: float, late_s: float, reference: Reference
) -> None:
    # From so late to as early over 32 notes; what repeats in a take by chance is no click.
    names = (*TWO_BARS, *TWO_BARS)
    played = part_of(*names, tempo_bpm=90 * ratio)
    start_s, late_ms = START_S + late_s, jitter_ms(32, spread_ms=4)
    sound = plucked(played, asked(played), start_s=start_s, late_ms=late_ms)
    hearing = hear([with_clicks(sound, beats(-4, 34), tones(38), 0.2)], RATE_HZ, part_of(*names))
    assert hearing.reference is reference
    if reference is Reference.FITTED:
        assert hearing.clean is True
        assert hearing.tempo_bpm == pytest.approx(90 * ratio, abs=0.2)
