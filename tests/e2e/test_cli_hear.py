"""`hear` through its door: known takes, odd files, the log and the next tempo.

The takes in `tests/takes` were rendered from sampled basses with known mistakes (README there).
"""

from __future__ import annotations

import json
import subprocess
import sys
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from doors import Undersong
from undersong.log.book import Book

TAKES = Path(__file__).parent.parent / "takes"
MEGABYTE = 1024 * 1024
TWO_HOURS_S = 7200


def known(name: str) -> tuple[Path, dict[str, Any]]:
    """A committed take (sound file, truth) by a word of its name."""
    path = sorted(TAKES.glob(f"*{name}*.flac"))[0]
    return path, json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))


@pytest.fixture
def scale(tmp_path: Path) -> Path:
    """The part of a clean take, as a file."""
    path = tmp_path / "part.json"
    path.write_text(json.dumps(known("scale-in-quarters-clean")[1]["asked"]), encoding="utf-8")
    return path


@pytest.fixture
def sound() -> tuple[NDArray[np.float64], int]:
    """The samples of that take and their rate."""
    samples, rate = soundfile.read(known("scale-in-quarters-clean")[0], always_2d=True)
    return samples.mean(axis=1), int(rate)


def heard(undersong: Undersong, take: Path, part: Path, *words: object) -> dict[str, Any]:
    said = undersong("hear", take, "--part", part, "--json", *words)
    assert said.status == 0, said.err
    answer: dict[str, Any] = json.loads(said.out)
    return answer


def test_json_keys_of_a_clean_take(undersong: Undersong, scale: Path) -> None:
    take, truth = known("scale-in-quarters-clean")
    answer = heard(undersong, take, scale, "--tempo", truth["tempo_bpm"])
    assert answer["clean"] is True
    assert answer["reference"] == "fitted"
    assert answer["tempo_bpm"] == pytest.approx(truth["tempo_bpm"], rel=0.01)
    assert answer["start_s"] == pytest.approx(truth["start_s"], abs=0.02)
    assert answer["tolerance_ms"] == pytest.approx(truth["tolerance_ms"], abs=0.1)
    assert answer.keys() >= {"reason", "tuning_cents", "notes", "summary"}
    assert len(answer["notes"]) == len(truth["asked"]["notes"])
    assert answer["notes"][0].keys() >= {
        "index", "asked_midi", "heard_midi", "onset_s", "timing_ms", "cents", "verdict",
        "probability",
    }  # fmt: skip
    assert {note["verdict"] for note in answer["notes"]} == {"right"}


def test_a_known_start_is_absolute(undersong: Undersong, scale: Path) -> None:
    take, truth = known("scale-in-quarters-clean")
    late_ms = 30.0
    answer = heard(undersong, take, scale, "--tempo", truth["tempo_bpm"], "--start",
                   truth["start_s"] - late_ms / 1000)  # fmt: skip
    assert answer["reference"] == "start"
    timings = [note["timing_ms"] for note in answer["notes"]]
    assert np.median(timings) == pytest.approx(late_ms, abs=10.0)


def test_words_for_a_faulty_take(undersong: Undersong, tmp_path: Path) -> None:
    take, truth = known("thirds-faulty")
    part = tmp_path / "part.json"
    part.write_text(json.dumps(truth["asked"]), encoding="utf-8")
    said = undersong("hear", take, "--part", part, "--tempo", truth["tempo_bpm"])
    assert said.status == 0
    planted = [note for note in truth["played"] if note["plant"]]
    faults = [line for line in said.out.splitlines() if line.startswith("  ")]
    assert len(faults) == len(planted) + len(truth["missed"])
    assert all(line.startswith(("  Bar ", "  After bar ")) for line in faults)


@pytest.mark.parametrize(
    ("name", "subtype"),
    [("eight.wav", "PCM_U8"), ("twentyfour.wav", "PCM_24"), ("float.wav", "FLOAT"),
     ("take.ogg", "VORBIS"), ("take.mp3", "MPEG_LAYER_III"), ("take.flac", "PCM_16")],
)  # fmt: skip
def test_every_kind_of_file_gets_the_same_verdict(
    undersong: Undersong,
    tmp_path: Path,
    scale: Path,
    sound: tuple[NDArray[np.float64], int],
    name: str,
    subtype: str,
) -> None:
    samples, rate = sound
    take = tmp_path / name
    soundfile.write(take, np.column_stack([samples, samples]), rate, subtype=subtype)
    tempo = known("scale-in-quarters-clean")[1]["tempo_bpm"]
    answer = heard(undersong, take, scale, "--tempo", tempo)
    assert answer["clean"] is True


