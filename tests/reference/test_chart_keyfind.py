"""The key found from chords alone, against keys that others wrote.

Sources: the roman-numeral analyses of Bach chorales that music21 10.5 carries (key and chords by
their analysts); songs put together from the tables of common progressions in the trade handbook
2.5 to 2.7 (`benchmarks/chart_keys.py` prints the whole table, with music21's own key analysis
beside it). The shares asserted are the project's aim: 95 in 100 right and 99 in 100 among the
first two, of songs of at least 8 bars and 4 chords that are not asked about.
"""

from itertools import islice

import pytest

from chart_keys import Known, analyses, charts, songs
from undersong.chart.keyfind import find_key
from undersong.errors import ChartMeaningError
from undersong.theory.chord import parse_chord
from undersong.theory.key import Key


def shares(known: list[Known]) -> tuple[int, float, float]:
    """How many were not ambiguous; the shares of them right, and among the first two."""
    sure = [(each, guess) for each in known if not (guess := find_key(each.chords)).is_ambiguous]
    right = sum(_sounds(guess.key) == _sounds(each.key) for each, guess in sure)
    among = sum(
        _sounds(each.key) in (_sounds(guess.key), _sounds(guess.runner_up)) for each, guess in sure
    )
    return len(sure), right / len(sure), among / len(sure)


def _sounds(key: Key) -> tuple[int, str]:
    return key.tonic.pitch_class, key.mode.value


def test_songs_in_all_keys() -> None:
    counted, right, among = shares(list(songs(300, seed=2)))
    assert counted >= 250
    assert right >= 0.95
    assert among >= 0.99


def test_songs_of_another_seed_are_spelled_in_their_key() -> None:
    known = [
        each
        for each in songs(90, seed=5)
        if _sounds(find_key(each.chords).key) == _sounds(each.key)
    ]
    spelled = sum(find_key(each.chords).key == each.key for each in known)
    assert spelled / len(known) >= 0.95


@pytest.mark.parametrize("known", list(charts()), ids=lambda known: known.name)
def test_the_demo_songs(known: Known) -> None:
    assert find_key(known.chords).key == known.key


def test_the_chorales_of_the_corpus() -> None:
    chorales = list(islice(analyses("riemenschneider"), 8))
    assert len(chorales) == 8
    hits = [find_key(each.chords) for each in chorales]
    right = sum(_sounds(g.key) == _sounds(k.key) for k, g in zip(chorales, hits, strict=True))
    among = sum(
        _sounds(k.key) in (_sounds(g.key), _sounds(g.runner_up))
        for k, g in zip(chorales, hits, strict=True)
    )
    assert right >= len(chorales) - 1
    assert among == len(chorales)


@pytest.mark.parametrize("chords", ["C F", "Am G Am G", "G D G D", "Em C"])
def test_a_vamp_of_two_chords_is_asked_about(chords: str) -> None:
    assert find_key([parse_chord(each) for each in chords.split()]).is_ambiguous


def test_first_and_last_chord_tell_a_key_from_its_relative() -> None:
    loop = [parse_chord(each) for each in ["Am", "F", "C", "G"]]
    minor = find_key([*loop, *loop, loop[0]])
    major = find_key([loop[2], *loop, *loop, loop[2]])
    assert (str(minor.key), str(major.key)) == ("Am", "C")
    assert {str(minor.runner_up), str(major.runner_up)} == {"Am", "C"}


def test_no_chords_have_no_key() -> None:
    with pytest.raises(ChartMeaningError, match="no chord"):
        find_key([])
