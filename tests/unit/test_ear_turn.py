"""A bar left out or played twice: what follows is not held against the player.

The sound is made by formula, and never used to say how well the ear hears.
"""

from __future__ import annotations

import pytest

from ear_player import RATE_HZ, asked, jitter_ms, part_of, plucked, with_clicks
from undersong.ear import Hearing, Reference, Verdict, hear, hearing_lines
from undersong.ear.words import fault_lines
from undersong.theory.part import Part

BARS = (
    ("G1", "B1", "D2", "G2"),
    ("C2", "E2", "G2", "E2"),
    ("A1", "C2", "E2", "C2"),
    ("D2", "F#2", "A2", "F#2"),
    ("B1", "D2", "F#2", "B1"),
    ("E2", "D2", "C2", "A1"),
    ("D2", "C2", "A1", "F#1"),
    ("G1", "G1", "D2", "G1"),
)
PART = part_of(*(name for bar in BARS for name in bar))


def played(
    *bars: int, start_s: float | None = None, faults: dict[int, int] | None = None
) -> Hearing:
    """The part's bars in the order given, counted from 1, with some notes moved by semitones."""
    part, midis = sounded(*bars)
    for place, semitones in (faults or {}).items():
        midis[place] = (midis[place] or 0) + semitones
    late_ms = jitter_ms(len(midis))
    return hear([plucked(part, midis, late_ms=late_ms)], RATE_HZ, PART, start_s=start_s)


def sounded(*bars: int) -> tuple[Part, list[int | None]]:
    part = part_of(*(name for bar in bars for name in BARS[bar - 1]))
    return part, asked(part)


def indices(hearing: Hearing, verdict: Verdict) -> list[int | None]:
    return [note.index for note in hearing.notes if note.verdict is verdict]


@pytest.mark.parametrize("start_s", [None, 0.5])
@pytest.mark.parametrize(
    ("bars", "left_out", "words"),
    [
        ((1, 2, 3, 5, 6, 7, 8), (4,), "You left out bar 4."),
        ((1, 4, 5, 6, 7, 8), (2, 3), "You left out bars 2 and 3."),
        ((1, 2, 3, 4, 8), (5, 6, 7), "You left out bars 5 to 7."),
        ((1, 2, 3, 4, 5, 6, 8), (7,), "You left out bar 7."),
    ],
)
def test_bars_left_out_are_missed_and_the_rest_is_right(
    bars: tuple[int, ...], left_out: tuple[int, ...], words: str, start_s: float | None
) -> None:
    hearing = played(*bars, start_s=start_s)
    assert hearing.clean is False
    assert hearing_lines(hearing, PART)[0] == f"Not clean. {words}"
    missed = [4 * (bar - 1) + beat for bar in left_out for beat in range(4)]
    assert indices(hearing, Verdict.MISSED) == missed
    assert indices(hearing, Verdict.RIGHT) == [i for i in range(32) if i not in missed]
    assert hearing.stopped_at is None
    assert hearing.summary.early == hearing.summary.late == 0


@pytest.mark.parametrize("start_s", [None, 0.5])
@pytest.mark.parametrize(
    ("bars", "again", "words"),
    [
        ((1, 2, 3, 3, 4, 5, 6, 7, 8), 1, "You played bar 3 twice."),
        ((1, 2, 3, 4, 3, 4, 5, 6, 7, 8), 2, "You played bars 3 and 4 twice."),
        ((1, 2, 3, 4, 5, 6, 7, 6, 7, 8), 2, "You played bars 6 and 7 twice."),
    ],
)
def test_bars_played_twice_are_extra_and_the_rest_is_right(
    bars: tuple[int, ...], again: int, words: str, start_s: float | None
) -> None:
    hearing = played(*bars, start_s=start_s)
    assert hearing.clean is False
    assert hearing.reason == words
    assert indices(hearing, Verdict.RIGHT) == list(range(32))
    assert indices(hearing, Verdict.EXTRA) == [None] * (4 * again)
    assert len(fault_lines(hearing, PART)) == 4 * again
    order = [note.onset_s for note in hearing.notes]
    assert order == sorted(order, key=lambda onset_s: onset_s or 0.0)


def test_a_start_again_is_a_turn_where_the_start_is_known_and_else_a_false_start() -> None:
    bars = (1, 2, 3, 1, 2, 3, 4, 5, 6, 7, 8)
    assert played(*bars, start_s=0.5).reason == "You played bars 1 to 3 twice."
    assert played(*bars).clean is True


def test_what_was_wrong_beside_the_turn_is_told_as_ever() -> None:
    hearing = played(1, 2, 3, 5, 6, 7, 8, faults={5: 1, 18: -2})
    assert hearing.reason == "You left out bar 4."
    assert indices(hearing, Verdict.WRONG) == [5, 22]


def test_a_turn_is_heard_against_a_click() -> None:
    part, midis = sounded(1, 2, 3, 5, 6, 7, 8)
    beats_s = [3.0 + 60 / 90 * beat for beat in range(-4, len(midis))]
    sound = plucked(part, midis, start_s=3.0, late_ms=15 + jitter_ms(len(midis)))
    clicked = with_clicks(sound, beats_s, [1000.0] * len(beats_s), 0.2)
    hearing = hear([clicked], RATE_HZ, PART)
    assert hearing.reference is Reference.CLICK
    assert hearing.reason == "You left out bar 4."
    assert len(indices(hearing, Verdict.RIGHT)) == 28
    assert hearing.summary.mean_ms == pytest.approx(15, abs=3)


def test_who_stops_after_a_turn_is_told_of_the_turn() -> None:
    hearing = played(1, 2, 3, 5, 6)
    assert hearing.reason == "You left out bar 4."
    assert hearing.stopped_at == 24
    assert len(indices(hearing, Verdict.RIGHT)) == 20


def test_one_note_again_and_again_takes_no_turn() -> None:
    part, played = (part_of(*["E1"] * count, of=8) for count in (40, 48))
    hearing = hear([plucked(played, asked(played))], RATE_HZ, part, start_s=0.5)
    assert hearing.reason is None


@pytest.mark.parametrize(
    "bars",
    [
        (1, 2, 3, 4, 5, 6, 7, 8),
        (1, 2, 3, 4, 5),
        (8, 7, 6, 5, 4, 3, 2, 1),
    ],
)
def test_no_turn_is_told_where_none_was_taken(bars: tuple[int, ...]) -> None:
    reason = played(*bars, start_s=0.5).reason
    assert reason is None or not reason.startswith(("You left out", "You played bar"))
