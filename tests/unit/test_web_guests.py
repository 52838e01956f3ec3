from __future__ import annotations

import json
import re
import struct
import uuid
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from starlette.websockets import WebSocketDisconnect

from undersong.errors import UndersongError
from undersong.web.app import make_app
from undersong.web.desk import Desk
from undersong.web.door import LEADERS_ONLY, NO_LINK, SESSION, Door
from undersong.web.guard import ELSEWHERE
from undersong.web.guests import Guests, Role
from undersong.web.takes import Played, judge
from undersong.web.work import work_of
from web_app import TestClient, demo_desk

ADDRESS = "https://192.0.2.7:8765"  # nobody's address [RFC 5737]
DOOR = Door(ADDRESS, frozenset({"192.0.2.7"}), "AA:BB", b"an authority")
LISTEN = "wss://192.0.2.7:8765/listen"
QUERY = {"drill": "scale", "key": "G"}
DAY = "2026-11-29"
LEADERS_PAGES = (
    "/sunday/key?title=The%20North%20Window",
    "/charts/new",
    "/people",
    "/standing",
    "/climb?item=1",
    "/log/undersong-log.sqlite",
    "/log/health",
)
LEADERS_FORMS = (
    "/sunday/up",
    "/climb",
    "/standing/give",
    "/standing/finish",
    "/sunday/remove",
    "/charts/keep",
    "/charts/read",
    "/log/player",
    "/log/keep",
    "/log/forget",
    "/log/bring",
    "/log/restore",
    "/people/invite",
    "/people/withdraw",
)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with demo_desk(tmp_path) as desk:
        yield desk


@pytest.fixture
def outside(desk: Desk) -> Iterator[TestClient]:
    with TestClient(make_app(desk, door=DOOR, outside=True), base_url=ADDRESS) as client:
        yield client


def come_in(client: TestClient, desk: Desk, name: str, role: Role = Role.PLAYER) -> None:
    token = Guests(desk.book).invite(name, role, made_on=DAY)
    assert f"Welcome, {name}" in client.get(f"/enter/{token}").text
    answer = client.post("/enter", data={"token": token}, follow_redirects=False)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{SESSION}=")
    for said in ("HttpOnly", "Secure", "SameSite=strict", "Path=/"):
        assert said in cookie
    # A cookie whose name is bound to its host has no Domain.
    assert "domain" not in cookie.casefold()


def a_take_of(desk: Desk, name: str) -> int:
    player = desk.book.player(name)
    silence = Played(str(uuid.uuid4()), np.zeros(22_050, np.float32), 22_050, 70.0)
    return judge(desk, player, work_of(desk, player, QUERY), silence).take.id


@pytest.mark.parametrize("path", ["/", "/log", "/practice", "/takes/1", "/people", "/nowhere"])
def test_without_an_invitation_nobody_is_in(outside: TestClient, path: str) -> None:
    answer = outside.get(path)
    assert answer.status_code == 401
    assert NO_LINK in answer.text
    assert "Slow Water" not in answer.text
    told = outside.get(path, headers={"accept": "application/json"})
    assert told.json()["message"] == NO_LINK


def test_without_an_invitation_nobody_is_heard(outside: TestClient) -> None:
    with (
        pytest.raises(WebSocketDisconnect) as refused,
        outside.websocket_connect(LISTEN, headers=socket_headers()),
    ):
        pass
    assert refused.value.reason == NO_LINK


def socket_headers(origin: str = ADDRESS) -> dict[str, str]:
    return {"host": "192.0.2.7:8765", "origin": origin}


def test_a_wrong_link_says_whom_to_ask(outside: TestClient) -> None:
    answer = outside.get("/enter/no-such-token")
    assert answer.status_code == 401
    assert "Ask the leader." in answer.text
    assert outside.post("/enter", data={"token": "x"}).status_code == 401
    assert SESSION not in outside.cookies


def test_a_look_at_a_link_uses_nothing_up(outside: TestClient, desk: Desk) -> None:
    token = Guests(desk.book).invite("Iris", Role.PLAYER, made_on=DAY)
    outside.get(f"/enter/{token}")
    assert outside.get("/").status_code == 401
    outside.post("/enter", data={"token": token})
    assert outside.get("/").status_code == 200


