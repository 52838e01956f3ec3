"""Laws of the exercises that hold in any key, meter, tempo and range, on any neck."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from strategies import bass_parts, keys, meters
from undersong.drills.catalogue import CATALOGUE, Drill, Setting, weakness_drill
from undersong.errors import UndersongError
from undersong.neck.instrument import TUNINGS, FingerSystem, Instrument, Tuning
from undersong.theory.key import Key
from undersong.theory.meter import Meter
from undersong.theory.part import Part
from undersong.theory.pitch import plain_pitch

tunings: SearchStrategy[Tuning] = st.lists(
    st.integers(21, 50), min_size=1, max_size=6, unique=True
).map(lambda midis: Tuning("any", tuple(plain_pitch(midi) for midi in sorted(midis))))
basses: SearchStrategy[Instrument] = st.builds(
    Instrument,
    tuning=st.sampled_from(TUNINGS) | tunings,
    frets=st.integers(5, 24),
    hand_span_mm=st.sampled_from((85.0, 105.0)),
    finger_system=st.sampled_from(FingerSystem),
    fretless=st.booleans(),
)
ranges = st.none() | st.tuples(st.integers(28, 40), st.integers(12, 20))


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(CATALOGUE), keys, basses, meters, st.integers(0, 9), ranges)
def test_a_drill_is_full_bars_on_the_neck_or_a_clear_refusal(
    drill: Drill,
    key: Key,
    bass: Instrument,
    meter: Meter,
    seed: int,
    bounds: tuple[int, int] | None,
) -> None:
    low, high = (None, None) if bounds is None else (bounds[0], sum(bounds))
    try:
        setting = Setting(
            key,
            bass,
            60.0,
            meter,
            seed,
            None if low is None else plain_pitch(low),
            None if high is None else plain_pitch(high),
        )
        part = drill.make(setting).part
    except UndersongError as refused:
        assert re.search("range|Nothing lies", str(refused))  # noqa: PT017 - both are answers
        return
    assert part.length % meter.bar == 0
    assert part.meter == meter
    for before, after in pairwise(part.notes):
        assert before.end <= after.at
    for note in part.notes:
        assert note.string is not None
        assert note.fret is not None
        assert bass.midi_at(note.string, note.fret) == note.pitch.midi
        assert setting.allows(note.pitch.midi)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(bass_parts(), st.data())
def test_a_weak_spot_is_in_its_exercise(part: Part, data: st.DataObject) -> None:
    bass = Instrument(tuning=TUNINGS[3], frets=24)
    if not part.notes:
        with pytest.raises(UndersongError):
            weakness_drill(part, bass, missed=[0])
        return
    missed = data.draw(st.sets(st.integers(0, len(part.notes) - 1), min_size=1, max_size=3))
    exercise = weakness_drill(part, bass, missed=missed).part
    sounding = {stroke.note.pitch for stroke in exercise.strokes}
    assert {part.notes[index].pitch for index in missed} <= sounding
    assert len(exercise.sections) <= 2 * len(missed)
    for before, after in pairwise(exercise.strokes):
        assert before.at < after.at
