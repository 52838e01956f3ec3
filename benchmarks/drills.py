"""The whole exercise catalogue made: every drill in 15 keys on 3 tunings, and what it asks.

Run: ``python benchmarks/drills.py`` (about half a minute). Prints for each drill how many of its
sheets were made, whether all notes lay in range, the longest, the furthest a finger lies beyond
its comfortable reach (30 mm is where a finger does not get there), and the fastest shift.
"""

from __future__ import annotations

import time

from undersong.drills.catalogue import CATALOGUE, make_drill
from undersong.neck.effort import UNREACHABLE_MM
from undersong.neck.fingering import Wishes, finger_part
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.theory.key import MAJOR_KEYS

TUNINGS = ("standard", "five-string, low B", "drop D")


def main() -> None:
    """Make them all and print a row for each drill."""
    start = time.perf_counter()
    made = outside = beyond = 0
    print(f"{'drill':<20}{'level':>6}{'sheets':>8}{'in range':>10}{'notes':>7}"
          f"{'stretch, mm':>13}{'shift, mm/s':>13}")  # fmt: skip
    for drill in CATALOGUE:
        sheets = in_range = most = 0
        stretch = shift = 0.0
        for tuning in TUNINGS:
            bass = Instrument(tuning=parse_tuning(tuning))
            for key in MAJOR_KEYS:
                part = make_drill(drill.name, key, bass).part
                told = finger_part(part, bass, wishes=Wishes(keep_places=True))
                sheets += 1
                in_range += all(
                    note.string is not None
                    and note.fret is not None
                    and bass.midi_at(note.string, note.fret) == note.pitch.midi
                    for note in part.notes
                )
                most = max(most, len(part.strokes))
                stretch = max(stretch, *told.stretch_mm)
                shift = max(shift, told.hardest_mm_s)
        made += sheets
        outside += sheets - in_range
        beyond += stretch > UNREACHABLE_MM
        print(f"{drill.name:<20}{drill.level:>6}{sheets:>8}{in_range:>10}{most:>7}"
              f"{stretch:>13.1f}{shift:>13.0f}")  # fmt: skip
    print(
        f"{len(CATALOGUE)} drills x {len(MAJOR_KEYS)} keys x {len(TUNINGS)} tunings = {made} made; "
        f"{outside} out of range, {beyond} drills beyond reach, {time.perf_counter() - start:.0f} s"
    )


if __name__ == "__main__":
    main()
