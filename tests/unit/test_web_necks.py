from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
import soundfile

from undersong.neck.instrument import Instrument
from undersong.neck.shapes import closed_shapes
from undersong.theory.chord import parse_number_chord
from undersong.theory.key import parse_key
from undersong.web.necks import board_of
from web_app import TestClient, demo_client


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with demo_client(tmp_path) as (client, _):
        yield client


def test_a_left_hand_is_mirrored() -> None:
    key, chord = parse_key("G"), parse_number_chord("1")
    right = board_of(Instrument(), key, chord, None)
    left = board_of(replace(Instrument(), left_handed=True), key, chord, None)
    assert right.nut < right.width / 2 < left.nut
    for one, other in zip(right.spots, left.spots, strict=True):
        assert one.midi == other.midi
        assert one.x + other.x == pytest.approx(right.width, abs=0.2)
        assert one.y == other.y


def test_frets_are_spaced_as_on_a_real_neck() -> None:
    board = board_of(Instrument(), parse_key("C"), parse_number_chord("1"), None)
    gaps = [b - a for a, b in zip((board.nut, *board.frets), board.frets, strict=False)]
    # Equal temperament: each gap is 2^(-1/12) of the one before.
    for wide, narrow in pairwise(gaps):
        assert narrow / wide == pytest.approx(2 ** (-1 / 12), rel=0.01)


def test_chord_tones_and_fingers_are_marked() -> None:
    key = parse_key("G")
    shape = closed_shapes(Instrument(), key)[0]
    board = board_of(Instrument(), key, parse_number_chord("4"), shape)
    assert {spot.midi % 12 for spot in board.spots if spot.is_chord_tone} == {0, 4, 7}
    assert {spot.midi % 12 for spot in board.spots if spot.is_root} == {7}
    assert sum(bool(spot.finger) for spot in board.spots) == len(shape.notes)


def test_any_key_degree_tuning_and_hand(client: TestClient) -> None:
    asked = {"key": "F#m", "from": "b3", "tuning": "B0,E1,A1,D2,G2", "hand": "left"}
    text = client.get("/neck", params=asked).text
    assert "F♯m on the neck" in text
    assert "String 5, fret 19" in text
    stale = client.get("/neck", params={"key": "G", "from": "b3", "chord": "nothing"})
    assert stale.status_code == 200


@pytest.mark.parametrize(
    "asked", [{"key": "X"}, {"tuning": "H1"}, {"frets": "999"}, {"frets": "many"}]
)
def test_what_cannot_be_is_said(client: TestClient, asked: dict[str, str]) -> None:
    answer = client.get("/neck", params=asked)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text


def test_a_note_sounds(client: TestClient) -> None:
    samples, rate = soundfile.read(io.BytesIO(client.get("/sound/note/28.flac").content))
    assert abs(samples).max() > 0.05
    assert len(samples) / rate < 3
    assert client.get("/sound/note/127.flac").status_code == 400
