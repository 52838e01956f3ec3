"""The main job from end to end, as README's first command does it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import soundfile

from doors import Said, Undersong

README = Path(__file__).parent.parent.parent / "README.md"


@pytest.fixture
def demo(undersong: Undersong, tmp_path: Path) -> tuple[Said, Path]:
    out = tmp_path / "made"
    return undersong("demo", "--out", out), out


def test_the_whole_job(demo: tuple[Said, Path]) -> None:
    said, out = demo
    assert (said.status, said.err) == (0, "")
    assert {path.name for path in out.iterdir()} == {
        "demo-log.sqlite", "pass-1.json", "pass-2.json", "pass-3.json",
        *(f"{name}.{kind}" for name in ("scale", "positions")
          for kind in ("flac", "json", "mid", "musicxml")),
    }  # fmt: skip
    verdicts = [json.loads((out / f"pass-{n}.json").read_text())["clean"] for n in (1, 2, 3)]
    assert verdicts == [True, True, False]
    assert soundfile.info(out / "scale.flac").duration > 15
    assert all(len(line) <= 120 for line in said.out.splitlines())
    # What README shows is what the program says.
    shown = [
        line[4:] for line in README.read_text(encoding="utf-8").splitlines()
        if line.startswith(("    Listening", "      "))
    ]  # fmt: skip
    assert len(shown) > 8
    assert [line for line in shown if line not in said.out.splitlines()] == []


def test_a_folder_that_cannot_be_made(undersong: Undersong, tmp_path: Path) -> None:
    (tmp_path / "made").write_text("a file stands here")
    said = undersong("demo", "--out", tmp_path / "made")
    assert (said.status, said.out) == (2, "")
    assert said.err.count("\n") == 1
