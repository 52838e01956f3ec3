"""From the sound to the word on the page: `PYTHONPATH=tests python benchmarks/web_live.py`.

The demo's third take goes into Chromium's microphone while a pass is on. Printed: how long after
its sound each note was told on the page, with the round trip known (the pass begins where the file
does) and not known (it begins `UNKNOWN_S` later than the browser believes); and tasks of the page
that took longer than 50 ms while the pass was on.
`--load N` keeps N programs busy beside it. What a real sound card adds is not in these figures.
"""

from __future__ import annotations

import argparse
import json
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

import numpy as np
import soundfile

from undersong.practice.ladder import Rule
from undersong.web.desk import Desk
from undersong.web.work import kept_item, work_of
from web_app import demo_desk
from web_browser import Front, chromium

TAKES = Path(str(files("undersong"))) / "demo" / "takes"
SILENCE_S = 0.5
FIRST_NOTE_S = 1.95  # of the third take
TEMPO_BPM = 75.0
UNKNOWN_S = 0.09  # a round trip of which the browser knows nothing: a usual sound card's and more
# The pass is told to begin where the file's first note is, by the time of the first block.
ALIGNED = """
  const send = WebSocket.prototype.send;
  let held = null;
  WebSocket.prototype.send = function (data) {
    if (typeof data === "string" && JSON.parse(data).type === "begin") {
      held = JSON.parse(data);
      return;
    }
    if (held && data instanceof ArrayBuffer) {
      const head = new DataView(data);
      const zero = head.getFloat64(8, true) - head.getFloat64(0, true) / held.sample_rate;
      held.start_time = KNOWN ? zero + FIRST : null;
      held.about_time = zero + FIRST - OFF;
      send.call(this, JSON.stringify(held));
      held = null;
    }
    send.call(this, data);
  };
"""
WATCHED = """
  window.told = [];
  window.long = [];
  addEventListener("heard", ({ detail }) => window.told.push(detail), true);
  new PerformanceObserver((list) => {
    const playing = document.querySelector("practice-desk")?.dataset.state === "playing";
    for (const each of list.getEntries()) if (playing) window.long.push(each.duration);
  }).observe({ entryTypes: ["longtask"] });
"""


@contextmanager
def opened(desk: Desk) -> Iterator[str]:
    """The app as a program of its own, over the same log; its address."""
    words = [sys.executable, "-m", "undersong", "open", "--no-browser", "--json"]
    with subprocess.Popen(
        [*words, "--log", str(desk.book.file)], stdout=subprocess.PIPE, text=True
    ) as app:
        try:
            assert app.stdout is not None
            yield json.loads(app.stdout.readline())["address"].rstrip("/")
        finally:
            app.send_signal(signal.SIGINT)


def one_pass(desk: Desk, microphone: Path, *, is_known: bool) -> None:
    """Play, and print what was measured."""
    with opened(desk) as address, chromium(microphone) as browser:
        page = Front(browser, address).page()
        page.add_init_script(WATCHED)
        values = {
            "KNOWN": json.dumps(is_known),
            "FIRST": str(SILENCE_S + FIRST_NOTE_S),
            "OFF": str(UNKNOWN_S),
        }
        script = ALIGNED
        for name, value in values.items():
            script = script.replace(name, value)
        page.add_init_script(script)
        page.goto("/practice/at?drill=scale&key=G")
        page.get_by_role("button", name="Play a pass").click()
        page.get_by_role("button", name="Listen, keep no recording").click()
        page.locator(".verdict").wait_for(timeout=60_000)
        told = page.evaluate("() => window.told")
        long = page.evaluate("() => window.long")
    first: dict[int, float] = {}
    for each in told:
        first.setdefault(each["index"], each["after_ms"])
    after_ms = np.array(list(first.values()))
    print(f"Round trip {'known' if is_known else 'not known'}: {len(first)} notes told")
    if len(first):
        print(
            f"  after the sound: median {np.median(after_ms):.0f} ms, "
            f"90 % within {np.percentile(after_ms, 90):.0f} ms, latest {after_ms.max():.0f} ms; "
            f"within 200 ms: {np.mean(after_ms <= 200):.0%}"
        )
    print(f"  tasks over 50 ms during the pass: {len(long)}, longest {max(long, default=0):.0f} ms")


def main() -> None:
    """Measure both ways."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--load", type=int, default=0)
    parser.add_argument("--passes", type=int, default=2)
    args = parser.parse_args()
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(args.load)]
    try:
        with tempfile.TemporaryDirectory() as name, demo_desk(Path(name)) as desk:
            samples, rate = soundfile.read(TAKES / "third.flac", dtype="float32")
            microphone = Path(name) / "third.wav"
            quiet = np.zeros(round(SILENCE_S * rate), np.float32)
            soundfile.write(microphone, np.concatenate([quiet, samples]), rate)
            player = desk.book.player("Iris")
            desk.book.note_pain(player, at=desk.clock(), hurts=False)
            item = kept_item(desk, work_of(desk, player, {"drill": "scale", "key": "G"}))
            for is_known in (True, False):
                for _ in range(args.passes):
                    rule = Rule(start_bpm=TEMPO_BPM)
                    desk.book.set_rule(player, item, rule, start_over=True)
                    one_pass(desk, microphone, is_known=is_known)
    finally:
        for each in busy:
            each.kill()


if __name__ == "__main__":
    main()
