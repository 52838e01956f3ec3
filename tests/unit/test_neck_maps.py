from __future__ import annotations

import pytest

from undersong.neck.instrument import Instrument, parse_tuning
from undersong.neck.maps import chord_views, key_positions, stitched
from undersong.theory.chord import Role, parse_number_chord
from undersong.theory.key import MAJOR_KEYS, Key, parse_key

BASS = Instrument(frets=24)


@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
def test_three_of_the_positions_hold_the_scale_without_a_gap(key: Key) -> None:
    # Check value 48: lowest fret 1, 6 and 8 below the tonic's fret on the lowest string.
    tonic_fret = (key.tonic.pitch_class - 28) % 12
    gapless = {p.lowest_fret % 12 for p in key_positions(BASS, key) if p.is_gapless}
    assert gapless == {(tonic_fret - below) % 12 for below in (1, 6, 8)}


def test_the_major_position_has_twelve_notes_from_7_to_11() -> None:
    # Check value 47 and trade handbook 4.6.
    (position,) = [p for p in key_positions(BASS, parse_key("G")) if p.lowest_fret == 2]
    assert " ".join(str(n.degree) for n in position.notes) == "7 1 2 3 4 5 6 7 1 2 3 4"
    assert [position.finger(note) for note in position.notes] == [
        1,
        2,
        4,
        1,
        2,
        4,
        1,
        3,
        4,
        1,
        3,
        4,
    ]


def test_positions_are_joined_on_one_string() -> None:
    joints = stitched(BASS, parse_key("G"))
    frets = [(joint.before.lowest_fret, joint.after.lowest_fret) for joint in joints]
    assert frets == [(2, 7), (7, 9), (9, 14), (14, 19), (19, 21)]
    for joint in joints:
        assert joint.leave in joint.before.notes
        assert joint.arrive in joint.after.notes
        assert joint.leave.string == joint.arrive.string
        assert (joint.leave == joint.arrive) == bool(joint.shared)
    overlap = joints[1]
    assert overlap.words == "on string 1: the 6 at fret 9 with finger 3, then with finger 1"
    apart = joints[0]
    assert apart.arrive.fret - apart.leave.fret <= 3
    assert "then the" in apart.words


def test_the_key_from_the_four_chord_shows_its_roles() -> None:
    views = chord_views(BASS, parse_key("G"), parse_number_chord("4"))
    first = views[0]
    assert (str(first.root.pitch), first.root.string, first.root.fret) == ("C2", 3, 3)
    by_place = {(v.note.string, v.note.fret): v for v in first.notes}
    assert by_place[(3, 3)].role is Role.ROOT
    assert by_place[(2, 2)].role is Role.THIRD
    assert by_place[(2, 5)].role is Role.FIFTH
    assert by_place[(3, 5)].role is None
    assert str(by_place[(2, 2)].note.degree) == "6"


def test_a_chord_from_outside_the_key_brings_its_own_notes() -> None:
    views = chord_views(BASS, parse_key("D"), parse_number_chord("3(7)"))
    sharps = {str(v.note.pitch.name) for view in views for v in view.notes if v.role is Role.THIRD}
    assert sharps == {"A#"}  # check value 64


@pytest.mark.parametrize("tuning", ["drop d", "five", "C1,G1,D2,A2", "E1"])
def test_maps_hold_on_any_tuning(tuning: str) -> None:
    bass = Instrument(tuning=parse_tuning(tuning))
    for view in chord_views(bass, parse_key("Eb"), parse_number_chord("5")):
        assert view.root in [each.note for each in view.notes]
        assert all(1 <= each.finger <= 4 for each in view.notes)
    assert len(key_positions(bass, parse_key("Eb"))) == 17
    assert isinstance(stitched(bass, parse_key("Eb")), tuple)
