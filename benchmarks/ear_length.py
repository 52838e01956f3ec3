"""Does the ear's work grow with the length of a take alone? `python benchmarks/ear_length.py`.

Takes of 1, 5, 15, 30 and 60 minutes are made by repeating the committed dry takes' sound and part
end to end, and each is heard in a process of its own. Prints CPU seconds, audio seconds per CPU
second and the peak memory of the process (Python and its libraries included; and how much of it was
there before listening began); writes the plot benchmarks/out/ear_length.svg.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).parent.parent
TAKE = "report-008-scale-in-quarters-clean"
MINUTES = (1, 5, 15, 30, 60)
MEGABYTE = 1024.0
"""In the units of `ru_maxrss` on Linux."""


def repeated(minutes: float) -> tuple[Iterator[NDArray[np.float32]], int, object]:
    """Blocks of a long take, its rate and its part: one take's part again and again, in time."""
    import soundfile

    from undersong.exchange import part_from_json

    truth = json.loads((ROOT / "tests" / "takes" / f"{TAKE}.json").read_text(encoding="utf-8"))
    path = ROOT / "tests" / "takes" / f"{TAKE}.flac"
    sides, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    part = part_from_json(truth["asked"])
    whole_s = part.tempo_map.seconds_at(part.length)
    turns = round(60 * minutes / whole_s)
    first = round(truth["start_s"] * rate_hz) - round(0.2 * rate_hz)
    edges = [first + round(k * whole_s * rate_hz) for k in range(2)]
    once = sides[edges[0] : edges[1], 0]
    once = np.pad(once, (0, edges[1] - edges[0] - len(once)))
    notes = tuple(
        replace(note, at=note.at + k * part.length) for k in range(turns) for note in part.notes
    )
    long = replace(part, notes=notes, length=Fraction(turns) * part.length, sections=(), chords=())

    def blocks() -> Iterator[NDArray[np.float32]]:
        yield np.zeros(rate_hz // 5, np.float32)
        for k in range(turns):
            count = round((k + 1) * whole_s * rate_hz) - round(k * whole_s * rate_hz)
            yield np.pad(once, (0, 1))[:count]

    return blocks(), int(rate_hz), long


def measure(minutes: float) -> None:
    """Hear one long take and print what it cost, as JSON."""
    from undersong.ear import hear

    blocks, rate_hz, part = repeated(minutes)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began = time.process_time()
    hearing = hear(blocks, rate_hz, part)  # type: ignore[arg-type]
    cpu_s = time.process_time() - began
    print(
        json.dumps(
            {
                "minutes": minutes,
                "cpu_s": cpu_s,
                "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / MEGABYTE,
                "before_mb": before / MEGABYTE,
                "notes": len(hearing.notes),
                "right": hearing.summary.right,
            }
        )
    )


def plot(rows: list[dict[str, float]]) -> str:
    """CPU seconds and peak memory against minutes, as SVG."""
    width, height, left, top = 480, 300, 60, 20
    most_s = max(row["cpu_s"] for row in rows)
    most_mb = max(row["peak_mb"] for row in rows)

    def line(key: str, most: float) -> str:
        return " ".join(
            f"{left + width * row['minutes'] / MINUTES[-1]:.1f},"
            f"{top + height * (1 - row[key] / most):.1f}"
            for row in rows
        )

    labels = "".join(
        f'<text x="{left + width * m / MINUTES[-1]:.0f}" y="{top + height + 18}" '
        f'text-anchor="middle">{m}</text>'
        for m in MINUTES
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width + 140}" height="{height + 60}" '
        'font-family="sans-serif" font-size="12">'
        f'<rect x="{left}" y="{top}" width="{width}" height="{height}" fill="none" stroke="#999"/>'
        f'<polyline points="{line("cpu_s", most_s)}" fill="none" stroke="#06c" stroke-width="2"/>'
        f'<polyline points="{line("peak_mb", most_mb)}" fill="none" stroke="#c60" '
        'stroke-width="2" stroke-dasharray="6 4"/>'
        f'{labels}<text x="{left + width / 2}" y="{top + height + 36}" text-anchor="middle">'
        "minutes of take</text>"
        f'<text x="{left - 6}" y="{top + 10}" text-anchor="end" fill="#06c">{most_s:.1f} s</text>'
        f'<text x="{left + width + 6}" y="{top + 10}" fill="#c60">{most_mb:.0f} MB</text></svg>\n'
    )


def main() -> int:
    """Print the table and write the plot."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, help="measure one length in this process")
    args = parser.parse_args()
    if args.minutes is not None:
        measure(args.minutes)
        return 0
    rows = []
    print(f"{'minutes':>8} {'CPU s':>7} {'s/CPU s':>8} {'peak MB':>8} {'before':>7} {'right':>12}")
    for minutes in MINUTES:
        words = [sys.executable, __file__, "--minutes", str(minutes)]
        said = subprocess.run(words, capture_output=True, text=True, check=True)
        row = json.loads(said.stdout)
        rows.append(row)
        print(
            f"{minutes:8d} {row['cpu_s']:7.2f} {60 * minutes / row['cpu_s']:8.0f} "
            f"{row['peak_mb']:8.0f} {row['before_mb']:7.0f} {row['right']:6.0f}/{row['notes']:.0f}"
        )
    out = ROOT / "benchmarks" / "out" / "ear_length.svg"
    out.parent.mkdir(exist_ok=True)
    out.write_text(plot(rows), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
