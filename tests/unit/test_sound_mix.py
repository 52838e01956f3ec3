from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from undersong.errors import AudioError
from undersong.sound.loudness import loudness_lufs, true_peak_db
from undersong.sound.master import CEILING_DBTP, SOFT_START_S, TARGET_LUFS
from undersong.sound.mix import Levels, Mix, render_part
from undersong.sound.room import room_response
from undersong.sound.schedule import ClickPattern, ClickPlan
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Articulation, Dynamic, Note, Part
from undersong.theory.pitch import plain_pitch

RATE_HZ = 44100


def line(
    meter: str = "4/4",
    *,
    tempo_bpm: float = 100,
    bars: int = 2,
    dynamic: Dynamic = Dynamic.MF,
    articulation: Articulation = Articulation.PLAIN,
) -> Part:
    """Eighths on a few roots."""
    m = parse_meter(meter)
    eighth = Fraction(1, 8)
    places = [k * eighth for k in range(int(bars * m.bar / eighth))]
    notes = tuple(
        Note(
            at,
            eighth,
            plain_pitch((31, 36, 38, 28)[int(at / m.bar) % 4]),
            dynamic=dynamic,
            articulation=articulation,
        )
        for at in places
    )
    return Part("Test", parse_key("G"), m, tempo_bpm, notes)


def fits(mix: Mix) -> None:
    assert true_peak_db(mix.samples) <= CEILING_DBTP + 0.01
    assert np.isfinite(mix.samples).all()


def test_shape_start_and_length() -> None:
    mix = render_part(line(tempo_bpm=120))
    assert mix.samples.shape == (round((mix.end_s + 0.8) * RATE_HZ), 2)
    assert mix.samples.dtype == np.float32
    assert mix.start_s == pytest.approx(0.25 + 2.0)
    assert mix.end_s == pytest.approx(mix.start_s + 4.0)
    assert mix.stem_names == ("bass", "click")


@pytest.mark.parametrize("dynamic", [Dynamic.PP, Dynamic.FF])
@pytest.mark.parametrize("rate_hz", [44100, 48000])
def test_every_mix_is_equally_loud_with_headroom(dynamic: Dynamic, rate_hz: int) -> None:
    for levels in (Levels(), Levels(click=None), Levels(bass=-8.0)):
        mix = render_part(line(dynamic=dynamic), levels=levels, sample_rate_hz=rate_hz)
        fits(mix)
        assert loudness_lufs(mix.samples, rate_hz) == pytest.approx(TARGET_LUFS, abs=0.2)
        assert mix.loudness_lufs == pytest.approx(TARGET_LUFS, abs=0.2)


def test_click_alone_keeps_its_headroom() -> None:
    mix = render_part(line(), levels=Levels(bass=None))
    fits(mix)
    assert mix.stem_names == ("click",)
    assert loudness_lufs(mix.samples, RATE_HZ) > TARGET_LUFS - 1.5


def test_stems_add_up_to_the_mix() -> None:
    mix = render_part(line())
    total = sum((mix.stem(name) for name in mix.stem_names), np.zeros_like(mix.samples))
    assert np.abs(total - mix.samples).max() < 1e-5


def test_nothing_starts_at_full_level() -> None:
    mix = render_part(line(tempo_bpm=200, dynamic=Dynamic.FF), count_in=False)
    early = np.abs(mix.samples[: round(0.4 * RATE_HZ)]).max()
    later = np.abs(mix.samples[round(SOFT_START_S * RATE_HZ) :]).max()
    assert early < 0.55 * later
    assert np.abs(mix.samples[-10:]).max() < 1e-3


def test_the_same_twice() -> None:
    one, two = render_part(line()), render_part(line())
    assert np.array_equal(one.samples, two.samples)


def test_slower_and_other_clicks() -> None:
    slow = render_part(line(), tempo_bpm=50)
    assert slow.end_s - slow.start_s == pytest.approx(2 * (4 * 60 / 50))
    two_and_four = render_part(line(), click=ClickPlan(ClickPattern.TWO_AND_FOUR))
    assert two_and_four.samples.shape == render_part(line()).samples.shape
    assert render_part(line(), click=None, count_in=False).stem_names == ("bass",)


def test_a_tacet_part_is_counted_and_clicked() -> None:
    tacet = replace(line(), notes=(), length=Fraction(2))
    assert render_part(tacet).stem_names == ("click",)


def test_silence_is_refused() -> None:
    with pytest.raises(AudioError, match="everyone is silent"):
        render_part(line(), levels=Levels(bass=None, click=None))


def test_telephone_rates_are_refused() -> None:
    with pytest.raises(AudioError, match="too few: use 44100"):
        render_part(line(), sample_rate_hz=8000)


def test_parts_that_do_not_begin_together() -> None:
    late = replace(line(), pickup=Fraction(1, 4))
    with pytest.raises(AudioError, match="does not begin together"):
        render_part(line(), with_parts=(late,))


def test_room_is_short_and_alike_on_both_sides() -> None:
    response = room_response(RATE_HZ).astype(float)
    energy = (response**2).sum(axis=0)
    assert energy == pytest.approx([1.0, 1.0], abs=1e-6)
    assert (response[round(0.2 * RATE_HZ) :] ** 2).sum() < 0.02
    assert abs(np.corrcoef(response.T)[0, 1]) < 0.3
