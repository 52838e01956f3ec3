"""Every refusal to judge: a recording that deserves it, and one that nearly does."""

from __future__ import annotations

import numpy as np
import pytest

from ear_player import RATE_HZ, SCALE, Samples, asked, part_of, plucked
from undersong.ear import Verdict, hear
from undersong.theory.part import Part

PART = part_of(*SCALE, *SCALE[::-1])
OTHER = Part(
    "Other", PART.key, PART.meter, 90.0,
    part_of(*["E1", "G1", "E1", "B1", "A1", "A1", "D2", "C2"] * 2).notes,
)  # fmt: skip
SOUND = plucked(PART, asked(PART))


def reason(sound: Samples, part: Part = PART, **more: tuple[Part, ...]) -> str:
    hearing = hear([sound], RATE_HZ, part, **more)  # type: ignore[arg-type]
    return "" if hearing.clean is not None else hearing.reason or "no reason"


def at_peak(peak: float) -> Samples:
    return SOUND * np.float32(peak / np.abs(SOUND).max())


@pytest.mark.parametrize(("peak", "refused"), [(0.0008, True), (0.002, False)])
def test_too_quiet(peak: float, *, refused: bool) -> None:
    assert ("too quiet" in reason(at_peak(peak))) is refused


@pytest.mark.parametrize(("over", "refused"), [(60.0, True), (4.0, False)])
def test_clipped(over: float, *, refused: bool) -> None:
    hot = np.clip(SOUND / np.abs(SOUND).max() * over, -1, 1).astype(np.float32)
    assert ("clipped" in reason(hot)) is refused


@pytest.mark.parametrize(("noise", "refused"), [(0.5, True), (0.01, False)])
def test_too_noisy(noise: float, *, refused: bool) -> None:
    drowned = SOUND + np.random.default_rng(4).normal(0, noise, len(SOUND)).astype(np.float32)
    said = reason(drowned)
    assert ("noise" in said or "no bass" in said or "most of its notes" in said) is refused
    assert (said == "") is not refused


@pytest.mark.parametrize(("up", "words"), [(36, "does not sound like a bass"), (0, "")])
def test_wrong_instrument(up: int, words: str) -> None:
    rng = np.random.default_rng(2)
    tune = [60 + int(n) for n in rng.integers(5, 11, 16)] if up else asked(PART)
    assert words in reason(plucked(PART, tune))
    assert (reason(plucked(PART, tune)) == "") is (up == 0)


@pytest.mark.parametrize(
    ("shift", "words"),
    [(3, "3 half steps higher"), (-1, "a half step lower"), (12, "an octave higher"), (0, "")],
)
def test_another_key(shift: int, words: str) -> None:
    moved = [midi + shift for midi in asked(PART) if midi is not None]
    assert words in reason(plucked(PART, moved))


def test_nearly_another_key_is_judged_note_by_note() -> None:
    """Half the notes a semitone off are wrong notes, not another key."""
    moved = [midi + (1 if k >= 10 else 0) for k, midi in enumerate(asked(PART)) if midi is not None]
    hearing = hear([plucked(PART, moved)], RATE_HZ, PART)
    assert hearing.clean is False
    assert hearing.summary.wrong >= 5


def test_another_exercise() -> None:
    assert "does not sound like the exercise" in reason(plucked(OTHER, asked(OTHER)))


def test_the_drill_from_the_other_day_is_named() -> None:
    sound = plucked(OTHER, asked(OTHER))
    assert reason(sound, others=(part_of("A1", "A1"), OTHER)) == (
        "This is not 'Scale': it sounds like 'Other'."
    )


def test_another_drill_is_not_named_where_this_one_was_played() -> None:
    assert reason(SOUND, others=(OTHER,)) == ""


def test_too_much_echo() -> None:
    rng = np.random.default_rng(3)
    fast = part_of(*["B0", "B0", "C1", "C1", "B0", "D1", "B0", "C1"] * 3, tempo_bpm=140, of=8)
    dry = plucked(fast, asked(fast))

    def in_hall(share: float) -> Samples:
        t = np.arange(2 * RATE_HZ) / RATE_HZ
        tail = rng.normal(0, 1, len(t)) * 10 ** (-3 * t / 3.0)
        wet = np.convolve(dry, tail / np.sqrt(np.sum(tail**2)))[: len(dry)]
        return ((1 - share) * dry + share * wet).astype(np.float32)

    assert "echo" in reason(in_hall(0.95), fast)
    assert "echo" not in reason(in_hall(0.05), fast)


def with_others(count: int) -> Samples:
    """The whole part, and between its first notes so many that nobody asked for."""
    beat_s = 60 / PART.tempo_bpm
    others = part_of(*["D2"] * count, tempo_bpm=PART.tempo_bpm)
    more = plucked(others, asked(others), start_s=0.5 + beat_s / 2, share=0.4)
    sound = plucked(PART, asked(PART), start_s=0.5)
    length = max(len(more), len(sound))
    return np.asarray(
        np.pad(sound, (0, length - len(sound))) + np.pad(more, (0, length - len(more)))
    )


def test_somebody_else_in_the_room() -> None:
    hearing = hear([with_others(len(PART.notes) // 2)], RATE_HZ, PART)
    assert hearing.clean is None
    assert hearing.reason is not None
    assert "Record the bass alone" in hearing.reason


def test_a_few_notes_of_ones_own_are_judged() -> None:
    hearing = hear([with_others(4)], RATE_HZ, PART)
    assert (hearing.clean, hearing.reason) == (False, None)
    assert 3 <= hearing.summary.extra <= 4


def test_of_three_notes_one_may_be_missing() -> None:
    part = part_of("G1", "C2", "D2", tempo_bpm=60)
    midis = asked(part)
    midis[1] = None
    hearing = hear([plucked(part, midis)], RATE_HZ, part)
    assert [note.verdict for note in hearing.notes] == [
        Verdict.RIGHT,
        Verdict.MISSED,
        Verdict.RIGHT,
    ]
    assert hearing.clean is False


@pytest.mark.parametrize("heard", [1, 2])
def test_a_note_or_two_are_a_bass_but_no_pass(heard: int) -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    hearing = hear([plucked(part, asked(part)[:heard] + [None] * (16 - heard))], RATE_HZ, part)
    assert hearing.clean is None
    assert hearing.reason is not None
    assert hearing.reason.startswith("I heard only a note or two")


def test_three_notes_of_many_are_judged() -> None:
    part = part_of(*SCALE, *SCALE[::-1])
    hearing = hear([plucked(part, asked(part)[:3] + [None] * 13)], RATE_HZ, part)
    assert hearing.clean is False
    assert hearing.stopped_at == 3
