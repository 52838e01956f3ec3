"""What each bar is for: energy, phrases, the voice; and the targets a chart asks for."""

from fractions import Fraction

import pytest

from undersong.chart.text import parse_song
from undersong.errors import UnplayableError
from undersong.lines.plan import BarPlan
from undersong.lines.score import score_of
from undersong.lines.targets import Target, Touch, chosen_octaves, targets_of
from undersong.lines.weights import WEIGHTS
from undersong.neck.instrument import Instrument, parse_tuning

F = Fraction


def plans(text: str) -> tuple[BarPlan, ...]:
    return score_of(parse_song("Title: A\nKey: G\n" + text), None).plans


def targets(text: str, head: str = "Key: G\n") -> tuple[Target, ...]:
    score = score_of(parse_song("Title: A\n" + head + text), None)
    return targets_of(score.song, score.plans, score.chords)


def midis(text: str, tuning: str = "standard", head: str = "Key: G\n") -> tuple[int, ...]:
    score = score_of(parse_song("Title: A\n" + head + text), None)
    found = targets_of(score.song, score.plans, score.chords)
    return chosen_octaves(found, score.plans, Instrument(parse_tuning(tuning)), WEIGHTS)


def test_a_song_grows_and_a_verse_comes_back_fuller() -> None:
    found = plans("Verse\n| 1 |\n\nChorus\n| 4 |\n\nOrder: Verse, Chorus, Verse, Chorus, Chorus\n")
    assert [plan.energy for plan in found] == [1, 2, 2, 3, 4]


def test_words_steer_to_the_end_of_the_section() -> None:
    found = plans("Verse\n| 1 |\n-- build\n| 1 | 1 | 1 |\n\nChorus\n-- quiet\n| 4 | 4 |\n")
    assert [plan.energy for plan in found] == [1, 2, 3, 4, 1, 1]


def test_phrases_end_every_four_bars_and_with_the_section() -> None:
    found = plans("Verse\n| 1 | 1 | 1 | 1 |\n| 1 | 1 |\n\nChorus\n| 4 |\n")
    assert [plan.is_phrase_end for plan in found] == [False] * 3 + [True, False, True, True]
    assert [plan.leads_to for plan in found] == [None] * 5 + ["Chorus", None]


def test_a_pickup_does_not_count_as_a_bar_of_the_phrase() -> None:
    found = plans("Verse\n| pickup 5. | 1 | 1 | 1 | 1 | 1 |\n")
    assert [plan.is_phrase_end for plan in found] == [False, False, False, False, True, True]


@pytest.mark.parametrize("words", ["vocal", "voice enters", "Singer in", "sung"])
def test_a_direction_about_the_voice_marks_its_bar(words: str) -> None:
    found = plans(f"Verse\n| 1 |\n-- {words}\n| 1 |\n")
    assert [plan.has_vocal for plan in found] == [False, True]
    assert [plan.before_vocal for plan in found] == [True, False]


def test_no_vocal_marks_nothing() -> None:
    assert not any(plan.has_vocal for plan in plans("Verse\n-- no vocal\n| 1 |\n"))


def test_the_first_section_is_known_and_a_lone_section_frees_its_second_phrase() -> None:
    two = plans("Verse\n| 1 | 1 |\n\nChorus\n| 4 |\n")
    assert [plan.is_first_section for plan in two] == [True, True, False]
    one = plans("| 1 | 1 | 1 | 1 |\n| 1 |\n")
    assert [plan.is_first_section for plan in one] == [True] * 4 + [False]


def test_the_note_after_the_slash_is_the_target() -> None:
    assert [str(each.name) for each in targets("| 1 | 5/7 | 6- |")] == ["G", "F#", "E"]


def test_a_pushed_chord_comes_early_and_a_silence_has_no_target() -> None:
    found = targets("| 1 | <<4 | 0 | 1! |")
    assert [(each.at, each.until) for each in found] == [
        (F(0), F(7, 8)),
        (F(7, 8), F(2)),
        (F(3), F(4)),
    ]
    assert found[1].push == F(1, 8)
    assert found[2].touch is Touch.STOPPED


def test_a_chord_is_struck_again_at_the_bar_line_and_a_diamond_is_not() -> None:
    assert [each.is_arrival for each in targets("| 1 | / / / / |")] == [True, False]
    held = targets("| <1> | / / / / |")
    assert [(each.at, each.until, each.touch) for each in held] == [(F(0), F(2), Touch.HELD)]


def test_where_the_bass_lays_out_there_is_no_target() -> None:
    assert [each.bar for each in targets("| 1 |\n-- bass out\n| 4 |\n-- bass in\n| 5 |\n")] == [
        0,
        2,
    ]


def test_a_chord_carried_into_another_key_keeps_its_sound() -> None:
    found = targets("Verse\n| 1 |\n-- key A\n| / / / / |\n")
    assert [str(each.name) for each in found] == ["G", "G"]
    assert str(found[1].chord) == "b7"


def test_roots_lie_low_and_leaps_are_small() -> None:
    assert midis("| 1 | 4 | 5 | 1 |") == (31, 36, 38, 31)
    assert midis("| 1 | 5/7 | 6- | 5 |") == (31, 30, 28, 26 + 12)


def test_a_low_string_is_used_where_the_song_wants_weight() -> None:
    head = "Key: D\n"
    assert midis("| 1 | 1 | 1 | 1 |", "five", head)[-1] == 26
    assert midis("Verse\n| 1 | 1 |\n\nEnd\n| 1 |\n", "standard", head) == (38, 38, 38)


def test_a_neck_without_the_note_says_so() -> None:
    score = score_of(parse_song("Title: A\nKey: G\n| 1 | b6 |"), None)
    found = targets_of(score.song, score.plans, score.chords)
    short = Instrument(parse_tuning("G1"), frets=5)
    with pytest.raises(UnplayableError, match="has no Eb"):
        chosen_octaves(found, score.plans, short, WEIGHTS)
