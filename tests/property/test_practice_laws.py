import json
from datetime import UTC, date, datetime, timedelta
from functools import reduce

from hypothesis import given
from hypothesis import strategies as st

from undersong.practice.care import cautions
from undersong.practice.estimate import estimate
from undersong.practice.ladder import (
    Ladder,
    Outcome,
    Rule,
    climb,
    climb_json,
    first,
    ladder_json,
    parse_ladder,
    parse_results,
    rule_for_song,
    settled,
    step,
)
from undersong.practice.passes import Pass
from undersong.practice.plan import PlanSong, WeakSpot, daily_plan
from undersong.practice.readiness import readiness
from undersong.practice.staircase import balance_point, expected_rise_bpm

NOW = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)

outcomes = st.sampled_from(Outcome)
histories = st.lists(outcomes, max_size=60)
steps_bpm = st.one_of(st.integers(1, 30), st.floats(0.25, 30))


@st.composite
def rules(draw: st.DrawFn) -> Rule:
    floor_bpm, start_bpm, ceiling_bpm = sorted(draw(st.floats(10, 400)) for _ in range(3))
    rule = Rule(
        start_bpm=start_bpm,
        up_bpm=draw(steps_bpm),
        down_bpm=draw(steps_bpm),
        in_a_row=draw(st.integers(1, 5)),
        floor_bpm=floor_bpm,
        ceiling_bpm=ceiling_bpm,
    )
    return draw(st.sampled_from([rule, rule_for_song(draw(st.floats(10, 400)), Rule())]))


@st.composite
def passes(draw: st.DrawFn) -> list[Pass]:
    return draw(
        st.lists(
            st.builds(
                Pass,
                st.sampled_from(["a", "b"]),
                st.integers(0, 60 * 24 * 50).map(lambda ago: NOW - timedelta(minutes=ago)),
                st.floats(20, 300),
                outcomes,
                length_s=st.floats(0, 600),
                whole=st.booleans(),
                roots_right=st.none() | st.floats(0, 1),
                in_time=st.none() | st.booleans(),
            ),
            max_size=30,
        )
    )


def is_valid(rule: Rule, ladder: Ladder) -> bool:
    inside = rule.floor_bpm <= ladder.tempo_bpm <= rule.ceiling_bpm
    return inside and 0 <= ladder.streak < rule.in_a_row


@given(rules(), histories)
def test_any_history_leaves_a_valid_state(rule: Rule, history: list[Outcome]) -> None:
    climbed = climb(rule, history)
    assert len(climbed.tempos_bpm) == len(history)
    assert is_valid(rule, climbed.ladder)
    assert climbed.ladder == reduce(lambda at, o: step(rule, at, o), history, first(rule))


@given(rules(), histories, st.integers(0, 60))
def test_stopping_anywhere_equals_never_stopping(
    rule: Rule, history: list[Outcome], at: int
) -> None:
    kept = json.dumps(ladder_json(rule, climb(rule, history[:at]).ladder))
    resumed_rule, resumed = parse_ladder(json.loads(kept))
    assert climb(resumed_rule, history[at:], resumed).ladder == climb(rule, history).ladder


@given(rules(), histories)
def test_unjudged_passes_change_nothing(rule: Rule, history: list[Outcome]) -> None:
    judged = [outcome for outcome in history if outcome is not Outcome.UNSURE]
    assert climb(rule, judged).ladder == climb(rule, history).ladder


@given(rules(), st.floats(-1e6, 1e6), st.integers(-9, 9), outcomes)
def test_any_state_at_all_is_stepped_to_a_valid_one(
    rule: Rule, tempo_bpm: float, streak: int, outcome: Outcome
) -> None:
    assert is_valid(rule, step(rule, Ladder(tempo_bpm, streak), outcome))
    assert is_valid(rule, settled(rule, Ladder(tempo_bpm, streak)))


@given(rules(), histories)
def test_better_results_never_give_a_lower_tempo_at_once(
    rule: Rule, history: list[Outcome]
) -> None:
    here = climb(rule, history).ladder
    assert step(rule, here, Outcome.CLEAN).tempo_bpm >= here.tempo_bpm
    assert step(rule, here, Outcome.NOT_CLEAN).tempo_bpm <= here.tempo_bpm


@given(st.floats(10, 400))
def test_an_all_clean_climb_stands_on_the_songs_tempo(song_bpm: float) -> None:
    rule = rule_for_song(song_bpm)
    climbed = climb(rule, [Outcome.CLEAN] * 200)
    assert song_bpm in climbed.tempos_bpm
    assert climbed.tempos_bpm[0] == min(70, song_bpm)
    assert climbed.next_bpm <= song_bpm * 1.1 + 1e-6


@given(histories, st.sampled_from(["", " ", ", ", "\n"]), st.booleans())
def test_results_print_and_read(history: list[Outcome], between: str, lower: bool) -> None:  # noqa: FBT001
    word = between.join(history)
    assert list(parse_results(word.lower() if lower else word)) == history


@given(histories)
def test_whole_tempos_are_whole_numbers_in_json(history: list[Outcome]) -> None:
    assert all(isinstance(tempo, int) for tempo in climb_json(Rule(), history)["tempos"])  # type: ignore[attr-defined]


@given(rules())
def test_nothing_rises_or_falls_at_the_balance(rule: Rule) -> None:
    share = balance_point(rule)
    assert 0 < share < 1
    assert abs(expected_rise_bpm(rule, share)) < 1e-9
    assert expected_rise_bpm(rule, min(1.0, share + 0.01)) > 0 > expected_rise_bpm(rule, 0)


@given(passes())
def test_any_history_has_answers(history: list[Pass]) -> None:
    found = estimate(history, now=NOW)
    assert found.in_words
    if found.tempo_bpm is not None and found.low_bpm is not None and found.high_bpm is not None:
        assert found.low_bpm <= found.tempo_bpm <= found.high_bpm
    ready = readiness(history, service_bpm=90, now=NOW)
    assert ready.ready == (len(ready.good_days) >= 2)
    assert ready.in_words
    assert all(caution.text for caution in cautions(history, now=NOW))


@given(
    st.lists(
        st.builds(PlanSong, st.text(), st.text(), st.floats(30, 200), st.just(("Verse",))),
        max_size=8,
    ),
    st.lists(st.builds(WeakSpot, st.text(), st.text(), st.floats(0, 10)), max_size=9),
    st.floats(0, 200),
    st.dates(),
    st.none() | st.text(),
    st.none() | st.integers(-2, 10),
)
def test_a_plan_never_holds_more_than_the_minutes(
    songs: list[PlanSong],
    spots: list[WeakSpot],
    minutes: float,
    day: date,
    yesterday: str | None,
    sore_days: int | None,
) -> None:
    pain = None
    if sore_days is not None and date.min + timedelta(11) < day < date.max - timedelta(3):
        pain = day - timedelta(days=sore_days)
    plan = daily_plan(
        songs, spots, day=day, minutes=minutes, yesterday=yesterday, last_pain=pain
    )  # fmt: skip
    assert plan.minutes <= min(minutes, 20)
    assert all(item.minutes > 0 and item.text for item in plan.items)
    if minutes >= 2 and pain is None:
        assert plan.minutes > minutes - 0.5 or plan.minutes >= 2
