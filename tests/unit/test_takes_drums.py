"""The drums that play along in made takes; skipped where their SoundFont is missing."""

from __future__ import annotations

import ctypes.util
from pathlib import Path

import pytest

from takes.bleed import FULL_VELOCITY, HAT, KICK, SNARE, kit_sound
from takes.corpus import KITS
from takes.survey import low_share

FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")

pytestmark = pytest.mark.skipif(
    not FONT.exists() or ctypes.util.find_library("fluidsynth") is None,
    reason="no SoundFont here: install the Debian packages fluid-soundfont-gm and libfluidsynth3",
)


@pytest.mark.parametrize("kit", KITS["report"])
def test_a_hat_hisses_and_a_kick_thuds(kit: str) -> None:
    """In the orchestra kit a timpano lies on the hat's key: a note, which no hat is.

    A hat has next to nothing below 400 Hz, a kick little else (common practice, no source).
    """
    hat, kick = (kit_sound(kit, piece, FULL_VELOCITY) for piece in (HAT, KICK))
    assert low_share(hat) < 0.1
    assert low_share(kick) > 0.9


@pytest.mark.parametrize("kit", KITS["report"])
def test_every_piece_sounds(kit: str) -> None:
    for piece in (KICK, SNARE, HAT):
        assert abs(kit_sound(kit, piece, FULL_VELOCITY)).max() > 0.01
