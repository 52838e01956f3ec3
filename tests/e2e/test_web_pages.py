"""Every page in a real browser: no error, no sideways scroll, hands and keyboards served."""

from __future__ import annotations

import os
import uuid
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from importlib.resources import files
from pathlib import Path

import pytest
import soundfile

from undersong.chart.setlist import SetSong
from undersong.practice.takehome import pack_tracks
from undersong.sound.tracks import TrackKind
from undersong.web import packs
from undersong.web.alone import keep_session
from undersong.web.desk import Desk
from undersong.web.takes import Played, judge
from undersong.web.work import work_of
from web_app import demo_desk
from web_browser import DESKTOP, PHONE, Front, front_door, needs_chromium, served

pytestmark = needs_chromium

SONG = "/song?title=Slow%20Water,%20Bright%20Stone&level=3"
SHORT = "Title: Low Door\nKey: G\nTempo: 160\n\nVerse\n| 1 | 4 | 5 | 1 |\n"
PAGES = (
    "/",
    "/sunday/key?title=The%20North%20Window&low=A3&high=C5",
    "/charts/new",
    "/neck?key=Eb",
    SONG,
    f"{SONG}&drawn=staff+and+tab",
    "/people",
    "/standing",
    "/practice",
    "/practice/at?drill=scale&key=G",
    "/practice/at?song=Slow%20Water,%20Bright%20Stone&section=Chorus",
    "/practice/alone?drill=scale&key=G",
    "/takes/1",
    "/takes/2",
    "/log",
    "/ready",
    "/climb?item=1",
    "/click",
)
TROUBLE = "/sunday/key?title=nothing"
AXE = Path(os.environ.get("UNDERSONG_AXE", "no such file"))


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Front]:
    with demo_desk(tmp_path_factory.mktemp("log")) as desk, front_door(desk) as front:
        desk.book.keep_chart("Low Door", SHORT, at=desk.clock())
        judge_one(desk)
        yield front


def judge_one(desk: Desk) -> None:
    """The demo's take with mistakes in it, as a pass and as practice without one, to be seen."""
    samples, rate = soundfile.read(
        Path(str(files("undersong"))) / "demo" / "takes" / "third.flac", dtype="float32"
    )
    player = desk.book.player("Iris")
    work = work_of(desk, player, {"drill": "scale", "key": "G"})
    judge(desk, player, work, Played(str(uuid.uuid4()), samples, rate, 75.0))
    keep_session(desk, player, work, Played(str(uuid.uuid4()), samples, rate, 75.0))


CUT = """() => [...document.querySelectorAll(".engraved")]
  .filter((each) => each.scrollWidth > each.clientWidth)
  .map((each) => each.ariaLabel)"""
WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
SMALL = """() => [...document.querySelectorAll(
    'main button, main .button, main select, main input')]
  .filter((each) => each.offsetParent && !each.matches('.unseen, [type=checkbox], [type=radio]'))
  .filter((each) => each.getBoundingClientRect().height < 47.5
    || each.getBoundingClientRect().width < 47.5)
  .map((each) => each.outerHTML)"""
UNNAMED = """() => [...document.querySelectorAll('button, a, select, input, textarea')]
  .filter((each) => each.type !== 'hidden' && each.offsetParent)
  .filter((each) => !(each.textContent.trim() || each.ariaLabel || each.labels?.length))
  .map((each) => each.outerHTML)"""


@pytest.mark.parametrize("path", PAGES)
def test_a_phone_is_served(front: Front, path: str) -> None:
    page = front.page(PHONE)
    page.goto(path)
    assert page.evaluate(WIDE) == 0
    assert page.evaluate(CUT) == []
    assert page.evaluate(SMALL) == []
    assert page.evaluate(UNNAMED) == []
    assert page.locator("h1").count() == 1
    assert front.troubles == []


