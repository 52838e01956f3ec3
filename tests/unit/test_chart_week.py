"""What the leader asks of a set: keys for a singer, ways from song to song, what is in it."""

import pytest

from undersong.chart.counts import set_counts
from undersong.chart.ranges import by_interval, keys_for_singer
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.chart.transitions import transitions
from undersong.errors import ChartMeaningError
from undersong.theory.interval import parse_interval
from undersong.theory.key import parse_degree
from undersong.theory.pitch import parse_pitch


def song(key: str, bars: str, more: str = "") -> Song:
    return parse_song(f"Title: In {key}\nKey: {key}\nTempo: 72\n{more}\nV\n{bars}\n")


def test_keys_for_a_singer() -> None:
    # The melody spans a tenth, C4 to E5 in C; the singer has A3 to D5: a fourth and a tone lower.
    fits = keys_for_singer(
        song("C", "1 4 5 1", "Range: C4 to E5\n"), parse_pitch("A3"), parse_pitch("D5")
    )
    inside = [str(fit.key) for fit in fits if fit.fits]
    assert set(inside) == {"A", "Bb"}
    assert (fits[0].spare_low, fits[0].spare_high) in {(1, 0), (0, 1)}
    assert [fit.fits for fit in fits] == sorted((fit.fits for fit in fits), reverse=True)
    assert len({fit.key.tonic.pitch_class for fit in fits}) == 12


def test_a_man_sings_it_an_octave_lower() -> None:
    fits = keys_for_singer(
        song("C", "1 4 5 1", "Range: C4 to C5\n"), parse_pitch("C3"), parse_pitch("C4")
    )
    assert (str(fits[0].key), fits[0].semitones) == ("C", -12)
    assert (str(fits[0].low), str(fits[0].high)) == ("C3", "C4")


def test_each_key_says_what_it_asks_of_the_bass() -> None:
    fits = keys_for_singer(
        song("C", "1 4 5 6-", "Range: C4 to C5\n"), parse_pitch("C4"), parse_pitch("C5")
    )
    below = {str(fit.key): fit.bass.below["four-string"] for fit in fits}
    assert (below["C"], below["D"], below["A"]) == (1, 2, 1)  # trade handbook 4.9


@pytest.mark.parametrize(
    ("more", "low", "high", "said"),
    [
        ("", "A3", "D5", "does not say how high"),
        ("Range: C4 to E5\n", "D5", "A3", "no range"),
    ],
)
def test_a_range_that_is_missing_or_upside_down(more: str, low: str, high: str, said: str) -> None:
    with pytest.raises(ChartMeaningError, match=said):
        keys_for_singer(song("C", "1 4", more), parse_pitch(low), parse_pitch(high))


@pytest.mark.parametrize(
    ("key", "interval", "new"),
    # trade handbook 3.5
    [("C", "m2", "Db"), ("D", "m3", "F"), ("E", "M2", "F#"), ("A", "P4", "D"), ("G", "-M2", "F")],
)
def test_moved_by_an_interval(key: str, interval: str, new: str) -> None:
    assert str(by_interval(song(key, "1 4"), parse_interval(interval)).key) == new


def test_from_song_to_song() -> None:
    near, far = transitions([song("G", "1 4 5 1"), song("D", "1 5 1"), song("Eb", "1 4 1")])
    assert (str(near.last), str(near.first)) == ("G", "D")
    assert [str(name) for name in near.shared] == ["D"]
    assert (near.bass_semitones, near.signs_apart, near.link) == (-5, 1, ())
    # trade handbook 2.8: keys a half step apart share no triad; D is two sharps, Eb three flats.
    assert (far.signs_apart, far.common_triads, far.bass_semitones) == (5, 0, 1)
    assert [[str(chord) for chord in bar] for bar in far.link_letters] == [
        ["Fm7"],
        ["Bbsus", "Bb"],
    ]


@pytest.mark.parametrize(
    ("old", "new", "count"),
    # trade handbook 2.8: the last column, triads common to both keys
    [("D", "Eb", 0), ("D", "E", 2), ("D", "F", 0), ("D", "F#", 0), ("D", "G", 4), ("D", "C", 2)],
)
def test_triads_in_common(old: str, new: str, count: int) -> None:
    assert transitions([song(old, "1"), song(new, "1")])[0].common_triads == count


def test_a_key_change_ends_in_the_new_key() -> None:
    before = parse_song("Title: T\nKey: D\nTempo: 72\n\nV\n| 1 |\n-- up 2\n| 1 |\n")
    step = transitions([before, song("A", "1")])[0]
    assert (str(step.last), str(step.key_before)) == ("E", "E")


def test_what_a_set_is_made_of() -> None:
    counts = set_counts([song("G", "1 4 1 5\n1 4 5 1"), song("D", "1 5/7 6- 1")])
    assert counts.moves[parse_degree("1"), parse_degree("4")] == 2
    assert counts.moves[parse_degree("1"), parse_degree("7")] == 1  # 5/7: the bass plays 7
    assert {str(key): bars for key, bars in counts.keys.items()} == {"G": 8, "D": 4}
    assert counts.hard == ()


def test_hard_bars_say_why() -> None:
    text = "| 1 4 5 1 | <<4 | b7! |\n-- up 1\n| 2/4: 1 |\n| 1 |"
    hard = {each.number: each.reasons for each in set_counts([song("G", text)]).hard}
    assert hard[1] == ("4 chords in one bar",)
    assert hard[2] == ("a push",)
    assert hard[3] == ("a stop", "b7 outside the key")
    assert hard[4] == ("the key changes to Ab", "the meter changes to 2/4")
