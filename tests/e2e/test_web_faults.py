"""What goes wrong while practising: each is said, and nothing recorded so far is lost."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page

from undersong.exchange import part_to_json
from undersong.practice.ladder import Rule
from undersong.web.desk import Desk
from undersong.web.work import work_of
from web_app import demo_desk
from web_browser import Front, chromium, needs_chromium, served

pytestmark = needs_chromium

FAST_BPM = 240.0
PASS_S = 5.5  # count-in, sixteen beats and the tail at that tempo
SCALE = "/practice/at?drill=scale&key=G"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as browser:
        yield browser


@pytest.fixture
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A desk whose player has answered for her hands, and whose climb begins fast."""
    with demo_desk(tmp_path_factory.mktemp("log")) as desk:
        player = desk.book.player("Iris")
        desk.book.note_pain(player, at=desk.clock(), hurts=False)
        work = work_of(desk, player, {"drill": "scale", "key": "G"})
        item = desk.book.keep_item("drill", work.name, key="G", part=part_to_json(work.part))
        desk.book.set_rule(player, item, Rule(start_bpm=FAST_BPM), start_over=True)
        yield desk


def begin(page: Page) -> None:
    page.goto(SCALE)
    page.get_by_role("button", name="Play a pass").click()
    page.get_by_role("button", name="Listen, keep no recording").click()


def said(page: Page) -> str:
    return page.locator("practice-desk [role=status]").inner_text()


