"""Whatever bytes come in: sound, or one sentence."""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from undersong.errors import AudioError
from undersong.sound.files import open_sound, write_sound

RATE_HZ = 8000
KINDS = {
    "wav": "PCM_16",
    "aiff": "PCM_24",
    "flac": "PCM_16",
    "ogg": "VORBIS",
    "mp3": "MPEG_LAYER_III",
}


def made(kind: str) -> bytes:
    noise = np.random.default_rng(3).normal(0, 0.1, (RATE_HZ // 4, 2))
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"take.{kind}"
        soundfile.write(path, noise, RATE_HZ, subtype=KINDS[kind])
        return path.read_bytes()


WHOLE = {kind: made(kind) for kind in KINDS}


def answer(data: bytes) -> None:
    """Read bytes as a recording: finite mono blocks or one sentence."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        path.write_bytes(data)
        said = "take.wav fine."
        try:
            with open_sound(path) as recording:
                for block in recording.blocks():
                    assert block.ndim == 1
                    assert np.isfinite(block).all()
        except AudioError as error:
            said = str(error)
    assert said.startswith("take.wav ")
    assert "\n" not in said
    assert said.endswith(".")


@given(data=st.binary(max_size=400))
@settings(max_examples=100, deadline=None)
def test_any_bytes(data: bytes) -> None:
    answer(data)


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
@settings(max_examples=40, deadline=None)
def test_damaged_files(kind: str, data: st.DataObject) -> None:
    whole = bytearray(WHOLE[kind])
    reach = data.draw(st.sampled_from([80, 400, len(whole)]))
    for _ in range(data.draw(st.integers(0, 4))):
        whole[data.draw(st.integers(0, min(reach, len(whole)) - 1))] = data.draw(
            st.integers(0, 255)
        )
    answer(bytes(whole[: data.draw(st.integers(0, len(whole)))]))


@given(
    n_samples=st.integers(1, 3000),
    channels=st.integers(1, 2),
    rate_hz=st.sampled_from([8000, 22050, 44100, 48000]),
    ending=st.sampled_from(["wav", "flac", "ogg", "mp3"]),
    block_s=st.floats(0.0001, 0.5),
)
@settings(max_examples=60, deadline=None)
def test_written_sound_comes_back(
    n_samples: int, channels: int, rate_hz: int, ending: str, block_s: float
) -> None:
    tone = 0.4 * np.sin(np.arange(n_samples) * 0.05)
    sound = np.repeat(tone[:, None], channels, axis=1)
    with TemporaryDirectory() as folder:
        path = write_sound(Path(folder) / f"out.{ending}", sound, rate_hz)
        with open_sound(path) as recording:
            assert (recording.frames, recording.channels) == (n_samples, channels)
            back = np.concatenate(list(recording.blocks(block_s)))
    assert back.shape == (n_samples,)
    if ending in ("wav", "flac"):
        assert np.abs(back - tone).max() <= 1.5 / 2**15