@pytest.mark.skipif(not AXE.is_file(), reason="UNDERSONG_AXE does not name axe.min.js (axe-core)")
@pytest.mark.parametrize("ground", ["paper", "evening", "black"])
@pytest.mark.parametrize("size", [PHONE, DESKTOP])
def test_axe_finds_nothing(front: Front, size: tuple[int, int], ground: str) -> None:
    page = front.page(size, ground=ground)
    violations = []
    for path in (*PAGES, TROUBLE):
        page.goto(path)
        page.evaluate(AXE.read_text("utf-8"))  # evaluated by the debugger: no policy is loosened
        found = page.evaluate("() => axe.run().then((result) => result.violations)")
        violations += [(path, each["id"], each["nodes"][0]["html"]) for each in found]
    front.troubles.clear()  # the page of a trouble is a refused request
    assert violations == [], violations


def test_nothing_is_asked_of_other_hosts(front: Front) -> None:
    page = front.page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for path in PAGES:
        page.goto(path)
    assert asked
    assert all(url.startswith((front.address, "data:", "blob:")) for url in asked)


COUNTED = """
  window.contexts = 0;
  const Plain = AudioContext;
  window.AudioContext = class extends Plain {
    constructor(options) { super(options); window.contexts += 1; }
  };
"""


@pytest.mark.parametrize("path", ["/practice/at?drill=scale&key=G", SONG, "/neck?key=Eb", "/click"])
def test_the_sound_is_there_before_the_first_touch(front: Front, path: str) -> None:
    page = front.page()
    page.add_init_script(COUNTED)
    page.goto(path)
    page.wait_for_function("() => window.contexts === 1")
    assert front.troubles == []


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


# On a busy computer the first steps are over before the page counts as loaded.
ALL_THAT_IS_SAID = """addEventListener("DOMContentLoaded", () => {
  const place = document.querySelector("[data-say]");
  globalThis.told = [];
  new MutationObserver(() => told.push(place.textContent)).observe(place, { childList: true });
});"""


def test_a_pack_is_made_while_one_watches(front: Front) -> None:
    page = front.page()
    page.add_init_script(ALL_THAT_IS_SAID)
    page.goto("/pack?player=Tobias")
    page.get_by_text("The pack is ready.").wait_for(timeout=120_000)
    told = page.evaluate("() => told")
    assert any(each.startswith("Writing the line of") for each in told)
    assert told[-2:] == ["Engraving and setting the pages.", "The pack is ready."]
    link = page.get_by_role("link", name="Open the pack").get_attribute("href") or ""
    assert link.endswith("made=1")
    assert page.request.get(link).body().startswith(b"%PDF")
    assert page.get_by_role("button", name="Make the tracks too").is_enabled()
    assert front.troubles == []


