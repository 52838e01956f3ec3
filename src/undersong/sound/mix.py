"""From parts to one stereo sound: players in their places, levels, loudness, headroom.

Conventions
-----------
Stereo, float32, shape (n_samples, 2). Every mix has the same loudness, `TARGET_LUFS`, and no true
peak above `CEILING_DBTP`. It starts softly: nothing ever begins at full level (trade handbook 9.1).
Stems carry the gain of the whole, so that they add up to it.

References
----------
EBU R 128 has programmes at -23 LUFS and the ceiling at -1 dBTP; ReplayGain 2.0 plays music files at
-18 LUFS. -21 is as loud as a bare click can be made with that headroom.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d

from undersong.errors import AudioError
from undersong.sound.bass import Bass
from undersong.sound.click import click_sound
from undersong.sound.loudness import loudness_lufs, true_peak_db
from undersong.sound.room import in_room
from undersong.sound.schedule import ClickKind, ClickPlan, Schedule, schedule
from undersong.sound.strings import BassSound
from undersong.theory.part import Part, Voice

Samples = NDArray[np.float32]

SAMPLE_RATE_HZ = 44_100
TARGET_LUFS = -21.0
CEILING_DBTP = -1.0
LIMIT_DB = -2.0  # of samples: the wave between them, and lossy files, rise a little above
TAIL_S = 0.8
FADE_OUT_S = 0.3
SOFT_START_DB, SOFT_START_S = -12.0, 1.2
LOUDNESS_ROUNDS = 4
LOUDNESS_NEAR_LU = 0.05
LIMITER_S = 0.05
LIMITER_HOP = 32

CLICK = "click"


@dataclass(frozen=True, slots=True)
class Levels:
    """How loud each player is against the others, in dB; None takes the player out."""

    bass: float | None = 0.0
    click: float | None = -4.0
    drums: float | None = -3.0
    pad: float | None = -10.0

    def of(self, name: str) -> float | None:
        """The level of a player or the click by name."""
        level: float | None = getattr(self, name)
        return level


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a player stands: -1 left to 1 right, and how much of the room is heard, in dB."""

    side: float
    room_db: float


