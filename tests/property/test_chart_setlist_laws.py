"""Any text is a set, or is refused with the places of its mistakes."""

from contextlib import suppress

from hypothesis import example, given, settings
from hypothesis import strategies as st

from undersong.chart.setlist import parse_set, set_songs
from undersong.errors import ChartErrors

LINES = (
    "[[song]]",
    "[[player]]",
    "[song]",
    'file = "a.txt"',
    'key = "G"',
    'key = "X"',
    "key = 3",
    "tempo = 72",
    "tempo = true",
    "tempo = nan",
    'tempo = "fast"',
    'name = "Iris"',
    "level = 2.5",
    'tuning = "B0 E1 A1 D2 G2"',
    'tuning = "drop d"',
    "frets = 24",
    "date = 2026-11-29",
    "date = 2026-11-29T09:00:00Z",
    "date = 12:00:00",
    "notes = []",
    "song = 1",
    "# a comment",
    "",
)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from(LINES), max_size=14).map("\n".join) | st.text(max_size=200))
@example("a = " + "[" * 2_000)
@example("\ufeff[[song]]\nfile = 'a'")
def test_any_text(text: str) -> None:
    with suppress(ChartErrors):
        setlist = parse_set(text)
        assert setlist.songs
        assert all(1 <= player.level <= 5 for player in setlist.players)
        with suppress(ChartErrors):
            set_songs(setlist, {"a.txt": "Key: G\n| 1 |\n"})
