"""Bass lines, drum patterns and pads for a chart, by level."""

from undersong.lines.asked import Asked, BarWish
from undersong.lines.drums import drum_part
from undersong.lines.feel import Feel, feel_of, parse_feel
from undersong.lines.levels import LEVELS, Level
from undersong.lines.pad import pad_part
from undersong.lines.report import LineReport, line_report, report_json
from undersong.lines.weights import WEIGHTS, LineWeights
from undersong.lines.write import (
    LineSheet,
    another_idea,
    free_bar,
    pin_bar,
    simplify_bar,
    write_line,
)

__all__ = [
    "LEVELS",
    "WEIGHTS",
    "Asked",
    "BarWish",
    "Feel",
    "Level",
    "LineReport",
    "LineSheet",
    "LineWeights",
    "another_idea",
    "drum_part",
    "feel_of",
    "free_bar",
    "line_report",
    "pad_part",
    "parse_feel",
    "pin_bar",
    "report_json",
    "simplify_bar",
    "write_line",
]
