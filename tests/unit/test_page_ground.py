"""Colours: contrast by the formula of WCAG 2.2, and every token of every ground measured."""

from __future__ import annotations

import pytest

from undersong.errors import PageError
from undersong.page.ground import GROUNDS, Ground, Ink, contrast, ground_named

TEXT = 4.5  # WCAG 2.2, success criterion 1.4.3, contrast (minimum)
GRAPHICS = 3.0  # WCAG 2.2, success criterion 1.4.11, non-text contrast


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000000", "#FFFFFF", 21.0),  # the largest there is, by the definition in WCAG 2.2
        ("#FFFFFF", "#FFFFFF", 1.0),  # the smallest
        ("#767676", "#FFFFFF", 4.54),  # the lightest grey that passes on white (widely published)
        ("#777777", "#FFFFFF", 4.48),  # and the next one, which does not
    ],
)
def test_contrast_is_the_published_ratio(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)
    assert contrast(one, other) == contrast(other, one)


@pytest.mark.parametrize("ground", GROUNDS.values(), ids=GROUNDS)
@pytest.mark.parametrize("ink", [Ink.INK, Ink.PENCIL, Ink.MARK])
def test_words_and_lines_stand_out_from_every_ground(ground: Ground, ink: Ink) -> None:
    assert contrast(ground.colour(ink), ground.ground) >= max(TEXT, GRAPHICS)


@pytest.mark.parametrize("ground", GROUNDS.values(), ids=GROUNDS)
def test_a_filled_square_shows_its_figure(ground: Ground) -> None:
    # figures of filled notes are printed in the ground's colour on ink
    assert contrast(ground.colour(Ink.GROUND), ground.colour(Ink.INK)) >= TEXT


def test_the_black_ground_has_no_pure_white() -> None:
    black = GROUNDS["black"]
    assert "#FFFFFF" not in {black.colour(ink) for ink in Ink}


def test_an_unknown_ground_is_named_with_the_choices() -> None:
    with pytest.raises(PageError, match="no ground called sepia: choose print, paper"):
        ground_named("sepia")
