"""Laws of the neck that hold on any tuning, in any key."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from plain_fingering import (
    FIVE_TUNINGS,
    least_cost,
    least_cost_alike,
    least_cost_in_pairs,
    random_bar,
    random_bass,
    random_pairs,
    random_part,
    repeated,
    second_least_cost,
)
from strategies import bass_parts, keys
from undersong.errors import UnplayableError
from undersong.neck.effort import WEIGHTS, OpenStrings
from undersong.neck.fingering import Wishes, finger_part, second_best
from undersong.neck.instrument import TUNINGS, FingerSystem, Instrument, Tuning, parse_tuning
from undersong.neck.moves import root_moves
from undersong.neck.shapes import closed_shapes
from undersong.theory.key import Key
from undersong.theory.part import Part
from undersong.theory.pitch import plain_pitch

some = settings(max_examples=60, deadline=None)
POINTS = 1e-9  # rounding of sums of a few dozen terms

tunings: SearchStrategy[Tuning] = st.lists(
    st.integers(20, 55), min_size=1, max_size=6, unique=True
).map(lambda midis: Tuning("any", tuple(plain_pitch(midi) for midi in sorted(midis))))
basses: SearchStrategy[Instrument] = st.builds(
    Instrument,
    tuning=st.sampled_from(TUNINGS) | tunings,
    frets=st.integers(12, 24),
    scale_mm=st.sampled_from((762.0, 863.6, 889.0)),
    left_handed=st.booleans(),
    hand_span_mm=st.sampled_from((90.0, 105.0, 120.0)),
    finger_system=st.sampled_from(FingerSystem),
)


@given(tunings)
def test_any_tuning_reads_back_from_its_text(tuning: Tuning) -> None:
    assert parse_tuning(str(tuning)).midis == tuning.midis


@some
@given(basses, keys)
def test_root_moves_land_on_the_right_pitch(bass: Instrument, key: Key) -> None:
    for move in root_moves(bass, key):
        wanted = key.name_of(move.end).pitch_class
        ways = ((move.strings, move.frets), *move.others)
        starts = range(1, bass.strings + 1) if move.from_string is None else (move.from_string,)
        for string in starts:
            start = next(
                midi
                for midi in range(bass.open_midi(string), bass.open_midi(string) + 12)
                if midi % 12 == key.name_of(move.start).pitch_class
            )
            for strings, frets in ways:
                to_string = string - strings
                if not 1 <= to_string <= bass.strings:
                    assert move.from_string is None
                    continue
                fret = start - bass.open_midi(string) + frets
                landed = bass.open_midi(to_string) + fret
                assert landed % 12 == wanted
                assert (landed > start) == (move.direction == "up")
                assert abs(landed - start) < 12
        assert abs(move.frets) <= min((abs(frets) for _, frets in move.others), default=99)


@some
@given(basses, keys, st.integers(0, 6))
def test_shapes_are_the_key_s_own_rising_octave_under_the_hand(
    bass: Instrument, key: Key, step: int
) -> None:
    degree = key.degrees[step]
    for shape in closed_shapes(bass, key, degree):
        midis = [note.midi for note in shape.notes]
        assert midis == sorted(midis)
        assert midis[-1] - midis[0] == 12
        assert shape.notes[0].degree == degree
        for note in shape.notes:
            assert bass.midi_at(note.string, note.fret) == note.midi
            assert key.name_of(note.degree).pitch_class == note.midi % 12
            assert note.fret >= 1
            assert 1 <= note.finger <= 4
        fits = shape.strings <= 3 and shape.frets <= 4
        assert fits == (shape.note is None)


@pytest.mark.parametrize("system", FingerSystem)
@pytest.mark.parametrize("tuning", range(len(FIVE_TUNINGS)), ids=lambda i: FIVE_TUNINGS[i].name)
def test_the_fingering_is_the_best_of_every_fingering(tuning: int, system: FingerSystem) -> None:
    rng = random.Random(f"{tuning} {system}")
    for _ in range(20):
        bass = random_bass(rng, tuning, system)
        part = random_part(rng, bass, most_roads=200_000)
        liking = rng.choice((OpenStrings.ALLOWED, OpenStrings.LIKED, OpenStrings.AVOIDED))
        cost = finger_part(part, bass, wishes=Wishes(open_strings=liking, same_again=False)).cost
        assert cost == pytest.approx(least_cost(part, bass, WEIGHTS, liking), abs=POINTS)


@pytest.mark.parametrize("system", FingerSystem)
def test_a_repeated_bar_is_fingered_alike_at_the_least_cost_of_that(system: FingerSystem) -> None:
    rng = random.Random(f"alike {system}")
    for index in range(40):
        bass = random_bass(rng, index % len(FIVE_TUNINGS), system)
        bar, count = random_bar(rng, bass, most_roads=100_000), rng.choice((2, 3, 5))
        fingering = finger_part(repeated(bar, count), bass)
        least = least_cost_alike(bar, count, bass, WEIGHTS, OpenStrings.ALLOWED)
        assert fingering.cost == pytest.approx(least, abs=POINTS)
        ways = [(n.string, n.fret, n.finger) for n in fingering.part.notes]
        size = len(bar.notes)
        assert ways == ways[:size] * count
        assert fingering.hands == fingering.hands[:size] * count
        free = finger_part(repeated(bar, count), bass, wishes=Wishes(same_again=False))
        assert free.cost <= fingering.cost + POINTS


@pytest.mark.parametrize("system", FingerSystem)
def test_the_second_best_is_the_best_of_all_that_lie_elsewhere(system: FingerSystem) -> None:
    rng = random.Random(f"second {system}")
    found = 0
    for index in range(60):
        bass = random_bass(rng, index % len(FIVE_TUNINGS), system)
        part = random_part(rng, bass, most_roads=100_000)
        best = finger_part(part, bass)
        second = second_best(part, bass)
        places = [(note.string, note.fret) for note in best.part.notes]
        least = second_least_cost(part, bass, WEIGHTS, OpenStrings.ALLOWED, places)
        if second is None:
            assert least == float("inf")
            continue
        found += 1
        assert second.cost == pytest.approx(least, abs=POINTS)
        assert [(note.string, note.fret) for note in second.part.notes] != places
    assert found > 30


def test_the_second_best_of_repeated_bars_repeats_too() -> None:
    rng = random.Random("second alike")
    for index in range(10):
        bass = random_bass(rng, index % len(FIVE_TUNINGS), FingerSystem.ONE_PER_FRET)
        bar = random_bar(rng, bass, most_roads=50_000)
        part = repeated(bar, 3)
        best, second = finger_part(part, bass), second_best(part, bass)
        if second is None:
            continue
        size = len(bar.notes)
        places = [(note.string, note.fret) for note in second.part.notes]
        assert places == places[:size] * 3
        assert places != [(note.string, note.fret) for note in best.part.notes]
        assert second.cost >= best.cost - POINTS


@pytest.mark.parametrize("system", FingerSystem)
def test_two_notes_at_once_are_held_at_the_least_cost(system: FingerSystem) -> None:
    rng = random.Random(f"pairs {system}")
    held = 0
    for index in range(40):
        bass = random_bass(rng, index % len(FIVE_TUNINGS), system)
        part = random_pairs(rng, bass)
        least = least_cost_in_pairs(part, bass, WEIGHTS, OpenStrings.ALLOWED)
        if least is None:
            with pytest.raises(UnplayableError, match="one hand cannot hold"):
                finger_part(part, bass)
            continue
        held += 1
        assert finger_part(part, bass).cost == pytest.approx(least, abs=POINTS)
    assert held > 15


@some
@given(bass_parts(), basses)
def test_any_part_is_fingered_where_its_notes_lie_or_refused(part: Part, bass: Instrument) -> None:
    if any(not bass.places(note.pitch.midi) for note in part.notes):
        with pytest.raises(UnplayableError) as refused:
            finger_part(part, bass)
        assert refused.value.nearest_midi is not None
        assert bass.places(refused.value.nearest_midi)
        return
    fingering = finger_part(part, bass)
    assert fingering.cost == pytest.approx(sum(fingering.terms.values()))
    assert len(fingering.hands) == len(part.strokes)
    for asked, played in zip(part.notes, fingering.part.notes, strict=True):
        assert (asked.at, asked.length, asked.pitch) == (played.at, played.length, played.pitch)
        assert played.string is not None
        assert played.fret is not None
        assert bass.midi_at(played.string, played.fret) == played.pitch.midi
        assert (played.finger == 0) == (played.fret == 0)
