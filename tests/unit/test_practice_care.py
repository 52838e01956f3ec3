from datetime import UTC, datetime, timedelta

import pytest

from undersong.practice.care import CautionKind, asks_about_pain, cautions, failures_in_a_row, load
from undersong.practice.ladder import Outcome, parse_results
from undersong.practice.passes import Pass

NOW = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)


def stretch(
    minutes: float, *, item: str = "x", ends: datetime = NOW, word: str = "C"
) -> list[Pass]:
    """Passes of half a minute with ten seconds between, the last ending at `ends`."""
    count = round(minutes * 60 / 40)
    outcomes = parse_results((word * count)[-count:])
    return [
        Pass(item, ends - timedelta(seconds=40 * left - 10), 70, outcome, length_s=30)
        for left, outcome in zip(range(count, 0, -1), outcomes, strict=True)
    ]


def kinds(passes: list[Pass], **more: object) -> list[str]:
    return [each.kind.value for each in cautions(passes, now=NOW, **more)]  # type: ignore[arg-type]


@pytest.mark.parametrize(("minutes", "expected"), [(9, []), (11, ["rest"]), (26, ["break"])])
def test_rest_after_ten_and_break_after_twenty_five(minutes: float, expected: list[str]) -> None:
    assert kinds(stretch(minutes)) == expected


def test_another_item_ends_a_climb_but_not_a_stretch() -> None:
    before = NOW - timedelta(minutes=9)
    assert kinds(stretch(9, item="a", ends=before) + stretch(9, item="b")) == []
    before = NOW - timedelta(minutes=20)
    assert kinds(stretch(9, item="a", ends=before) + stretch(19, item="b")) == ["break"]


def test_a_minutes_rest_ends_a_climb() -> None:
    before = NOW - timedelta(minutes=6, seconds=10)
    assert kinds(stretch(6, ends=before) + stretch(5)) == []


def test_five_minutes_end_a_stretch() -> None:
    before = NOW - timedelta(minutes=15, seconds=1)
    assert kinds(stretch(20, item="a", ends=before) + stretch(9)) == []


def test_nothing_to_say_after_the_bass_is_down() -> None:
    assert kinds(stretch(30, ends=NOW - timedelta(minutes=6))) == []


@pytest.mark.parametrize(
    ("word", "count"), [("FFF", 3), ("FFCFF", 2), ("FUFUF", 3), ("FFFC", 0), ("", 0)]
)
def test_failures_in_a_row(word: str, count: int) -> None:
    passes = stretch(len(word) * 40 / 60, word=word) if word else []
    assert failures_in_a_row(passes) == count
    assert (CautionKind.CHANGE_TASK in kinds(passes)) == (count >= 3)


def test_failures_of_another_item_or_day_are_not_counted() -> None:
    yesterday = stretch(2, word="F", ends=NOW - timedelta(days=1))
    assert failures_in_a_row(yesterday + stretch(1, word="F")) == 2
    other = stretch(2, item="y", word="F", ends=NOW - timedelta(minutes=2))
    assert failures_in_a_row(other + stretch(1, word="F")) == 2


def week_of(minutes: float, *, weeks_ago: int) -> list[Pass]:
    at = NOW - timedelta(days=7 * weeks_ago + 1)
    return [Pass("x", at, 70, Outcome.CLEAN, length_s=minutes * 60)]


def four_weeks(minutes: float) -> list[Pass]:
    first = Pass("x", NOW - timedelta(days=34), 70, Outcome.CLEAN)
    return [first, *(p for week in range(1, 5) for p in week_of(minutes, weeks_ago=week))]


@pytest.mark.parametrize(("minutes", "expected"), [(130, []), (131, ["growth"]), (60, [])])
def test_growth_over_thirty_per_cent(minutes: float, expected: list[str]) -> None:
    passes = four_weeks(100) + week_of(minutes, weeks_ago=0)
    assert load(passes, now=NOW).mean_week_min == pytest.approx(100)
    assert kinds(passes) == expected


def test_a_new_player_is_held_against_the_weeks_there_are() -> None:
    passes = week_of(100, weeks_ago=1) + week_of(150, weeks_ago=0)
    assert load(passes, now=NOW).mean_week_min is None  # eight days: no full week before
    older = [Pass("x", NOW - timedelta(days=13), 70, Outcome.CLEAN)]
    assert kinds(older + passes) == ["growth"]


def test_back_after_weeks_of_nothing() -> None:
    passes = [Pass("x", NOW - timedelta(days=60), 70, Outcome.CLEAN, length_s=600)]
    said = cautions(passes + week_of(20, weeks_ago=0), now=NOW)
    assert [each.kind for each in said] == [CautionKind.GROWTH]
    assert "Back after weeks" in said[0].text


def test_pain_today_stops_everything() -> None:
    said = cautions(stretch(30), now=NOW, last_pain=NOW.date())
    assert [each.kind for each in said] == [CautionKind.PAIN]
    assert "Stop for today" in said[0].text
    assert "clinician" in said[0].text


@pytest.mark.parametrize(("days", "expected"), [(1, ["pain"]), (3, ["pain"]), (4, [])])
def test_pain_is_remembered_for_some_days(days: int, expected: list[str]) -> None:
    assert kinds(stretch(1), last_pain=NOW.date() - timedelta(days=days)) == expected


def test_pain_is_asked_about_each_day_and_after_each_stretch() -> None:
    assert asks_about_pain(None, now=NOW)
    assert asks_about_pain(NOW - timedelta(days=1), now=NOW)
    assert asks_about_pain(NOW - timedelta(minutes=25), now=NOW)
    assert not asks_about_pain(NOW - timedelta(minutes=24), now=NOW)


def test_minutes_today() -> None:
    assert load(stretch(10), now=NOW).today_min == pytest.approx(7.5)  # 15 passes of 30 s


def test_a_week_is_seven_days_with_today() -> None:
    ago = [Pass("x", NOW - timedelta(days=n), 70, Outcome.CLEAN, length_s=60) for n in range(14)]
    found = load(ago, now=NOW)
    assert (found.today_min, found.week_min, found.mean_week_min) == (1, 7, 7)
    uneven = [*ago, Pass("x", NOW - timedelta(days=7), 70, Outcome.CLEAN, length_s=6000)]
    assert load(uneven, now=NOW).week_min == 7