def test_a_player_practises_and_sees_their_own(outside: TestClient, desk: Desk) -> None:
    come_in(outside, desk, "Iris")
    own, others = a_take_of(desk, "Iris"), a_take_of(desk, "Tobias")
    for path in ("/", "/practice", "/practice/at?drill=scale&key=G", "/neck", "/click", "/log",
                 f"/takes/{own}", "/log/undersong-log.json?player=Iris", "/ready"):  # fmt: skip
        assert outside.get(path).status_code == 200, path
    assert "Tobias" not in outside.get("/log/undersong-log.csv").text
    others_own = (
        f"/takes/{others}",
        f"/takes/{others}/sound",
        "/pack.pdf?player=Tobias",
        "/pack/tracks.zip?player=Tobias",
        "/log/undersong-log.json?player=Tobias",
    )
    for path in others_own:
        answer = outside.get(path)
        assert answer.status_code == 403, path
        assert "a player sees only their own" in answer.text
    assert outside.get("/log/undersong-log.json").status_code == 400
    assert outside.post(f"/takes/{others}/delete").status_code == 403
    assert outside.post("/pack/tracks?player=Tobias").status_code == 403
    assert outside.post(f"/takes/{others}/overrule", data={"note": "0"}).status_code == 403
    assert [take.id for take in desk.book.takes_of(None)] == [own, others]


def test_a_player_cannot_play_as_another(outside: TestClient, desk: Desk) -> None:
    come_in(outside, desk, "Iris")
    outside.cookies.set("player", "Tobias")
    outside.post("/me", data={"player": "Tobias", "back": "/"})
    begin = {"type": "begin", "uid": str(uuid.uuid4()), "query": QUERY, "tempo": 70}
    with outside.websocket_connect(LISTEN, headers=socket_headers()) as socket:
        socket.send_text(json.dumps(begin | {"sample_rate": 22_050, "player": "Tobias"}))
        socket.send_bytes(struct.pack("<dd", 0, 0) + bytes(4 * 22_050))
        socket.send_text(json.dumps({"type": "end"}))
        assert socket.receive_json()["type"] == "verdict"
    assert [take.player for take in desk.book.takes_of(None)] == ["Iris"]


@pytest.mark.parametrize("path", LEADERS_PAGES)
def test_a_player_reaches_no_page_of_the_leader(outside: TestClient, desk: Desk, path: str) -> None:
    come_in(outside, desk, "Iris")
    answer = outside.get(path)
    assert answer.status_code == 403
    assert LEADERS_ONLY in answer.text.replace("&#39;", "'")


@pytest.mark.parametrize("path", LEADERS_FORMS)
def test_a_player_changes_nothing_of_the_leader(outside: TestClient, desk: Desk, path: str) -> None:
    before = desk.book.export_json()
    come_in(outside, desk, "Iris")
    fields = {"title": "The North Window", "name": "Iris", "number": "1", "days": "3"}
    assert outside.post(path, data=fields).status_code == 403
    assert desk.book.export_json() == before


def test_no_page_of_a_player_links_to_what_is_refused(outside: TestClient, desk: Desk) -> None:
    come_in(outside, desk, "Iris")
    a_take_of(desk, "Iris")
    for path in ("/", "/song?title=The%20North%20Window", "/practice", "/log", "/takes/1"):
        text = outside.get(path).text
        for link in set(re.findall(r'(?:href|src)="(/[^"#]*)', text)):
            answer = outside.get(link.replace("&amp;", "&"))
            assert answer.status_code == 200, (path, link)


def test_a_leader_from_the_network_sees_all(outside: TestClient, desk: Desk) -> None:
    come_in(outside, desk, "Maria", Role.LEADER)
    take = a_take_of(desk, "Tobias")
    for path in (*LEADERS_PAGES, f"/takes/{take}", "/log/undersong-log.json"):
        assert outside.get(path).status_code == 200, path


