from __future__ import annotations

import html
import json
import re
import struct
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from starlette.websockets import WebSocketDisconnect

from undersong.drills.catalogue import make_drill
from undersong.ear import hear, hearing_json
from undersong.errors import UndersongError
from undersong.practice.ladder import Outcome
from undersong.theory.key import parse_key
from undersong.web.desk import Desk
from undersong.web.incoming import Incoming, broken_ms, holes_in
from undersong.web.judged import faults_of, fits, hearing_of, marks_of, strip_of
from undersong.web.tabs import tab_bars
from undersong.web.takes import checked_uid
from web_app import OWN, TestClient, demo_client

RATE_HZ = 22_050
BLOCK = 1024
NOTHING_SLIPPED: Mapping[int, float] = {}
QUERY = {"drill": "scale", "key": "G"}
HOST = {"host": "127.0.0.1"}  # the test client's WebSockets name another
HEADERS = HOST | {"origin": OWN}


def take(name: str) -> NDArray[np.float32]:
    path = Path(str(files("undersong"))) / "demo" / "takes" / f"{name}.flac"
    samples, rate = soundfile.read(path, dtype="float32")
    assert rate == RATE_HZ
    mono: NDArray[np.float32] = samples
    return mono


@pytest.fixture
def app(tmp_path: Path) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as pair:
        yield pair


def message(frame: int, samples: NDArray[np.float32], late_s: float = 0.0) -> bytes:
    """A block as the page sends it; the clock may be ahead of the count."""
    time_s = frame / RATE_HZ + late_s
    return struct.pack("<dd", frame, time_s) + samples.astype("<f4").tobytes()


def stream(
    client: TestClient,
    samples: NDArray[np.float32],
    *,
    tempo: float = 70,
    uid: str | None = None,
    lost: int = 0,
    start_time: float | None = None,
    slipped: Mapping[int, float] = NOTHING_SLIPPED,
    query: Mapping[str, str] = QUERY,
) -> dict[str, Any]:
    """Send a take as the page does, from frame 5000 on; `lost` blocks are left out.

    From the frames `slipped` on, the clock has run on by so many seconds more than the count.
    """
    begin = {
        "type": "begin",
        "uid": uid or str(uuid.uuid4()),
        "query": dict(query),
        "tempo": tempo,
        "sample_rate": RATE_HZ,
        "start_time": start_time,
    }
    with client.websocket_connect("/listen", headers=HEADERS) as socket:
        socket.send_text(json.dumps(begin))
        for number, at in enumerate(range(0, len(samples), BLOCK)):
            if not 20 <= number < 20 + lost:
                late_s = sum(by for frame, by in slipped.items() if at >= frame)
                socket.send_bytes(message(5000 + at, samples[at : at + BLOCK], late_s))
        socket.send_text(json.dumps({"type": "end"}))
        answer: dict[str, Any] = socket.receive_json()
    return answer


def timings(hearing: Mapping[str, Any]) -> list[float]:
    return [note["timing_ms"] for note in hearing["notes"] if note["timing_ms"] is not None]


