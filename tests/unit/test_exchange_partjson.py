"""Part JSON: the contract's keys, what is left out, what a mistake is told."""

import json
from fractions import Fraction
from typing import Any

import pytest

from exchange_parts import PARTS
from undersong.errors import ExchangeError
from undersong.exchange import part_from_json, part_to_json

F = Fraction
CONTRACT_NOTE = ["at", "length", "midi", "pitch", "degree", "chord", "string", "fret", "finger"]


def plain(**changes: Any) -> dict[str, Any]:
    """The least a script has to write."""
    note = {"at": "3/8", "length": "1/8", "midi": 43}
    part: dict[str, Any] = {"title": "Try-out", "key": "G", "meter": "4/4", "tempo_bpm": 72}
    return part | {"notes": [note]} | changes


def with_note(**changes: Any) -> dict[str, Any]:
    return plain(notes=[plain()["notes"][0], {"at": "1", "length": "1/4", "midi": 43} | changes])


def test_the_least_there_has_to_be_reads() -> None:
    part = part_from_json(json.dumps(plain()))
    assert (str(part.key), str(part.meter), part.tempo_bpm) == ("G", "4/4", 72.0)
    note = part.notes[0]
    assert (note.at, note.length, str(note.pitch)) == (F(3, 8), F(1, 8), "G2")
    assert (note.degree, note.chord, note.string, note.fret, note.finger) == (None,) * 5
    assert part.length == 1


def test_a_missing_pitch_is_spelled_by_the_key_in_force() -> None:
    lift = {"key": "E", "key_marks": [{"at": "1", "key": "Eb"}]}
    part = part_from_json(with_note(midi=44) | lift)
    assert [str(note.pitch) for note in part.notes] == ["G2", "Ab2"]


def test_the_contract_keys_are_always_there_and_no_others_for_a_plain_part() -> None:
    rows = part_to_json(part_from_json(plain()))
    assert list(rows) == ["title", "key", "meter", "tempo_bpm", "notes"]
    assert isinstance(rows["notes"], list)
    assert list(rows["notes"][0]) == CONTRACT_NOTE


def test_values_are_written_as_the_contract_shows() -> None:
    rows: Any = part_to_json(PARTS["four_four"])
    assert (rows["key"], rows["meter"], rows["tempo_bpm"], rows["pickup"]) == (
        "G",
        "4/4",
        72,
        "1/8",
    )
    slid = {"at": "13/8", "length": "1/4", "midi": 40, "pitch": "E2", "degree": "6", "chord": None}
    place = {"string": 2, "fret": 2, "finger": 2}
    assert slid | place | {"articulation": "slide"} in rows["notes"]
    assert rows["chords"][2] == {"at": "13/8", "number": "5/7"}


def test_notes_in_any_order_are_put_in_order() -> None:
    rows = plain(notes=[{"at": "1", "length": "1/4", "midi": 43}, *plain()["notes"]])
    assert [note.at for note in part_from_json(rows).notes] == [F(3, 8), 1]


def test_keys_of_other_programs_are_passed_over() -> None:
    assert part_from_json(plain(colour="blue")) == part_from_json(plain())


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        (with_note(at=0.5), "note 2: 'at' is 0.5: it has to be an exact fraction"),
        (with_note(at="0.5"), "note 2: 'at' is '0.5': it has to be an exact fraction"),
        (with_note(at="-1/8"), "note 2: 'at' is '-1/8': it has to be a place from the start on"),
        (with_note(at="1/0"), "note 2: 'at' is '1/0'"),
        (with_note(length="0"), "note 2: A note at 1 lasting 0 cannot be played"),
        (with_note(length=None), "note 2: 'length' is missing: it has to be an exact fraction"),
        (with_note(midi=None), "note 2: 'midi' is missing: it has to be a MIDI number"),
        (with_note(midi=True), "note 2: 'midi' is True: it has to be a whole number from 0 to 127"),
        (with_note(midi=128), "note 2: 'midi' is 128"),
        (with_note(pitch="A2"), "'midi' 43 and 'pitch' A2 disagree: A2 is MIDI 45"),
        (with_note(pitch="H2"), "note 2: 'pitch': 'H2' is not a pitch"),
        (with_note(degree="8"), "note 2: 'degree': '8' is not a degree"),
        (with_note(chord="Q"), "note 2: 'chord': 'Q' is not a chord number"),
        (with_note(string=0), "note 2: 'string' is 0: it has to be a whole number from 1 to 12"),
        (with_note(finger=5), "note 2: 'finger' is 5"),
        (with_note(articulation="loud"), "it has to be one of plain, held, short"),
        (with_note(tied="yes"), "note 2: 'tied' is 'yes': it has to be true or false"),
        (with_note(lenght="1/4"), "note 2: 'lenght' is no key of ours: write 'length'"),
        (with_note(at="9999999"), "at most 4000"),
        (with_note(at="1/9999991"), "a fraction of at most"),
        (plain(notes="G2"), "'notes' is 'G2': it has to be a list"),
        (plain(notes=[3]), "note 1: 3 stands alone"),
        (plain(key="H"), "'key': 'H' is not a key"),
        (plain(meter="4/5"), "'meter': 4/5 is not a meter"),
        (plain(tempo_bpm="fast"), "'tempo_bpm' is 'fast': it has to be a number such as 72"),
        (plain(tempo_bpm=float("nan")), "tempo"),
        (plain(tempo_bpm=10**400), "'tempo_bpm'"),
        (plain(tempo_bpm=4000), "A tempo of 4000 cannot be played"),
        (plain(title=None), "'title' is missing: it has to be text in quotes"),
        (plain(pickup="1"), "A pick-up must be shorter than a bar"),
        (plain(tuning="EADG"), "'tuning' is 'EADG': it has to be the MIDI numbers"),
        (plain(swing={"ratio": "9"}), "swing: A swing of 9:1 cannot be played"),
        (plain(chords=[{"at": "0", "number": "H"}]), "chord 1: 'number': 'H' is not a chord"),
        (plain(length="1/8"), "A part cannot end before its last note"),
    ],
)
def test_a_mistake_is_told_with_its_place(rows: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ExchangeError) as caught:
        part_from_json(rows)
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "empty"),
        (b"{", "mistyped at line 1, column 2: save it again"),
        (b"[]", "has to hold title, key, meter, tempo_bpm and notes by name"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"[" * 100_000, "too deep or too long"),
        (b'{"tempo_bpm": ' + b"9" * 5000 + b"}", "too deep or too long"),
        (b" " * 17_000_000, "holds 17 MB"),
    ],
)
def test_bytes_that_are_no_json_are_refused(data: bytes, sentence: str) -> None:
    with pytest.raises(ExchangeError) as caught:
        part_from_json(data)
    assert sentence in str(caught.value)


def test_a_byte_order_mark_does_no_harm() -> None:
    assert part_from_json(b"\xef\xbb\xbf" + json.dumps(plain()).encode()).title == "Try-out"
