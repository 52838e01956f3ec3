import dataclasses
import math

import pytest

from undersong.errors import PracticeError
from undersong.practice.ladder import (
    Ladder,
    Outcome,
    Rule,
    climb,
    climb_json,
    first,
    ladder_json,
    outcome_of,
    parse_ladder,
    parse_results,
    rule_for_song,
    settled,
    slow_bpm,
    step,
)


def rungs(rule: Rule, count: int) -> list[float]:
    """The tempos of an all-clean climb, each rung once."""
    return list(dict.fromkeys(climb(rule, [Outcome.CLEAN] * 2 * count).tempos_bpm))


@pytest.mark.parametrize(
    "word", ["CCFU", "ccfu", "c c f u", "C, C, F, U", " C;c\tf\nu ", "c-c-f-u"]
)
def test_results_are_read_forgivingly(word: str) -> None:
    assert "".join(parse_results(word)) == "CCFU"


def test_no_results_are_no_passes() -> None:
    assert parse_results(" , ") == ()
    assert climb_json(Rule(), ()) == {"tempos": [], "next": 70}


@pytest.mark.parametrize(("word", "place", "said"), [("CCXC", 3, "X"), ("c, c, 7", 7, "7")])
def test_a_wrong_character_is_named_with_its_place(word: str, place: int, said: str) -> None:
    with pytest.raises(PracticeError, match=f"'{said}', character {place} of the results"):
        parse_results(word)


def test_outcomes_of_a_hearing() -> None:
    assert [outcome_of(clean) for clean in (True, False, None)] == list("CFU")


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"up_bpm": 0}, "step up is more than 0"),
        ({"down_bpm": -10}, "step down is more than 0"),
        ({"in_a_row": 0}, "whole number from 1, not 0"),
        ({"in_a_row": 2.5}, "whole number from 1, not 2.5"),
        ({"floor_bpm": 5}, "floor is from 10 to 400"),
        ({"ceiling_bpm": 401}, "ceiling is from 10 to 400"),
        ({"start_bpm": math.nan}, "start is a number of beats a minute, not nan"),
        ({"start_bpm": "70"}, "start is a number of beats a minute, not '70'"),
        ({"start_bpm": 35}, "cannot start at 35: start between the floor, 40"),
        ({"ceiling_bpm": 60}, "cannot start at 70"),
        ({"floor_bpm": 90, "ceiling_bpm": 80}, "floor, 90, is above the ceiling, 80"),
        ({"song_bpm": 0}, "song's tempo is from 10"),
    ],
)
def test_settings_that_cannot_be(settings: dict[str, object], said: str) -> None:
    with pytest.raises(PracticeError, match=said):
        Rule(**settings)  # type: ignore[arg-type]


def test_three_in_a_row() -> None:
    found = climb_json(Rule(in_a_row=3), parse_results("CCCCC"))
    assert found == {"tempos": [70, 70, 70, 75, 75], "next": 75}


def test_an_unjudged_pass_keeps_the_streak() -> None:
    assert step(Rule(), Ladder(70, 1), Outcome.UNSURE) == Ladder(70, 1)


def test_a_failed_pass_starts_the_streak_again() -> None:
    assert climb(Rule(), parse_results("CFC")).ladder == Ladder(60, 1)


def test_the_ceiling_holds_and_counts_afresh() -> None:
    rule = Rule(ceiling_bpm=72)
    assert climb(rule, parse_results("CCCC")).ladder == Ladder(72, 0)


def test_without_a_ceiling_the_fastest_tempo_there_is() -> None:
    assert climb(Rule(), [Outcome.CLEAN] * 300).next_bpm == 400


def test_small_steps_stay_round_numbers() -> None:
    rule = Rule(up_bpm=0.1)
    assert climb_json(rule, parse_results("CC" * 3))["next"] == 70.3


@pytest.mark.parametrize(
    ("song_bpm", "expected"),
    [
        (72, [70, 72, 77, 79]),
        (83, [70, 75, 80, 83, 88, 91]),
        (70, [70, 75, 77]),
        (60, [60, 65, 66]),
        (75, [70, 75, 80, 82]),
        (72.5, [70, 72.5, 77.5, 79]),
    ],
)
def test_the_song_is_a_rung(song_bpm: float, expected: list[float]) -> None:
    assert rungs(rule_for_song(song_bpm), 20) == expected


def test_a_fall_from_above_the_song_is_the_full_step() -> None:
    rule = rule_for_song(83)
    assert step(rule, Ladder(88), Outcome.NOT_CLEAN) == Ladder(78)
    # and on the way up again the song's tempo is a rung
    assert climb(rule, parse_results("CC"), Ladder(78)).next_bpm == 83


@pytest.mark.parametrize(("song_bpm", "floor_bpm"), [(41, 40), (40, 30), (36, 26), (15, 10)])
def test_a_slow_song_leaves_a_slower_tempo(song_bpm: float, floor_bpm: float) -> None:
    rule = rule_for_song(song_bpm)
    assert (rule.start_bpm, rule.floor_bpm) == (song_bpm, floor_bpm)


def test_a_songs_rule_keeps_the_other_settings() -> None:
    rule = rule_for_song(100, Rule(start_bpm=60, up_bpm=4, in_a_row=3))
    assert (rule.start_bpm, rule.up_bpm, rule.in_a_row, rule.ceiling_bpm) == (60, 4, 3, 110)


@pytest.mark.parametrize("song_bpm", [0, 9, 500, math.inf])
def test_a_song_without_a_tempo_to_play(song_bpm: float) -> None:
    with pytest.raises(PracticeError, match="song's tempo"):
        rule_for_song(song_bpm)


def test_the_fastest_song_there_is() -> None:
    assert rule_for_song(400).ceiling_bpm == 400


def test_a_state_from_other_settings_is_made_to_fit() -> None:
    assert settled(Rule(), Ladder(20, 7)) == Ladder(40, 1)
    assert settled(Rule(ceiling_bpm=90), Ladder(120, -1)) == Ladder(90, 0)


def test_a_kept_climb_reads_back() -> None:
    rule = rule_for_song(83)
    ladder = climb(rule, parse_results("CCC")).ladder
    assert parse_ladder(ladder_json(rule, ladder)) == (rule, ladder)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"rule": None}, "settings under 'rule'"),
        ({"rule": {"colour": 1}}, "no setting named colour"),
        ({"tempo_bpm": "fast"}, "tempo in beats a minute, not 'fast'"),
        ({"tempo_bpm": math.nan}, "tempo in beats a minute, not nan"),
        ({"streak": None}, "streak of clean passes, not None"),
        ({"rule": {"up_bpm": -1}}, "step up is more than 0"),
    ],
)
def test_a_kept_climb_that_is_none(change: dict[str, object], said: str) -> None:
    saved = ladder_json(Rule(), first(Rule())) | change
    with pytest.raises(PracticeError, match=said):
        parse_ladder(saved)


def test_values_are_frozen_and_print_themselves() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        Ladder(70).streak = 1  # type: ignore[misc]
    assert eval(repr(Rule())) == Rule()
    assert {Ladder(70), Ladder(70.0, 0)} == {Ladder(70)}


@pytest.mark.parametrize(
    ("song_bpm", "slow"), [(120, 70), (93, 69), (70, 52), (60, 45), (54, 40), (12, 10), (10, 10)]
)
def test_hard_bars_begin_below_the_song(song_bpm: float, slow: float) -> None:
    assert slow_bpm(song_bpm) == slow
