from datetime import datetime, timedelta, timezone

import pytest

from undersong.errors import PracticeError
from undersong.practice.ladder import Outcome
from undersong.practice.passes import Pass
from undersong.practice.readiness import readiness

ZONE = timezone(timedelta(hours=-6))
NOW = datetime(2026, 11, 25, 19, 0, tzinfo=ZONE)


def song(days_ago: float, outcome: str = "C", tempo_bpm: float = 92, **more: object) -> Pass:
    settings: dict[str, object] = {"whole": True} | more
    at = NOW - timedelta(days=days_ago)
    return Pass("song", at, tempo_bpm, Outcome(outcome), **settings)  # type: ignore[arg-type]


def ready(*passes: Pass) -> bool:
    return readiness(passes, service_bpm=92, now=NOW).ready


def test_two_good_first_passes_on_two_days() -> None:
    found = readiness([song(3), song(1)], service_bpm=92, now=NOW)
    assert found.ready
    assert [day.day for day in found.good_days] == [22, 24]
    assert "2026-11-22 and 2026-11-24" in found.in_words


def test_two_good_passes_on_one_day_are_one_day() -> None:
    assert not ready(song(1), song(0.95))


def test_only_the_first_pass_of_the_day_counts() -> None:
    assert not ready(song(3), song(1.02, "F"), song(1), song(1))


def test_a_slow_pass_first_is_no_cold_try() -> None:
    found = readiness([song(3), song(1.02, tempo_bpm=70), song(1)], service_bpm=92, now=NOW)
    assert not found.ready
    assert "at 70, the service is at 92" in found.in_words
    assert "on one more day" in found.in_words


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"whole": False}, "not the whole song"),
        ({"outcome": "U"}, "could not be judged"),
        ({"outcome": "F"}, "not clean"),
        ({"outcome": "F", "roots_right": 0.97, "in_time": True}, "97% of the roots"),
        ({"outcome": "F", "roots_right": 1.0, "in_time": False}, "the time was not"),
    ],
)
def test_what_a_first_pass_lacks(change: dict[str, object], why: str) -> None:
    found = readiness([song(1, **change)], service_bpm=92, now=NOW)  # type: ignore[arg-type]
    assert not found.tries[0].met
    assert why in found.tries[0].why


def test_nearly_all_roots_in_time_are_enough() -> None:
    assert ready(song(2, "F", roots_right=0.98, in_time=True), song(1))


def test_old_days_do_not_count() -> None:
    assert not ready(song(40), song(1))


def test_ready_says_so_even_if_the_last_try_was_not_good() -> None:
    found = readiness([song(3), song(2), song(1, "F")], service_bpm=92, now=NOW)
    assert found.ready
    assert "The last first pass was not" in found.in_words


def test_days_are_the_players_own() -> None:
    # 23:30 and 00:30 at home are two days there and one day in UTC.
    late = Pass("song", NOW.replace(day=23, hour=23, minute=30), 92, Outcome.CLEAN, whole=True)
    early = Pass("song", NOW.replace(day=24, hour=0, minute=30), 92, Outcome.CLEAN, whole=True)
    assert ready(late, early)


def test_nothing_played_is_an_answer() -> None:
    found = readiness([], service_bpm=92, now=NOW)
    assert not found.ready
    assert "2 separate days" in found.in_words


def test_settings_that_cannot_be() -> None:
    with pytest.raises(PracticeError, match="service tempo"):
        readiness([], service_bpm=0, now=NOW)
    with pytest.raises(PracticeError, match="zone"):
        readiness([], service_bpm=92, now=NOW.replace(tzinfo=None))