def test_a_refused_microphone_is_said(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        page = Front(browser, address).page(may_listen=False)
        begin(page)
        page.get_by_text("The microphone was refused.").wait_for()
        assert page.locator("practice-desk[data-state='idle']").count() == 1
        assert desk.book.takes_of(None) == ()


def test_an_input_that_changes_the_sound_is_refused(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        page.add_init_script("""
          const settings = MediaStreamTrack.prototype.getSettings;
          MediaStreamTrack.prototype.getSettings = function () {
            return { ...settings.call(this), echoCancellation: true };
          };""")
        begin(page)
        page.get_by_text("This input changes the sound (echoCancellation)").wait_for()
        assert desk.book.takes_of(None) == ()


def test_the_input_is_asked_for_as_it_is(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        page.add_init_script("""
          const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
          navigator.mediaDevices.getUserMedia = async (asked) => {
            const stream = await ask(asked);
            window.got = stream.getAudioTracks()[0].getSettings();
            return stream;
          };""")
        begin(page)
        page.wait_for_function("() => window.got")
        got = page.evaluate("() => window.got")
        off = ("echoCancellation", "noiseSuppression", "autoGainControl")
        assert [got[name] for name in off] == [False] * 3


def test_an_unplugged_input_loses_nothing(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        page.add_init_script("""
          const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
          navigator.mediaDevices.getUserMedia = async (asked) => {
            const stream = await ask(asked);
            window.unplug = () => stream.getAudioTracks()[0].dispatchEvent(new Event("ended"));
            return stream;
          };""")
        begin(page)
        page.locator(".note.now").wait_for()
        time.sleep(1)
        page.evaluate("() => window.unplug()")
        page.locator(".verdict").wait_for()
        [take] = desk.book.takes_of(None)
        assert 1.0 < take.length_s < PASS_S


def test_an_input_that_falls_silent_without_a_word_is_judged_as_far_as_it_came(
    browser: Browser, desk: Desk
) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        page.add_init_script("""
          const read = ReadableStreamDefaultReader.prototype.read;
          ReadableStreamDefaultReader.prototype.read = function () {
            return window.isDead ? new Promise(() => {}) : read.call(this);
          };""")
        begin(page)
        page.locator(".note.now").wait_for()
        time.sleep(1)
        page.evaluate("() => { window.isDead = true; }")
        page.locator(".verdict").wait_for()
        [take] = desk.book.takes_of(None)
        assert 1.0 < take.length_s < PASS_S


def test_a_server_that_restarts_in_mid_take_gets_all_of_it(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        begin(page)
        page.locator(".note.now").wait_for()
    page.get_by_text("Undersong does not answer.").wait_for()
    with served(desk, port=urlsplit(address).port or 0):
        page.locator(".verdict").wait_for(timeout=40_000)
        [take] = desk.book.takes_of(None)
        assert take.length_s == pytest.approx(PASS_S + 0.5, abs=1.0)


def test_a_tab_in_the_background_plays_on_and_is_judged(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        # As a browser treats a page that is out of sight: nothing is drawn any more.
        page.add_init_script("""
          window.hide = () => {
            Object.defineProperty(document, "hidden", { get: () => true });
            window.requestAnimationFrame = () => 0;
            document.dispatchEvent(new Event("visibilitychange"));
          };""")
        begin(page)
        page.locator(".note.now").wait_for()
        page.evaluate("() => window.hide()")
        page.get_by_text("This page is in the background").wait_for()
        page.locator(".verdict").wait_for()
        [take] = desk.book.takes_of(None)
        assert take.length_s == pytest.approx(PASS_S + 0.5, abs=1.0)


def test_two_tabs_are_told_and_both_are_kept(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        one = Front(browser, address).page()
        other = one.context.new_page()
        begin(one)
        one.locator("practice-desk[data-state='playing']").wait_for()
        begin(other)
        for page in (one, other):
            page.get_by_text("Another tab plays too").wait_for()
        for page in (one, other):
            page.locator(".verdict").wait_for()
        assert len(desk.book.takes_of(None)) == 2
        assert desk.book.faults() == ()


class Wire:
    """The network between browser and app, which can be cut and mended."""

    def __init__(self, to: str) -> None:
        parts = urlsplit(to)
        self._to = (parts.hostname or "", parts.port or 0)
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._ends: list[socket.socket] = []
        self._is_whole = True
        self.address = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        threading.Thread(target=self._take_in, daemon=True).start()

    def _take_in(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
            except OSError:  # closed: the test is over
                return
            if self._is_whole:
                threading.Thread(target=self._join, args=(near,), daemon=True).start()
            else:
                near.close()

    def _join(self, near: socket.socket) -> None:
        with near, socket.create_connection(self._to) as far:
            self._ends += [near, far]
            back = threading.Thread(target=self._carry, args=(far, near), daemon=True)
            back.start()
            self._carry(near, far)
            back.join()

    def _carry(self, one: socket.socket, end: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(65_536):
                end.sendall(data)
        for each in (one, end):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)

    def cut(self) -> None:
        """Nothing passes any more."""
        self._is_whole = False
        for each in self._ends:
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
        self._ends.clear()

    def mend(self) -> None:
        """New connections pass again."""
        self._is_whole = True

    def close(self) -> None:
        """The test is over."""
        self.cut()
        self._listening.close()


def test_a_network_that_goes_and_comes_back_loses_nothing(browser: Browser, desk: Desk) -> None:
    with served(desk) as address, contextlib.closing(Wire(address)) as wire:
        page = Front(browser, wire.address).page()
        begin(page)
        page.locator(".note.now").wait_for()
        wire.cut()
        page.get_by_text("Undersong does not answer.").wait_for()
        time.sleep(2)  # what is played meanwhile stays with the page
        wire.mend()
        page.locator(".verdict").wait_for(timeout=40_000)
        [take] = desk.book.takes_of(None)
        assert take.length_s == pytest.approx(PASS_S + 0.5, abs=1.0)


def test_a_browser_that_hands_out_no_track_is_heard_through_its_audio_graph(
    browser: Browser, desk: Desk
) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        page.add_init_script("delete globalThis.MediaStreamTrackProcessor;")
        begin(page)
        page.locator(".verdict").wait_for()
        assert page.evaluate("() => 'MediaStreamTrackProcessor' in globalThis") is False
        [take] = desk.book.takes_of(None)
        assert take.length_s == pytest.approx(PASS_S + 0.5, abs=1.0)


def test_stopping_keeps_nothing_and_the_keys_work(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        begin(page)
        page.locator("practice-desk[data-state='playing']").wait_for()
        page.locator("h1").click()
        page.keyboard.press("PageUp")
        page.get_by_text("Stopped. Nothing was kept.").wait_for()
        page.keyboard.press("PageDown")
        page.locator("practice-desk[data-state='playing']").wait_for()
        page.keyboard.press("Space")
        page.locator("practice-desk[data-state='idle']").wait_for()
        assert desk.book.takes_of(None) == ()


def test_hands_free_counts_in_again(browser: Browser, desk: Desk) -> None:
    with served(desk) as address:
        page = Front(browser, address).page()
        page.goto(SCALE)
        page.get_by_role("button", name="Hands-free").click()
        page.get_by_role("button", name="Play a pass").click()
        page.get_by_role("button", name="Listen, keep no recording").click()
        page.locator("practice-desk[data-state='waiting']").wait_for()
        page.locator("practice-desk[data-state='playing']").wait_for()
        page.locator("h1").click()
        page.keyboard.press("Space")
        page.locator("practice-desk[data-state='idle']").wait_for()
        assert len(desk.book.takes_of(None)) == 1


def test_pain_stops_the_day_on_the_page(browser: Browser, desk: Desk) -> None:
    desk.book.note_pain(desk.book.player("Iris"), at=desk.clock(), hurts=True)
    with served(desk) as address:
        page = Front(browser, address).page()
        page.goto(SCALE)
        page.get_by_text("Stop for today").wait_for()
        page.get_by_role("button", name="Play a pass").click()
        assert said(page) == "Not today: rest."