def test_tracks_are_made_while_one_watches_and_saved(
    front: Front, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    few = partial(pack_tracks, kinds=(TrackKind.FULL,), has_hard_bars=False)
    monkeypatch.setattr(packs, "pack_tracks", few)
    with demo_desk(tmp_path) as desk, served(desk) as address:
        desk.book.keep_chart("Low Door", SHORT, at=desk.clock())
        sunday = desk.sunday()
        desk.keep(sunday.name, replace(sunday.setlist, songs=(SetSong("Low Door"),)))
        other = Front(front.browser, address)
        page = other.page(PHONE)
        page.goto("/pack?player=Tobias")
        make = page.get_by_role("button", name="Make the tracks too")
        make.wait_for(timeout=120_000)
        assert page.get_by_role("link", name="Save pages and tracks").is_hidden()
        make.press("Enter")
        page.get_by_text("The tracks are ready.").wait_for(timeout=120_000)
        bar = page.get_by_role("progressbar", name="How far the tracks are")
        assert bar.get_attribute("value") == bar.get_attribute("max") == "3"
        assert page.get_by_role("button", name="Make the tracks again").is_enabled()
        assert page.evaluate("document.activeElement.textContent") == "Save pages and tracks"
        with page.expect_download() as saving:
            page.keyboard.press("Enter")
        assert saving.value.suggested_filename == "Tobias.zip"
        with zipfile.ZipFile(saving.value.path()) as parcel:
            names = parcel.namelist()
        assert names == [
            f"Tobias/{each}" for each in ("pack.pdf", "Tuning notes.mp3", "01 Low Door.mp3")
        ]
        assert page.evaluate(WIDE) <= 0
        assert other.troubles == []


def test_a_bar_of_the_line_is_tapped_and_gets_another_idea(front: Front) -> None:
    page = front.page()
    page.goto(SONG)
    page.locator("#line ~ .tab .tabbar").nth(4).click()
    chosen = page.locator("[data-bar-form] select")
    number = chosen.input_value()
    assert number == page.locator("#line ~ .tab .tabbar").nth(4).get_attribute("data-number")
    page.get_by_role("button", name="Another idea").click()
    page.get_by_text(f"{number}: ").first.wait_for(state="attached")
    assert chosen.input_value() == number
    assert "(changed)" in chosen.locator("option:checked").inner_text()
    page.get_by_role("button", name="As it was").click()
    page.wait_for_function(
        "() => document.querySelector('[data-bar-form] option:checked')?.text.includes('changed')"
        " === false"
    )
    assert front.troubles == []


def test_staff_and_tab_follow_the_sound(front: Front) -> None:
    page = front.page()
    page.goto("/song?title=Low%20Door&level=1&drawn=staff+and+tab")
    page.get_by_role("button", name="Play").click()
    page.locator(".engraved .measure.now").wait_for()
    page.get_by_role("button", name="Stop").click()
    assert page.locator(".engraved .measure.now").count() == 0
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


def test_a_sheet_dropped_in_is_understood_kept_and_played(front: Front) -> None:
    page = front.page()
    page.goto("/charts/new")
    sheet = b"Stone by Water\n\n[Verse]\nG        D/F#      Em       C\nLight on stone\n"
    page.locator("input[type=file]").set_input_files(
        {"name": "stone.txt", "mimeType": "text/plain", "buffer": sheet}
    )
    page.get_by_role("heading", name="Please look at").wait_for()
    assert page.locator(".num").all_inner_texts() == ["1", "5/7", "6-", "4"]
    page.get_by_role("button", name="Keep it").click()
    page.get_by_role("link", name="Stone by Water", exact=True).wait_for()
    assert front.troubles == []


def test_a_take_is_heard_again_from_any_bar_and_with_the_click(front: Front) -> None:
    page = front.page()
    page.goto("/practice/at?drill=scale&key=G")
    path = Path(str(files("undersong"))) / "demo" / "takes" / "second.flac"
    page.locator("[data-file]").set_input_files(path)
    page.locator(".verdict").wait_for()
    for start in ("Hear your take", "Hear it with the click"):
        page.get_by_role("button", name=start).click()
        page.locator("practice-desk[data-state='model']").wait_for()
        page.get_by_role("button", name="Stop").click()
        page.locator("practice-desk[data-state='idle']").wait_for()
    page.locator(".verdict .tabbar").nth(2).click()
    page.locator("practice-desk[data-state='model']").wait_for()
    page.get_by_role("button", name="Stop").click()
    page.get_by_role("button", name="Discard this take").click()
    page.get_by_text("Discarded. The climb stays where it is.").wait_for()
    assert front.troubles == []


def test_the_click_alone_starts_changes_and_stops(front: Front) -> None:
    page = front.page()
    page.goto("/click")
    page.locator("h1").click()
    page.keyboard.press("Space")
    page.wait_for_function("() => document.querySelector('[data-count]').textContent === '2'")
    page.get_by_role("button", name="Faster").click()
    page.locator("[data-gap]").select_option("4")
    assert page.locator("[data-tempo-now]").inner_text() == "73"
    page.get_by_role("button", name="Stop").click()
    assert page.get_by_role("button", name="Start").is_visible()
    assert front.troubles == []
