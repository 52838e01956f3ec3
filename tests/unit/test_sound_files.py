import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from undersong.errors import AudioError
from undersong.sound.files import Samples, Tags, open_sound, write_sound

RATE_HZ = 44100


def tone(seconds: float = 1.0, rate_hz: int = RATE_HZ, level: float = 0.3) -> Samples:
    places = np.arange(round(seconds * rate_hz)) / rate_hz
    return (level * np.sin(2 * np.pi * 110 * places)).astype(np.float32)


def heard(path: Path) -> Samples:
    with open_sound(path) as recording:
        return np.concatenate(list(recording.blocks(0.37)))


@pytest.mark.parametrize(
    ("ending", "subtype", "tolerance"),
    [
        ("wav", "PCM_U8", 2**-7),
        ("wav", "PCM_16", 2**-15),
        ("wav", "PCM_24", 2**-22),
        ("wav", "PCM_32", 2**-23),
        ("wav", "FLOAT", 0.0),
        ("wav", "DOUBLE", 0.0),
        ("flac", "PCM_16", 2**-15),
        ("flac", "PCM_24", 2**-22),
        ("aiff", "PCM_16", 2**-15),
        ("aiff", "FLOAT", 0.0),
        ("ogg", "VORBIS", 0.05),
        ("mp3", "MPEG_LAYER_III", 0.05),
    ],
)
def test_kinds_and_depths_are_read(
    tmp_path: Path, ending: str, subtype: str, tolerance: float
) -> None:
    path = tmp_path / f"take.{ending}"
    soundfile.write(path, tone(), RATE_HZ, subtype=subtype)
    got = heard(path)
    assert len(got) == RATE_HZ
    assert np.abs(got - tone())[1000:-1000].max() <= tolerance


def test_extensible_wave_opus_and_big_endian_are_read(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "x.wav", tone(), RATE_HZ, format="WAVEX", subtype="PCM_24")
    soundfile.write(tmp_path / "big.wav", tone(), RATE_HZ, format="WAV", endian="BIG")
    soundfile.write(tmp_path / "o.ogg", tone(rate_hz=48000), 48000, subtype="OPUS")
    lengths = [len(heard(tmp_path / name)) for name in ("x.wav", "big.wav", "o.ogg")]
    assert lengths == [RATE_HZ, RATE_HZ, 48000]


