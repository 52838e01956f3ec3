from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from undersong.sound.bass import Bass, Samples
from undersong.sound.click import click_sound
from undersong.sound.schedule import ClickKind, NoteEvent
from undersong.sound.strings import FINGERS, PICK, modes_of, ring
from undersong.theory.part import Articulation, Dynamic, Note
from undersong.theory.pitch import plain_pitch

RATE_HZ = 44100


def event(
    midi: int = 33,
    *,
    length_s: float = 1.0,
    articulation: Articulation = Articulation.PLAIN,
    dynamic: Dynamic = Dynamic.MF,
    accented: bool = False,
    onset_s: float = 0.0,
    string: int | None = None,
) -> NoteEvent:
    note = Note(
        Fraction(0),
        Fraction(1),
        plain_pitch(midi),
        articulation=articulation,
        dynamic=dynamic,
        accented=accented,
        string=string,
    )
    return NoteEvent(onset_s, length_s, note)


def treble_db(sound: Samples) -> float:
    """Energy above 800 Hz against the whole."""
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    high = np.fft.rfftfreq(len(sound), 1 / RATE_HZ) > 800
    return float(10 * np.log10(power[high].sum() / power.sum()))


def rms(sound: NDArray[np.floating[Any]]) -> float:
    return float(np.sqrt(np.mean(np.square(sound, dtype=np.float64))))


def brightness_hz(sound: Samples) -> float:
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    return float((np.fft.rfftfreq(len(sound), 1 / RATE_HZ) * power).sum() / power.sum())


def test_sum_of_modes_is_the_sum_of_decaying_sines() -> None:
    modes = modes_of(55.0, open_midi=33, sound=FINGERS)
    n_samples = 1000
    t_s = np.arange(n_samples) / RATE_HZ + max(0.0, modes.arrival_s - 0.0008)
    slow = (modes.levels[:, None] * np.exp(np.outer(modes.rates, t_s))).imag.sum(axis=0)
    assert np.allclose(ring(modes, n_samples, RATE_HZ), slow, atol=1e-5)


def test_notes_last_as_long_as_they_are_written() -> None:
    for articulation, length_s in (
        (Articulation.PLAIN, 1.0),
        (Articulation.HELD, 1.03),
        (Articulation.SHORT, 0.5),
        (Articulation.MUTED, 1.0),
    ):
        sound = Bass(RATE_HZ).note(event(articulation=articulation))
        assert len(sound) == round(length_s * RATE_HZ)
        assert abs(sound[-1]) < 1e-4


def test_plain_note_sounds_until_just_before_its_end() -> None:
    sound = Bass(RATE_HZ).note(event(length_s=1.0))
    assert rms(sound[-3528:-1764]) > 0.5 * rms(sound[-12000:-6000])


