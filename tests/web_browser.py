"""A real headless Chromium over the app on a real port, for the tests at its front door."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from undersong.web.app import make_app
from undersong.web.desk import Desk

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PHONE, DESKTOP = (360, 740), (1280, 800)
WAIT_MS = 20_000
PHONE_NAME = (
    "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 Chrome/130.0.0.0 Mobile Safari/537.36"
)

needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="Chromium is not installed here (apt-get install chromium)"
)


@contextmanager
def served(desk: Desk, port: int = 0) -> Iterator[str]:
    """The app on a port of this computer (0: a free one); its address."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", port))
    listening.listen()
    config = uvicorn.Config(make_app(desk), log_level="warning", timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(timeout=10)
        listening.close()


@dataclass
class Front:
    """A browser at the app's front door, and what went wrong on its pages."""

    browser: Browser
    address: str
    troubles: list[str] = field(default_factory=list)

    def page(
        self,
        size: tuple[int, int] = DESKTOP,
        *,
        ground: str = "paper",
        calm: bool = False,
        may_listen: bool = True,
    ) -> Page:
        """A new page of a fresh visitor."""
        context = self.browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            user_agent=PHONE_NAME if size == PHONE else None,
            base_url=self.address,
            reduced_motion="reduce" if calm else "no-preference",
            permissions=["microphone"] if may_listen else [],
        )
        context.add_cookies([{"name": "ground", "value": ground, "url": self.address}])
        context.set_default_timeout(WAIT_MS)
        page = context.new_page()
        page.on("pageerror", lambda error: self.troubles.append(str(error)))
        page.on(
            "console",
            lambda said: self.troubles.append(said.text) if said.type == "error" else None,
        )
        return page


@contextmanager
def front_door(desk: Desk, *, microphone: Path | None = None) -> Iterator[Front]:
    """Chromium at the app; `microphone` is the WAV file it hears, once, then silence."""
    with served(desk) as address, chromium(microphone) as browser:
        yield Front(browser, address)


@contextmanager
def chromium(microphone: Path | None = None) -> Iterator[Browser]:
    """The browser; without a file its microphone beeps once a second."""
    flags = [
        "--no-sandbox",
        "--autoplay-policy=no-user-gesture-required",
        "--use-fake-device-for-media-stream",
    ]
    if microphone is not None:
        flags.append(f"--use-file-for-fake-audio-capture={microphone}%noloop")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=flags)
        try:
            yield browser
        finally:
            browser.close()
