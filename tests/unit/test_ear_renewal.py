from __future__ import annotations

import numpy as np
import pytest

from undersong.ear.attack import FRAME_S, gaps_s
from undersong.ear.frames import RATE_HZ
from undersong.ear.renewal import ROOM, Renewal, compared, continued, explanations, steepened

E1_HZ, A1_HZ = 41.2, 55.0


def string(
    hz: float, *, from_s: float, to_s: float, length_s: float = 1.2, turn: float = 0.0
) -> np.ndarray:
    """Six harmonics between two times, each starting at its own phase."""
    at_s = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    sound = sum(np.sin(2 * np.pi * n * hz * at_s + n * n * turn) / n for n in range(1, 7))
    inside = (at_s >= from_s) & (at_s < to_s)
    return np.asarray(0.2 * sound * inside, np.float32)


def share(sound: np.ndarray, first: int, last: int, *guesses: tuple[float, ...]) -> float:
    new, energy = compared(sound, first, last, guesses)
    return float(np.median(new / energy))


def test_a_ringing_note_is_not_new() -> None:
    sound = string(E1_HZ, from_s=0, to_s=1.2)
    assert share(sound, 300, 600, (E1_HZ,)) < 0.01


def test_a_note_dying_or_damped_is_not_new() -> None:
    sound = string(E1_HZ, from_s=0, to_s=1.2)
    damped = sound * 10 ** (-np.maximum(0, np.arange(len(sound)) / RATE_HZ - 0.3) * 1.0 / 0.02 / 1)
    new, energy = compared(damped.astype(np.float32), 295, 315, [(E1_HZ,)])
    assert np.median(new / energy) < 0.15


def test_the_same_note_struck_again_is_new_for_one_period() -> None:
    sound = string(E1_HZ, from_s=0, to_s=0.6) + string(E1_HZ, from_s=0.6, to_s=1.2, turn=0.9)
    new, energy = compared(sound, 500, 800, [(E1_HZ,)])
    renewed = new / energy
    assert renewed[100:112].max() > 0.5
    assert renewed[:80].max() < 0.01
    assert renewed[140:].max() < 0.01


def test_two_strings_ringing_together_are_known_as_two() -> None:
    sound = string(E1_HZ, from_s=0, to_s=1.2) + string(A1_HZ, from_s=0, to_s=1.2)
    alone = share(sound, 300, 600, (E1_HZ,), (A1_HZ,))
    together = share(sound, 300, 600, (E1_HZ, A1_HZ))
    assert alone > 0.1
    assert together < 0.01


def test_before_the_first_note_all_is_new() -> None:
    sound = string(E1_HZ, from_s=0, to_s=1.2)
    track = Renewal(sound).track(np.array([0.5]), np.array([E1_HZ]))
    np.testing.assert_allclose(track[0, :400], track[1, :400])
    assert track.shape == (2, round(1.2 / FRAME_S))


def test_a_note_goes_on_after_an_interruption_but_not_after_a_stroke() -> None:
    at = np.array([0.6])
    ringing = string(E1_HZ, from_s=0, to_s=1.2)
    interrupted = ringing.copy()
    interrupted[round(0.59 * RATE_HZ) : round(0.6 * RATE_HZ)] = 0
    again = string(E1_HZ, from_s=0, to_s=0.6) + string(E1_HZ, from_s=0.6, to_s=1.2, turn=0.9)
    assert continued(interrupted, at, np.array([E1_HZ]))[0] > 0.95
    assert continued(again, at, np.array([E1_HZ]))[0] < 0.8
    assert continued(ringing, at, np.array([np.nan]))[0] == 0


def test_a_hole_is_found_and_a_rest_is_not() -> None:
    sound = string(E1_HZ, from_s=0, to_s=1.2)
    sound[round(0.5 * RATE_HZ) : round(0.53 * RATE_HZ)] = 0
    holes = gaps_s(sound)
    assert holes == pytest.approx(np.array([[0.5, 0.53]]), abs=0.002)
    rest = string(E1_HZ, from_s=0, to_s=0.5) + string(E1_HZ, from_s=0.8, to_s=1.2)
    assert len(gaps_s(rest)) == 0


def test_each_guess_is_asked_by_itself() -> None:
    sound = string(E1_HZ, from_s=0, to_s=1.2)
    energy, explained = explanations(sound, 300, 600, [(E1_HZ,), (A1_HZ * 1.07,)])
    assert explained.shape == (2, 300)
    assert np.median(explained[0] / energy) > 0.99
    assert np.median(explained[1] / energy) < 0.9
    assert explanations(sound, 300, 600, ())[1].shape == (0, 300)


@pytest.mark.parametrize("hz", [100.0, 200.0, 400.0])
def test_steepened_sound_falls_by_four_an_octave_down(hz: float) -> None:
    at_s = np.arange(RATE_HZ) / RATE_HZ
    steep = steepened(np.sin(2 * np.pi * hz * at_s).astype(np.float32), 300, 500)
    # Two differences of a sine: (2 sin(w / 2))**2 times as large (from memory).
    assert np.abs(steep).max() == pytest.approx((2 * np.sin(np.pi * hz / RATE_HZ)) ** 2, rel=0.03)


@pytest.mark.parametrize("first", [-20, 0, 30, 900])
def test_steepened_frames_are_counted_from_room(first: int) -> None:
    sound = string(E1_HZ, from_s=0, to_s=1.0, length_s=1.0)
    steep = steepened(sound, first, first + 150)
    energy, _ = explanations(steep, ROOM, ROOM + 150, [(E1_HZ,)])
    assert energy.shape == (150,)
    padded = np.pad(sound, (RATE_HZ, RATE_HZ))
    whole, _ = explanations(np.diff(padded, 2, prepend=[0, 0]), 1000 + first, 1150 + first, ())
    assert energy == pytest.approx(whole, abs=1e-6)
