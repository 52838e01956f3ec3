from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from undersong.page.ground import GROUNDS, contrast
from undersong.web import guard
from web_app import OWN, TestClient, demo_client

STYLE = Path(guard.__file__).with_name("static") / "style.css"
TEMPLATES = sorted(Path(guard.__file__).with_name("templates").glob("*.html"))


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with demo_client(tmp_path) as (client, _):
        yield client


def test_every_answer_carries_the_policy(client: TestClient) -> None:
    for path in ("/", "/nowhere", "/static/style.css"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"


def test_the_policy_allows_the_style_in_the_page_and_no_other(client: TestClient) -> None:
    # How a hash is made: Content Security Policy Level 3 [W3C], 2.3.1 and 6.7.3.3.
    answer = client.get("/")
    inside = answer.text.split("<style>")[1].split("</style>")[0]
    policy = answer.headers["content-security-policy"]
    digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}';" in policy
    assert answer.text.count("<style") == 1


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1.evil.example", ""])
def test_a_foreign_name_that_points_here_is_refused(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "https://evil.example"},
        {"origin": "http://127.0.0.1:9"},
        {"origin": "null"},
    ],
)
def test_another_site_can_change_nothing(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.post("/sunday/up", data={"title": "The North Window"}, headers=headers)
    assert answer.status_code == 403
    assert client.post(
        "/sunday/up",
        data={"title": "The North Window"},
        headers={"origin": OWN, "sec-fetch-site": "same-origin"},
        follow_redirects=False,
    ).is_redirect


def test_a_body_too_large_is_refused(client: TestClient) -> None:
    length = {"content-length": str(guard.LARGEST_BODY_BYTES + 1)}
    assert client.post("/charts/read", content=b"", headers=length).status_code == 413


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/%2e%2e/app.py", "/fonts//etc/passwd"]
)
def test_no_file_outside_is_given(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_going_back_goes_nowhere_else(client: TestClient) -> None:
    for back in ("https://evil.example", "//evil.example", "/\\evil.example"):
        answer = client.post("/me", data={"back": back}, follow_redirects=False)
        assert answer.headers["location"] == "/"


def test_templates_hold_no_script_style_or_foreign_address() -> None:
    assert TEMPLATES
    for template in TEMPLATES:
        text = template.read_text("utf-8")
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text), template.name
        assert not re.search(r"<script(?![^>]*\bsrc=\"/static/)", text), template.name
        assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", text), template.name
        assert "|safe" not in text, template.name


def test_the_screen_has_the_inks_of_the_paper() -> None:
    css = STYLE.read_text("utf-8")
    for name in ("paper", "evening", "black"):
        block = re.search(rf'\[data-ground="{name}"\][^{{]*{{([^}}]*)}}', css)
        assert block is not None
        inks = dict(re.findall(r"--(\w+): (#\w{6});", block[1]))
        ground = GROUNDS[name]
        assert inks == {ink: getattr(ground, ink) for ink in inks}
        assert set(inks) == {"ground", "ink", "pencil", "rule", "mark"}
        # WCAG 2.2, 1.4.3: text at least 4.5:1.
        assert min(contrast(inks["ground"], inks[ink]) for ink in ("ink", "pencil", "mark")) >= 4.5
