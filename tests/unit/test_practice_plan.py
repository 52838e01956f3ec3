from collections import Counter
from datetime import date, timedelta

import pytest

from undersong.errors import PracticeError
from undersong.practice.plan import (
    PlanSong,
    Turn,
    WeakSpot,
    daily_plan,
    turn_minutes,
    week_plan,
)

DAY = date(2026, 11, 25)
SONGS = (
    PlanSong("song Slow Water in G", "Slow Water", 72, ("Verse", "Chorus")),
    PlanSong("song Harbour Light in D", "Harbour Light", 96),
)
SPOT = WeakSpot("song Harbour Light in D", "Harbour Light, bars 9 to 12: the walk to 6", 3.0, 80)


def test_twenty_minutes_are_the_handbooks() -> None:
    # Trade handbook 5.7: 0-2, 2-5, 5-9, 9-13, 13-16, 16-19, 19-20.
    plan = daily_plan(SONGS, [SPOT], day=DAY)
    assert [(item.turn, item.minutes) for item in plan.items] == [
        (Turn.TUNE, 2),
        (Turn.COLD, 3),
        (Turn.HARD, 4),
        (Turn.OTHER, 4),
        (Turn.AGAIN, 3),
        (Turn.SONG, 3),
        (Turn.NOTE, 1),
    ]


def test_fifteen_minutes_halve_the_second_item() -> None:
    shares = turn_minutes(15)
    assert sum(shares.values()) == 15
    assert shares[Turn.OTHER] == 2
    assert len(shares) == 7


@pytest.mark.parametrize(
    ("minutes", "turns"),
    [(1, []), (2, ["first try"]), (3, ["tune", "first try"]), (5, ["tune", "first try", "new"])],
)
def test_short_days_keep_the_honest_measure_longest(minutes: float, turns: list[str]) -> None:
    assert [item.turn for item in daily_plan(SONGS, [], day=DAY, minutes=minutes).items] == turns


def test_more_than_twenty_minutes_are_not_filled() -> None:
    assert daily_plan(SONGS, [SPOT], day=DAY, minutes=90).minutes == 20


def test_the_same_thing_comes_twice_with_something_between() -> None:
    items = {item.turn: item for item in daily_plan(SONGS, [SPOT], day=DAY).items}
    assert items[Turn.HARD].item == items[Turn.AGAIN].item != items[Turn.OTHER].item


def test_yesterdays_item_is_tried_cold_at_its_tempo() -> None:
    plan = daily_plan(SONGS, [SPOT], day=DAY, yesterday="song Slow Water in G")
    cold = next(item for item in plan.items if item.turn is Turn.COLD)
    assert (cold.item, cold.tempo_bpm) == ("song Slow Water in G", 72)
    assert "cold, at 72: Slow Water" in cold.text


def test_weak_spots_come_with_the_tempo_to_try() -> None:
    texts = [
        item
        for plan in week_plan(SONGS, [SPOT], first_day=DAY)
        for item in plan.items
        if item.turn in (Turn.HARD, Turn.OTHER) and item.item == SPOT.item
    ]
    assert texts
    assert all(item.tempo_bpm == 80 and "walk to 6" in item.text for item in texts)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6])
def test_each_item_of_a_week_comes_on_two_days(count: int) -> None:
    spots = [WeakSpot(f"item {n}", f"spot {n}", float(n)) for n in range(count)]
    days: Counter[str | None] = Counter()
    for plan in week_plan([], spots, first_day=DAY):
        days.update(
            {item.item for item in plan.items if item.turn in (Turn.HARD, Turn.OTHER)} - {None}
        )
    assert len(days) == count
    assert min(days.values()) >= 2


def test_only_the_worst_six_are_worked_on() -> None:
    spots = [WeakSpot(f"item {n}", f"spot {n}", float(n)) for n in range(9)]
    played = {item.item for plan in week_plan([], spots, first_day=DAY) for item in plan.items}
    assert played - {None} == {f"item {n}" for n in range(3, 9)}


def test_sections_take_turns() -> None:
    texts = [
        item.text
        for plan in week_plan(SONGS[:1], [], first_day=DAY, days=2)
        for item in plan.items
        if item.turn is Turn.SONG
    ]
    assert {"Verse" in text for text in texts} == {True, False}


def test_without_songs_there_is_technique() -> None:
    plan = daily_plan([], [], day=DAY)
    assert plan.minutes == 20
    assert all(item.text and item.why for item in plan.items)


def test_no_playing_on_a_day_of_pain() -> None:
    plan = daily_plan(SONGS, [SPOT], day=DAY, last_pain=DAY)
    assert [item.turn for item in plan.items] == [Turn.REST]
    assert "No playing today" in plan.items[0].text


def test_short_and_easy_after_pain() -> None:
    plan = daily_plan(SONGS, [SPOT], day=DAY, last_pain=DAY - timedelta(days=1))
    assert plan.minutes <= 10
    assert not {Turn.COLD, Turn.SONG} & {item.turn for item in plan.items}
    assert "clinician" in plan.items[0].text


@pytest.mark.parametrize("minutes", [-1, float("nan"), float("inf")])
def test_minutes_that_cannot_be(minutes: float) -> None:
    with pytest.raises(PracticeError, match="some minutes"):
        daily_plan([], [], day=DAY, minutes=minutes)