@pytest.mark.parametrize("rate_hz", [8000, 192000])
def test_any_sample_rate(
    undersong: Undersong,
    tmp_path: Path,
    scale: Path,
    sound: tuple[NDArray[np.float64], int],
    rate_hz: int,
) -> None:
    from scipy.signal import resample_poly

    samples, rate = sound
    common = int(np.gcd(rate, rate_hz))
    take = tmp_path / "take.wav"
    soundfile.write(take, resample_poly(samples, rate_hz // common, rate // common), rate_hz)
    tempo = known("scale-in-quarters-clean")[1]["tempo_bpm"]
    answer = heard(undersong, take, scale, "--tempo", tempo)
    assert answer["clean"] is True


@pytest.mark.parametrize(
    ("name", "data"),
    [("empty.wav", b""), ("words.wav", b"This is not a sound at all.\n" * 9),
     ("noise.flac", bytes(range(256)) * 8)],
)  # fmt: skip
def test_what_is_no_sound(
    undersong: Undersong, tmp_path: Path, scale: Path, name: str, data: bytes
) -> None:
    take = tmp_path / name
    take.write_bytes(data)
    said = undersong("hear", take, "--part", scale)
    assert (said.status, said.out) == (2, "")
    assert name in said.err
    assert said.err.count("\n") == 1


def test_a_file_without_a_sample(undersong: Undersong, tmp_path: Path, scale: Path) -> None:
    take = tmp_path / "quiet.wav"
    soundfile.write(take, np.zeros(0), 44100)
    said = undersong("hear", take, "--part", scale)
    assert (said.status, said.out) == (2, "")
    assert "holds no sound" in said.err


@pytest.mark.parametrize("samples", [1, 44100 * 5])
def test_silence_is_an_answer(
    undersong: Undersong, tmp_path: Path, scale: Path, samples: int
) -> None:
    take = tmp_path / "quiet.wav"
    soundfile.write(take, np.zeros(samples), 44100)
    said = undersong("hear", take, "--part", scale, "--json")
    assert said.status == 0
    answer = json.loads(said.out)
    assert answer["clean"] is None
    assert answer["reason"].endswith(".")


# Runs a command and says last what it needed at most, in kB; by itself, for other tests have
# children of their own.
PEAK = """import resource, subprocess, sys
done = subprocess.run(sys.argv[1:], check=False)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, file=sys.stderr)
sys.exit(done.returncode)"""


def test_two_hours_in_bounded_memory(tmp_path: Path, scale: Path) -> None:
    take = tmp_path / "long.flac"
    rate = 16000
    rng = np.random.default_rng(1)
    with soundfile.SoundFile(take, "w", rate, 1) as out:
        hum = 0.001 * rng.standard_normal(rate * 60)
        for _ in range(TWO_HOURS_S // 60):
            out.write(hum)
    hearing = [sys.executable, "-m", "undersong", "hear", str(take), "--part", str(scale), "--json"]
    done = subprocess.run(
        [sys.executable, "-c", PEAK, *hearing], capture_output=True, text=True, check=False
    )
    peak_kb = int(done.stderr.split()[-1])
    assert "Traceback" not in done.stderr
    assert done.returncode in (0, 2)
    if done.returncode == 0:
        assert json.loads(done.stdout)["clean"] is None
    assert peak_kb * 1024 < 900 * MEGABYTE


def test_takes_are_kept_and_the_rule_answers(undersong: Undersong, tmp_path: Path) -> None:
    """The demo's takes: clean and clean at 70, then a faulty one at 75 (README beside them)."""
    part = tmp_path / "scale.json"
    part.write_text(undersong("drill", "scale", "--key", "G", "--json").out, encoding="utf-8")
    takes = Path(str(files("undersong") / "demo" / "takes"))
    log = tmp_path / "log.sqlite"
    answers = []
    for name, tempo in (("first", 70), ("second", 70), ("third", 75)):
        words = ("--part", part, "--tempo", tempo, "--player", "Ash", "--log", log)
        answers.append(heard(undersong, takes / f"{name}.flac", part, *words[2:]))
    assert [answer["clean"] for answer in answers] == [True, True, False]
    assert [answer["next_bpm"] for answer in answers] == [70, 75, 65]
    with Book.open(log) as book:
        ash = book.player("Ash")
        assert [take.tempo_bpm for take in book.takes_of(ash)] == [70, 70, 75]
    said = undersong("hear", takes / "first.flac", "--part", part, "--player", "Ash",
                     "--log", log)  # fmt: skip
    assert "stands at 65 and stays there" in said.out


def test_a_log_that_is_none(undersong: Undersong, tmp_path: Path, scale: Path) -> None:
    log = tmp_path / "log.sqlite"
    log.write_text("my practice notes\n" * 100, encoding="utf-8")
    take, _ = known("scale-in-quarters-clean")
    said = undersong("hear", take, "--part", scale, "--player", "Ash", "--log", log)
    assert said.status == 2
    assert said.err.count("\n") == 1
    assert log.read_text(encoding="utf-8").startswith("my practice notes")


def test_a_start_beyond_the_recording_is_said(undersong: Undersong, tmp_path: Path) -> None:
    part, sound = tmp_path / "part.json", tmp_path / "take.wav"
    made = undersong("drill", "scale", "--key", "G", "--wav", sound, "--json")
    part.write_text(made.out, encoding="utf-8")
    late = json.loads(undersong("hear", sound, "--part", part, "--start", "100", "--json").out)
    assert late["clean"] is None
    assert late["reason"].startswith("The part would begin 100 seconds into the recording")
    wrong = json.loads(undersong("hear", sound, "--part", part, "--start", "13", "--json").out)
    assert wrong["clean"] is None
