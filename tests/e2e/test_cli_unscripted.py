"""`hear --unscripted` through the command line, on a committed take of a sampled bass."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from doors import Undersong

TAKE = Path(__file__).parent.parent / "takes" / "report-013-thirds-faulty.flac"


@pytest.fixture
def part(tmp_path: Path) -> Path:
    truth = json.loads(TAKE.with_suffix(".json").read_text(encoding="utf-8"))
    path = tmp_path / "thirds.json"
    path.write_text(json.dumps(truth["asked"]), encoding="utf-8")
    return path


def test_a_session_is_told_bar_by_bar(undersong: Undersong, part: Path) -> None:
    said = undersong("hear", TAKE, "--part", part, "--unscripted", "--json")
    assert said.status == 0
    answer = json.loads(said.out)
    assert set(answer) == {"reason", "length_s", "playing_s", "passages", "bars"}
    assert len(answer["passages"]) == 1
    assert [bar["played"] for bar in answer["bars"]] == [1] * len(answer["bars"])
    spoken = undersong("hear", TAKE, "--part", part, "--unscripted")
    assert spoken.status == 0
    assert "Bar 1: once at 66" in spoken.out


def test_what_belongs_to_a_single_pass_is_refused(undersong: Undersong, part: Path) -> None:
    said = undersong("hear", TAKE, "--part", part, "--unscripted", "--start", "3")
    assert said.status == 2
    assert "--start belongs to a single pass" in said.err
    assert "Traceback" not in said.err
