"""Finished files of every kind, decoded again and measured by an independent meter.

Loudness by pyloudnorm (BS.1770-4, by others). EBU R 128 (2020): true peak at most -1 dBTP. Feels
are written out by hand from trade handbook 7.4 (common practice, no source).
"""

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm  # type: ignore[import-untyped]
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import resample_poly

from undersong.sound.files import write_sound
from undersong.sound.master import TARGET_LUFS
from undersong.sound.mix import Mix, render_part
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Dynamic, Note, Part, Voice, in_order
from undersong.theory.pitch import plain_pitch
from undersong.theory.tempo import Swing

RATE_HZ = 44100
CEILING_DBTP = -1.0
ACROSS_A_PACK_LU = 0.5
KINDS = (".wav", ".flac", ".ogg", ".mp3")

# Onsets in the bar, counted in beats from 1 (in eighths for 6/8): bass, kick, snare.
FEELS: dict[str, tuple[str, str, tuple[float, ...], tuple[float, ...], tuple[float, ...]]] = {
    "straight eighths": ("4/4", "1/4", tuple(1 + k / 2 for k in range(8)), (1, 3), (2, 4)),
    "dotted pulse": ("4/4", "1/4", (1, 2.5, 4), (1, 2.5, 4), (2, 4)),
    "floor": ("4/4", "1/4", (1, 2, 3, 4), (1, 2, 3, 4), (2, 4)),
    "half-time": ("4/4", "1/4", (1, 2.5), (1, 2.5), (3,)),
    "shuffle": ("4/4", "1/4", (1, 1.5, 3, 3.5), (1, 3), (2, 4)),
    "ballad in 6/8": ("6/8", "1/8", (1, 4, 6), (1,), (4,)),
    "waltz": ("3/4", "1/4", (1, 3), (1,), (2, 3)),
    "held roots": ("4/4", "1/4", (1,), (1, 3), ()),
}


def band(feel: str, tempo_bpm: float, bars: int = 2) -> tuple[Part, Part, Part]:
    meter_text, unit_text, bass, kick, snare = FEELS[feel]
    meter, unit = parse_meter(meter_text), Fraction(unit_text)
    swing = Swing() if feel == "shuffle" else None

    def part(voice: Voice, strokes: dict[int, tuple[float, ...]], loud: Dynamic) -> Part:
        notes = [
            Note(at, min(unit / 2, meter.bar), plain_pitch(midi), dynamic=loud, accented=beat == 1)
            for bar in range(bars)
            for midi, beats in strokes.items()
            for beat in beats
            for at in [bar * meter.bar + (Fraction(beat) - 1) * unit]
        ]
        return Part(
            feel, parse_key("E"), meter, tempo_bpm, in_order(notes), voice=voice, swing=swing
        )

    return (
        part(Voice.BASS, {28: bass}, Dynamic.MF),
        part(Voice.DRUMS, {36: kick, 38: snare, 42: (1, 2, 3), 49: (1,)}, Dynamic.FF),
        part(Voice.PAD, {64: (1,), 68: (1,), 71: (1,)}, Dynamic.MP),
    )


def rendered(feel: str, tempo_bpm: float) -> Mix:
    bass, drums, pad = band(feel, tempo_bpm)
    return render_part(bass, with_parts=(drums, pad))


def true_peak_db(sound: NDArray[np.floating[Any]]) -> float:
    """Eightfold oversampling of the whole: another way than our meter's."""
    fine = resample_poly(np.asarray(sound, dtype=np.float64), 8, 1, axis=0)
    return float(20 * np.log10(np.abs(fine).max()))


@pytest.mark.parametrize("feel", FEELS)
def test_every_feel_and_tempo_is_equally_loud_with_headroom(feel: str) -> None:
    tempos = (40, 220) if feel in ("straight eighths", "ballad in 6/8") else (92,)
    for tempo_bpm in tempos:
        mix = rendered(feel, tempo_bpm)
        theirs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(mix.samples.astype(np.float64))
        assert theirs == pytest.approx(TARGET_LUFS, abs=ACROSS_A_PACK_LU / 2)
        assert true_peak_db(mix.samples) <= CEILING_DBTP


@pytest.fixture(scope="module")
def mix() -> Mix:
    return rendered("straight eighths", 120)


@pytest.mark.parametrize("ending", KINDS)
def test_decoded_file_has_the_same_length_place_loudness_and_headroom(
    tmp_path: Path, ending: str, mix: Mix
) -> None:
    path = write_sound(tmp_path / f"track{ending}", mix.samples, RATE_HZ)
    sound, rate_hz = soundfile.read(path)
    assert (rate_hz, sound.shape) == (RATE_HZ, mix.samples.shape)
    theirs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(sound)
    assert theirs == pytest.approx(TARGET_LUFS, abs=ACROSS_A_PACK_LU / 2)
    assert true_peak_db(sound) <= CEILING_DBTP
    # The lag at which both agree best, over one second of the music: none at all.
    middle = slice(3 * RATE_HZ, 4 * RATE_HZ)
    ours = mix.samples[middle, 0].astype(np.float64)
    lags = range(-200, 201)
    fits = [float(ours @ sound[middle.start + lag : middle.stop + lag, 0]) for lag in lags]
    assert lags[int(np.argmax(fits))] == 0
