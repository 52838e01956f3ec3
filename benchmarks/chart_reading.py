"""How long reading takes: a folder of charts by its size, and hostile input.

    python benchmarks/chart_reading.py

Charts are the six demo songs and songs made of their sections in other orders, all different.
Times are of one run on one core; nothing here is asserted.
"""

from __future__ import annotations

import random
import resource
import time
from collections.abc import Callable
from pathlib import Path

import undersong
from undersong.chart.arrive import read_sheet
from undersong.chart.text import parse_song
from undersong.errors import ChartErrors

SIZES = (50, 100, 200, 300, 600)


def chart_texts(count: int) -> list[str]:
    """Chart texts of ordinary length, each one different."""
    folder = Path(undersong.__file__).parent / "demo" / "songs"
    demo = [path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.txt"))]
    rng = random.Random(11)
    texts = []
    for number in range(count):
        text = demo[number % len(demo)]
        digits = [rng.choice("1456") for _ in range(8)]
        extra = f"\nExtra {number}\n| {' | '.join(digits[:4])} |\n| {' | '.join(digits[4:])} |\n"
        texts.append(text.rstrip().rpartition("Order:")[0] + extra)
    return texts


def folders() -> None:
    """Seconds to read folders of charts."""
    print("charts   seconds   ms a chart")
    for size in SIZES:
        texts = chart_texts(size)
        start = time.perf_counter()
        bars = sum(len(section.bars) for text in texts for section in parse_song(text))
        seconds = time.perf_counter() - start
        print(f"{size:>6} {seconds:>9.2f} {1000 * seconds / size:>12.2f}   ({bars} bars)")


def hostile() -> dict[str, Callable[[], bytes]]:
    """Input that means no good."""
    rng = random.Random(3)
    signs = "|:1234567-b#/ .x()<>!@%ABCDEFGm\n "
    head = b"Title: T\nKey: G\nTempo: 72\n\nVerse\n"
    bomb = b"".join(b'<!ENTITY a%d "&a%d;&a%d;">' % (n, n - 1, n - 1) for n in range(1, 30))
    return {
        "10 MB of random text": lambda: "".join(rng.choices(signs, k=10_000_000)).encode(),
        "390 kB of random signs": lambda: "".join(rng.choices(signs, k=390_000)).encode(),
        "10 MB of random bytes": lambda: rng.randbytes(10_000_000),
        "100,000 nested repeats": lambda: head + b"|: 1 " * 100_000,
        "one line of 390,000 bar lines": lambda: head + b"|" * 390_000,
        "50,000 letters in a line": lambda: b"Key: G\n\n" + b"G D Em C " * 12_500,
        "an XML bomb": lambda: (
            b'<?xml version="1.0"?><!DOCTYPE s [<!ENTITY a0 "x">' + bomb + b"]><score-partwise/>"
        ),
        "deep XML": lambda: b'<?xml version="1.0"?>' + b"<score-partwise>" * 100_000,
        "UTF-16 without its mark": lambda: "| 1 | 4 |".encode("utf-16-le"),
    }


def refusals() -> None:
    """Seconds and the first sentence for each hostile input."""
    print("\nhostile input                     seconds   what is said")
    for name, make in hostile().items():
        data = make()
        start = time.perf_counter()
        try:
            said = f"read as {read_sheet(data, 'input').title}"
        except ChartErrors as refused:
            said = refused.errors[0].message
        seconds = time.perf_counter() - start
        print(f"{name:<33} {seconds:>8.2f}   {said[:90]}")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak_mb:.0f} MB")


if __name__ == "__main__":
    folders()
    refusals()
