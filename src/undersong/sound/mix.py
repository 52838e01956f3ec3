"""From parts to one stereo sound: players in their places, levels, loudness, headroom.

Conventions
-----------
Stereo, float32, finished as `master` says: equally loud, with headroom, with a soft start. Stems
carry the gain of the whole, so that they add up to it. What is handed out has the shape
(n_samples, 2); inside, each channel is a row of its own, (channels, n_samples): far faster.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from undersong.errors import AudioError
from undersong.sound.bass import Bass
from undersong.sound.click import click_sound, cue_sound
from undersong.sound.drums import Drums
from undersong.sound.layers import Layers
from undersong.sound.loudness import loudness_lufs
from undersong.sound.master import gain_of, mastered
from undersong.sound.pad import Pad
from undersong.sound.room import in_room
from undersong.sound.schedule import PLAIN_CLICK, ClickPlan, Schedule, schedule
from undersong.sound.soundfont import FontPlayer, SoundFont
from undersong.sound.strings import FINGERS, BassSound
from undersong.theory.part import Part, Voice

Samples = NDArray[np.float32]

SAMPLE_RATE_HZ, LOWEST_RATE_HZ = 44_100, 22_050
TAIL_S = 0.8

_STRETCH = 1 << 15

CLICK, CUE = "click", "cue"


@dataclass(frozen=True, slots=True)
class Levels:
    """How loud each player is against a usual band, in dB; None takes the player out.

    `cue` is the call before each section, off unless asked for.
    """

    bass: float | None = 0.0
    click: float | None = 0.0
    drums: float | None = 0.0
    pad: float | None = 0.0
    cue: float | None = None

    def of(self, name: str) -> float | None:
        """The level of a player or the click by name."""
        level: float | None = getattr(self, name)
        return level


BAND = Levels()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a player stands: -1 left to 1 right, and how much of the room is heard, in dB."""

    side: float
    room_db: float | None


BALANCE_LUFS = {Voice.BASS: -24.0, Voice.DRUMS: -26.0, Voice.PAD: -32.0}
CLICK_DB, CUE_DB = -9.0, -22.0
_PLACES = {
    Voice.BASS: _Place(0.0, -20.0),
    Voice.DRUMS: _Place(0.0, -13.0),
    Voice.PAD: _Place(0.0, -12.0),
    CLICK: _Place(0.25, None),
    CUE: _Place(-0.25, -16.0),
}


@dataclass(frozen=True, slots=True)
class Mix:
    """A finished sound.

    Attributes
    ----------
    samples
        Shape (n_samples, 2), float32.
    sample_rate_hz
        Samples a second.
    start_s, end_s
        Where place 0 of the part falls in it, and where its written length ends.
    loudness_lufs
        Integrated loudness.
    """

    samples: Samples
    sample_rate_hz: int
    start_s: float
    end_s: float
    loudness_lufs: float
    _layers: Mapping[str, Samples] = field(repr=False)
    _gain: Samples = field(repr=False)

    @property
    def stem_names(self) -> tuple[str, ...]:
        """Who plays."""
        return tuple(self._layers)

    def stem(self, name: str) -> Samples:
        """One player alone, as loud as in the mix, shape (n_samples, 2)."""
        alone = _together({name: self._layers[name]}, self.sample_rate_hz)
        alone *= self._gain
        return alone.T


