from __future__ import annotations

import pytest

from undersong.drills.catalogue import CATALOGUE, drill_named
from undersong.errors import UndersongError


def test_every_drill_has_its_sentences_and_its_own_name() -> None:
    assert len({drill.name for drill in CATALOGUE}) == len(CATALOGUE)
    for drill in CATALOGUE:
        assert 1 <= drill.level <= 6
        for sentence in (drill.purpose, drill.listen_for, drill.common_mistakes):
            assert sentence[0].isupper()
            assert sentence.endswith(".")
            assert len(sentence) <= 100
        assert drill_named(drill.name) is drill


def test_names_are_read_as_typed() -> None:
    assert drill_named(" Positions ").name == "positions"


def test_a_wrong_name_gets_the_nearest_or_all() -> None:
    with pytest.raises(UndersongError, match="did you mean positions"):
        drill_named("position")
    with pytest.raises(UndersongError, match="there are scale"):
        drill_named("zzz")
