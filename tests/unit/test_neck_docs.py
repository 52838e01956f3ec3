from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import pytest

from undersong.neck.effort import FINGER_SHARE, HELD_SHARE, UNREACHABLE_MM, WEIGHTS
from undersong.neck.instrument import TUNINGS, Instrument

PAGE = (Path(__file__).parents[2] / "docs" / "neck.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", [field.name for field in fields(WEIGHTS)])
def test_the_page_has_every_weight_as_it_is(name: str) -> None:
    row = re.search(rf"^\| `{name}` \| ([\d.]+) \|", PAGE, re.MULTILINE)
    assert row is not None
    assert float(row[1]) == getattr(WEIGHTS, name)


def test_the_page_has_no_weight_that_is_gone() -> None:
    named = set(re.findall(r"^\| `(\w+)` \|", PAGE, re.MULTILINE))
    assert named == {field.name for field in fields(WEIGHTS)}


def test_the_page_names_every_tuning_and_default() -> None:
    for tuning in TUNINGS:
        assert tuning.name in PAGE
    bass = Instrument()
    assert f"{bass.hand_span_mm:g} mm" in PAGE
    assert f"{UNREACHABLE_MM:g} mm" in PAGE
    assert FINGER_SHARE == {1: 0.0, 2: 0.5, 3: 0.75, 4: 1.0}
    assert HELD_SHARE == 0.75
