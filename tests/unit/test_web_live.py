from __future__ import annotations

import json
import struct
import uuid
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from undersong.drills.catalogue import make_drill
from undersong.ear import hear
from undersong.ear.live import TunerReading
from undersong.theory.key import parse_key
from undersong.theory.part import Part
from undersong.web.live import CANNOT_KEEP_UP, LOUD_ROOM, TOO_LOUD, TOO_QUIET, Alongside, LevelWatch
from web_app import OWN, TestClient, demo_client

RATE_HZ, BLOCK = 22_050, 1024
HEADERS = {"host": "127.0.0.1", "origin": OWN}
TOLERANCE_MS = 60.0
AT_S = 100.0  # on the click's clock, when the take begins
LOW_E_HZ = 41.20  # A4 = 440 Hz in equal temperament


@pytest.fixture(scope="module")
def third() -> NDArray[np.float32]:
    path = Path(str(files("undersong"))) / "demo" / "takes" / "third.flac"
    samples, rate = soundfile.read(path, dtype="float32")
    assert rate == RATE_HZ
    mono: NDArray[np.float32] = samples
    return mono


@pytest.fixture(scope="module")
def part() -> Part:
    return make_drill("scale", parse_key("G"), tempo_bpm=75).part


class Clock:
    """A computer that is as fast as the music, or slower."""

    def __init__(self, speed: float = 1.0) -> None:
        self.s, self.speed = 0.0, speed

    def __call__(self) -> float:
        return self.s

    def wait(self, s: float) -> None:
        self.s += s * self.speed


STOOD = round(0.01 * RATE_HZ)


def told(
    samples: NDArray[np.float32],
    part: Part | None,
    start_time: float | None = None,
    clock: Clock | None = None,
    hole: tuple[int, int] = (0, 0),
    about_time: float | None = None,
    stands: tuple[int, ...] = (),
) -> list[dict[str, object]]:
    """All that is said of a take; the samples of a hole never arrive.

    At the samples `stands` the click stands still for 10 ms, and the microphone goes on.
    """
    clock = clock or Clock()
    along = Alongside(RATE_HZ, part, TOLERANCE_MS, start_time, about_time, now=clock)
    said: list[dict[str, object]] = []
    for at in range(0, len(samples), BLOCK):
        if hole[0] <= at < hole[1]:
            clock.wait(BLOCK / RATE_HZ)
            continue
        if at in stands:
            said += along.hear(samples[at - STOOD : at], AT_S + at / RATE_HZ)
        said += along.hear(samples[at : at + BLOCK], AT_S + at / RATE_HZ)
        clock.wait(BLOCK / RATE_HZ)
    return said


def last_words(said: list[dict[str, object]]) -> dict[object, dict[str, object]]:
    return {each["index"]: each for each in said if each["kind"] == "note"}


def test_what_is_said_live_is_what_the_ear_says_after(
    third: NDArray[np.float32], part: Part
) -> None:
    after = hear([third], RATE_HZ, part)
    start_time = AT_S + (after.start_s or 0.0)
    notes = last_words(told(third, part, start_time))
    assert {index: note["verdict"] for index, note in notes.items()} == {
        note.index: note.verdict.value for note in after.notes if note.index is not None
    }
    onsets: dict[object, float] = {note.index: AT_S + (note.onset_s or 0.0) for note in after.notes}
    for index, note in notes.items():
        assert note["onset_s"] == pytest.approx(onsets[index], abs=0.02)
    assert notes[6]["words"] == "G2 for F♯2"
    late = notes[9]
    assert late["is_outside"]
    assert str(late["words"]).endswith(" ms late")
    assert notes[3]["words"] == "in time"


def test_a_hole_moves_nothing_live_either(third: NDArray[np.float32], part: Part) -> None:
    start_time = AT_S + (hear([third], RATE_HZ, part).start_s or 0.0)
    whole = last_words(told(third, part, start_time))
    torn = last_words(told(third, part, start_time, hole=(8 * BLOCK, 12 * BLOCK)))
    assert torn[14]["onset_s"] == pytest.approx(whole[14]["onset_s"], abs=0.005)


