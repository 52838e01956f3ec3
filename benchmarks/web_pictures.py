"""Pictures of the app: `PYTHONPATH=tests python benchmarks/web_pictures.py`.

Walks through the pages as a new user does, for docs/first-ten-minutes.md, with the demo's takes
for playing. `--all DIR` writes every page on every ground, phone and desktop, to be looked at.
"""

from __future__ import annotations

import argparse
import tempfile
from importlib.resources import files
from pathlib import Path

from playwright.sync_api import Page

from web_app import demo_desk
from web_browser import DESKTOP, PHONE, Front, front_door

PICTURES = Path(__file__).parents[1] / "docs" / "pictures"
TAKES = Path(str(files("undersong"))) / "demo" / "takes"
SIZE = (900, 700)
SONG = "/song?title=Slow%20Water,%20Bright%20Stone"
SCALE = "/practice/at?drill=scale&key=G"
PAGES = {
    "sunday": "/",
    "key": "/sunday/key?title=Slow%20Water,%20Bright%20Stone&low=A3&high=C5",
    "chart": "/charts/new",
    "song": f"{SONG}&level=3",
    "staff": f"{SONG}&level=3&drawn=staff+and+tab",
    "neck": "/neck?key=G",
    "choose": "/practice",
    "practice": SCALE,
    "alone": "/practice/alone?drill=scale&key=G",
    "take": "/takes/3",
    "session": "/takes/4",
    "log": "/log",
    "ready": "/ready",
    "standing": "/standing",
    "rule": "/climb?item=1",
    "click": "/click",
    "people": "/people",
    "pack": "/pack?player=Tobias",
}


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--all", type=Path, metavar="DIR")
    everything = parser.parse_args().all
    with tempfile.TemporaryDirectory() as folder, demo_desk(Path(folder)) as desk:
        with front_door(desk) as front:
            page = front.page(SIZE)
            _walk(page)
            if everything is not None:
                _everything(front, everything)
        print(f"{len(list(PICTURES.glob('*.png')))} pictures in {PICTURES.name}")


def _walk(page: Page) -> None:
    PICTURES.mkdir(exist_ok=True)
    page.goto("/")
    page.screenshot(path=PICTURES / "1-this-sunday.png")
    page.goto(SONG)
    page.screenshot(path=PICTURES / "2-the-song.png")
    page.goto(SCALE)
    page.screenshot(path=PICTURES / "3-first-your-hands.png")
    page.get_by_role("button", name="No, all well").click()
    for name in ("first", "second", "third"):
        page.locator("[data-verdict]").evaluate("(each) => each.replaceChildren()")
        page.locator("[data-file]").set_input_files(TAKES / f"{name}.flac")
        page.locator(".verdict").wait_for()
    page.evaluate("() => document.querySelector('.stand').scrollIntoView()")
    page.screenshot(path=PICTURES / "4-a-judged-pass.png")
    page.goto("/log")
    page.screenshot(path=PICTURES / "5-the-log.png")
    page.goto("/practice/alone?drill=scale&key=G")
    page.locator("[data-file]").set_input_files(TAKES / "third.flac")
    page.locator(".session").first.wait_for()


def _everything(front: Front, folder: Path) -> None:
    folder.mkdir(exist_ok=True)
    for size, kind in ((PHONE, "phone"), (DESKTOP, "desktop")):
        for ground in ("paper", "evening", "black"):
            page = front.page(size, ground=ground)
            for name, path in PAGES.items():
                page.goto(path)
                if name == "pack":
                    page.get_by_text("The pack is ready.").wait_for(timeout=60_000)
                page.screenshot(path=folder / f"{name}-{kind}-{ground}.png", full_page=True)


if __name__ == "__main__":
    main()
