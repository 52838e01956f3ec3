"""Audio in, evidence, alignment, judging."""

from undersong.ear.hear import hear
from undersong.ear.hearing import (
    HeardNote,
    Hearing,
    Reference,
    Summary,
    Verdict,
    WorstBar,
    WorstSpot,
    hearing_json,
)
from undersong.ear.tolerance import window_ms
from undersong.ear.words import fault_line, fault_lines, hearing_lines

__all__ = [
    "HeardNote",
    "Hearing",
    "Reference",
    "Summary",
    "Verdict",
    "WorstBar",
    "WorstSpot",
    "fault_line",
    "fault_lines",
    "hear",
    "hearing_json",
    "hearing_lines",
    "window_ms",
]
