from __future__ import annotations

from fractions import Fraction

import pytest

from undersong.drills.catalogue import make_drill
from undersong.drills.drill import DrillSheet
from undersong.errors import TheoryError, UnplayableError
from undersong.neck.instrument import Instrument, parse_tuning
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Key, parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Part
from undersong.theory.pitch import parse_pitch


def degrees(part: Part) -> str:
    return " ".join(str(stroke.note.degree) for stroke in part.strokes)


def starts(sheet: DrillSheet) -> list[tuple[str, int | None, int | None]]:
    first_at = {note.at: note for note in sheet.part.notes}
    return [
        (mark.name, first_at[mark.at].string, first_at[mark.at].fret)
        for mark in sheet.part.sections
    ]


def test_the_scale_goes_one_octave_up_and_down_in_the_closed_shape() -> None:
    part = make_drill("scale", parse_key("G")).part
    assert degrees(part) == "1 2 3 4 5 6 7 1 7 6 5 4 3 2 1"
    assert [(note.string, note.fret, note.finger) for note in part.notes[:8]] == [
        (4, 3, 2), (4, 5, 4), (3, 2, 1), (3, 3, 2), (3, 5, 4), (2, 2, 1), (2, 4, 3), (2, 5, 4),
    ]  # fmt: skip
    assert part.length == 4
    assert part.tempo_bpm == 70
    assert part.notes[-1].length == Fraction(1, 2)
    assert str(part.notes[0].chord) == "1"


@pytest.mark.parametrize("meter", ["4/4", "3/4", "6/8", "12/8", "2/2", "5/4", "7/8", "2/4"])
def test_bars_are_full_and_the_last_note_is_long(meter: str) -> None:
    part = make_drill("scale", parse_key("C"), meter=parse_meter(meter)).part
    at = Fraction(0)
    for note in part.notes:
        assert note.at == at
        at = note.end
    assert at == part.length
    assert part.length % part.meter.bar == 0
    assert part.strokes[-1].length >= 2 * part.strokes[0].length


def test_the_positions_start_from_1_2_4_5_6_8_up_the_string() -> None:
    sheet = make_drill("positions", parse_key("G"))
    assert starts(sheet) == [
        ("From 1", 4, 3),
        ("From 2", 4, 5),
        ("From 4", 4, 8),
        ("From 5", 4, 10),
        ("From 6", 4, 12),
        ("From 8", 4, 15),
    ]  # check value 50
    assert [mark.at for mark in sheet.part.sections] == [0, 4, 8, 12, 16, 20]
    (remark,) = sheet.remarks
    assert remark.startswith("From the 2: this shape costs five frets instead of four")


def test_where_the_neck_runs_out_it_says_so() -> None:
    sheet = make_drill("positions", parse_key("E"))
    assert starts(sheet)[-1] == ("From 8", 4, 12)
    assert any("the neck runs out on string 3" in remark for remark in sheet.remarks)
    assert any("octave lower" in remark for remark in sheet.remarks)


@pytest.mark.parametrize("tuning", ["standard", "five", "drop d"])
@pytest.mark.parametrize("key", [*MAJOR_KEYS, *MINOR_KEYS], ids=str)
def test_every_key_has_six_starts_in_its_own_notes(key: Key, tuning: str) -> None:
    bass = Instrument(tuning=parse_tuning(tuning))
    sheet = make_drill("positions", key, bass)
    assert len(sheet.part.sections) == 6
    assert {note.pitch.name for note in sheet.part.notes} == set(key.names)
    assert all(note.degree == key.degree_of(note.pitch.name) for note in sheet.part.notes)
    assert all((note.fret or 0) > 0 for note in sheet.part.notes)
    for mark, at in zip(sheet.part.sections, range(0, 24, 4), strict=True):
        assert mark.at == at


def test_left_handers_play_the_same_exercise() -> None:
    left = make_drill("positions", parse_key("D"), Instrument(left_handed=True))
    assert left == make_drill("positions", parse_key("D"))


def test_the_range_is_respected() -> None:
    sheet = make_drill("scale", parse_key("G"), lowest=parse_pitch("A1"))
    assert sheet.part.notes[0].pitch == parse_pitch("G2")
    with pytest.raises(UnplayableError, match="wider range"):
        make_drill("positions", parse_key("G"), highest=parse_pitch("D2"))
    with pytest.raises(TheoryError, match="Nothing lies between"):
        make_drill("scale", parse_key("G"), highest=parse_pitch("C1"))


def test_a_tempo_nobody_can_play_is_refused() -> None:
    with pytest.raises(TheoryError, match="A tempo of 1000"):
        make_drill("scale", parse_key("G"), tempo_bpm=1000)


def test_two_strings_still_have_an_exercise() -> None:
    sheet = make_drill("scale", parse_key("F"), Instrument(tuning=parse_tuning("E1,A1")))
    assert degrees(sheet.part) == "1 2 3 4 5 6 7 1 7 6 5 4 3 2 1"
    assert sheet.remarks


def test_one_string_is_fingered_freely_and_says_so() -> None:
    sheet = make_drill("scale", parse_key("E"), Instrument(tuning=parse_tuning("E1")))
    assert degrees(sheet.part) == "1 2 3 4 5 6 7 1 7 6 5 4 3 2 1"
    assert "fingered freely" in sheet.remarks[0]
