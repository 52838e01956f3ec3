"""Any file: the kind is told by its bytes, else by its name."""

import json
from pathlib import PurePath

import pytest

from exchange_parts import PARTS
from undersong import exchange
from undersong.errors import ExchangeError
from undersong.exchange import midi_bytes, musicxml_bytes, part_to_json, read_part

PART = PARTS["four_four"]
JSON = json.dumps(part_to_json(PART)).encode()


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (JSON, "line.json"),
        (JSON, "a line"),
        (b"\xef\xbb\xbf \n" + JSON, "line.txt"),
        (midi_bytes(PART), "line.MID"),
        (midi_bytes(PART), "line.xml"),
        (musicxml_bytes(PART), "line.musicxml"),
        (musicxml_bytes(PART), "line"),
    ],
)
def test_the_kind_is_told_by_the_bytes(data: bytes, name: str) -> None:
    assert [s.at for s in read_part(data, name).strokes] == [s.at for s in PART.strokes]


@pytest.mark.parametrize(
    ("data", "name", "sentence"),
    [
        (b"Verse\n| 1 | 4 |", "song.txt", "song.txt: this holds no part we can read"),
        (b"", "song", "song: this holds no part we can read"),
        (b"", "song.mid", "song.mid: The MIDI file is empty"),
        (b"not XML", "song.musicxml", "song.musicxml: This XML breaks off or is damaged at line 1"),
        (
            b"not JSON",
            str(PurePath("sets", "song.json")),
            "song.json: This JSON breaks off or is mistyped at line 1",
        ),
    ],
)
def test_what_holds_no_part_is_told_with_the_name(data: bytes, name: str, sentence: str) -> None:
    with pytest.raises(ExchangeError) as caught:
        read_part(data, name)
    assert str(caught.value).startswith(sentence)


def test_the_room_shows_what_it_has_in_order() -> None:
    assert exchange.__all__ == sorted(exchange.__all__)
    assert all(hasattr(exchange, name) for name in exchange.__all__)