@pytest.mark.parametrize("articulation", list(Articulation))
@pytest.mark.parametrize("length_s", [0.02, 0.068, 1.3])
def test_no_click_at_the_end_of_a_note(articulation: Articulation, length_s: float) -> None:
    """Hardly any energy above 4 kHz around the end: 70 dB below the peak."""
    for midi in (23, 33, 55):
        sound = Bass(RATE_HZ).note(event(midi, length_s=length_s, articulation=articulation))
        padded = np.concatenate((np.zeros(8192), sound, np.zeros(8192)))
        high = np.fft.rfft(padded)
        high[np.fft.rfftfreq(len(padded), 1 / RATE_HZ) < 4000] = 0
        treble = np.fft.irfft(high, len(padded))
        end = 8192 + len(sound)
        before = min(882, len(sound) // 4)  # not so far that it meets the noise of the attack
        assert rms(treble[end - before : end + 882]) < 3e-4 * np.abs(sound).max()


def test_dynamics_are_louder_and_brighter_in_order() -> None:
    sounds = [Bass(RATE_HZ).note(event(dynamic=each)) for each in Dynamic]
    loud = [rms(sound) for sound in sounds]
    bright = [brightness_hz(sound) for sound in sounds]
    assert loud == sorted(loud)
    assert bright == sorted(bright)
    assert 15 < 20 * np.log10(loud[-1] / loud[0]) < 25


def test_accent_ghost_muted_hammered_and_short() -> None:
    bass = Bass(RATE_HZ)
    plain = bass.note(event())
    assert rms(bass.note(event(accented=True))) > 1.3 * rms(plain)
    for articulation, least, most in (
        (Articulation.GHOST, 0.05, 0.4),
        (Articulation.MUTED, 0.2, 0.7),
        (Articulation.HAMMERED, 0.4, 0.8),
    ):
        sound = bass.note(event(articulation=articulation))
        assert least < rms(sound) / rms(plain) < most
    ghost = bass.note(event(articulation=Articulation.GHOST))
    assert rms(ghost[4410:]) < 0.02 * rms(ghost[:4410])


def test_pick_is_brighter_than_finger() -> None:
    finger = Bass(RATE_HZ).note(event())
    pick = Bass(RATE_HZ, sound=PICK).note(event())
    assert treble_db(pick[:4410]) > treble_db(finger[:4410]) + 3


def test_decay_shortens_up_the_neck() -> None:
    """Trade handbook 8.5, after Fleischer 1999: time to fall 30 dB, one string, fret by fret."""

    def time_to_fall_s(midi: int) -> float:
        sound = Bass(RATE_HZ, tuning=(28, 33, 38, 43)).note(event(midi, length_s=12.0, string=4))
        steps = np.sqrt(
            (sound.astype(float) ** 2)[: len(sound) // 4410 * 4410].reshape(-1, 4410).mean(1)
        )
        return float(np.argmax(steps < steps[0] * 10 ** (-30 / 20)) / 10)

    times = [time_to_fall_s(midi) for midi in (28, 33, 38, 43, 48)]
    assert times == sorted(times, reverse=True)
    assert 2 < times[0] < 12


def test_string_matters() -> None:
    bass = Bass(RATE_HZ, tuning=(28, 33, 38, 43))
    low = bass.note(event(43, string=4))
    high = bass.note(event(43, string=1))
    assert brightness_hz(high) > brightness_hz(low)


def test_strokes_differ_a_little_and_are_the_same_each_time() -> None:
    one, two = (Bass(RATE_HZ).note(event(), variant=n) for n in (0, 1))
    assert not np.array_equal(one, two)
    assert abs(20 * np.log10(rms(one) / rms(two))) < 1.5
    assert np.array_equal(one, Bass(RATE_HZ).note(event(), variant=0))


def test_a_note_does_not_depend_on_what_was_played_before() -> None:
    bass = Bass(RATE_HZ)
    short = bass.note(event(length_s=0.2))
    bass.note(event(length_s=3.0))
    assert np.allclose(bass.note(event(length_s=0.2)), short, atol=1e-6)


@pytest.mark.parametrize("midi", [0, 12, 96, 112, 127])
def test_notes_far_outside_a_bass_do_no_harm(midi: int) -> None:
    for articulation in Articulation:
        for length_s in (0.0005, 0.05):
            sound = Bass(RATE_HZ).note(event(midi, length_s=length_s, articulation=articulation))
            assert np.isfinite(sound).all()
            assert np.abs(sound).max() < 2


def test_notes_beyond_the_end_are_cut() -> None:
    out = Bass(RATE_HZ).play((event(onset_s=0.5),), RATE_HZ)
    assert out.shape == (RATE_HZ,)
    assert not out[: RATE_HZ // 2].any()


def test_clicks_differ_in_pitch_and_level_and_are_short() -> None:
    accent, beat, subdivision = (click_sound(kind, RATE_HZ) for kind in ClickKind)
    assert np.abs(accent).max() == pytest.approx(1.0)
    assert brightness_hz(accent) > 1.3 * brightness_hz(beat)
    assert rms(beat) > 2 * rms(subdivision)
    assert max(len(accent), len(beat), len(subdivision)) < 0.12 * RATE_HZ


def test_clicks_do_not_fold_back_at_low_rates() -> None:
    for kind in ClickKind:
        assert np.abs(click_sound(kind, 8000)).max() <= 1.0
