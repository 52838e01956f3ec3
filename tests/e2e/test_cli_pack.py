"""`pack` through its door, on the demo set and on sets with something wrong."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import numpy as np
import pyloudnorm  # type: ignore[import-untyped]
import pypdf
import pytest
import soundfile
from scipy.signal import resample_poly

from doors import Undersong

SUNDAY = Path(str(files("undersong") / "demo" / "sunday.toml"))

SMALL = """\
title = "Small Sunday"
date = 2026-11-29

[[song]]
file = "short.txt"
key = "D"
tempo = 80

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
    words = ("--out", tmp_path / "packs", "--tracks", "full", "--tracks", "bass-out")
    made = json.loads(undersong("pack", small, *words, "--json").out)["packs"][0]
    tracks = [Path(track) for track in made["tracks"]]
    assert len(tracks) == 3
    assert all(soundfile.info(track).duration > 5 for track in tracks)
    before = {track: track.stat().st_mtime_ns for track in tracks}
    assert undersong("pack", small, *words).status == 0
    assert {track: track.stat().st_mtime_ns for track in tracks} == before
    small.write_text(SMALL.replace('"D"', '"E"'), encoding="utf-8")
    assert undersong("pack", small, *words).status == 0
    changed = [track for track in tracks if track.stat().st_mtime_ns != before[track]]
    assert len(changed) == len(tracks) - 1  # all but the tuning notes


TWO_SONGS = SMALL.replace(
    "[[player]]", '[[song]]\nfile = "long.txt"\nkey = "A"\ntempo = 75\n\n[[player]]'
)


@pytest.fixture
def two_songs(small: Path) -> Path:
    (small.parent / "long.txt").write_text(SHORT.replace("Short", "Long"), encoding="utf-8")
    small.write_text(TWO_SONGS, encoding="utf-8")
    return small


def test_a_key_changed_on_sunday_morning_remakes_one_song(
    undersong: Undersong, two_songs: Path, tmp_path: Path
) -> None:
    words = ("--out", tmp_path / "packs", "--tracks", "full", "--tracks", "bass-out", "--json")
    made = json.loads(undersong("pack", two_songs, *words).out)["packs"][0]
    before = {Path(track): Path(track).stat().st_mtime_ns for track in made["tracks"]}
    two_songs.write_text(TWO_SONGS.replace('"A"', '"Bb"'), encoding="utf-8")
    again = undersong("pack", two_songs, *words)
    tracks = {Path(track) for track in json.loads(again.out)["packs"][0]["tracks"]}
    changed = {path for path in tracks if before.get(path) != path.stat().st_mtime_ns}
    assert changed == {path for path in tracks if path.name.startswith("02 ")}
    text = "".join(page.extract_text() for page in pypdf.PdfReader(made["pages"]).pages)
    assert "B♭" in text


def test_every_track_is_as_loud_as_the_others(
    undersong: Undersong, small: Path, tmp_path: Path
) -> None:
    made = json.loads(undersong("pack", small, "--out", tmp_path, "--json").out)["packs"][0]
    levels = []
    for track in made["tracks"]:
        sound, rate_hz = soundfile.read(track)
        levels.append(pyloudnorm.Meter(rate_hz).integrated_loudness(sound))
        assert 20 * np.log10(np.abs(resample_poly(sound, 4, 1, axis=0)).max()) <= -1.0
        assert np.abs(sound[: rate_hz // 10]).max() < 0.001
        assert np.abs(sound[-20:]).max() < 0.001
    assert max(levels) - min(levels) < 0.5


def test_tracks_of_a_song_taken_off_the_set_go(
    undersong: Undersong, two_songs: Path, tmp_path: Path
) -> None:
    out = tmp_path / "packs"
    words = ("--out", out, "--tracks", "full", "--files", "flac")
    assert undersong("pack", two_songs, *words).status == 0
    kept = out / "Iris" / "my own notes.txt"
    kept.write_text("louder", encoding="utf-8")
    two_songs.write_text(SMALL, encoding="utf-8")
    assert undersong("pack", two_songs, *words).status == 0
    assert {path.name for path in (out / "Iris").iterdir()} == {
        ".tracks.json",
        "01 Short Way Home.flac",
        "Tuning notes.flac",
        "my own notes.txt",
        "pack.pdf",
    }


def test_only_the_kinds_that_are_asked_for(
    undersong: Undersong, small: Path, tmp_path: Path
) -> None:
    kinds = ("half-time", "hard-bars", "bass-out")
    words = [word for kind in kinds for word in ("--tracks", kind)]
    said = undersong("pack", small, "--out", tmp_path / "packs", "--json", *words)
    names = [Path(track).stem for track in json.loads(said.out)["packs"][0]["tracks"]]
    assert names[:3] == [
        "Tuning notes",
        "01 Short Way Home - click on 1 and 3",
        "01 Short Way Home - bass out",
    ]
    assert names[3:] == ["01 Short Way Home - hard bars, climbing"]


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
