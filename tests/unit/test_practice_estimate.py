from datetime import UTC, datetime, timedelta

import pytest

from undersong.errors import PracticeError
from undersong.practice.estimate import Sureness, chance_of_clean, estimate
from undersong.practice.ladder import Outcome, Rule, climb, parse_results
from undersong.practice.passes import Pass

NOW = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)


def climbed(word: str, *, days_ago: float = 0) -> list[Pass]:
    outcomes = parse_results(word)
    at = NOW - timedelta(days=days_ago)
    tempos = climb(Rule(), outcomes).tempos_bpm
    return [Pass("x", at, t, o) for t, o in zip(tempos, outcomes, strict=True)]


def test_nothing_judged_says_so() -> None:
    found = estimate(climbed("UUU"), now=NOW)
    assert found.tempo_bpm is None
    assert found.sure is Sureness.NOT_YET
    assert "Nothing has been judged" in found.in_words
    assert chance_of_clean(climbed("U"), tempo_bpm=80, now=NOW) is None


def test_all_clean_is_at_least() -> None:
    found = estimate(climbed("C" * 12), now=NOW)
    assert found.highest_clean_bpm == 95
    assert found.in_words.startswith("At least about")
    assert (found.tempo_bpm, found.high_bpm) == (None, None)  # nothing says where the limit is
    assert found.low_bpm == 95  # never more than was played


def test_never_clean_is_less_than() -> None:
    found = estimate(climbed("FFFF"), now=NOW)
    assert (found.tempo_bpm, found.low_bpm, found.highest_clean_bpm) == (None, None, None)
    assert found.in_words.startswith("Less than about")


def test_a_short_history_is_not_sure_and_a_long_one_is() -> None:
    pattern = "CCCCFCCCCF"  # climbs by 10 and falls by 10
    short, long = (estimate(climbed(pattern * times), now=NOW) for times in (1, 12))
    assert short.low_bpm is not None
    assert short.high_bpm is not None
    assert long.low_bpm is not None
    assert long.high_bpm is not None
    assert long.high_bpm - long.low_bpm < (short.high_bpm - short.low_bpm) / 2
    assert long.sure is Sureness.WELL
    assert "80 passes in 100 clean" in long.in_words


def test_unjudged_passes_change_nothing() -> None:
    assert estimate(climbed("CCFCCU"), now=NOW) == estimate(climbed("CCFCC"), now=NOW)


def test_old_passes_say_less() -> None:
    pattern = "CCCCFCCCCF" * 3
    fresh = estimate(climbed(pattern), now=NOW)
    old = estimate(climbed(pattern, days_ago=28), now=NOW)
    assert fresh.low_bpm is not None
    assert fresh.high_bpm is not None
    assert old.low_bpm is not None
    assert old.high_bpm is not None
    assert old.high_bpm - old.low_bpm > fresh.high_bpm - fresh.low_bpm


def test_the_chance_falls_with_the_tempo() -> None:
    passes = climbed("CCCCFCCCCF" * 3)
    chances = [chance_of_clean(passes, tempo_bpm=bpm, now=NOW) for bpm in (50, 70, 90, 120)]
    shares = [chance.share for chance in chances if chance is not None]
    assert shares == sorted(shares, reverse=True)
    assert len(shares) == 4
    assert all(c.low <= c.share <= c.high for c in chances if c is not None)


def test_a_tempo_held_more_often_is_slower() -> None:
    passes = climbed("CCCCFCCCCF" * 3)
    often, seldom = (estimate(passes, now=NOW, share=share).tempo_bpm for share in (0.95, 0.6))
    assert often is not None
    assert seldom is not None
    assert often < seldom


@pytest.mark.parametrize("share", [0.4, 0.99])
def test_a_share_that_cannot_be_asked(share: float) -> None:
    with pytest.raises(PracticeError, match="can be held in"):
        estimate(climbed("CC"), now=NOW, share=share)


def test_now_needs_its_zone_and_a_half_life_some_days() -> None:
    with pytest.raises(PracticeError, match="needs its zone"):
        estimate(climbed("CC"), now=datetime(2026, 11, 25))
    with pytest.raises(PracticeError, match="half-life"):
        estimate(climbed("CC"), now=NOW, half_life_days=0)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"at": datetime(2026, 1, 1)}, "zone"),
        ({"tempo_bpm": 0}, "tempo above 0"),
        ({"length_s": -1}, "lasts some seconds"),
        ({"roots_right": 98}, "from 0 to 1"),
    ],
)
def test_a_pass_that_cannot_be(change: dict[str, object], said: str) -> None:
    settings = {"item": "x", "at": NOW, "tempo_bpm": 70, "outcome": Outcome.CLEAN} | change
    with pytest.raises(PracticeError, match=said):
        Pass(**settings)  # type: ignore[arg-type]


def test_three_passes_are_too_few_for_two_figures() -> None:
    found = estimate(climbed("CCF"), now=NOW)
    assert found.tempo_bpm is None
    assert found.in_words == (
        "3 passes, 2 clean, the fastest clean one at 70: too few yet to say which tempo holds."
    )
