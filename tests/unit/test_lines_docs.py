"""docs/lines.md says what the code does: weights, levels, feels."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

from undersong.lines import LEVELS, WEIGHTS, Feel, LineWeights
from undersong.lines.write import FASTEST_SHIFT_MM_S

PAGE = (Path(__file__).parents[2] / "docs" / "lines.md").read_text("utf-8")


def test_every_weight_has_its_reason() -> None:
    assert LineWeights.__doc__ is not None
    for each in fields(LineWeights):
        assert re.search(rf"\b{each.name}\b", LineWeights.__doc__)


def test_the_weights_shown_have_their_defaults() -> None:
    rows = re.findall(r"^\| ((?:`\w+`(?:, )?)+) \| ([-\d., ]+)", PAGE, re.MULTILINE)
    assert len(rows) >= 8
    for names, defaults in rows:
        values = [float(word) for word in re.findall(r"-?\d+(?:\.\d+)?", defaults)]
        for name, value in zip(re.findall(r"`(\w+)`", names), values, strict=True):
            assert getattr(WEIGHTS, name) == value


def test_every_level_and_feel_is_named() -> None:
    for level in LEVELS:
        assert f"| {level.number} | {level.name} |" in PAGE
    for feel in Feel:
        assert feel.value.casefold() in PAGE.casefold()
    assert f"{FASTEST_SHIFT_MM_S:.0f} mm a second" in PAGE
