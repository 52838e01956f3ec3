"""The round trip by tapping along: planted delays found, strays dropped, doubtful taps refused."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from undersong.sound.click import click_sound
from undersong.sound.schedule import ClickKind
from undersong.web.taps import LEAST_TAPS, MOST_SPREAD_MS, tapped_trip, without_strays
from web_app import TestClient, demo_client

RATE_HZ = 48_000
PLACES = [round((0.4 + 0.75 * n) * RATE_HZ) for n in range(16)]
FINDING = (120.0, -140.0, 90.0, 60.0)  # ms off: the first four taps, before the beat is found
# Evenly spread about nothing, so that the median is the planted delay.
HAND = (-14.0, 9.0, -5.0, 14.0, 0.0, -9.0, 5.0, -12.0, 12.0, -2.0, 2.0, 0.0)
WITHIN_MS = 5.0  # of the ear's own dating of such a stroke, over the middle of twelve


def stroke(kind: str) -> NDArray[np.float64]:
    """A damped string (83 Hz, gone in a tenth of a second) or knuckles on wood (noise, 15 ms)."""
    t_s = np.arange(round(0.2 * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(3).normal(0, 1, len(t_s))
    if kind == "damped string":
        tone = np.sum([np.sin(2 * np.pi * 82.4 * n * t_s) / n for n in range(1, 9)], axis=0)
        sound = tone * np.exp(-t_s / 0.03) + 0.3 * noise * np.exp(-t_s / 0.004)
    else:
        sound = noise * np.exp(-t_s / 0.015)
    return np.asarray(sound / np.abs(sound).max())


def tapped(
    off_ms: Sequence[float | None],
    *,
    kind: str = "damped string",
    level: float = 0.2,
    noise: float = 0.001,
    click: float = 0.0,
) -> NDArray[np.float32]:
    """Sixteen clicks tapped with, each tap so late (None: left out); `click` is what leaks in."""
    samples = np.random.default_rng(7).normal(0, noise, PLACES[-1] + RATE_HZ)
    sound, leak = stroke(kind), click_sound(ClickKind.ACCENT, RATE_HZ)
    for at, late_ms in zip(PLACES, off_ms, strict=True):
        samples[at : at + len(leak)] += click * leak
        if late_ms is not None:
            start = at + round(late_ms * RATE_HZ / 1000)
            samples[start : start + len(sound)] += level * sound
    return samples.astype(np.float32)


def hand(delay_ms: float) -> list[float | None]:
    return [delay_ms + off for off in (*FINDING, *HAND)]


@pytest.mark.parametrize("kind", ["damped string", "knuckles"])
@pytest.mark.parametrize("delay_ms", [25.0, 84.0, 320.0])
def test_a_planted_delay_is_found(delay_ms: float, kind: str) -> None:
    found = tapped_trip(tapped(hand(delay_ms), kind=kind), RATE_HZ, PLACES)
    assert found.delay_ms == pytest.approx(delay_ms, abs=WITHIN_MS)
    assert found.found == len(HAND)
    low, high = np.percentile(HAND, (10, 90))
    assert found.spread_ms == pytest.approx(high - low, abs=WITHIN_MS)
    assert "mostly early" in found.words
    assert "more exact" in found.words


def test_soft_taps_in_a_noisy_room_with_the_click_leaking_in() -> None:
    sound = tapped(hand(60.0), level=0.05, noise=0.002, click=0.01)
    assert tapped_trip(sound, RATE_HZ, PLACES).delay_ms == pytest.approx(60.0, abs=WITHIN_MS)


def test_the_first_four_and_strays_count_for_nothing() -> None:
    off = hand(84.0)
    off[6], off[9], off[12] = None, 84.0 + 300.0, 84.0 - 180.0
    found = tapped_trip(tapped(off), RATE_HZ, PLACES)
    assert found.delay_ms == pytest.approx(84.0, abs=WITHIN_MS)
    assert found.found == 11
    assert "by 9 taps" in found.words


def test_strays_by_hand() -> None:
    # Median 20, deviations 2 0 1 1 180: median deviation 1, so 20 ms are allowed.
    assert list(without_strays(np.array([18.0, 20.0, 21.0, 19.0, 200.0]))) == [18, 20, 21, 19]
    # Median 30, deviations 20 10 0 10 20: 3 x 1.4826 x 10 = 44 ms are allowed.
    assert len(without_strays(np.array([10.0, 20.0, 30.0, 40.0, 50.0]))) == 5


@pytest.mark.parametrize("taps", [0, LEAST_TAPS - 1])
def test_too_few_taps_are_refused(taps: int) -> None:
    off: list[float | None] = [80.0] * (4 + taps) + [None] * (12 - taps)
    found = tapped_trip(tapped(off, noise=0.003), RATE_HZ, PLACES)
    assert found.delay_ms is None
    assert found.words.startswith(f"I heard {taps} taps in 12 clicks. Tap harder")


def test_taps_that_scatter_are_refused() -> None:
    off = [*FINDING, *(150.0 + 6 * each for each in HAND)]
    found = tapped_trip(tapped(off), RATE_HZ, PLACES)
    assert found.delay_ms is None
    assert found.spread_ms is not None
    assert found.spread_ms > MOST_SPREAD_MS
    assert "scatter over" in found.words


def test_less_than_nothing_is_no_delay() -> None:
    found = tapped_trip(tapped(hand(-40.0)), RATE_HZ, PLACES)
    assert found.delay_ms is None
    assert "before the click" in found.words


def test_silence_and_nothing() -> None:
    for sound in (np.zeros(PLACES[-1], np.float32), np.zeros(0, np.float32)):
        assert "I heard 0 taps" in tapped_trip(sound, RATE_HZ, PLACES).words


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with demo_client(tmp_path) as (client, _):
        yield client


def test_the_page_measures_taps(client: TestClient) -> None:
    asked = {"rate": str(RATE_HZ), "at": ",".join(map(str, PLACES)), "by": "taps"}
    body = tapped(hand(84.0)).astype("<f4").tobytes()
    answer = client.post("/ready/delay", params=asked, content=body).json()
    assert answer["delay_ms"] == pytest.approx(84.0, abs=WITHIN_MS)
    # The same sound holds no click, and the exact way does not take a tap for one.
    clicks = client.post("/ready/delay", params=asked | {"by": "clicks"}, content=body).json()
    assert clicks["delay_ms"] is None
