"""Tracks to play along to, through the command line's door."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import soundfile

from doors import Undersong
from undersong.cli.track import CLICKS, levels_of
from undersong.errors import UndersongError
from undersong.neck.instrument import Instrument
from undersong.practice.takehome import hard_pair
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Part

CHART = """\
Title: Short Way Home
Key: G
Meter: 4/4
Tempo: 120

Verse
| 1 | 4 |

Chorus
| 5 | 1 |
"""
BAR_S = 2.0
LEAD_S, TAIL_S = 0.25, 0.8


@pytest.fixture
def chart(tmp_path: Path) -> Path:
    path = tmp_path / "short.txt"
    path.write_text(CHART, encoding="utf-8")
    return path


def length_s(bars: float) -> float:
    """Lead-in, one bar of count-in, the music, what rings on."""
    return LEAD_S + (1 + bars) * BAR_S + TAIL_S


@pytest.mark.parametrize(
    ("words", "bars"),
    [
        ((), 4),
        (("--section", "chorus"), 2 * 4),
        (("--bars", "2-3", "--times", "2"), 2 * 2),
        (("--bars", "4", "--times", "1"), 1),
        (("--hard-bars", "--times", "3"), 2 * 3),
        (("--times", "2"), 4 * 2),
        (("--tempo", "60", "--no-count-in"), 7),  # twice as long, and no bar before it
        (("--click", "two-and-four", "--balance", "bass=out", "--balance", "pad=-6"), 4),
        (("--click", "half-time", "--drop-out", "1,1", "--pick"), 4),
        (("--click", "none", "--balance", "calls=0"), 4),
    ],
)
def test_a_track_lasts_as_long_as_what_was_asked(
    undersong: Undersong, chart: Path, tmp_path: Path, words: tuple[str, ...], bars: int
) -> None:
    out = tmp_path / "it.flac"
    said = undersong("track", chart, "--out", out, "--level", "3", *words)
    assert said.status == 0, said.err
    assert soundfile.info(out).duration == pytest.approx(length_s(bars), abs=0.01)


def test_a_climb_is_one_file_by_the_practice_rule(
    undersong: Undersong, chart: Path, tmp_path: Path
) -> None:
    out = tmp_path / "climb.ogg"
    said = undersong("track", chart, "--out", out, "--bars", "1", "--climb", "--json")
    tempos = json.loads(said.out)["tempos"]
    assert tempos == [bpm for bpm in range(70, 121, 5) for _ in range(2)]
    # Two rounds of the bar and a bar of count-in at each tempo (with its eighths, if slow).
    passes_s = sum(LEAD_S + 3 * 240 / bpm + TAIL_S for bpm in tempos)
    assert soundfile.info(out).duration == pytest.approx(passes_s, abs=0.05)


@pytest.mark.parametrize("song_bpm", [40, 52, 66, 72])
def test_a_climb_to_a_slow_song_starts_below_it(
    undersong: Undersong, tmp_path: Path, song_bpm: int
) -> None:
    slow = tmp_path / "slow.txt"
    slow.write_text(f"Title: Low Tide\nKey: D\nTempo: {song_bpm}\n\nVerse\n| 1 | 4 |\n")
    out = tmp_path / "it.ogg"
    tempos = json.loads(
        undersong("track", slow, "--out", out, "--bars", "1", "--climb", "--json").out
    )["tempos"]
    assert tempos[0] == song_bpm * 3 // 4
    assert tempos == sorted(tempos)
    assert tempos[-1] == song_bpm
    assert all(tempos.count(each) == 2 for each in tempos)


def test_stems_lie_in_a_folder_of_their_own(
    undersong: Undersong, chart: Path, tmp_path: Path
) -> None:
    words = ("--out", tmp_path / "it.wav", "--stems", tmp_path / "stems", "--json")
    said = undersong("track", chart, *words)
    stems = [Path(stem) for stem in json.loads(said.out)["stems"]]
    assert [stem.name for stem in stems] == [
        f"it - {who}.wav" for who in ("bass", "drums", "pad", "click")
    ]
    lengths = {soundfile.info(stem).frames for stem in stems}
    assert lengths == {soundfile.info(tmp_path / "it.wav").frames}


@pytest.mark.parametrize(
    ("words", "needle"),
    [
        (("--section", "Bridge"), "Verse, Chorus"),
        (("--bars", "9"), "has bars 1 to 4"),
        (("--bars", "3-2"), "goes backwards"),
        (("--balance", "organ=3"), "bass=out"),
        (("--balance", "bass=loud"), "decibels"),
        (("--drop-out", "0,4"), "write 4,4"),
        (("--times", "0"), "at least once"),
        (("--soundfont", "none.sf2"), "none.sf2"),
        (("--climb", "--tempo", "90"), "cannot both be asked"),
    ],
)
def test_what_cannot_be_played(
    undersong: Undersong, chart: Path, tmp_path: Path, words: tuple[str, ...], needle: str
) -> None:
    out = tmp_path / "it.wav"
    said = undersong("track", chart, "--out", out, *words)
    assert said.status == 2
    assert needle in said.err
    assert not out.exists()


def test_an_ending_that_is_no_sound(undersong: Undersong, chart: Path, tmp_path: Path) -> None:
    said = undersong("track", chart, "--out", tmp_path / "it.txt")
    assert said.status == 2
    assert ".flac" in said.err


def test_the_later_word_about_a_player_wins() -> None:
    levels = levels_of([("bass", None), ("bass", -3.0), ("calls", 0.0)])
    assert (levels.bass, levels.drums, levels.cue) == (-3.0, 0.0, 0.0)


def test_a_silent_line_has_no_hard_bars() -> None:
    with pytest.raises(UndersongError, match="no hard bars"):
        hard_pair(Part("Still", parse_key("G"), FOUR_FOUR, 90.0, ()), Instrument())


def test_the_manual_names_only_what_there_is(undersong: Undersong) -> None:
    manual = (Path(__file__).parents[2] / "docs" / "tracks.md").read_text("utf-8")
    there = undersong("track", "--help").out + undersong("pack", "--help").out
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", manual)) - {"--plots"}
    assert named
    assert not [option for option in named if option not in there]
    for click in CLICKS:
        assert f"`{click}`" in manual
