"""The page for a new player names what is really there."""

from __future__ import annotations

import re
from pathlib import Path

import undersong.web

DOC = Path(__file__).parents[2] / "docs" / "first-ten-minutes.md"
WEB = Path(undersong.web.__file__).parent


def test_every_button_it_names_is_on_a_page() -> None:
    files = [*WEB.glob("templates/*.html"), *WEB.glob("static/*.js"), *WEB.glob("*.py")]
    shown = "\n".join(path.read_text("utf-8") for path in files)
    named = [" ".join(name.split()) for name in re.findall(r"\*\*([^*]+)\*\*", DOC.read_text())]
    assert len(named) > 10
    assert [name for name in named if name not in shown] == []


def test_every_picture_is_there_and_has_words() -> None:
    pictures = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", DOC.read_text("utf-8"))
    assert len(pictures) == 5
    for words, path in pictures:
        assert len(words) > 20
        assert (DOC.parent / path).read_bytes().startswith(b"\x89PNG")