@pytest.mark.parametrize("rate_hz", [4000, 8000, 22050, 48000, 96000, 192000, 384000])
def test_sample_rates(tmp_path: Path, rate_hz: int) -> None:
    path = write_sound(tmp_path / "take.wav", tone(0.5, rate_hz), rate_hz)
    with open_sound(path) as recording:
        assert (recording.sample_rate_hz, recording.frames) == (rate_hz, rate_hz // 2)
        assert recording.length_s == 0.5


def test_one_sample_is_a_recording(tmp_path: Path) -> None:
    path = tmp_path / "tick.wav"
    soundfile.write(path, tone()[1:2], RATE_HZ)
    assert len(heard(path)) == 1


def test_file_is_known_by_its_bytes_not_its_ending(tmp_path: Path) -> None:
    for ending in ("raw", "mp3", "take"):
        path = tmp_path / f"take.{ending}"
        soundfile.write(path, tone(), RATE_HZ, format="WAV")
        assert len(heard(path)) == RATE_HZ


def test_stereo_is_averaged(tmp_path: Path) -> None:
    left, right = tone(level=0.4), tone(level=0.2)
    soundfile.write(tmp_path / "s.wav", np.stack([left, right], 1), RATE_HZ, subtype="FLOAT")
    assert np.allclose(heard(tmp_path / "s.wav"), (left + right) / 2, atol=1e-6)


@pytest.mark.parametrize("empty", [0, 1])
def test_silent_channel_is_left_out(tmp_path: Path, empty: int) -> None:
    noise = np.random.default_rng(1).normal(0, 1e-4, RATE_HZ).astype(np.float32)
    pair = [tone(), noise] if empty else [noise, tone()]
    soundfile.write(tmp_path / "s.wav", np.stack(pair, 1), RATE_HZ, subtype="FLOAT")
    assert np.array_equal(heard(tmp_path / "s.wav"), tone())


def test_channel_that_starts_late_is_heard_at_one_level(tmp_path: Path) -> None:
    late = tone(3.0) * (np.arange(3 * RATE_HZ) > 2 * RATE_HZ)
    soundfile.write(tmp_path / "s.wav", np.stack([tone(3.0), late], 1), RATE_HZ, subtype="FLOAT")
    assert np.allclose(heard(tmp_path / "s.wav"), (tone(3.0) + late) / 2, atol=1e-6)


def test_channels_that_cancel_are_heard_as_the_louder_one(tmp_path: Path) -> None:
    pair = np.stack([tone(), -0.9 * tone()], 1)
    soundfile.write(tmp_path / "s.wav", pair, RATE_HZ, subtype="FLOAT")
    assert np.array_equal(heard(tmp_path / "s.wav"), tone())


def test_six_channels(tmp_path: Path) -> None:
    sound = np.zeros((RATE_HZ, 6), np.float32)
    sound[:, 2] = tone()
    soundfile.write(tmp_path / "six.wav", sound, RATE_HZ, subtype="FLOAT")
    assert np.array_equal(heard(tmp_path / "six.wav"), tone())


def test_silence_is_sound(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "quiet.wav", np.zeros((100, 2)), RATE_HZ)
    assert not heard(tmp_path / "quiet.wav").any()


def refusal(path: Path) -> str:
    with pytest.raises(AudioError) as caught:
        heard(path)
    message = str(caught.value)
    assert "\n" not in message
    assert message.endswith(".")
    return message


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("take.wav", b"", "is empty: record"),
        ("take.wav", b"dear diary, today I played\n", "is text, not sound"),
        ("take.wav", "lied für die gemeinde".encode(), "is text, not sound"),
        ("take.m4a", b"\0\0\0\x20ftypM4A \0\0\0\0", "M4A .* app's page, or export it as WAV"),
        ("take.webm", b"\x1a\x45\xdf\xa3\x01", "WebM .* app's page, or export it as WAV"),
        ("take.aac", b"\xff\xf1\x50\x80\x02", "AAC .* export it as WAV, FLAC or MP3"),
        ("take.mid", b"MThd\0\0\0\x06\0\1", "a MIDI file, which holds notes and no sound"),
        ("take.pdf", b"%PDF-1.7\n", "a PDF page"),
        ("take.bin", bytes(range(64)), "is not a sound file we know"),
        ("take.mp3", b"\xff\xfb\x90\xc4" + bytes(600), "starts like an MP3"),
        ("take.mp3", b"ID3\x04\0\0\0\0\0\0", "is not a sound file we know"),
        ("take.ogg", b"OggS" + bytes(60), "an Ogg file without Vorbis"),
        ("take.wav", b"RIFF\x10\0\0\0WAVEfmt ", "starts like WAV sound but cannot be decoded"),
        ("take.aif", b"FORM\x10\0\0\0AIFFCOMM", "starts like AIFF sound but cannot be decoded"),
        ("take.flac", b"fLaC\0\0\0\x22", "starts like FLAC sound but cannot be decoded"),
    ],
)
def test_what_is_no_recording_is_named(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(AudioError, match=says):
        heard(path)
    assert name in refusal(path)


def test_folder_missing_file_and_device(tmp_path: Path) -> None:
    assert "is a folder" in refusal(tmp_path)
    assert "does not exist" in refusal(tmp_path / "no.wav")
    assert "is not a file" in refusal(Path("/dev/null"))


@pytest.mark.parametrize("ending", ["wav", "aiff", "flac", "ogg", "mp3"])
def test_half_a_file_is_said_to_be_cut_short(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"take.{ending}"
    noise = np.random.default_rng(1).normal(0, 0.1, 4 * RATE_HZ)
    soundfile.write(path, noise, RATE_HZ)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    message = refusal(path)
    assert "cut short" in message or "breaks off after" in message


def test_wave_of_unknown_length_is_read_and_an_unfinished_one_refused(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "take.wav", tone(), RATE_HZ)
    data = bytearray((tmp_path / "take.wav").read_bytes())
    for size in (0xFFFFFFFF, 0):
        data[4:8] = data[40:44] = struct.pack("<I", size)
        (tmp_path / f"{size}.wav").write_bytes(data)
    assert len(heard(tmp_path / f"{0xFFFFFFFF}.wav")) == RATE_HZ
    assert "was never finished" in refusal(tmp_path / "0.wav")


def test_wave_without_samples(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "take.wav", np.zeros(0), RATE_HZ)
    assert "holds no sound" in refusal(tmp_path / "take.wav")


@pytest.mark.parametrize("rate_hz", [100, 2_000_000])
def test_impossible_sample_rates(tmp_path: Path, rate_hz: int) -> None:
    soundfile.write(tmp_path / "take.wav", tone(), rate_hz)
    assert f"{rate_hz} samples a second" in refusal(tmp_path / "take.wav")


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_samples_that_are_no_numbers(tmp_path: Path, bad: float) -> None:
    sound = np.stack([tone(2.0), tone(2.0)], 1)
    sound[RATE_HZ + RATE_HZ // 2, 1] = bad
    soundfile.write(tmp_path / "take.wav", sound, RATE_HZ, subtype="FLOAT")
    assert "no numbers at 1.50 s" in refusal(tmp_path / "take.wav")


def test_blocks_start_again_and_join_to_the_whole(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "take.flac", tone(2.5), RATE_HZ, bits=24)
    with open_sound(path) as recording:
        lengths = [len(block) for block in recording.blocks()]
        again = np.concatenate(list(recording.blocks(0.001)))
    assert lengths == [RATE_HZ, RATE_HZ, RATE_HZ // 2]
    assert np.abs(again - tone(2.5)).max() < 2**-22


# ---- out


@pytest.mark.parametrize("ending", ["wav", "flac", "ogg", "mp3"])
@pytest.mark.parametrize("seconds", [0.01, 3.21])
def test_written_length_is_read_back(tmp_path: Path, ending: str, seconds: float) -> None:
    sound = np.stack([tone(seconds), -tone(seconds, level=0.1)], 1)
    path = write_sound(tmp_path / f"out.{ending}", sound, RATE_HZ)
    with open_sound(path) as recording:
        assert recording.channels == 2
        assert recording.frames == round(seconds * RATE_HZ)
        assert sum(len(block) for block in recording.blocks()) == recording.frames
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_blocks_are_written_as_one_sound(tmp_path: Path) -> None:
    whole = tone(2.0)
    one = write_sound(tmp_path / "one.wav", whole, RATE_HZ)
    two = write_sound(tmp_path / "two.wav", iter(np.split(whole, [RATE_HZ])), RATE_HZ)
    assert one.read_bytes() == two.read_bytes()


def test_dither_leaves_no_trace_of_the_signal_in_its_error(tmp_path: Path) -> None:
    sound = tone(5.0, level=1.5 * 2**-15)
    error = heard(write_sound(tmp_path / "soft.wav", sound, RATE_HZ)) - sound
    assert abs(np.corrcoef(sound, error)[0, 1]) < 0.02
    # Two uniform noises and the rounding: three times 1/12 of a squared step.
    assert np.var(error * 2**15) == pytest.approx(0.25, rel=0.05)


def test_louder_than_full_scale_is_clipped_not_wrapped(tmp_path: Path) -> None:
    for bits in (16, 24):
        path = write_sound(tmp_path / "loud.wav", 2 * np.sign(tone()), RATE_HZ, bits=bits)
        assert (np.sign(heard(path)) == np.sign(tone())).all()


@pytest.mark.parametrize("ending", ["wav", "flac", "ogg", "mp3"])
def test_tags_are_read_back(tmp_path: Path, ending: str) -> None:
    tags = Tags("Grüner Hügel in B♭", "Sunday, 29 November", "Bass", 3, 92.0, "2026-11-29", "slow")
    path = write_sound(tmp_path / f"out.{ending}", tone(), RATE_HZ, tags=tags)
    with soundfile.SoundFile(path) as back:
        assert back.frames == RATE_HZ
        assert (back.title, back.album, back.tracknumber) == (tags.title, tags.album, "3")
        assert back.comment.endswith("92 BPM; slow")
        assert back.date == "2026-11-29"


def test_mp3_carries_the_tempo_in_its_own_frame(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "out.mp3", tone(), RATE_HZ, tags=Tags(tempo_bpm=92.4))
    assert b"TBPM\0\0\0\x03\0\0\x0392" in path.read_bytes()[:60]


@pytest.mark.parametrize(
    ("name", "rate_hz", "says"),
    [
        ("out.aac", 44100, "has no ending we write: use .wav, .flac, .ogg or .mp3"),
        ("out", 44100, "has no ending we write"),
        ("out.mp3", 96000, "MP3 cannot hold 96000"),
        ("out.ogg", 384000, "OGG cannot hold 384000"),
        ("none/out.wav", 44100, "is not a folder: make it first"),
    ],
)
def test_what_cannot_be_written(tmp_path: Path, name: str, rate_hz: int, says: str) -> None:
    with pytest.raises(AudioError, match=says):
        write_sound(tmp_path / name, tone(), rate_hz)
    assert not list(tmp_path.iterdir())


def test_empty_sound_and_odd_depth(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="would hold no sound"):
        write_sound(tmp_path / "out.wav", tone()[:0], RATE_HZ)
    with pytest.raises(ValueError, match="bits must be 16 or 24"):
        write_sound(tmp_path / "out.wav", tone(), RATE_HZ, bits=20)


@pytest.mark.parametrize("ending", ["wav", "mp3"])
def test_trouble_half_way_leaves_the_old_file(tmp_path: Path, ending: str) -> None:
    path = write_sound(tmp_path / f"out.{ending}", tone(), RATE_HZ)
    before = path.read_bytes()
    with pytest.raises(AudioError, match="no numbers"):
        write_sound(path, iter([tone(), tone() * np.nan]), RATE_HZ)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


FULL_DISK = """
import resource, sys
import numpy as np
from undersong.errors import AudioError
from undersong.sound.files import write_sound
resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
try:
    write_sound(sys.argv[1], np.random.default_rng(1).normal(0, 0.1, 400_000), 44100)
except AudioError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits are POSIX")
@pytest.mark.parametrize("ending", ["wav", "flac", "ogg", "mp3"])
def test_full_disk_is_a_sentence(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"out.{ending}"
    run = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(path)], capture_output=True, text=True, check=False
    )
    assert "cannot be written" in run.stdout
    assert run.stderr == ""
    assert not list(tmp_path.iterdir())