_PLACES = {
    Voice.BASS: _Place(0.0, -20.0),
    Voice.DRUMS: _Place(0.0, -13.0),
    Voice.PAD: _Place(0.0, -12.0),
    CLICK: _Place(0.25, -60.0),
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
    _layers: Mapping[str, Samples] = field(default_factory=dict, repr=False)
    _gain: Samples | None = field(default=None, repr=False)

    @property
    def stem_names(self) -> tuple[str, ...]:
        """Who plays."""
        return tuple(self._layers)

    def stem(self, name: str) -> Samples:
        """One player alone, as loud as in the mix, shape (n_samples, 2)."""
        placed = _placed(name, self._layers[name], self.sample_rate_hz)
        return placed if self._gain is None else placed * self._gain[:, None]


def render_part(
    part: Part,
    *,
    with_parts: tuple[Part, ...] = (),
    tempo_bpm: float | None = None,
    sample_rate_hz: int = SAMPLE_RATE_HZ,
    count_in: bool = True,
    click: ClickPlan | None = ClickPlan(),  # noqa: B008  # a frozen value
    levels: Levels | None = None,
    sound: BassSound | None = None,
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
        The bass; None for fingers on a usual bass.

    Returns
    -------
    Mix
        Stereo, at `TARGET_LUFS`, no true peak above `CEILING_DBTP`.

    Raises
    ------
    AudioError
        If there is nothing to play, it lasts too long, or the parts do not begin together.
    """
    levels = levels or Levels()
    first = schedule(part, tempo_bpm=tempo_bpm, count_in=count_in, click=click)
    others = [
        schedule(each, tempo_bpm=tempo_bpm, count_in=count_in, click=None) for each in with_parts
    ]
    for other, timed in zip(with_parts, others, strict=True):
        if timed.start_s != first.start_s:
            raise AudioError(f"{other.title!r} does not begin together with {part.title!r}.")
    end_s = max(timed.end_s for timed in (first, *others))
    n_samples = round((end_s + TAIL_S) * sample_rate_hz)
    layers: dict[str, Samples] = {}
    for played, timed in zip((part, *with_parts), (first, *others), strict=True):
        level_db = levels.of(played.voice)
        if level_db is not None and timed.notes:
            playing = _play(played, timed, n_samples, sample_rate_hz, sound) * _gain(level_db)
            layers[played.voice] = layers.get(played.voice, np.float32(0)) + playing
    if first.clicks and levels.click is not None:
        layers[CLICK] = _clicks(first, n_samples, sample_rate_hz) * _gain(levels.click)
    if not layers:
        raise AudioError(f"{part.title!r}: everyone is silent; turn the click or a player on.")
    return _finished(layers, sample_rate_hz, first.start_s, end_s)


def _gain(level_db: float) -> np.float32:
    return np.float32(10 ** (level_db / 20))


def _play(
    part: Part, timed: Schedule, n_samples: int, sample_rate_hz: int, sound: BassSound | None
) -> Samples:
    if part.voice is Voice.BASS:
        return Bass(sample_rate_hz, sound=sound, tuning=part.tuning).play(timed.notes, n_samples)
    raise AudioError(f"{part.title!r} is for {part.voice}: only bass parts can be played so far.")


def _clicks(timed: Schedule, n_samples: int, sample_rate_hz: int) -> Samples:
    out = np.zeros(n_samples, np.float32)
    sounds = {kind: click_sound(kind, sample_rate_hz) for kind in ClickKind}
    for event in timed.clicks:
        start = round(event.onset_s * sample_rate_hz)
        end = min(n_samples, start + len(sounds[event.kind]))
        out[start:end] += sounds[event.kind][: end - start]
    return out


def _placed(name: str, layer: Samples, sample_rate_hz: int) -> Samples:
    """A player in stereo, with the room's answer."""
    place = _PLACES[name]
    turn = (place.side + 1) * np.pi / 4
    sides = (np.sqrt(2) * np.array([np.cos(turn), np.sin(turn)])).astype(np.float32)
    stereo: Samples = layer[:, None] * sides if layer.ndim == 1 else layer * sides
    if place.room_db > -60:
        mono = layer if layer.ndim == 1 else layer.mean(axis=1)
        stereo = stereo + in_room(mono * _gain(place.room_db), sample_rate_hz)
    return stereo


def _finished(layers: dict[str, Samples], sample_rate_hz: int, start_s: float, end_s: float) -> Mix:
    """Sum, soft start, fade, loudness and headroom."""
    n_samples = len(next(iter(layers.values())))
    total = np.zeros((n_samples, 2), np.float32)
    for name, layer in layers.items():
        total += _placed(name, layer, sample_rate_hz)
    gain = _fades(n_samples, sample_rate_hz)
    total *= gain[:, None]
    loudness = loudness_lufs(total, sample_rate_hz)
    for _ in range(LOUDNESS_ROUNDS):
        short_lu = TARGET_LUFS - loudness
        if not np.isfinite(loudness) or abs(short_lu) < LOUDNESS_NEAR_LU:
            break
        gain *= _gain(short_lu)
        total *= _gain(short_lu)
        limiting = _limiter_gain(total, LIMIT_DB, sample_rate_hz)
        if limiting is None:
            loudness = TARGET_LUFS
            break
        gain *= limiting
        total *= limiting[:, None]
        loudness = loudness_lufs(total, sample_rate_hz)
    over_db = true_peak_db(total) - CEILING_DBTP
    if over_db > 0:
        gain *= _gain(-over_db)
        total *= _gain(-over_db)
        loudness -= over_db
    return Mix(total, sample_rate_hz, start_s, end_s, loudness, layers, gain)


def _fades(n_samples: int, sample_rate_hz: int) -> Samples:
    """The soft start, and the fade of what still rings at the end; shape (n_samples,)."""
    gain = np.ones(n_samples, np.float32)
    n_start = min(n_samples, round(SOFT_START_S * sample_rate_hz))
    n_end = min(n_samples, round(FADE_OUT_S * sample_rate_hz))
    gain[:n_start] = 10 ** (np.linspace(SOFT_START_DB, 0, n_start) / 20)
    gain[-n_end:] *= np.cos(np.linspace(0, np.pi / 2, n_end)) ** 2
    return gain


def _limiter_gain(sound: Samples, limit_db: float, sample_rate_hz: int) -> Samples | None:
    """A gain that keeps every sample below a limit, moving smoothly and ahead of the peaks.

    What each stretch of samples needs, its lowest within the window around it, smoothed over the
    same window: the smoothed gain is nowhere above what was needed. None where none is needed.
    """
    hop = LIMITER_HOP
    n_samples = len(sound)
    peaks = np.zeros(-(-n_samples // hop) * hop, np.float32)
    np.max(np.abs(sound), axis=1, out=peaks[:n_samples])
    highest = peaks.reshape(-1, hop).max(axis=1)
    limit = 10 ** (limit_db / 20)
    if highest.max() <= limit:
        return None
    needed = limit / np.maximum(highest, limit)
    window = 2 * round(LIMITER_S * sample_rate_hz / hop / 2) + 1
    held = minimum_filter1d(needed, window + 2, mode="nearest")  # 2: for the steps in between
    weights = np.hanning(window + 2)[1:-1]
    smooth = np.convolve(np.pad(held, window // 2, mode="edge"), weights / weights.sum(), "valid")
    places = (np.arange(len(smooth)) + 0.5) * hop
    gain: Samples = np.interp(np.arange(n_samples), places, smooth).astype(np.float32)
    return gain
