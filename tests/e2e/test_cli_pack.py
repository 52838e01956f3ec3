"""`pack` through its door, on the demo set and on sets with something wrong."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import pypdf
import pytest
import soundfile

from doors import Undersong

SUNDAY = Path(str(files("undersong") / "demo" / "sunday.toml"))

SMALL = """\
title = "Small Sunday"
date = 2026-11-29

[[song]]
file = "short.txt"
key = "D"
tempo = 120

[[player]]
name = "Iris"
level = 2
"""
SHORT = "Title: Short Way Home\nKey: G\nMeter: 4/4\nTempo: 100\n\nVerse\n| 1 | 4 | 5 | 1 |\n"


@pytest.fixture
def small(tmp_path: Path) -> Path:
    (tmp_path / "short.txt").write_text(SHORT, encoding="utf-8")
    path = tmp_path / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


def test_pages_of_the_demo_set_for_one_player(undersong: Undersong, tmp_path: Path) -> None:
    said = undersong("pack", SUNDAY, "--out", tmp_path, "--player", "tobias", "--pages-only",
                     "--json")  # fmt: skip
    assert said.status == 0, said.err
    (packed,) = json.loads(said.out)["packs"]
    assert packed["player"] == "Tobias"
    text = "".join(page.extract_text() for page in pypdf.PdfReader(packed["pages"]).pages)
    for title in ("Slow Water, Bright Stone", "Harbour of Plain Wood"):
        assert title in text


def test_tracks_are_made_once(undersong: Undersong, small: Path, tmp_path: Path) -> None:
    out = tmp_path / "packs"
    made = json.loads(undersong("pack", small, "--out", out, "--json").out)["packs"][0]
    tracks = [Path(track) for track in made["tracks"]]
    assert len(tracks) >= 5
    assert all(soundfile.info(track).duration > 5 for track in tracks)
    before = {track: track.stat().st_mtime_ns for track in tracks}
    assert undersong("pack", small, "--out", out).status == 0
    assert {track: track.stat().st_mtime_ns for track in tracks} == before
    small.write_text(SMALL.replace('"D"', '"E"'), encoding="utf-8")
    assert undersong("pack", small, "--out", out).status == 0
    changed = [track for track in tracks if track.stat().st_mtime_ns != before[track]]
    assert len(changed) == len(tracks) - 1  # all but the tuning notes


@pytest.mark.parametrize(
    ("old", "new", "needle"),
    [("short.txt", "gone.txt", "gone.txt"), ('"D"', '"H"', "H"), ("[[player]]", "[[nobody]]", ""),
     ("title", "title =", "")],
)  # fmt: skip
def test_a_set_with_something_wrong(
    undersong: Undersong, small: Path, tmp_path: Path, old: str, new: str, needle: str
) -> None:
    small.write_text(SMALL.replace(old, new), encoding="utf-8")
    out = tmp_path / "packs"
    said = undersong("pack", small, "--out", out)
    assert said.status == 2
    assert needle in said.err
    assert "Traceback" not in said.err
    assert not out.exists()


def test_a_player_who_is_not_on_the_rota(undersong: Undersong, small: Path, tmp_path: Path) -> None:
    said = undersong("pack", small, "--out", tmp_path / "packs", "--player", "Nobody")
    assert said.status == 2
    assert "Iris" in said.err
