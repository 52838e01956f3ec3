"""The live ear through its public door: any cut of the stream, several passes, no part, no start.

The sound here is made by formula (decaying harmonics): good enough for what is asked, and never
used to say how well the ear hears.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from ear_truth import known_takes
from live_sounds import RATE_HZ, SCALE, plucked, scale_part
from undersong.ear import Verdict, hear
from undersong.ear.live import (
    Event,
    LiveEar,
    NoteJudged,
    NowAt,
    PassOver,
    PlayerTempo,
    TunerReading,
    event_json,
)
from undersong.errors import AudioError, PracticeError

START_S = 0.5
TAKES = Path(__file__).parent.parent / "takes"


def fed(ear: LiveEar, samples: NDArray[np.float32], block: int = 480) -> list[Event]:
    events: list[Event] = []
    for first in range(0, len(samples), block):
        events += ear.feed(samples[first : first + block])
    return events + ear.finish()


def verdicts(events: Iterable[Event]) -> dict[int, Verdict]:
    """The last word on each asked note."""
    judged = [event.note for event in events if isinstance(event, NoteJudged)]
    return {note.index: note.verdict for note in judged if note.index is not None}


def test_a_right_pass_is_right_note_by_note_soon_after_each() -> None:
    part = scale_part()
    events = fed(LiveEar(RATE_HZ, part, start_s=START_S), plucked(part, SCALE))
    assert verdicts(events) == dict.fromkeys(range(len(SCALE)), Verdict.RIGHT)
    for event in events:
        if isinstance(event, NoteJudged):
            assert event.note.onset_s is not None
            assert event.said_s - event.note.onset_s < 0.2
            assert abs(event.note.timing_ms or 0.0) < 10
            assert not event.revises
    assert isinstance(events[-1], PassOver) or any(isinstance(e, PassOver) for e in events)


def test_wrong_missed_and_extra_are_told_apart() -> None:
    part = scale_part()
    midis: list[int | None] = list(SCALE)
    midis[3], midis[6] = SCALE[3] + 1, None
    samples = plucked(part, midis)
    extra_s = START_S + 9.5 * 60 / part.tempo_bpm
    at = round(extra_s * RATE_HZ)
    tone = plucked(scale_part(n_notes=1), [52], start_s=0.0)[: RATE_HZ // 5]
    samples[at : at + len(tone)] += tone
    events = fed(LiveEar(RATE_HZ, part, start_s=START_S), samples)
    said = verdicts(events)
    assert said.pop(3) is Verdict.WRONG
    assert said.pop(6) is Verdict.MISSED
    assert set(said.values()) == {Verdict.RIGHT}
    extra = [e.note for e in events if isinstance(e, NoteJudged) and e.note.index is None]
    assert [note.heard_midi for note in extra] == [52]
    assert extra[0].onset_s == pytest.approx(extra_s, abs=0.02)


def test_live_agrees_with_the_offline_ear() -> None:
    agreed = asked = 0
    for take in islice(known_takes(TAKES), 0, 8, 2):
        start_s = float(take.truth["start_s"])
        ear = LiveEar(take.rate_hz, take.part, start_s=start_s, tuner=False)
        said = verdicts(fed(ear, take.samples))
        offline = hear([take.samples], take.rate_hz, take.part, start_s=start_s)
        words = {note.index: note.verdict for note in offline.notes if note.index is not None}
        asked += len(words)
        agreed += sum(said.get(index) is verdict for index, verdict in words.items())
    assert asked > 80
    assert agreed >= 0.97 * asked


@pytest.mark.parametrize("block", [1, 37, 128, 2048, 10**9])
def test_how_the_stream_is_cut_makes_no_difference(block: int) -> None:
    part = scale_part(n_notes=3)
    samples = plucked(part, SCALE[:3])[: RATE_HZ if block == 1 else None]
    whole = fed(LiveEar(RATE_HZ, part, start_s=START_S, tuner=False), samples, 480)
    cut = fed(LiveEar(RATE_HZ, part, start_s=START_S, tuner=False), samples, block)
    assert [e.note for e in cut if isinstance(e, NoteJudged)] == [
        e.note for e in whole if isinstance(e, NoteJudged)
    ]


def test_the_start_is_found_where_it_is_not_known() -> None:
    part = scale_part()
    events = fed(LiveEar(RATE_HZ, part), plucked(part, SCALE, start_s=1.7))
    said = verdicts(events)
    assert list(said.values()).count(Verdict.RIGHT) == len(SCALE)


def test_a_second_pass_begins_on_the_same_stream() -> None:
    part = scale_part()
    first, second = plucked(part, SCALE), plucked(part, [SCALE[0] + 1, *SCALE[1:]])
    ear = LiveEar(RATE_HZ, part, start_s=START_S)
    for at in range(0, len(first), 480):
        ear.feed(first[at : at + 480])
    ear.begin(len(first) / RATE_HZ + START_S)
    said = verdicts(fed(ear, second))
    assert said.pop(0) is Verdict.WRONG
    assert set(said.values()) == {Verdict.RIGHT}


def test_the_place_and_the_tempo_follow_the_player() -> None:
    part = scale_part()
    faster = replace(part, tempo_bpm=part.tempo_bpm * 1.06)
    events = fed(LiveEar(RATE_HZ, part, start_s=START_S), plucked(faster, SCALE))
    places = [event.index for event in events if isinstance(event, NowAt)]
    assert places == list(range(len(SCALE)))
    tempos = [event.tempo_bpm for event in events if isinstance(event, PlayerTempo)]
    assert tempos[-1] == pytest.approx(faster.tempo_bpm, rel=0.01)


def test_without_a_part_it_is_a_tuner() -> None:
    events = fed(LiveEar(RATE_HZ), plucked(scale_part(n_notes=1), [28]))
    assert events
    assert all(isinstance(event, TunerReading) for event in events)


def test_every_event_becomes_plain_json() -> None:
    part = scale_part(n_notes=6)
    events = fed(LiveEar(RATE_HZ, part, start_s=START_S), plucked(part, SCALE[:6]))
    kinds = {json.loads(json.dumps(event_json(event)))["kind"] for event in events}
    assert kinds == {"note", "place", "tempo", "tuner", "over"}
    notes = [event_json(e) for e in events if isinstance(e, NoteJudged)]
    assert notes[0]["verdict"] == "right"
    assert notes[0]["revises"] is False


def test_odd_sound_is_heard_as_it_is() -> None:
    part = scale_part()
    rng = np.random.default_rng(3)
    for samples in (
        np.zeros(2 * RATE_HZ, np.float32),
        np.full(2 * RATE_HZ, np.nan, np.float32),
        rng.normal(0, 0.3, 2 * RATE_HZ).astype(np.float32),
        np.tile(np.array([1, -1], np.float32), RATE_HZ),
    ):
        events = fed(LiveEar(RATE_HZ, part, start_s=START_S), samples)
        assert Verdict.RIGHT not in verdicts(events).values()
        assert all(e.midi is None for e in events if isinstance(e, TunerReading))


def test_what_is_no_stream_is_refused() -> None:
    with pytest.raises(AudioError, match="cannot be heard"):
        LiveEar(100)
    with pytest.raises(AudioError, match="one row"):
        LiveEar(RATE_HZ).feed(np.zeros((10, 2), np.float32))
    with pytest.raises(PracticeError, match="no place in a stream"):
        LiveEar(RATE_HZ, scale_part(), start_s=float("nan"))


def test_memory_does_not_grow_with_time() -> None:
    part = scale_part()
    ear = LiveEar(RATE_HZ, part, start_s=START_S)
    noise = np.random.default_rng(4).normal(0, 0.02, RATE_HZ // 2).astype(np.float32)
    sizes = []
    for _ in range(30):
        ear.feed(noise)
        sizes.append(held(ear))
    assert max(sizes[15:]) <= max(sizes[:15])


def held(ear: LiveEar) -> int:
    """Bytes of all arrays that an ear holds."""
    seen: set[int] = set()
    total, waiting = 0, [vars(ear)]
    while waiting:
        each = waiting.pop()
        if id(each) in seen:
            continue
        seen.add(id(each))
        if isinstance(each, np.ndarray):
            total += each.nbytes
        elif isinstance(each, dict):
            waiting += list(each.values())
        elif isinstance(each, (list, tuple)):
            waiting += list(each)
        elif hasattr(each, "__dict__"):
            waiting.append(vars(each))
        elif hasattr(each, "__slots__"):
            waiting += [getattr(each, name) for name in each.__slots__ if hasattr(each, name)]
    return total
