"""How many chords of arriving sheets are right and in the right place, by layout.

    python benchmarks/chart_sheets.py [COUNT]

Text sheets in every layout of `tests/sheets.py`, and the same kind of sheets as PDF files from
three open libraries (`tests/sheet_pdfs.py`; left out where they are not installed). A chord counts
where root, kind and bass sound as on the sheet and it stands at the same place of the same bar, as
docs/charts.md says bars are found. Songs and words are invented from seeds that no constant was
set by; the layouts are those the reader was written for.
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from sheets import Written, chords_right, written
from undersong.chart.arrive import read_sheet
from undersong.errors import ChartErrors

COUNT = 220


def table(title: str, sheets: Iterable[tuple[str, Written, bytes]]) -> None:
    """Print one line for each layout, and the whole."""
    right: dict[str, int] = defaultdict(int)
    total: dict[str, int] = defaultdict(int)
    count: dict[str, int] = defaultdict(int)
    start = time.perf_counter()
    for layout, sheet, data in sheets:
        try:
            good, every = chords_right(read_sheet(data, "sheet", sheet.settings), sheet.truth)
        except ChartErrors:
            good, every = 0, sum(len(chords) for _, chords in sheet.truth)
        right[layout] += good
        total[layout] += every
        count[layout] += 1
    seconds = time.perf_counter() - start
    print(f"{title:<28} sheets  chords   right")
    for layout, every in total.items():
        print(f"{layout:<28} {count[layout]:>6} {every:>7} {right[layout] / every:>8.2%}")
    whole = sum(right.values()) / max(1, sum(total.values()))
    print(f"{'all':<28} {sum(count.values()):>6} {sum(total.values()):>7} {whole:>8.2%}")
    print(f"{1000 * seconds / max(1, sum(count.values())):.1f} ms a sheet\n")


def main() -> None:
    """Print the tables of text and of PDF sheets, and what a book of 5,000 pages costs."""
    count = COUNT if len(sys.argv) < 2 else int(sys.argv[1])
    table(
        "text",
        ((each.name.partition(" ")[2], each, each.text.encode()) for each in written(count)),
    )
    try:
        from sheet_pdfs import many_pages, written_pdfs

        pdfs = written_pdfs(min(90, count))
    except ImportError as missing:
        print(f"PDF sheets are left out: {missing}")
        return
    table("PDF", ((each.name.partition(", ")[2], each, data) for each, data in pdfs))
    book = many_pages(5_000)
    start = time.perf_counter()
    try:
        read_sheet(book, "book.pdf")
    except ChartErrors as refused:
        print(f"5,000 pages: {refused} ({time.perf_counter() - start:.2f} s)")


if __name__ == "__main__":
    main()