def test_a_click_that_stumbles_moves_nothing_live(third: NDArray[np.float32], part: Part) -> None:
    start_time = AT_S + (hear([third], RATE_HZ, part).start_s or 0.0)
    whole = last_words(told(third, part, start_time))
    stands = tuple(BLOCK * (at * RATE_HZ // BLOCK) for at in (3, 5, 7))
    stood = last_words(told(third, part, start_time, stands=stands))
    assert stood[14]["onset_s"] == pytest.approx(whole[14]["onset_s"], abs=0.005)


@pytest.mark.parametrize("off_s", [-0.03, 0.0, 0.09, 0.15])
def test_a_guessed_round_trip_finds_the_notes_and_leaves_the_time_to_the_player(
    third: NDArray[np.float32], part: Part, off_s: float
) -> None:
    after = hear([third], RATE_HZ, part)  # against the player's own pulse, too
    about_time = AT_S + (after.start_s or 0.0) - off_s
    said = told(third, part, about_time=about_time)
    first: dict[object, dict[str, object]] = {}
    for each in said:
        if each["kind"] == "note":
            first.setdefault(each["index"], each)
    assert list(first) == list(range(len(part.notes)))  # the first note was told first
    assert {each["words"] for each in list(first.values())[:2]} == {"right"}
    notes = last_words(said)
    assert {index: note["verdict"] for index, note in notes.items()} == {
        note.index: note.verdict.value for note in after.notes if note.index is not None
    }
    for index in range(4, len(part.notes)):
        assert notes[index]["is_outside"] == (index == 9)
    assert str(notes[9]["words"]).endswith(" ms late")


@pytest.mark.parametrize("beats", [-1, 1, 4])
def test_who_comes_in_elsewhere_is_found_all_the_same(
    third: NDArray[np.float32], part: Part, beats: int
) -> None:
    after = hear([third], RATE_HZ, part)
    off_s = beats * 60 / 75
    notes = last_words(told(third, part, about_time=AT_S + (after.start_s or 0.0) - off_s))
    assert {index: note["verdict"] for index, note in notes.items()} == {
        note.index: note.verdict.value for note in after.notes if note.index is not None
    }


def test_a_slow_computer_goes_on_without_it(third: NDArray[np.float32], part: Part) -> None:
    said = told(third, part, clock=Clock(speed=1.2))
    assert said[-1] == {"kind": "off", "words": CANNOT_KEEP_UP}
    assert [each["kind"] for each in said].count("off") == 1


def test_a_computer_that_stalled_takes_it_up_again(third: NDArray[np.float32], part: Part) -> None:
    after = hear([third], RATE_HZ, part)
    verdicts = {note.index: note.verdict.value for note in after.notes}
    start_time = AT_S + (after.start_s or 0.0)
    clock = Clock()
    along = Alongside(RATE_HZ, part, TOLERANCE_MS, start_time, now=clock)
    said: list[dict[str, object]] = []
    stalled_at, stall_s = 6 * RATE_HZ, 2.0
    for at in range(0, len(third), BLOCK):
        if stalled_at <= at < stalled_at + BLOCK:
            clock.wait(stall_s)
        heard_s = AT_S + at / RATE_HZ
        said += along.hear(third[at : at + BLOCK], heard_s)
        if clock.s < heard_s - AT_S + BLOCK / RATE_HZ:  # what piled up comes in at once
            clock.wait(BLOCK / RATE_HZ)
    assert "off" not in {each["kind"] for each in said}
    notes = last_words(said)
    assert 0 < len(verdicts) - len(notes) <= 4  # two seconds at 75 are two or three notes
    assert max(map(int, map(str, notes))) == len(part.notes) - 1
    told_of = {index: note["verdict"] for index, note in notes.items()}
    assert told_of == {index: verdicts[index] for index in verdicts if index in told_of}


def test_the_tuner_says_how_far_a_string_is_off() -> None:
    t_s = np.arange(2 * RATE_HZ) / RATE_HZ
    hz = LOW_E_HZ * 2 ** (12 / 1200)  # 12 cents high
    string = np.sum([np.sin(2 * np.pi * hz * n * t_s) / n for n in range(1, 7)], axis=0)
    readings = [
        each
        for each in told((0.2 * string).astype(np.float32), None)
        if each["kind"] == "tuner" and each["cents"] is not None
    ]
    assert len(readings) > 5
    assert {each["name"] for each in readings} == {"E1"}
    assert float(str(readings[-1]["cents"])) == pytest.approx(12.0, abs=1.5)


def reading(at_s: float, *, midi: int | None, level_db: float, peak_db: float) -> TunerReading:
    cents, hz = (None, None) if midi is None else (0.0, 41.2)
    return TunerReading(midi, cents, hz, level_db, peak_db, at_s)


@pytest.mark.parametrize(
    ("midi", "level_db", "peak_db", "advice"),
    [
        (28, -20.0, -8.0, ""),
        (28, -8.0, -0.2, TOO_LOUD),
        (28, -48.0, -38.0, TOO_QUIET),
        (None, -30.0, -20.0, LOUD_ROOM),
        (None, -70.0, -60.0, ""),
    ],
)
def test_what_to_do_about_the_level(
    midi: int | None, level_db: float, peak_db: float, advice: str
) -> None:
    watch = LevelWatch()
    said = [
        watch.advice(reading(n / 10, midi=midi, level_db=level_db, peak_db=peak_db))
        for n in range(40)
    ]
    assert said[-1] == advice


def test_quick_notes_are_not_taken_for_a_loud_room(third: NDArray[np.float32], part: Part) -> None:
    assert {each["advice"] for each in told(third, part) if each["kind"] == "tuner"} == {""}


def test_a_note_that_dies_away_is_not_too_quiet() -> None:
    watch = LevelWatch()
    said = [
        watch.advice(reading(n / 10, midi=28, level_db=-20.0 - 2 * n, peak_db=-10.0 - 2 * n))
        for n in range(15)
    ]
    assert set(said) == {""}


def block(frame: int, samples: NDArray[np.float32]) -> bytes:
    return struct.pack("<dd", frame, frame / RATE_HZ) + samples.astype("<f4").tobytes()


def test_a_page_that_asks_is_told_and_judged_as_ever(
    tmp_path: Path, third: NDArray[np.float32]
) -> None:
    begin = {"type": "begin", "uid": str(uuid.uuid4()), "query": {"drill": "scale", "key": "G"}}
    begin |= {"tempo": 75, "sample_rate": RATE_HZ, "start_time": None, "live": True}  # type: ignore[dict-item]
    with (
        demo_client(tmp_path) as (client, _),
        client.websocket_connect("/listen", headers=HEADERS) as socket,
    ):
        socket.send_text(json.dumps(begin))
        for at in range(0, len(third), BLOCK):
            socket.send_bytes(block(at, third[at : at + BLOCK]))
        # A whole take at once is faster than music: a take sent once more, and not told live.
        while socket.receive_json()["said"][-1]["kind"] != "off":
            pass
        socket.send_text(json.dumps({"type": "end"}))
        answer = socket.receive_json()
    assert (answer["type"], answer["outcome"]) == ("verdict", "F")


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with demo_client(tmp_path) as (client, _):
        yield client


def test_the_tuner_is_heard_by_itself(client: TestClient) -> None:
    t_s = np.arange(RATE_HZ // 2) / RATE_HZ
    tone = (0.2 * np.sin(2 * np.pi * 110.0 * t_s)).astype(np.float32)
    with client.websocket_connect("/tune", headers=HEADERS) as socket:
        socket.send_text(json.dumps({"type": "begin", "sample_rate": RATE_HZ}))
        socket.send_bytes(block(0, tone))
        answer: dict[str, Any] = socket.receive_json()
        assert {each["kind"] for each in answer["said"]} == {"tuner"}


@pytest.mark.parametrize("begin", ["nonsense", '{"type": "begin", "sample_rate": 1}'])
def test_a_muddled_tuner_is_told(client: TestClient, begin: str) -> None:
    with client.websocket_connect("/tune", headers=HEADERS) as socket:
        socket.send_text(begin)
        assert socket.receive_json()["type"] == "error"
