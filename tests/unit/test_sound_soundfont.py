"""A user's own SoundFont; skipped where the optional library or a SoundFont is missing."""

from __future__ import annotations

import sys
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from sound_onsets import RATE_HZ, expected_s, onsets_s
from undersong.errors import AudioError
from undersong.sound.mix import render_part
from undersong.sound.soundfont import SoundFont, open_soundfont
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Note, Part, Voice
from undersong.theory.pitch import plain_pitch

FOLDERS = (Path("/usr/share/sounds/sf2"), Path("/usr/share/soundfonts"))


def part(voice: Voice = Voice.BASS, midi: int = 40) -> Part:
    quarter = Fraction(1, 4)
    notes = tuple(Note(k * quarter, quarter, plain_pitch(midi)) for k in range(8))
    return Part("Four", parse_key("E"), FOUR_FOUR, 97, notes, voice=voice)


@pytest.fixture
def font() -> SoundFont:
    pytest.importorskip(
        "fluidsynth",
        reason="no SoundFont player here: install undersong[soundfont] and libfluidsynth",
        exc_type=ImportError,
    )
    found = [path for folder in FOLDERS for path in folder.glob("FluidR3_GM*.sf2")]
    if not found:
        pytest.skip("no SoundFont here: install the Debian package fluid-soundfont-gm")
    return open_soundfont(found[0])


@pytest.mark.parametrize(("voice", "midi"), [(Voice.BASS, 40), (Voice.DRUMS, 38)])
def test_it_plays_on_the_click(font: SoundFont, voice: Voice, midi: int) -> None:
    played = part(voice, midi)
    mix = render_part(played, soundfont=font, click=None, count_in=False)
    found = onsets_s(mix.samples.mean(axis=1)) - mix.start_s
    late_s = found - expected_s(played, 97, {note.at for note in played.notes})
    # A sampled attack rises slowly, so the detector dates it a little later than ours; evenly so.
    assert np.abs(late_s).max() < 0.002
    assert late_s.std() < 0.0005


def test_it_is_another_instrument_at_the_same_loudness(font: SoundFont) -> None:
    theirs, ours = render_part(part(), soundfont=font), render_part(part())
    assert theirs.loudness_lufs == pytest.approx(ours.loudness_lufs, abs=0.2)
    assert not np.allclose(theirs.samples, ours.samples, atol=0.01)
    assert np.array_equal(theirs.samples, render_part(part(), soundfont=font).samples)
    assert len(theirs.samples) == len(ours.samples)
    assert theirs.sample_rate_hz == RATE_HZ


def test_a_pad_plays_too(font: SoundFont) -> None:
    mix = render_part(part(Voice.PAD, 64), soundfont=font, click=None, count_in=False)
    assert np.abs(mix.samples[RATE_HZ:]).max() > 0.01


def test_without_the_library_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "mine.sf2"
    path.write_bytes(b"RIFF\0\0\0\0sfbk" + bytes(20))
    monkeypatch.setitem(sys.modules, "fluidsynth", None)
    with pytest.raises(AudioError, match=r"install undersong\[soundfont\]"):
        open_soundfont(path)


def test_what_is_no_soundfont(tmp_path: Path) -> None:
    path = tmp_path / "mine.sf2"
    with pytest.raises(AudioError, match="cannot be read"):
        open_soundfont(path)
    path.write_bytes(b"RIFF\0\0\0\0WAVE")
    with pytest.raises(AudioError, match=r"is no SoundFont: choose a file ending in \.sf2"):
        open_soundfont(path)
