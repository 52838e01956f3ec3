"""Whatever is asked of the app, it answers with a page or a sentence, never with a crash."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from web_app import TestClient, demo_client

ANSWERS = {200, 303, 400, 401, 403, 404, 405, 413}
PATHS = (
    "/", "/sunday/key", "/charts/new", "/song", "/song/times", "/neck", "/practice",
    "/practice/at", "/practice/sheet", "/log", "/ready", "/click", "/takes/1",
    "/takes/99999999999999999999999", "/people", "/pack", "/pack/making", "/pack.pdf", "/enter",
    "/enter/x", "/certificate.crt", "/standing", "/takes/0/sound", "/log/undersong-log.json",
    "/nowhere", "/pack/tracks.zip",
)  # fmt: skip
POSTS = (
    "/me", "/sunday/change", "/sunday/up", "/sunday/add", "/sunday/nothing", "/charts/read",
    "/charts/keep", "/takes", "/takes/1/overrule", "/takes/99999999999999999999999/delete",
    "/practice/pain", "/log/player", "/log/keep", "/log/bring", "/log/restore", "/log/forget",
    "/log/nothing", "/ready/delay", "/song/bar", "/people/invite", "/people/withdraw", "/enter",
    "/leave", "/pack/tracks",
)  # fmt: skip
NAMES = (
    "title", "key", "level", "tempo", "show", "from", "chord", "shape", "tuning", "hand", "frets",
    "drill", "song", "section", "click", "player", "rate", "uid", "at", "note", "text", "name",
    "days", "back", "ground", "hurts", "bar", "what", "low", "high", "singer", "drawn", "number",
    "role", "token",
)  # fmt: skip
LIKELY = st.sampled_from(
    ("", "G", "Em", "Slow Water, Bright Stone", "scale", "Chorus", "1", "-1", "0", "1e400", "nan",
     "99999999999999999999", "70", "b3", "five", "E1,A1", "../../etc/passwd", "<b>", "\x00", "é♭")
)  # fmt: skip
VALUES = LIKELY | st.text(max_size=12)
ASKED = st.dictionaries(st.sampled_from(NAMES), VALUES, max_size=5)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with demo_client(tmp_path_factory.mktemp("log")) as (client, _):
        yield client


def sendable(asked: dict[str, str]) -> dict[str, str]:
    """Lone surrogates cannot be put on the wire."""
    return {name: text.encode("utf-8", "replace").decode() for name, text in asked.items()}


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(path=st.sampled_from(PATHS), asked=ASKED)
def test_any_question_has_an_answer(client: TestClient, path: str, asked: dict[str, str]) -> None:
    assert client.get(path, params=sendable(asked)).status_code in ANSWERS


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(path=st.sampled_from(POSTS), asked=ASKED)
def test_any_form_has_an_answer(client: TestClient, path: str, asked: dict[str, str]) -> None:
    answer = client.post(path, data=sendable(asked), follow_redirects=False)
    assert answer.status_code in ANSWERS


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=30))
def test_any_path_has_an_answer(client: TestClient, text: str) -> None:
    path = "/" + quote(text.encode("utf-8", "replace"), safe="/")
    assert client.get(path, follow_redirects=False).status_code in ANSWERS | {307}


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=20))
def test_any_cookie_has_an_answer(client: TestClient, text: str) -> None:
    cookie = "player=" + quote(text.encode("utf-8", "replace"), safe="")
    assert client.get("/log", headers={"cookie": cookie}).status_code == 200
