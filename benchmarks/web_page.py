"""The page's own promises: `PYTHONPATH=tests:tests/e2e python benchmarks/web_page.py`.

Printed: how long after the command the first page is shown whole (the app a program of its own,
with Chromium running already and at rest), in the middle of several starts; how large our own files
are without fonts and sounds; how evenly clicks at 200 fall in what the browser plays; how far a
planted delay is measured off. What a real sound card adds is not in these figures. `web_live.py`
has live words and long tasks, `web_load.py` has many players at once.
"""

from __future__ import annotations

import argparse
import base64
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib.resources import files
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser
from test_web_click import FAST_BPM, OVERHEAR, places
from test_web_getting_set import DELAYS_MS, LOOPED, measured_ms, plant

from undersong.practice.ladder import Rule
from undersong.sound.schedule import ClickPlan, schedule
from undersong.web.desk import Desk
from undersong.web.work import kept_item, work_of
from web_app import demo_desk
from web_browser import chromium, front_door

STATIC = Path(str(files("undersong.web"))) / "static"
SCALE = "/practice/at?drill=scale&key=G"
STARTS = 9
NEW_STARTS = 5
REST_S = 3.0  # a browser just opened is busy with itself for a while
# The frame of a page is painted before its songs are: the last of the larger and larger things
# painted counts [Largest Contentful Paint, W3C], not the first.
PAINTED = """() => new Promise((told) => new PerformanceObserver((list) =>
  told(list.getEntries().at(-1).startTime)
).observe({ type: "largest-contentful-paint", buffered: true }))"""
SETTLED_MS = 300
OWN_BYTES = """() => [...performance.getEntriesByType("navigation"),
    ...performance.getEntriesByType("resource")]
  .filter((each) => !/\\/(fonts|sound)\\//.test(each.name))
  .reduce((sum, each) => sum + each.decodedBodySize, 0)"""


@contextmanager
def started(log: Path) -> Iterator[tuple[str, float]]:
    """The app as a program; its address, and seconds from the command to the address."""
    words = [sys.executable, "-m", "undersong", "open", "--no-browser", "--json"]
    began_s = time.monotonic()
    with subprocess.Popen(
        [*words, "--log", str(log)], stdout=subprocess.PIPE, text=True
    ) as app:  # fmt: skip
        try:
            assert app.stdout is not None
            address = json.loads(app.stdout.readline())["address"].rstrip("/")
            yield address, time.monotonic() - began_s
        finally:
            app.send_signal(signal.SIGINT)


def first_page(desk: Desk) -> None:
    """From the command to the first page, and the bytes of ours it and a practice page need."""
    assert desk.book.file is not None
    with chromium() as browser, tempfile.TemporaryDirectory() as folder:
        starts = [shown(browser, desk.book.file) for _ in range(STARTS)]
        tell("First page", starts)
        tell(
            "First page of all, with a new log and the invented Sunday to be made",
            [shown(browser, Path(folder) / f"{number}.sqlite") for number in range(NEW_STARTS)],
        )
    own = sum(each.stat().st_size for each in STATIC.iterdir())
    _, _, (sunday, drill) = starts[-1]
    print(
        f"Own files: {own / 1000:.0f} kB in all; with its HTML This Sunday takes "
        f"{sunday / 1000:.0f} kB, a drill {drill / 1000:.0f} kB (no fonts, no sounds)"
    )


def shown(browser: Browser, log: Path) -> tuple[float, float, tuple[int, int]]:
    """One start: seconds until the page is shown and until the app answers, and bytes of ours."""
    with closing(browser.new_context()) as context:
        page = context.new_page()
        page.goto("about:blank")  # browser and tab are open before the command is given
        time.sleep(REST_S)
        with started(log) as (address, ready_s):
            page.goto(address)
            page.wait_for_timeout(SETTLED_MS)
            shown_s = ready_s + page.evaluate(PAINTED) / 1000
            sunday = page.evaluate(OWN_BYTES)
            page.goto(f"{address}{SCALE}")
            return shown_s, ready_s, (sunday, page.evaluate(OWN_BYTES))


def tell(what: str, starts: list[tuple[float, float, tuple[int, int]]]) -> None:
    """The middle of several starts, the quickest and the slowest."""
    times = sorted((shown_s, ready_s) for shown_s, ready_s, _ in starts)
    shown_s, ready_s = times[len(times) // 2]
    print(
        f"{what}, of {len(times)} starts: {shown_s:.2f} s after the command "
        f"({ready_s:.2f} until it answers), quickest {times[0][0]:.2f}, slowest {times[-1][0]:.2f}"
    )


def click_jitter(desk: Desk) -> None:
    """Spread of a pass's clicks against where they were laid, in the browser's own output."""
    with front_door(desk) as front:
        player = desk.book.player("Iris")
        desk.book.note_pain(player, at=desk.clock(), hurts=False)
        work = work_of(desk, player, {"drill": "scale", "key": "G"})
        rule = Rule(start_bpm=FAST_BPM)
        desk.book.set_rule(player, kept_item(desk, work), rule, start_over=True)
        page = front.page()
        page.add_init_script(OVERHEAR)
        page.goto(SCALE)
        page.get_by_role("button", name="Play a pass").click()
        page.get_by_role("button", name="Listen, keep no recording").click()
        page.locator(".verdict").wait_for(timeout=60_000)
        taken = page.evaluate("() => window.taken()")
    sound = np.frombuffer(base64.b64decode(taken["sound"]), "<f4")
    laid = schedule(work.part, tempo_bpm=FAST_BPM, click=ClickPlan()).clicks
    found = places(sound, taken["rate"], [click.kind for click in laid])
    if len(found) != len(laid):
        print(f"Clicks: {len(found)} of {len(laid)} overheard: the machine is too busy to say more")
        return
    errors_ms = 1000 * (np.array(found) - np.array([click.onset_s for click in laid]))
    print(f"Clicks: {len(found)} of {len(laid)}, earliest to latest {np.ptp(errors_ms):.3f} ms")


def planted_delay(desk: Desk) -> None:
    """The difference of two planted delays as Getting set measures it, and a control."""
    short_ms, long_ms = DELAYS_MS
    with front_door(desk) as front:
        page = front.page()
        page.add_init_script(LOOPED.replace("DELAY_S", str(short_ms / 1000)))
        page.goto("/ready")
        before_ms = measured_ms(page)
        plant(page, long_ms)
        longer_ms = measured_ms(page)
        plant(page, short_ms)
        after_ms = measured_ms(page)
    print(
        f"Round trip: {long_ms - short_ms:.0f} ms planted, {longer_ms - after_ms:.2f} ms measured; "
        f"the first delay again: {after_ms - before_ms:+.2f} ms"
    )


def main() -> None:
    """Measure all of it."""
    argparse.ArgumentParser(description=__doc__).parse_args()
    print(f"Load of this machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for measure in (first_page, click_jitter, planted_delay):
        with tempfile.TemporaryDirectory() as name, demo_desk(Path(name)) as desk:
            measure(desk)


if __name__ == "__main__":
    main()