@pytest.mark.parametrize(
    "origin", ["https://evil.example", "http://192.0.2.7:8765", "https://192.0.2.7", "null"]
)
def test_a_wrong_origin_is_refused(outside: TestClient, desk: Desk, origin: str) -> None:
    come_in(outside, desk, "Iris")
    with (
        pytest.raises(WebSocketDisconnect) as refused,
        outside.websocket_connect(LISTEN, headers=socket_headers(origin)),
    ):
        pass
    assert refused.value.reason == ELSEWHERE
    answer = outside.post("/practice/pain", data={"hurts": "no"}, headers={"origin": origin})
    assert answer.status_code == 403


def test_a_foreign_name_is_refused_from_the_network_too(outside: TestClient) -> None:
    assert outside.get("/enter", headers={"host": "127.0.0.1:8765"}).status_code == 403
    assert outside.get("/enter", headers={"host": "evil.example"}).status_code == 403


def test_a_withdrawn_invitation_ends_at_once(outside: TestClient, desk: Desk) -> None:
    come_in(outside, desk, "Iris")
    come_in_number = Guests(desk.book).all()[0].number
    assert outside.get("/").status_code == 200
    Guests(desk.book).withdraw(come_in_number)
    assert outside.get("/").status_code == 401
    assert NO_LINK in outside.get("/").text
    with pytest.raises(UndersongError, match="withdrawn already"):
        Guests(desk.book).withdraw(come_in_number)


def test_a_new_link_ends_the_old_one_and_nobodys_session(outside: TestClient, desk: Desk) -> None:
    guests = Guests(desk.book)
    old = guests.invite("Iris", Role.PLAYER, made_on=DAY)
    outside.post("/enter", data={"token": old})
    guests.invite("Iris", Role.PLAYER, made_on=DAY)
    assert guests.invited(old) is None
    assert outside.get("/").status_code == 200
    assert len(guests.all()) == 1


def test_leaving_ends_this_browsers_session(outside: TestClient, desk: Desk) -> None:
    come_in(outside, desk, "Iris")
    assert outside.post("/leave").status_code == 401  # led on to the door
    assert Guests(desk.book).all()[0].sessions == ()


def test_a_deleted_player_is_nobody(outside: TestClient, desk: Desk) -> None:
    come_in(outside, desk, "Iris")
    desk.book.delete_player(desk.book.player("Iris"))
    assert "Nobody plays yet" in outside.get("/practice/at", params=QUERY).text


def test_no_secret_is_in_the_log_or_leaves_with_it(desk: Desk, tmp_path: Path) -> None:
    guests = Guests(desk.book)
    token = guests.invite("Iris", Role.PLAYER, made_on=DAY)
    secret = guests.enter(token)
    copy = desk.book.backup(tmp_path / "copy.sqlite").read_bytes()
    assert token.encode() not in copy
    assert secret.encode() not in copy
    assert "invitations" not in json.dumps(desk.book.export_json())


def test_only_a_player_of_the_log_is_invited_as_one(desk: Desk) -> None:
    guests = Guests(desk.book)
    with pytest.raises(UndersongError, match="Nobody"):
        guests.invite("Nobody", Role.PLAYER, made_on=DAY)
    with pytest.raises(UndersongError, match="write a name"):
        guests.invite(" ", Role.LEADER, made_on=DAY)


def test_the_leader_makes_and_withdraws_links_on_a_page(desk: Desk) -> None:
    with TestClient(make_app(desk, door=DOOR), base_url="http://127.0.0.1") as here:
        text = here.post("/people/invite", data={"role": "player", "name": "Iris"}).text
        [token] = re.findall(rf"{re.escape(ADDRESS)}/enter/([\w-]+)<", text)
        assert Guests(desk.book).invited(token) is not None
        assert token not in here.get("/people").text
        here.post("/people/withdraw", data={"number": "1"})
        assert Guests(desk.book).all() == ()
        assert here.get("/certificate.crt").content == b"an authority"


def test_an_app_on_one_computer_says_how_to_open_it(desk: Desk) -> None:
    with TestClient(make_app(desk), base_url="http://127.0.0.1") as here:
        assert "--network" in here.get("/people").text
        assert here.post("/people/invite", data={"role": "leader"}).status_code == 400
        assert here.get("/certificate.crt").status_code == 404
