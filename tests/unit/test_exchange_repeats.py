"""The order of bars. Expectations: common practice for repeats, endings, D.C., D.S., coda."""

import pytest

from undersong.errors import ExchangeError
from undersong.exchange.repeats import Road, played_order

_SIGNS = {
    "|:": "opens_repeat",
    ":|": "closes_repeat",
    "segno": "is_segno",
    "coda": "is_coda",
    "dc": "da_capo",
    "ds": "dal_segno",
    "to": "to_coda",
    "fine": "is_fine",
}


def road(text: str) -> Road:
    """``|: 1 :|`` is a bar under ending 1 that opens and closes a repeat; ``-`` a plain one."""
    result = Road()
    for word in text.split():
        if word in _SIGNS:
            setattr(result, _SIGNS[word], True)
        elif word.startswith("x"):
            result.times = int(word[1:])
        elif word != "-":
            result.endings = frozenset(int(each) for each in word.split(","))
    return result


@pytest.mark.parametrize(
    ("bars", "order"),
    [
        ("- / - / -", "abc"),
        ("- / :|", "abab"),
        ("- / |: / :| / -", "abcbcd"),
        ("|: x3 :| / -", "aaab"),
        ("|: / 1 :| / 2 / -", "abacd"),
        ("|: / 1 / 1 :| / 2 / 2 / -", "abcadef"),
        ("|: / 1,2 :| / 3 / -", "ababacd"),
        ("|: / 1 :| / 2 :| / -", "abacd"),
        ("|: / :| / |: / 1 :| / 2", "ababcdce"),
        ("- / fine / dc", "abcab"),
        ("- / segno / fine / ds", "abcdbc"),
        ("- / segno / to / ds / coda / -", "abcdbcef"),
        ("|: / 1 :| / 2 fine / dc", "abacdac"),
        ("|: / :| fine / dc", "ababcab"),
        ("- / dc", "abab"),
        ("ds / -", "aab"),
    ],
)
def test_bars_are_played_in_order(bars: str, order: str) -> None:
    played = played_order([road(text) for text in bars.split("/")])
    assert "".join("abcdefgh"[place] for place in played) == order


def test_no_file_plays_for_ever() -> None:
    with pytest.raises(ExchangeError, match="too many"):
        played_order([road("|: x60 :|")] * 200)