def render_part(
    part: Part,
    *,
    with_parts: tuple[Part, ...] = (),
    tempo_bpm: float | None = None,
    sample_rate_hz: int = SAMPLE_RATE_HZ,
    count_in: bool = True,
    click: ClickPlan | None = PLAIN_CLICK,
    levels: Levels = BAND,
    sound: BassSound = FINGERS,
    soundfont: SoundFont | None = None,
    layers: Layers | None = None,
) -> Mix:
    """Play a part, alone or with others.

    Parameters
    ----------
    part
        What is played; its voice says by whom.
    with_parts
        Others that begin with it (drums, pad), at the same tempo.
    tempo_bpm
        The tempo; None for the written one.
    sample_rate_hz
        44100 or 48000 as a rule.
    count_in
        Whether it is counted in.
    click
        The click under the music; None for none.
    levels
        Levels of the players; one whose level is None stays out.
    sound
        Instrument and hand of the bass.
    soundfont
        Whose instruments play; None for our own. The click is always ours.
    layers
        Players already recorded, if several mixes of one song are made.

    Returns
    -------
    Mix
        Stereo, finished.

    Raises
    ------
    AudioError
        If there is nothing to play, it lasts too long, the parts do not begin together, or the
        rate is below 22050.
    """
    if sample_rate_hz < LOWEST_RATE_HZ:
        raise AudioError(f"{sample_rate_hz} samples a second are too few: use 44100 or 48000.")
    first = schedule(part, tempo_bpm=tempo_bpm, count_in=count_in, click=click)
    others = [
        schedule(each, tempo_bpm=tempo_bpm, count_in=count_in, click=None) for each in with_parts
    ]
    for other, timed in zip(with_parts, others, strict=True):
        if timed.start_s != first.start_s:
            raise AudioError(f"{other.title!r} does not begin together with {part.title!r}.")
    end_s = max(timed.end_s for timed in (first, *others))
    n_samples = round((end_s + TAIL_S) * sample_rate_hz)
    kept, hands = layers or Layers(0), (sound, soundfont)
    heard: dict[str, Samples] = {}
    for played, timed in zip((part, *with_parts), (first, *others), strict=True):
        level_db = levels.of(played.voice)
        if level_db is not None and timed.notes:
            recorded = kept.get(
                (played.voice, timed.notes, played.tuning, n_samples, sample_rate_hz, hands),
                partial(_recorded, played, timed, n_samples, sample_rate_hz, *hands),
            )
            playing = recorded * gain_of(level_db) if level_db else recorded
            heard[str(played.voice)] = heard.get(played.voice, np.float32(0)) + playing
    clicks = [(click_sound(e.kind, sample_rate_hz), e.onset_s) for e in first.clicks]
    if clicks and levels.click is not None:
        strokes = _strokes(clicks, n_samples, sample_rate_hz)
        heard[CLICK] = strokes * gain_of(levels.click + CLICK_DB)
    cues = [(cue_sound(e.midi, sample_rate_hz), e.onset_s) for e in first.cues]
    if cues and levels.cue is not None:
        heard[CUE] = _strokes(cues, n_samples, sample_rate_hz) * gain_of(levels.cue + CUE_DB)
    if not heard:
        raise AudioError(f"{part.title!r}: everyone is silent; turn the click or a player on.")
    total = _together(heard, sample_rate_hz)
    gain, loudness = mastered(total, sample_rate_hz)
    return Mix(total.T, sample_rate_hz, first.start_s, end_s, loudness, heard, gain)


def _recorded(
    part: Part,
    timed: Schedule,
    n_samples: int,
    sample_rate_hz: int,
    sound: BassSound,
    soundfont: SoundFont | None,
) -> Samples:
    """A part played, at its player's usual loudness in a band, however softly it is written.

    Loud and soft stay as written inside each part; between parts the balance is the band's.
    """
    player: Bass | Drums | Pad | FontPlayer
    if soundfont is not None:
        player = FontPlayer(soundfont, part.voice, sample_rate_hz, sound=sound)
    elif part.voice is Voice.BASS:
        player = Bass(sample_rate_hz, sound=sound, tuning=part.tuning)
    else:
        player = Drums(sample_rate_hz) if part.voice is Voice.DRUMS else Pad(sample_rate_hz)
    playing = np.atleast_2d(player.play(timed.notes, n_samples).T)
    loudness = loudness_lufs(_mono(playing), sample_rate_hz)
    if np.isfinite(loudness):
        playing *= gain_of(BALANCE_LUFS[part.voice] - loudness)
    return playing


def _strokes(sounds: list[tuple[Samples, float]], n_samples: int, sample_rate_hz: int) -> Samples:
    """Short sounds in their places, shape (1, n_samples)."""
    out = np.zeros((1, n_samples), np.float32)
    for sound, onset_s in sounds:
        start = round(onset_s * sample_rate_hz)
        end = min(n_samples, start + len(sound))
        out[0, start:end] += sound[: end - start]
    return out


def _mono(layer: Samples) -> Samples:
    mono: Samples = layer[0] if len(layer) == 1 else (layer[0] + layer[1]) * np.float32(0.5)
    return mono


def _together(layers: Mapping[str, Samples], sample_rate_hz: int) -> Samples:
    """All players in their places, and one answer of the room to them, shape (2, n_samples)."""
    n_samples = next(iter(layers.values())).shape[1]
    to_room = np.zeros(n_samples, np.float32)
    for name, layer in layers.items():
        room_db = _PLACES[name].room_db
        if room_db is not None:
            for side in layer:
                _add(side, gain_of(room_db) / np.float32(len(layer)), to_room)
    total = in_room(to_room, sample_rate_hz)
    for name, layer in layers.items():
        turn = (_PLACES[name].side + 1) * np.pi / 4
        _add(layer[0], np.float32(np.sqrt(2) * np.cos(turn)), total[0])
        _add(layer[-1], np.float32(np.sqrt(2) * np.sin(turn)), total[1])
    return total


def _add(sound: Samples, share: np.float32, to: Samples) -> None:
    """Add a share of one channel to another, a stretch at a time so that none leaves the cache."""
    for start in range(0, len(to), _STRETCH):
        stop = start + _STRETCH
        to[start:stop] += sound[start:stop] * share
