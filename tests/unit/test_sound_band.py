"""Drums, pad and cues."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from undersong.sound.click import cue_sound
from undersong.sound.drums import KIT, Drums, drum_of
from undersong.sound.loudness import loudness_lufs
from undersong.sound.mix import Levels, render_part
from undersong.sound.pad import Pad
from undersong.sound.schedule import NoteEvent, schedule
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Articulation, Dynamic, Note, Part, SectionMark, Voice
from undersong.theory.pitch import plain_pitch

RATE_HZ = 44100


def stroke(
    midi: int,
    *,
    onset_s: float = 0.0,
    length_s: float = 0.1,
    dynamic: Dynamic = Dynamic.MF,
    articulation: Articulation = Articulation.PLAIN,
) -> NoteEvent:
    note = Note(
        Fraction(0), Fraction(1, 16), plain_pitch(midi), dynamic=dynamic, articulation=articulation
    )
    return NoteEvent(onset_s, length_s, note)


def energy(sound: NDArray[np.float32]) -> float:
    return float(np.square(sound, dtype=np.float64).sum())


@pytest.mark.parametrize("key", KIT)
def test_every_drum_sounds_at_once_and_dies_away(key: int) -> None:
    sound = Drums(RATE_HZ).play((stroke(key, onset_s=0.5),), 4 * RATE_HZ)
    begin = RATE_HZ // 2
    assert not sound[:begin].any()
    assert energy(sound[begin : begin + 4410]) > 0.1 * energy(sound)
    assert energy(sound[begin + 3 * RATE_HZ :]) == 0
    assert np.abs(sound).max() < 1.5


def test_unknown_percussion_keys_are_still_played() -> None:
    assert (drum_of(35), drum_of(40), drum_of(59)) == (36, 38, 51)
    assert drum_of(81) in KIT
    assert Drums(RATE_HZ).play((stroke(81),), RATE_HZ).any()


def test_soft_strokes_are_softer_and_darker() -> None:
    soft, loud = (
        Drums(RATE_HZ).play((stroke(38, dynamic=each),), RATE_HZ)[:, 0]
        for each in (Dynamic.P, Dynamic.FF)
    )
    assert energy(soft) < 0.1 * energy(loud)
    hz = np.fft.rfftfreq(RATE_HZ, 1 / RATE_HZ)
    centre = [
        float((hz * p).sum() / p.sum()) for p in (np.abs(np.fft.rfft(s)) ** 2 for s in (soft, loud))
    ]
    assert centre[0] < 0.9 * centre[1]


def test_open_hat_is_closed_by_the_next_stroke() -> None:
    ringing = Drums(RATE_HZ).play((stroke(46),), RATE_HZ)
    closed = Drums(RATE_HZ).play((stroke(46), stroke(42, onset_s=0.25)), RATE_HZ)
    late = slice(RATE_HZ // 2, RATE_HZ)
    assert energy(closed[late]) < 1e-3 * energy(ringing[late])


def test_kit_stands_in_stereo() -> None:
    floor_tom = Drums(RATE_HZ).play((stroke(41),), RATE_HZ)
    hat = Drums(RATE_HZ).play((stroke(42),), RATE_HZ)
    assert energy(floor_tom[:, 0]) > 2 * energy(floor_tom[:, 1])
    assert energy(hat[:, 1]) > 2 * energy(hat[:, 0])


def test_pad_swells_holds_and_releases_without_a_click() -> None:
    sound = Pad(RATE_HZ).play((stroke(60, length_s=1.0),), 2 * RATE_HZ)
    assert np.abs(sound[:44]).max() < 0.01 * np.abs(sound).max()
    assert energy(sound[round(1.36 * RATE_HZ) :]) == 0
    assert energy(sound[RATE_HZ : round(1.35 * RATE_HZ)]) > 0
    assert np.abs(np.diff(sound, axis=0)).max() < 0.2 * np.abs(sound).max()


def test_pad_is_in_tune_wide_and_without_a_low_end() -> None:
    sound = Pad(RATE_HZ).play((stroke(57, length_s=4.0),), 4 * RATE_HZ)[RATE_HZ // 2 :]
    spectrum = np.abs(np.fft.rfft(sound[:, 0] * np.hanning(len(sound)), 1 << 19))
    top_hz = float(np.argmax(spectrum) * RATE_HZ / (1 << 19))
    assert abs(1200 * np.log2(top_hz / 220.0)) < 6
    assert np.corrcoef(sound[:, 0], sound[:, 1])[0, 1] < 0.95
    assert spectrum[: round(150 / RATE_HZ * (1 << 19))].max() < 0.01 * spectrum.max()


def test_a_pad_note_that_ends_between_two_samples_is_played() -> None:
    length_s = 4.5 * 60 / 80  # 148837.5 samples
    assert Pad(RATE_HZ).play((stroke(60, length_s=length_s),), 5 * RATE_HZ).any()


def test_short_pad_chords_are_short() -> None:
    long, short = (
        Pad(RATE_HZ).play((stroke(60, length_s=1.0, articulation=each),), 2 * RATE_HZ)
        for each in (Articulation.PLAIN, Articulation.SHORT)
    )
    assert energy(short) < 0.6 * energy(long)


def band() -> tuple[Part, Part, Part]:
    def made(voice: Voice, pitches: tuple[int, ...], step: Fraction) -> Part:
        places = [k * step for k in range(int(4 / step))]
        notes = tuple(Note(at, step, plain_pitch(p)) for at in places for p in pitches)
        sections = (SectionMark(Fraction(0), "Verse"), SectionMark(Fraction(2), "Chorus"))
        return Part("Band", parse_key("D"), FOUR_FOUR, 100, notes, voice=voice, sections=sections)

    return (
        made(Voice.BASS, (38,), Fraction(1, 4)),
        made(Voice.DRUMS, (36, 42), Fraction(1, 8)),
        made(Voice.PAD, (62, 66, 69), Fraction(1)),
    )


def test_band_plays_together_in_balance() -> None:
    bass, drums, pad = band()
    mix = render_part(bass, with_parts=(drums, pad))
    assert set(mix.stem_names) == {"bass", "drums", "pad", "click"}
    loud = {name: loudness_lufs(mix.stem(name), RATE_HZ) for name in mix.stem_names}
    assert loud["bass"] > loud["drums"] > loud["pad"]
    assert loud["bass"] - loud["pad"] < 8


def test_bass_out_leaves_the_band() -> None:
    bass, drums, pad = band()
    mix = render_part(bass, with_parts=(drums, pad), levels=Levels(bass=None))
    assert set(mix.stem_names) == {"drums", "pad", "click"}


def test_each_section_has_a_call_of_its_own_in_the_key() -> None:
    bass, _, _ = band()
    marks = tuple(
        SectionMark(Fraction(bar), name)
        for bar, name in enumerate(("Verse", "Chorus", "Verse", "Bridge"))
    )
    cues = schedule(replace(bass, sections=marks)).cues
    bar_s = 4 * 0.6
    calls: dict[int, list[int]] = {}
    for cue in cues:
        calls.setdefault(int((cue.onset_s - schedule(bass).start_s) / bar_s) + 1, []).append(
            cue.midi - 74  # above D
        )
    assert calls == {1: [7, 12], 2: [0, 7], 3: [0, 4, 7]}
    minor = replace(bass, key=parse_key("Dm"), sections=marks[2:])
    assert [cue.midi - 74 for cue in schedule(minor).cues][-2:] == [7, 12]


def test_cue_rings_in_the_last_beat_before_a_section() -> None:
    bass, _, _ = band()
    mix = render_part(bass, levels=Levels(cue=0.0))
    cue = mix.stem("cue")[:, 0]
    chorus_s = mix.start_s + 8 * 0.6
    first_s = float(np.argmax(np.abs(cue) > 0.1 * np.abs(cue).max())) / RATE_HZ
    assert first_s == pytest.approx(chorus_s - 0.6, abs=0.01)
    assert "cue" not in render_part(bass).stem_names
    assert cue_sound(74, RATE_HZ).max() <= 1.0
