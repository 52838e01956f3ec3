"""Free practice in real time: `PYTHONPATH=tests python benchmarks/web_freely.py [MINUTES]`.

A session made as in `practised_sessions.py`, on a drill, goes in by Chromium's microphone while the
page listens. Printed: what the ear finds in the file against what was played; what the page says of
rests and of lost sound meanwhile; how long its answer takes; and its table beside the file's.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import soundfile
from playwright.sync_api import Page

import practised_sessions as sessions
from takes.sources import sound
from undersong.drills.catalogue import make_drill
from undersong.ear.practised import practised
from undersong.ear.practised_words import bar_figures
from undersong.exchange import part_to_json
from undersong.theory.key import parse_key
from web_app import demo_desk
from web_browser import front_door

DRILL, KEY, TEMPO_BPM = "thirds", "G", 70
BASS, SEED = "fluid-pick", 8123
LOOK_MS, ANSWER_MS = 5_000, 120_000
ROWS = "rows => rows.map((row) => [...row.cells].slice(0, 3).map((cell) => cell.textContent))"


def made(minutes: float) -> sessions.Session:
    """A session on the drill, with noodling, restarts and mistakes."""
    part = make_drill(DRILL, parse_key(KEY), tempo_bpm=TEMPO_BPM).part
    document = part_to_json(part)
    sessions.song_part = lambda rng: document
    sessions.KINDS_A_PART, sessions.BARS_A_KIND = 1, len(part.bars)
    return sessions.session(sound(BASS, sessions.DOWNLOADS), SEED, minutes, "dry")


def listened(page: Page, length_s: float) -> None:
    """Let the microphone's file run through; what the page says meanwhile is printed once."""
    page.keyboard.press("PageDown")
    page.get_by_role("button", name="Listen, keep no recording").click()
    page.locator("alone-desk[data-state='playing']").wait_for()
    began_s, said = time.monotonic(), set[str]()
    while time.monotonic() - began_s < length_s + 1:
        page.wait_for_timeout(LOOK_MS)
        for line in page.locator("main").inner_text().splitlines():
            if ("rest" in line.lower() or "lost" in line) and line not in said:
                said.add(line)
                print(f"  after {time.monotonic() - began_s:.0f} s: {line}", flush=True)
    page.keyboard.press("PageUp")
    ended_s = time.monotonic()
    page.locator(".session").first.wait_for(timeout=ANSWER_MS)
    print(f"Answer after {time.monotonic() - ended_s:.1f} s")


def main() -> None:
    """Measure it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("minutes", type=float, nargs="?", default=20.0)
    session = made(parser.parse_args().minutes)
    part = make_drill(DRILL, parse_key(KEY), tempo_bpm=TEMPO_BPM).part
    heard = practised([session.samples], sessions.RATE_HZ, part)
    found = sessions.compared(session, heard)
    print(f"File: {session.restarts} starts, {found.right} of {found.bars} whole bars in place")
    in_file = [[str(row.bar), str(row.played), str(row.clean)] for row in bar_figures(heard)]
    with tempfile.TemporaryDirectory() as folder, demo_desk(Path(folder)) as desk:
        wav = Path(folder) / "session.wav"
        soundfile.write(wav, session.samples, sessions.RATE_HZ)
        desk.book.note_pain(desk.book.player("Iris"), at=desk.clock(), hurts=False)
        with front_door(desk, microphone=wav) as front:
            page = front.page()
            page.goto(f"/practice/alone?drill={DRILL}&key={KEY}")
            listened(page, len(session.samples) / sessions.RATE_HZ)
            shown = page.locator("[data-verdict] tbody tr").evaluate_all(ROWS)
    for ours, theirs in zip(in_file, shown, strict=True):
        print(
            f"Bar {ours[0]}: played {ours[1]}, clean {ours[2]}; the page: {', '.join(theirs[1:])}"
        )


if __name__ == "__main__":
    main()
