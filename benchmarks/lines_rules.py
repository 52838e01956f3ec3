"""Every test chart at every level in every feel: how often each rule of a line is kept.

Run: python benchmarks/lines_rules.py
The rules themselves are tested (tests/reference/test_lines_rules.py); this counts them over the
whole grid, which takes minutes. It goes by the line's own report.
"""

from __future__ import annotations

import sys
from collections import Counter
from importlib import resources
from itertools import pairwise
from pathlib import Path

from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.lines import LEVELS, Feel, LineSheet, write_line

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

from line_charts import TEXTS, chart


def songs() -> dict[str, Song]:
    """The test charts and the demo set."""
    found = {name: chart(name) for name in TEXTS}
    folder = resources.files("undersong") / "demo" / "songs"
    for each in folder.iterdir():
        found[each.name] = parse_song(each.read_text("utf-8"))
    return found


def count(sheet: LineSheet, totals: Counter[str]) -> None:
    """Add one line to the totals."""
    report, neck = sheet.report, sheet.instrument
    midis = [note.pitch.midi for note in sheet.part.notes]
    totals["lines"] += 1
    totals["notes"] += report.notes
    totals["notes off the instrument"] += sum(not neck.places(midi) for midi in midis)
    totals["lines with a wrong bass note on a strong beat"] += report.bass_note_share < 1
    totals["chromatic notes"] += report.chromatic
    totals["chromatic notes resolved"] += report.chromatic_resolved
    totals["approaches"] += report.approaches
    totals["approaches resolved"] += report.approaches_resolved
    totals["lines that play like the level asked"] += report.level == report.asked_level
    totals["lines with a remark"] += bool(sheet.remarks)


def main() -> None:
    """Print the counts."""
    totals: Counter[str] = Counter()
    every = songs()
    for name, song in every.items():
        for feel in Feel:
            sheets = [write_line(song, level=level.number, feel=feel) for level in LEVELS]
            for sheet in sheets:
                count(sheet, totals)
            hardness = [sheet.report.difficulty for sheet in sheets]
            is_ordered = all(low < high for low, high in pairwise(hardness))
            totals["rows of levels"] += 1
            totals["rows strictly ordered"] += is_ordered
            if not is_ordered:
                print(name, feel, [round(each, 3) for each in hardness])
    print(f"{len(every)} charts, {len(Feel)} feels, {len(LEVELS)} levels")
    for what, number in totals.items():
        print(f"{number:8d}  {what}")


if __name__ == "__main__":
    main()
