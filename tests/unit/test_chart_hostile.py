"""Input that means no good is refused in a sentence, or read; it never breaks the reader."""

import random
from collections.abc import Callable

import pytest

from undersong.chart.arrive import read_sheet
from undersong.errors import ChartErrors

HEAD = b"Title: T\nKey: G\nTempo: 72\n\nVerse\n"
SIGNS = "|:1234567-b#/ .x()<>!@%ABCDEFGm\n "


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: b"| 1 " * 2_500_000, "characters"),
        (lambda: random.Random(1).randbytes(10_000_000), "not text"),
        (lambda: HEAD + b"|: 1 " * 50_000, "cannot open inside another"),
        (lambda: HEAD + b"| " + b"1 " * 50_000 + b"|", "more than 256 signs"),
        (lambda: HEAD + b"| 1 | 4 " * 40_000, "more than 5000 bars"),
        (lambda: b"Key: G\n\n" + b"G D Em C " * 12_500, "more than 5000 chords"),
        (lambda: HEAD + b"|" * 100_000, "no bars under it|no bar in this line"),
        (lambda: b"<score-partwise>" * 100_000, "not MusicXML"),
        (lambda: b"\x00" * 5_000, "not text"),
    ],
)
def test_it_is_refused(make: Callable[[], bytes], said: str) -> None:
    with pytest.raises(ChartErrors, match=said):
        read_sheet(make(), "input")


@pytest.mark.parametrize("seed", range(12))
def test_random_signs_are_read_or_refused(seed: int) -> None:
    rng = random.Random(seed)
    data = "".join(rng.choices(SIGNS, k=4_000)).encode()
    try:
        count = len(read_sheet(data, "input").sections)
    except ChartErrors as refused:
        count = len(refused.errors)
    assert 1 <= count <= 1_000
