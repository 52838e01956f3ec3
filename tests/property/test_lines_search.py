"""The searches of lines find the optimum of their stated costs: brute force agrees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, product

from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.strategies import DrawFn

from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.lines.figures import Figure, Kind
from undersong.lines.score import score_of
from undersong.lines.search import FRESH, Choice, after, aged, best_line
from undersong.lines.targets import _leap, _ways, chosen_octaves, targets_of
from undersong.lines.walk import Lattice, arrives, best_road, lattice, step_points
from undersong.lines.weights import WEIGHTS
from undersong.neck.instrument import TUNINGS, Instrument, Tuning
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import MAJOR_KEYS, Key

many = settings(max_examples=200, deadline=None)
few = settings(max_examples=60, deadline=None)
CHORDS = ("1", "2-(7)", "3(7)", "4-", "5/7", "5sus", "6-", "b7", "#4dim")
ROADS = ("above", "below", "double")
KINDS = (Kind.PLAIN, Kind.APPROACH, Kind.FILL, Kind.MELODY)


@st.composite
def choices(draw: DrawFn) -> list[Choice]:
    found, bar = [], 0
    for _ in range(draw(st.integers(1, 5))):
        figures = [Figure("plain", Kind.PLAIN, "", (), draw(st.integers(0, 8)) / 4)]
        for place in range(draw(st.integers(0, 4))):
            kind = draw(st.sampled_from(KINDS))
            road = "" if kind is Kind.PLAIN else draw(st.sampled_from(ROADS))
            points = draw(st.integers(-12, 8)) / 4
            figures.append(Figure(f"idea {place}", kind, road, (), points))
        late = {figure.idea: draw(st.integers(0, 2)) / 4 for figure in figures}
        found.append(Choice(bar, draw(st.integers(4, 6)), tuple(figures), late))
        bar += draw(st.integers(0, 3))
    return found


def total_points(offered: list[Choice], line: Sequence[Figure]) -> float | None:
    """The stated cost of a whole line, choice by choice; None where something comes too often."""
    memory, total, bar = FRESH, 0.0, offered[0].bar
    for choice, figure in zip(offered, line, strict=True):
        step = after(aged(memory, choice.bar - bar), figure, choice.level, WEIGHTS)
        if step is None:
            return None
        total += choice.points(figure) + step[0]
        memory, bar = step[1], choice.bar
    return total


@many
@given(choices())
def test_the_line_is_the_cheapest_of_all_lines(offered: list[Choice]) -> None:
    every = [
        points
        for line in product(*(choice.figures for choice in offered))
        if (points := total_points(offered, line)) is not None
    ]
    found = total_points(offered, best_line(offered, WEIGHTS))
    assert found is not None
    assert abs(found - min(every)) < 1e-9


def road_points(
    start: int, goal: int | None, strong: tuple[bool, ...], road: tuple[int, ...], notes: Lattice
) -> float | None:
    """The stated cost of one road, note by note."""
    tones = {midi: is_tone for midi, _, is_tone in notes.notes}
    total, direction, before = 0.0, 0, start
    for midi, is_strong in zip(road, strong, strict=True):
        step = step_points(before, midi, direction, WEIGHTS)
        if step is None:
            return None
        total += step + WEIGHTS.weak_chord_note * (is_strong and not tones[midi])
        direction, before = (midi > before) - (midi < before), midi
    return total if arrives(before, goal, is_tone=tones[before]) else None


@few
@given(
    st.sampled_from(CHORDS),
    st.sampled_from(MAJOR_KEYS),
    st.integers(30, 40),
    st.none() | st.integers(30, 40),
    st.lists(st.booleans(), min_size=1, max_size=4),
    st.sampled_from(("five notes", "the whole scale")),
)
def test_the_road_is_the_cheapest_of_all_roads(
    chord: str, key: Key, start: int, goal: int | None, beats: list[bool], notes_of: str
) -> None:
    number = parse_number_chord(chord)
    notes = lattice(number, key, 29, 41, pentatonic=notes_of == "five notes")
    strong = tuple(beats)
    pitches = [midi for midi, _, _ in notes.notes]
    every = [
        points
        for road in product(pitches, repeat=len(strong))
        if (points := road_points(start, goal, strong, road, notes)) is not None
    ]
    found = best_road(start, goal, strong, notes, WEIGHTS)
    if found is None:
        assert not every
        return
    points = road_points(start, goal, strong, tuple(midi for midi, _ in found), notes)
    assert points is not None
    assert abs(points - min(every)) < 1e-9


@few
@given(
    st.lists(st.sampled_from(("1", "4", "5", "6-", "2-", "5/7", "1/3")), min_size=1, max_size=6),
    st.sampled_from(MAJOR_KEYS),
    st.sampled_from(TUNINGS[:5]),
)
def test_the_octaves_are_the_cheapest_of_all_octaves(
    chords: list[str], key: Key, tuning: Tuning
) -> None:
    song = _song(chords, str(key))
    instrument = Instrument(tuning, frets=15)
    score = score_of(song, None)
    targets = targets_of(song, score.plans, score.chords)
    ways = [_ways(each, score.plans[each.bar], instrument, WEIGHTS) for each in targets]

    def points(road: tuple[tuple[int, float], ...]) -> float:
        total = sum(here for _, here in road)
        for (before, _), (then, _) in pairwise(road):
            total += _leap(before, then, WEIGHTS, starts_section=False)
        return total

    cheapest = min(points(road) for road in product(*ways))
    chosen = chosen_octaves(targets, score.plans, instrument, WEIGHTS)
    taken = tuple(
        next(way for way in options if way[0] == midi)
        for options, midi in zip(ways, chosen, strict=True)
    )
    assert abs(points(taken) - cheapest) < 1e-9


def _song(chords: list[str], key: str) -> Song:
    return parse_song(f"Title: A\nKey: {key}\n| " + " | ".join(chords) + " |\n")


@few
@given(choices(), st.integers(1, 20))
def test_later_bars_shift_nothing(offered: list[Choice], bars: int) -> None:
    moved = [replace(choice, bar=choice.bar + bars) for choice in offered]
    assert best_line(moved, WEIGHTS) == best_line(offered, WEIGHTS)


def test_no_slots_is_an_empty_line() -> None:
    assert best_line([], WEIGHTS) == ()