def test_a_streamed_take_is_judged_as_the_ear_judges_it(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    samples = take("third")
    answer = stream(client, samples, tempo=75)
    part = make_drill("scale", parse_key("G"), tempo_bpm=75).part
    [kept] = desk.book.takes_of(None)
    assert kept.hearing == hearing_json(hear([samples], RATE_HZ, part))
    assert (kept.outcome, kept.item.label) == (Outcome.NOT_CLEAN, "drill Scale of G in G")
    assert (answer["take"], answer["outcome"]) == (kept.id, "F")
    assert kept.counted_as is None  # 75 is not the tempo of the climb, 70
    assert answer["next_bpm"] == 70


def test_a_known_round_trip_makes_lateness_absolute(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    samples = take("first")
    part = make_drill("scale", parse_key("G"), tempo_bpm=70).part
    start_s = 1.9
    stream(client, samples, start_time=5000 / RATE_HZ + start_s)
    [kept] = desk.book.takes_of(None)
    saved = dict(kept.hearing or {})
    assert saved["reference"] == "start"
    assert saved["start_s"] == pytest.approx(start_s)
    expected = hearing_json(hear([samples], RATE_HZ, part, start_s=start_s))
    assert timings(saved) == pytest.approx(timings(expected), abs=0.1)


def test_two_clean_passes_raise_the_tempo(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    nexts = [stream(client, take(name))["next_bpm"] for name in ("first", "second")]
    assert nexts == [70, 75]


def test_the_same_take_sent_again_is_one_take(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    uid = str(uuid.uuid4())
    first = stream(client, take("first"), uid=uid)
    again = stream(client, take("first"), uid=uid)
    assert first["take"] == again["take"]
    assert len(desk.book.takes_of(None)) == 1


def test_lost_sound_is_not_judged(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    answer = stream(client, take("first"), lost=4)
    [kept] = desk.book.takes_of(None)
    assert kept.outcome is Outcome.UNSURE
    assert "ms of sound were lost" in answer["html"]
    assert answer["next_bpm"] == 70


HOLE_AT, HOLE = 6 * RATE_HZ, round(0.018 * RATE_HZ)  # as long as a busy browser was seen to lose
SAME_TIME_MS = 2.0


def test_after_a_hole_the_notes_keep_their_times(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    samples = take("first")
    torn = np.concatenate([samples[:HOLE_AT], samples[HOLE_AT + HOLE :]])
    answer = stream(client, torn, slipped={HOLE_AT: HOLE / RATE_HZ})
    [kept] = desk.book.takes_of(None)
    saved: dict[str, Any] = dict(kept.hearing or {})
    part = make_drill("scale", parse_key("G"), tempo_bpm=70).part
    whole: dict[str, Any] = hearing_json(hear([samples], RATE_HZ, part))
    told = {
        note["index"]: note["timing_ms"] for note in saved["notes"] if note["timing_ms"] is not None
    }
    late = {note["index"]: note["timing_ms"] for note in whole["notes"]}
    assert len(told) >= len(part.notes) - 1
    assert told == pytest.approx({index: late[index] for index in told}, abs=SAME_TIME_MS)
    assert "18 ms of sound were lost on the way." in answer["html"]
    assert saved["lost_ms"] == pytest.approx(18.0, abs=0.5)
    assert "18 ms of sound were lost on the way." in client.get(f"/takes/{kept.id}").text


def test_unseen_the_same_hole_would_move_them() -> None:
    samples = take("first")
    part = make_drill("scale", parse_key("G"), tempo_bpm=70).part
    torn = np.concatenate([samples[:HOLE_AT], samples[HOLE_AT + HOLE :]])
    whole, moved = (timings(hearing_json(hear([each], RATE_HZ, part))) for each in (samples, torn))
    assert max(abs(a - b) for a, b in zip(whole, moved, strict=True)) > 2 * SAME_TIME_MS


STOOD = round(0.01 * RATE_HZ)  # as long as a busy browser's click was seen to stand still
MID_NOTE_S = (4.4, 7.8, 11.2)  # between the beginnings of notes


def test_a_click_that_stumbles_is_followed(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    samples = take("first")
    places = [BLOCK * round(at_s * RATE_HZ / BLOCK) for at_s in MID_NOTE_S]
    pieces, slipped, done = [], {}, 0
    for number, at in enumerate(places):
        # The microphone goes on for as long as the click stands still.
        pieces += [samples[done:at], samples[at - STOOD : at]]
        slipped[at + number * STOOD] = -STOOD / RATE_HZ
        done = at
    answer = stream(client, np.concatenate([*pieces, samples[done:]]), slipped=slipped)
    [kept] = desk.book.takes_of(None)
    saved: dict[str, Any] = dict(kept.hearing or {})
    part = make_drill("scale", parse_key("G"), tempo_bpm=70).part
    whole: dict[str, Any] = hearing_json(hear([samples], RATE_HZ, part))
    late = {note["index"]: note["timing_ms"] for note in whole["notes"]}
    told = {note["index"]: note["timing_ms"] for note in saved["notes"]}
    assert len(told) == len(part.notes)
    assert told == pytest.approx(late, abs=SAME_TIME_MS)
    assert kept.outcome is Outcome.CLEAN
    assert "The click stumbled by 30 ms in all." in answer["html"]
    assert saved["stumbled_ms"] == pytest.approx(30, abs=0.5)
    assert "The click stumbled by 30 ms in all." in client.get(f"/takes/{kept.id}").text


def test_a_bar_played_twice_is_marked_where_it_stands() -> None:
    samples = take("first")
    bar_s, first_s = 4 * 60 / 70, 0.53  # of the take, a little before its first note
    begin, end = (round((first_s + bar_s * bar) * RATE_HZ) for bar in (1, 2))
    part = make_drill("scale", parse_key("G"), tempo_bpm=70).part
    twice = np.concatenate([samples[:end], samples[begin:]])
    hearing = hear([twice], RATE_HZ, part)
    assert hearing.reason == "You played bar 2 twice."
    bars = tab_bars(part)
    marks = marks_of(hearing, part, bars)
    assert list(marks.extras) == [2]
    [mark] = marks.extras[2]
    assert mark.heard == "4 more"
    assert mark.said.count("an extra") == 4
    assert bars[1].x_of(bars[1].s + 0.7 * bar_s) < mark.x < bars[1].width
    assert {each.verdict for each in marks.notes.values()} == {"right"}


def test_an_extra_note_stands_where_it_fell_at_any_tempo() -> None:
    samples = take("first")  # played at 70
    part = make_drill("scale", parse_key("G"), tempo_bpm=84).part
    silent = replace(part, notes=tuple(note for at, note in enumerate(part.notes) if at != 9))
    hearing = hear([samples], RATE_HZ, silent)
    assert hearing.tempo_bpm == pytest.approx(70, abs=0.5)
    bars = tab_bars(silent)
    marks = marks_of(hearing, silent, bars)
    [(number, [mark])] = marks.extras.items()
    due_s = part.tempo_map.seconds_at(part.notes[9].at)
    assert number == part.place_of(part.notes[9].at)[0]
    assert mark.x == pytest.approx(bars[number - 1].x_of(due_s), abs=2)


def test_a_click_that_stumbles_again_and_again_is_not_judged(
    app: tuple[TestClient, Desk],
) -> None:
    client, _ = app
    slipped = {at_s * RATE_HZ: -0.02 for at_s in (3, 5, 7, 9)}
    answer = stream(client, take("first"), slipped=slipped)
    assert "he click stumbled by 80 ms: the computer could not keep up." in answer["html"]


def test_too_large_a_hole_and_a_stumbling_click_are_not_judged(
    app: tuple[TestClient, Desk],
) -> None:
    client, desk = app
    large = stream(client, take("first"), slipped={HOLE_AT: 0.09})
    assert "90 ms of sound were lost: the computer could not keep up." in large["html"]
    stumbled = stream(client, take("first"), slipped={HOLE_AT: -0.03})
    assert "he click stumbled by 30 ms" in stumbled["html"]
    assert [each.outcome for each in desk.book.takes_of(None)] == [Outcome.UNSURE] * 2
    assert stumbled["next_bpm"] == 70


BLOCKS, AROUND = 60, 21
HOLES_S = [0.0, 0.009, 0.01, 0.05, -0.02]


@given(
    # Jitter of half a hole's least length could stand all on one side: no median tells them apart.
    jitter=st.lists(st.floats(-0.0019, 0.0019), min_size=BLOCKS, max_size=BLOCKS),
    drift=st.floats(-2e-6, 2e-6),
    at=st.integers(20, 40),
    length_s=st.sampled_from(HOLES_S),
)
def test_holes_are_told_from_any_jitter(
    jitter: list[float], drift: float, at: int, length_s: float
) -> None:
    apart_s = np.array(jitter) + drift * np.arange(BLOCKS)
    apart_s[at:] += length_s
    found = holes_in(apart_s, AROUND)
    assert sum(hole.length_s for hole in found) == pytest.approx(length_s, abs=0.004)
    assert all(abs(hole.block - at) <= 1 for hole in found)


@pytest.mark.parametrize("length_s", HOLES_S)
def test_holes_are_told_from_larger_jitter_by_chance(length_s: float) -> None:
    for seed in range(200):
        rng = np.random.default_rng(seed)
        apart_s = rng.uniform(-0.003, 0.003, BLOCKS) + rng.uniform(-5e-5, 5e-5) * np.arange(BLOCKS)
        apart_s[(at := int(rng.integers(20, 41))) :] += length_s
        found = holes_in(apart_s, AROUND)
        assert sum(hole.length_s for hole in found) == pytest.approx(length_s, abs=0.0045)
        assert all(abs(hole.block - at) <= 2 for hole in found)


@pytest.mark.parametrize("length_s", [0.01, -0.01])
def test_time_stamps_that_come_back_are_no_hole(length_s: float) -> None:
    """As measured of a browser on a busy machine: a hundredth of a second off, for some seconds."""
    apart_s = np.zeros(3 * BLOCKS)
    apart_s[40:110] += length_s
    assert holes_in(apart_s, AROUND) == []
    apart_s[140:] += 0.02
    assert [hole.block for hole in holes_in(apart_s, AROUND)] == [140]


def test_holes_close_together_are_counted_one_by_one() -> None:
    apart_s = np.zeros(BLOCKS)
    apart_s[30:] += 0.02
    apart_s[42:] += 0.03
    found = holes_in(apart_s, AROUND)
    assert [(hole.block, round(hole.length_s, 6)) for hole in found] == [(30, 0.02), (42, 0.03)]


def test_the_drill_from_the_other_day_is_known_again(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    assert stream(client, take("first"))["outcome"] == "C"
    other = {"drill": "thirds", "key": "G"}
    told = stream(client, take("second"), query=other)
    assert told["outcome"] == "U"
    assert "it sounds like" in told["html"]
    assert "Scale of G" in told["html"]
    desk.book.delete_take(desk.book.takes_of(None)[0].id)
    unknown = stream(client, take("second"), query=other)
    assert unknown["outcome"] == "U"
    assert "Scale of G" not in unknown["html"]


def test_jitter_of_the_last_block_is_no_hole() -> None:
    apart_s = np.zeros(60)
    apart_s[52:59], apart_s[59] = -0.002, 0.0027
    assert holes_in(apart_s, 13) == []


def test_silence_is_an_answer(app: tuple[TestClient, Desk]) -> None:
    client, _ = app
    answer = stream(client, np.zeros(RATE_HZ * 3, np.float32))
    assert answer["outcome"] == "U"
    assert "I could not judge this" in answer["html"]


@pytest.mark.parametrize(
    "begin",
    [
        "nonsense",
        "[]",
        '{"type": "end"}',
        '{"type": "begin"}',
        '{"type": "begin", "sample_rate": 1e9}',
        '{"type": "begin", "sample_rate": "fast"}',
    ],
)
def test_a_muddled_beginning_is_said_and_closed(app: tuple[TestClient, Desk], begin: str) -> None:
    client, _ = app
    with client.websocket_connect("/listen", headers=HEADERS) as socket:
        socket.send_text(begin)
        assert socket.receive_json()["type"] == "error"
        with pytest.raises(WebSocketDisconnect):
            socket.receive_json()


@pytest.mark.parametrize(
    "change",
    [{"tempo": None}, {"tempo": 1e6}, {"uid": "../../x"}, {"query": {"drill": "no such"}}],
)
def test_what_cannot_be_kept_is_said(app: tuple[TestClient, Desk], change: dict[str, Any]) -> None:
    client, desk = app
    begin = {"type": "begin", "uid": str(uuid.uuid4()), "query": QUERY, "tempo": 70}
    begin |= {"sample_rate": RATE_HZ} | change
    with client.websocket_connect("/listen", headers=HEADERS) as socket:
        socket.send_text(json.dumps(begin))
        socket.send_bytes(message(0, take("first")[:BLOCK]))
        socket.send_text(json.dumps({"type": "end"}))
        assert socket.receive_json()["type"] == "error"
    assert desk.book.takes_of(None) == ()


@pytest.mark.parametrize("headers", [{}, {"origin": "https://evil.example"}, {"origin": "null"}])
def test_no_other_page_may_listen(app: tuple[TestClient, Desk], headers: dict[str, str]) -> None:
    client, _ = app
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect("/listen", headers=HOST | headers) as socket,
    ):
        socket.receive_json()


def test_a_recording_is_kept_only_after_yes(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    stream(client, take("first"))
    client.post("/practice/agree")
    stream(client, take("second"))
    first, second = desk.book.takes_of(None)
    assert first.audio is None
    assert client.get(f"/takes/{first.id}/sound").status_code == 400
    sound = client.get(f"/takes/{second.id}/sound")
    assert sound.content.startswith(b"fLaC")
    client.post(f"/takes/{second.id}/delete")
    assert desk.book.recordings is not None
    assert list(desk.book.recordings.iterdir()) == []


def test_a_verdict_put_right_makes_the_pass_clean(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    stream(client, take("first"))
    stream(client, take("second"))
    answer = stream(client, take("third"), tempo=75)
    assert answer["next_bpm"] == 65
    kept = desk.book.take(answer["take"])
    part = make_drill("scale", parse_key("G"), tempo_bpm=75).part
    faults = faults_of(hearing_of(kept.hearing or {}), part, {})
    assert [fault.said.split(":")[0] for fault in faults] == ["Bar 2, beat 3", "Bar 3, beat 2"]
    for fault in faults:
        client.post(f"/takes/{kept.id}/overrule", data={"note": fault.place})
    again = desk.book.take(kept.id)
    assert again.outcome is Outcome.CLEAN
    assert len(again.overruled) == 2
    assert "You said it was right." in client.get(f"/takes/{kept.id}").text
    assert desk.book.ladder_of(desk.book.player("Iris"), kept.item).ladder.tempo_bpm == 75


@pytest.mark.parametrize(
    ("content", "query"),
    [
        (b"abc", {}),
        (np.array([np.nan], "<f4").tobytes(), {}),
        (b"", {"rate": "0"}),
        (b"", {"tempo": "never"}),
        (b"", {"uid": "1"}),
        (b"", {"drill": ""}),
    ],
)
def test_a_broken_take_from_elsewhere_is_refused(
    app: tuple[TestClient, Desk], content: bytes, query: dict[str, str]
) -> None:
    client, desk = app
    asked = QUERY | {"rate": str(RATE_HZ), "tempo": "70", "uid": str(uuid.uuid4())} | query
    headers = {"accept": "application/json"}
    answer = client.post("/takes", content=content, params=asked, headers=headers)
    assert answer.status_code == 400
    assert set(answer.json()) >= {"message", "line", "column"}
    assert desk.book.takes_of(None) == ()


def test_pain_ends_the_day(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    page = client.get("/practice/at", params=QUERY).text
    assert "any pain, tingling, numbness" in page
    client.post("/practice/pain", data={"hurts": "yes"})
    assert desk.book.player("Iris").pain_said_on == desk.today()
    assert 'data-hurt="yes"' in client.get("/practice/at", params=QUERY).text


def test_marks_show_every_verdict_by_shape() -> None:
    samples = take("third")
    part = make_drill("scale", parse_key("G"), tempo_bpm=75).part
    hearing = hear([samples], RATE_HZ, part)
    saved = json.loads(json.dumps(hearing_json(hearing)))
    again = hearing_of(saved)
    assert hearing_json(again) == hearing_json(hearing)
    marks = marks_of(again, part, tab_bars(part))
    wrong = [mark for mark in marks.notes.values() if mark.verdict == "wrong"]
    assert [(mark.heard, mark.said) for mark in wrong] == [
        ("G2", "Bar 2, beat 3: you played G, the chart has F sharp.")
    ]
    [late] = [mark for mark in marks.notes.values() if mark.is_outside]
    assert late.stroke > 20
    strip = strip_of(again, part)
    assert [point.is_outside for point in strip.points].count(True) == 1
    assert len(strip.points) == len(part.notes)
    other = make_drill("scale", parse_key("A"), tempo_bpm=75).part
    assert fits(again, part)
    assert not fits(again, other)


@given(
    sizes=st.lists(st.integers(1, 50), min_size=1, max_size=20),
    again=st.integers(0, 30),
    first=st.integers(0, 2**40),
)
def test_blocks_make_one_sound_however_they_are_cut(
    sizes: list[int], again: int, first: int
) -> None:
    sound = np.arange(sum(sizes), dtype=np.float32)
    incoming = Incoming(RATE_HZ)
    at = 0
    for size in sizes:
        begin = max(0, at - again)  # some of it sent twice
        incoming.add(message(first + begin, sound[begin : at + size]))
        at += size
    assert np.array_equal(incoming.whole().samples, sound)
    assert incoming.whole().lost_ms == 0
    assert len(incoming) == len(sound)


def test_a_gap_is_silence_and_is_counted() -> None:
    incoming = Incoming(RATE_HZ)
    incoming.add(message(10, np.ones(4, np.float32)))
    incoming.add(message(17, np.ones(2, np.float32)))
    whole = incoming.whole()
    assert whole.samples.tolist() == [1, 1, 1, 1, 0, 0, 0, 1, 1]
    assert whole.lost_ms == pytest.approx(3000 / RATE_HZ)


@given(st.binary(max_size=64))
def test_any_bytes_are_a_block_or_are_refused(data: bytes) -> None:
    incoming = Incoming(RATE_HZ)
    try:
        incoming.add(data)
    except UndersongError:
        return
    assert len(incoming) == (len(data) - 16) // 4


def test_a_jump_of_hours_is_refused() -> None:
    incoming = Incoming(RATE_HZ)
    incoming.add(message(0, np.ones(4, np.float32)))
    with pytest.raises(UndersongError, match="too long"):
        incoming.add(message(2**50, np.ones(4, np.float32)))


@pytest.mark.parametrize("text", ["", "../x", "a" * 32 + "/", "x"])
def test_a_take_is_named_by_a_uuid_alone(text: str) -> None:
    with pytest.raises(UndersongError):
        checked_uid(text)


def test_what_a_busy_browser_leaves_out_is_seen() -> None:
    samples = take("first")
    assert broken_ms(samples, RATE_HZ) == 0.0
    middle = 6 * RATE_HZ
    broken = np.concatenate([samples[:middle], np.zeros(RATE_HZ // 100), samples[middle:]])
    assert broken_ms(broken.astype(np.float32), RATE_HZ) == pytest.approx(10.0, abs=0.5)


def test_a_gate_between_two_notes_is_no_break() -> None:
    samples = take("first").copy()
    samples[6 * RATE_HZ : 6 * RATE_HZ + RATE_HZ // 5] = 0.0
    samples[: RATE_HZ // 2] = 0.0
    assert broken_ms(samples, RATE_HZ) == 0.0
    assert broken_ms(np.zeros(0, np.float32), RATE_HZ) == 0.0


def test_the_day_has_a_plan(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    text = client.get("/practice").text
    assert "What should I practise today?" in text
    assert "Slow Water, Bright Stone" in text
    desk.book.note_pain(desk.book.player("Iris"), at=desk.clock(), hurts=True)
    assert "min. " in client.get("/practice").text


def test_each_turn_of_the_day_leads_to_where_it_is_played(
    app: tuple[TestClient, Desk],
) -> None:
    client, _ = app
    text = client.get("/practice").text
    turns = text.partition('class="turns"')[2].partition("</ol>")[0]
    doors = [html.unescape(each) for each in re.findall(r'<a href="([^"]+)"', turns)]
    assert doors[0] == "/ready"
    assert len(doors) > 3
    assert any("section=" in door for door in doors)
    assert all(client.get(door).status_code == 200 for door in doors)


def test_two_tabs_are_two_takes(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    samples = take("first")
    begin = {"type": "begin", "query": QUERY, "tempo": 70, "sample_rate": RATE_HZ}
    with (
        client.websocket_connect("/listen", headers=HEADERS) as one,
        client.websocket_connect("/listen", headers=HEADERS) as other,
    ):
        for socket in (one, other):
            socket.send_text(json.dumps(begin | {"uid": str(uuid.uuid4())}))
        for at in range(0, len(samples), BLOCK):
            for socket in (one, other):
                socket.send_bytes(message(at, samples[at : at + BLOCK]))
        for socket in (one, other):
            socket.send_text(json.dumps({"type": "end"}))
        answers = [socket.receive_json() for socket in (one, other)]
    assert [answer["outcome"] for answer in answers] == ["C", "C"]
    assert len(desk.book.takes_of(None)) == 2
    assert desk.book.faults() == ()


def test_a_section_of_a_song_is_practised_by_itself(app: tuple[TestClient, Desk]) -> None:
    client, desk = app
    desk.book.keep_chart("Stone: part two", "Title: Stone: part two\nKey: G\nTempo: 90\n\n"
                         "Verse\n| 1 | 4 |\n\nEnd\n| 5 | 1 |\n", at=desk.clock())  # fmt: skip
    asked = {"song": "Stone: part two", "section": "End"}
    text = client.get("/practice/at", params=asked).text
    assert 'name="song" value="Stone: part two"' in text
    assert "Stone: part two: End" in text
    sheet = client.get("/practice/sheet", params=asked | {"tempo": "90"}).json()
    # Two bars of 4/4 at 90 after the count-in.
    assert sheet["end_s"] - sheet["start_s"] == pytest.approx(2 * 4 * 60 / 90)
    assert client.get("/practice/at", params=asked | {"section": "x"}).status_code == 400
