"""Practising freely: what the page says of a session is what the ear says of the same sound."""

from __future__ import annotations

import html
import json
import re
import struct
import uuid
from collections.abc import Iterator
from datetime import datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from undersong.drills.catalogue import make_drill
from undersong.ear.practised import practised
from undersong.ear.practised_words import bar_figures, practised_lines
from undersong.practice.ladder import Outcome
from undersong.theory.key import parse_key
from undersong.web.alone import rests_ahead
from undersong.web.desk import Desk
from undersong.web.sessionview import kept_session, session_of
from undersong.web.work import work_of
from web_app import OWN, TestClient, demo_client

RATE_HZ = 22_050
BLOCK = 4096
QUERY = {"drill": "scale", "key": "G"}
HEADERS = {"host": "127.0.0.1", "origin": OWN}
PART = make_drill("scale", parse_key("G"), tempo_bpm=70).part


@pytest.fixture(scope="module")
def session() -> NDArray[np.float32]:
    """Two takes of the scale, the second with its mistakes, and a while of nothing between."""
    takes = [
        soundfile.read(Path(str(files("undersong"))) / "demo" / "takes" / name, dtype="float32")[0]
        for name in ("first.flac", "third.flac")
    ]
    return np.concatenate([takes[0], np.zeros(3 * RATE_HZ, np.float32), takes[1]])


@pytest.fixture
def app(tmp_path: Path) -> Iterator[tuple[TestClient, Desk]]:
    with demo_client(tmp_path) as pair:
        yield pair


def stream(client: TestClient, samples: NDArray[np.float32], uid: str = "") -> dict[str, Any]:
    begin = {
        "type": "begin",
        "uid": uid or str(uuid.uuid4()),
        "query": QUERY,
        "tempo": 70,
        "sample_rate": RATE_HZ,
        "session": True,
    }
    with client.websocket_connect("/listen", headers=HEADERS) as socket:
        socket.send_text(json.dumps(begin))
        for at in range(0, len(samples), BLOCK):
            block = samples[at : at + BLOCK].astype("<f4").tobytes()
            socket.send_bytes(struct.pack("<dd", at, at / RATE_HZ) + block)
        socket.send_text(json.dumps({"type": "end"}))
        answer: dict[str, Any] = socket.receive_json()
    return answer


def rows_of(shown: str) -> list[list[str]]:
    """The table of bars, as it stands on the page."""
    body = shown.partition("<tbody>")[2].partition("</tbody>")[0]
    return [re.findall(r"<t[hd][^>]*>([^<]*)<", row) for row in body.split("</tr>") if "<t" in row]


def test_a_session_is_told_as_the_ear_tells_it(
    app: tuple[TestClient, Desk], session: NDArray[np.float32]
) -> None:
    client, desk = app
    answer = stream(client, session)
    heard = practised([session], RATE_HZ, PART)
    figures = bar_figures(heard)
    shown = rows_of(answer["html"])
    assert [row[:3] for row in shown] == [
        [str(each.bar), str(each.played), str(each.clean)] for each in figures
    ]
    assert [each.played for each in figures] == [2, 2, 2, 2]  # the scale has four bars
    assert practised_lines(heard, PART)[0] in answer["html"]
    assert answer["html"].count("<rect") == sum(each.played for each in figures)
    player = desk.book.player("Iris")
    [kept] = desk.book.takes_of(player)
    assert kept.outcome is Outcome.UNSURE
    assert kept.counted_as is None
    assert kept.length_s == pytest.approx(len(session) / RATE_HZ)
    assert desk.book.ladder_of(player, kept.item).ladder.tempo_bpm == 70
    assert session_of(kept.hearing or {}).bars == session_of(kept_session(heard, PART)).bars


def test_a_session_stands_beside_passes_everywhere(
    app: tuple[TestClient, Desk], session: NDArray[np.float32]
) -> None:
    client, desk = app
    answer = stream(client, session)
    assert "practised freely" in client.get("/log").text
    assert "practised freely" in client.get(f"/takes/{answer['take']}").text
    for path in ("/practice", "/practice/at?drill=scale&key=G", "/standing", "/log/health"):
        assert client.get(path).status_code == 200
    assert client.get("/log/undersong-log.csv").status_code == 200
    document = client.get("/log/undersong-log.json").json()
    assert document["takes"][0]["hearing"]["playing_s"] > 20
    refused = client.post(f"/takes/{answer['take']}/overrule", data={"note": "0"})
    assert "nothing to put right" in refused.text
    client.post(f"/takes/{answer['take']}/delete")
    assert desk.book.takes_of(None) == ()


def test_a_session_sent_twice_is_kept_once(
    app: tuple[TestClient, Desk], session: NDArray[np.float32]
) -> None:
    client, desk = app
    uid = str(uuid.uuid4())
    first, again = (stream(client, session, uid) for _ in range(2))
    assert first["take"] == again["take"]
    assert len(desk.book.takes_of(None)) == 1


def test_a_long_recording_is_a_session_too(
    app: tuple[TestClient, Desk], session: NDArray[np.float32]
) -> None:
    client, desk = app
    asked = QUERY | {"tempo": "70", "rate": str(RATE_HZ), "uid": str(uuid.uuid4())}
    answer = client.post(
        "/practice/alone",
        params=asked,
        content=session.astype("<f4").tobytes(),
        headers={"accept": "application/json"},
    ).json()
    assert len(rows_of(answer["html"])) == 4
    [kept] = desk.book.takes_of(None)
    assert kept.length_s == 0  # played at another time: no rest is owed for it now
    assert "in 2 passages" in kept.note


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (np.zeros(0, np.float32), "I could not judge this"),
        (np.zeros(5 * RATE_HZ, np.float32), "I could not judge this"),
        (
            np.random.default_rng(1).normal(0, 0.1, 5 * RATE_HZ).astype(np.float32),
            "I ",
        ),
    ],
)
def test_nothing_heard_is_an_answer(
    app: tuple[TestClient, Desk], samples: NDArray[np.float32], words: str
) -> None:
    client, _ = app
    answer = stream(client, samples)
    assert words in answer["html"]
    assert rows_of(answer["html"]) == []


def test_rests_come_when_the_handbook_asks_for_them(app: tuple[TestClient, Desk]) -> None:
    """After ten minutes of one climb; five minutes after every twenty-five (handbook 9.2)."""
    client, desk = app
    player = desk.book.player("Iris")
    work = work_of(desk, player, QUERY)
    assert [each["after_s"] for each in rests_ahead(desk, player, work)] == [10 * 60]
    now = datetime.now().astimezone()
    other = desk.book.keep_item("drill", "Shifts in G", key="G")
    desk.book.keep_take(
        player,
        other,
        outcome=Outcome.CLEAN,
        tempo_bpm=70,
        at=now - timedelta(minutes=12),
        length_s=12 * 60,
    )
    desk.clock = lambda: now
    rests = rests_ahead(desk, player, work)
    assert [each["after_s"] for each in rests] == [10 * 60, (25 - 12) * 60]
    assert "put the bass down for 5 minutes" in str(rests[1]["text"])
    page = html.unescape(client.get("/practice/alone?drill=scale&key=G").text)
    assert json.dumps(rests) in page
