"""Lines against the trade handbook's worked line, cells and tables, and against music21.

Worked line: trade handbook 7.3 (degrees computed; style common practice, no source). Cells: 7.4
(common practice, no source). Altered notes under secondary dominants: 2.7 (computed there).
Melodic statistics: the handbook gives no figures from published method books, so the bounds
below are common practice, no source.
"""

from __future__ import annotations

from fractions import Fraction

import music21
import pytest

from line_charts import TEXTS, chart
from undersong.chart.text import parse_song
from undersong.lines import Feel, write_line
from undersong.lines.groove import groove_for
from undersong.lines.walk import approaches, scale_over
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Part

G = parse_key("G")
F = Fraction


def two_bars(level: int) -> Part:
    """1 to 4 in G, as in 7.3, in the middle of a song so that no ending shapes it."""
    text = "Title: A\nKey: G\nTempo: 80\nChorus\n-- full\n| 1 | 4 | 1 | 4 |\n| 1 |\n"
    return write_line(parse_song(text), level=level).part


def degrees_at(part: Part, bar: int) -> dict[float, str]:
    return {
        float(part.place_of(note.at)[1]): str(note.degree)
        for note in part.notes
        if part.place_of(note.at)[0] == bar
    }


def test_worked_line_level_two_is_eight_roots() -> None:
    assert degrees_at(two_bars(2), 1) == {1 + n / 2: "1" for n in range(8)}
    assert degrees_at(two_bars(2), 2) == {1 + n / 2: "4" for n in range(8)}


def test_worked_line_level_three_is_root_fifth_and_octave() -> None:
    part = two_bars(3)
    assert set(degrees_at(part, 1).values()) <= {"1", "5"}
    assert set(degrees_at(part, 2).values()) <= {"4", "1"}
    assert degrees_at(part, 1)[1.0] == "1"
    assert degrees_at(part, 2)[1.0] == "4"


@pytest.mark.parametrize(
    ("road", "degrees"),
    [
        ("walk", ("2", "3")),  # L4 diatonic: 4: 2, 4.5: 3
        ("below", ("3",)),  # under 4 the semitone below is already in the key
        ("chromatic above", ("b5",)),  # 4.5: b5
        ("double", ("5", "3")),  # L5 double: 4: 5, 4.5: 3
    ],
)
def test_worked_approaches_to_the_four(road: str, degrees: tuple[str, ...]) -> None:
    four = G.name_of(parse_number_chord("4").lowest)
    found = [
        tuple(str(G.degree_of(name)) for name in way.names)
        for way in approaches(four, "the 4", -5, parse_number_chord("1"), G)
        if way.road == road
    ]
    assert degrees in found


def test_the_semitone_below_the_five_is_sharp_four() -> None:
    five = G.name_of(parse_number_chord("5").lowest)
    ways = approaches(five, "the 5", 0, parse_number_chord("1"), G)
    below = next(way for way in ways if way.road == "chromatic below")
    assert str(G.degree_of(below.names[0])) == "#4"


@pytest.mark.parametrize(
    ("feel", "energy", "meter", "unit", "cell"),
    [
        (Feel.STRAIGHT, 3, "4/4", 4, "1 1.5 2 2.5 3 3.5 4 4.5"),
        (Feel.STRAIGHT, 2, "4/4", 4, "1 2.5 3"),  # modern mid-tempo
        (Feel.SIXTEENTHS, 0, "4/4", 4, "1 2.75 3"),  # sixteenth pickup
        (Feel.FLOOR, 2, "4/4", 4, "1 2 3 4"),  # on the beat
        (Feel.HALF_TIME, 1, "4/4", 4, "1 2.5"),
        (Feel.SHUFFLE, 2, "4/4", 4, "1 1.5 3 3.5"),  # 1.67 and 3.67 once swung 2:1
        (Feel.BALLAD_68, 2, "6/8", 8, "1 4 6"),
        (Feel.BALLAD_68, 3, "6/8", 8, "1 2 3 4 5 6"),  # drive
        (Feel.STRAIGHT, 1, "3/4", 4, "1 3"),
    ],
)
def test_the_handbooks_cells_are_the_sections_own(
    feel: Feel, energy: int, meter: str, unit: int, cell: str
) -> None:
    found = groove_for(feel, energy, parse_meter(meter), parse_meter(meter).bar)
    assert found.cells[0] == tuple((F(word) - 1) / unit for word in cell.split())


@pytest.mark.parametrize(
    ("chord", "altered"),
    [
        ("6(7)", {"#1"}),
        ("7(7)", {"#2", "#4"}),
        ("1(7)", {"b7"}),
        ("2(7)", {"#4"}),
        ("3(7)", {"#5"}),
        ("b7", {"b7"}),
        ("4-", {"b6"}),
    ],
)
@pytest.mark.parametrize("key", ["C", "G", "D", "E", "Bb"])
def test_the_scale_of_the_moment_has_the_altered_notes_of_the_table(
    chord: str, altered: set[str], key: str
) -> None:
    tonic = parse_key(key)
    scale = {str(tonic.degree_of(name)) for name in scale_over(parse_number_chord(chord), tonic)}
    assert scale - {str(degree) for degree in tonic.degrees} == altered


# Over 4- it is the harmonic major scale, for which music21 has no class.
@pytest.mark.parametrize("chord", ["2(7)", "b7", "3(7)", "6-", "5"])
def test_the_scale_of_the_moment_is_the_mode_music21_finds(chord: str) -> None:
    """Over these chords the scale's notes are those of a seven-note scale music21 derives."""
    scale = {str(name).replace("b", "-") for name in scale_over(parse_number_chord(chord), G)}
    kinds = (
        music21.scale.MajorScale,
        music21.scale.MelodicMinorScale,
        music21.scale.HarmonicMinorScale,
    )
    derived = [
        {
            pitch.name
            for pitch in kind(tonic).getPitches(
                "C3", "C5", direction=music21.scale.Direction.ASCENDING
            )
        }
        for kind in kinds
        for tonic in ("C", "G", "D", "A", "E", "B", "F", "B-", "F#")
    ]
    assert scale in derived


def test_melodic_statistics_are_a_bass_players() -> None:
    """Common practice, no source: melodic lines walk, steady lines do not leave the chord."""
    steps = {level: [] for level in (3, 4, 5, 6)}  # type: dict[int, list[float]]
    for name in list(TEXTS)[::3]:
        for level in steps:
            report = write_line(chart(name), level=level).report
            steps[level].append(report.step_share)
            assert report.chord_tone_share == 1.0
            assert report.bass_note_share == 1.0
    means = {level: sum(shares) / len(shares) for level, shares in steps.items()}
    assert means[3] < means[4] < means[5] < means[6]
    assert means[6] > 0.5
