"""Practising freely in a real browser: the microphone left open, a long recording dropped in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Page

from undersong.drills.catalogue import make_drill
from undersong.ear.practised import practised
from undersong.ear.practised_words import bar_figures
from undersong.theory.key import parse_key
from undersong.web.desk import Desk
from web_app import demo_desk
from web_browser import Front, front_door, needs_chromium

pytestmark = needs_chromium

TAKES = Path(str(files("undersong"))) / "demo" / "takes"
PAGE = "/practice/alone?drill=scale&key=G"
SILENCE_S, HALF_S, BETWEEN_S = 0.5, 8.5, 2.0
FADE = 1000  # samples
MOST_TRIES = 3


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half of the scale clean, a while of nothing, the scale with a wrong and a late note.

    Under half a minute: after that the browser's made-up microphone loses a hundredth of a second.
    """
    (first, rate), (third, _) = (
        soundfile.read(TAKES / f"{name}.flac", dtype="float32") for name in ("first", "third")
    )
    first = first[: int(HALF_S * rate)]
    first[-FADE:] *= np.linspace(1, 0, FADE, dtype=np.float32)
    pieces = [np.zeros(int(SILENCE_S * rate)), first, np.zeros(int(BETWEEN_S * rate)), third]
    path = tmp_path_factory.mktemp("recording") / "session.wav"
    soundfile.write(path, np.concatenate(pieces), rate)
    return path


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory, recording: Path) -> Iterator[tuple[Front, Desk]]:
    with (
        demo_desk(tmp_path_factory.mktemp("log")) as desk,
        front_door(desk, microphone=recording) as front,
    ):
        desk.book.note_pain(desk.book.player("Iris"), at=desk.clock(), hurts=False)
        yield front, desk


def expected_rows(recording: Path) -> list[list[str]]:
    samples, rate = soundfile.read(recording, dtype="float32")
    part = make_drill("scale", parse_key("G"), tempo_bpm=70).part
    figures = bar_figures(practised([samples], rate, part))
    return [[str(each.bar), str(each.played), str(each.clean)] for each in figures]


def shown_rows(page: Page) -> list[list[str]]:
    rows: list[list[str]] = page.locator("[data-verdict] tbody tr").evaluate_all(
        "rows => rows.map((row) => [...row.cells].slice(0, 3).map((cell) => cell.textContent))"
    )
    return rows


def listened(page: Page, length_s: float) -> str:
    """Begin, let the microphone's file run through, end; what is then said."""
    page.goto(PAGE)
    page.keyboard.press("PageDown")
    page.get_by_role("button", name="Listen, keep no recording").click()
    page.locator("alone-desk[data-state='playing']").wait_for()
    page.wait_for_function(
        """(length_s) => {
          const [minutes, seconds] = document.querySelector("[data-time]").textContent.split(":");
          return 60 * Number(minutes) + Number(seconds) > length_s;
        }""",
        arg=length_s,
        timeout=120_000,
    )
    page.keyboard.press("PageUp")
    page.locator(".session").first.wait_for(timeout=60_000)
    return page.locator("[data-verdict]").inner_text()


def test_what_was_practised_is_found_through_the_microphone(
    room: tuple[Front, Desk], recording: Path
) -> None:
    front, desk = room
    page = front.page()
    length_s = soundfile.info(recording).duration + 1
    for _ in range(MOST_TRIES):  # a machine too busy to feed the browser its file loses sound
        has_lost = "of sound were lost" in listened(page, length_s)
        if not has_lost:
            break
    expected, shown = expected_rows(recording), shown_rows(page)
    assert [row[:2] for row in shown] == [row[:2] for row in expected]
    # A note that fell into a hole may cost a bar its cleanness: the page has said so.
    assert has_lost or shown == expected
    take = desk.book.takes_of(desk.book.player("Iris"))[-1]
    assert take.counted_as is None
    assert take.audio is None
    assert take.length_s > length_s - 2
    page.goto("/log")
    assert "practised freely" in page.locator("main").inner_text()
    assert front.troubles == []


def test_a_long_recording_is_dropped_in_and_discarded(
    room: tuple[Front, Desk], recording: Path
) -> None:
    front, desk = room
    before = len(desk.book.takes_of(None))
    page = front.page()
    page.goto(PAGE)
    page.locator("[data-file]").set_input_files(recording)
    page.locator(".session").first.wait_for()
    assert shown_rows(page) == expected_rows(recording)
    assert re.search(r"in 2 passages", page.locator(".verdict-line").inner_text())
    page.get_by_role("button", name="Discard this").click()
    page.get_by_text("Discarded.").wait_for()
    assert len(desk.book.takes_of(None)) == before
    assert front.troubles == []


def test_rests_are_said_while_it_listens(room: tuple[Front, Desk]) -> None:
    """The rule's own words, brought forward from ten minutes to one second."""
    front, _ = room
    page = front.page()
    page.add_init_script("""
      addEventListener("DOMContentLoaded", () => {
        const desk = document.querySelector("alone-desk");
        const rests = JSON.parse(desk.dataset.rests);
        desk.dataset.rests = JSON.stringify(rests.map((rest) => ({ ...rest, after_s: 1 })));
      }, true);
    """)
    page.goto(PAGE)
    page.get_by_role("button", name="Begin listening").click()
    page.get_by_role("button", name="Listen, keep no recording").click()
    page.get_by_text("minutes on one climb: rest your hands").wait_for()
    page.get_by_role("button", name="That is all").click()
    page.locator("alone-desk[data-state='idle']").wait_for()
    assert front.troubles == []
