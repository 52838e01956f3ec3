"""The ear on takes it had no part in making.

The takes of `tests/takes` were rendered from sampled basses by `benchmarks/make_takes.py` (README
there has the sources); nothing of the ear was tuned on them. Note F1 and the pairing behind it are
mir_eval's (Raffel et al. 2014), at 50 ms and 50 cents. The figures asserted are the project's own
goals for dry takes, not what was measured: that is printed by `python benchmarks/ear_table.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from ear_truth import KnownTake, Score, known_takes, scored
from undersong.ear import Reference, Verdict, hear

TAKES = Path(__file__).parent.parent / "takes"
MS = 1.0


@pytest.fixture(scope="module")
def takes() -> list[KnownTake]:
    found = list(known_takes(TAKES))
    assert len(found) >= 24
    return found


@pytest.fixture(scope="module")
def total(takes: list[KnownTake]) -> Score:
    score = Score()
    for take in takes:
        score.add(scored(take, hear([take.samples], take.rate_hz, take.part)))
    return score


def test_takes_are_as_various_as_promised(takes: list[KnownTake]) -> None:
    tempos = [take.truth["tempo_bpm"] for take in takes]
    assert min(tempos) < 60
    assert max(tempos) > 130
    assert {take.truth["strings"] for take in takes} == {4, 5}
    assert len({take.truth["source"] for take in takes}) >= 3
    assert 0.3 < sum(take.truth["clean"] for take in takes) / len(takes) < 0.7


def test_planted_mistakes_are_found_and_no_others(total: Score) -> None:
    assert sum(total.planted.values()) >= 40
    assert total.recall >= 0.95, total.remarks
    assert total.precision >= 0.95, total.remarks


def test_right_notes_are_not_accused(total: Score) -> None:
    assert total.accused_per_thousand <= 5, total.remarks


def test_onsets_are_close(total: Score) -> None:
    assert total.onset_error_ms(50) <= 5 * MS


def test_clean_is_called_clean_and_faulty_faulty(total: Score) -> None:
    assert total.clean_right >= total.takes * 23 / 24, total.remarks


def test_hears_more_than_an_echo_would(total: Score, takes: list[KnownTake]) -> None:
    planted = sum(total.planted.values())
    asked = sum(len(take.part.strokes) for take in takes)
    echo_f1 = (asked - planted) / asked  # nearly: every planted mistake costs the echo a note
    assert total.note_f1 > echo_f1


def test_a_known_start_is_believed(takes: list[KnownTake]) -> None:
    take = next(take for take in takes if take.truth["clean"])
    part = take.part.at_tempo(take.truth["tempo_bpm"])
    start_s = take.truth["start_s"]
    hearing = hear([take.samples], take.rate_hz, part, start_s=start_s - 0.15)
    assert hearing.reference is Reference.START
    assert hearing.clean is False
    timing = [note.timing_ms for note in hearing.notes if note.timing_ms is not None]
    assert sum(timing) / len(timing) == pytest.approx(150, abs=10 * MS)
    assert all(note.verdict is Verdict.RIGHT for note in hearing.notes)
