"""Every page in a real browser: no error, no sideways scroll, hands and keyboards served."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from web_app import demo_desk
from web_browser import PHONE, Front, front_door, needs_chromium

pytestmark = needs_chromium

SONG = "/song?title=Slow%20Water,%20Bright%20Stone&level=3"
SHORT = "Title: Low Door\nKey: G\nTempo: 160\n\nVerse\n| 1 | 4 | 5 | 1 |\n"
PAGES = ("/", "/sunday/key?title=The%20North%20Window", "/charts/new", "/neck?key=Eb", SONG)


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Front]:
    with demo_desk(tmp_path_factory.mktemp("log")) as desk, front_door(desk) as front:
        desk.book.keep_chart("Low Door", SHORT, at=desk.clock())
        yield front


@pytest.mark.parametrize("path", PAGES)
def test_a_phone_never_scrolls_sideways(front: Front, path: str) -> None:
    page = front.page(PHONE)
    page.goto(path)
    wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(wide) == 0
    assert front.troubles == []


SMALL = """() => [...document.querySelectorAll(
    'main button, main .button, main select, main input')]
  .filter((each) => each.offsetParent && !each.matches('[type=checkbox], [type=radio]'))
  .filter((each) => each.getBoundingClientRect().height < 47.5
    || each.getBoundingClientRect().width < 47.5)
  .map((each) => each.outerHTML)"""


@pytest.mark.parametrize("path", PAGES)
def test_targets_are_large(front: Front, path: str) -> None:
    page = front.page(PHONE)
    page.goto(path)
    assert page.evaluate(SMALL) == []


@pytest.mark.parametrize("path", PAGES)
def test_every_control_has_a_name(front: Front, path: str) -> None:
    page = front.page()
    page.goto(path)
    unnamed = """() => [...document.querySelectorAll('button, a, select, input, textarea')]
      .filter((each) => each.type !== 'hidden' && each.offsetParent)
      .filter((each) => !(each.textContent.trim() || each.ariaLabel || each.labels?.length))
      .map((each) => each.outerHTML)"""
    assert page.evaluate(unnamed) == []
    assert page.locator("h1").count() == 1


def test_nothing_is_asked_of_other_hosts(front: Front) -> None:
    page = front.page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for path in PAGES:
        page.goto(path)
    assert asked
    assert all(url.startswith((front.address, "data:", "blob:")) for url in asked)


def test_a_song_plays_with_the_marker_and_loops(front: Front) -> None:
    page = front.page(calm=True)
    page.goto("/song?title=Low%20Door&level=1")
    page.get_by_role("button", name="Play").click()
    bar = page.locator("[data-bar].now")
    bar.wait_for()
    first = bar.get_attribute("data-bar")
    page.wait_for_function(
        "first => document.querySelector('[data-bar].now')?.dataset.bar !== first", arg=first
    )
    page.locator("h1").click()
    page.keyboard.press("Space")
    assert page.get_by_role("button", name="Play").is_visible()
    assert page.locator("[data-bar].now").count() == 0
    bars = page.locator("[data-bar]")
    bars.nth(2).click()
    bars.nth(3).click()
    page.get_by_text("Loops 2 bars.").wait_for()
    assert page.locator(".looped").count() == 2
    page.get_by_role("button", name="Loop off").click()
    assert page.locator(".looped").count() == 0
    assert front.troubles == []


def test_a_note_of_the_neck_is_heard_by_tap_and_by_keyboard(front: Front) -> None:
    page = front.page()
    page.goto("/neck?key=G")
    page.get_by_label("String 4, fret 3: G1").click()
    page.wait_for_function("() => document.querySelector('neck-board').dataset.sounded === '31'")
    page.locator(".spot[tabindex='0']").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelector('neck-board').dataset.sounded === '30'")
    assert front.troubles == []
