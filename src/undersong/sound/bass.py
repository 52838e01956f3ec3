"""The bass player: note events to the sound of plucked strings.

Conventions
-----------
Mono, float32. A full-force note peaks near 0.7. The array of a note starts `lead_s` before its
onset (only slides have a lead), and its first wave arrives within a millisecond of the onset.

Lengths: a plain note is silent by its written end, the finger letting go just before; a held one
lets go at its end; a short one is damped half-way. Hammered notes are struck by the fretting
finger: softer, darker, no noise of a pluck. A slide leaves its note early and arrives on time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from undersong.sound.schedule import NoteEvent
from undersong.sound.strings import FINGERS, Attack, BassSound, Floats, glide, modes_of, ring
from undersong.theory.part import Articulation, Dynamic, Note
from undersong.theory.pitch import SEMITONES_PER_OCTAVE, midi_to_hz

Samples = NDArray[np.float32]

OPEN_MIDI = (23, 28, 33, 38, 43)  # trade handbook 4.1, five strings
DYNAMIC_DB = {
    Dynamic.PP: -20.0,
    Dynamic.P: -14.5,
    Dynamic.MP: -10.0,
    Dynamic.MF: -6.5,
    Dynamic.F: -3.5,
    Dynamic.FF: -1.0,
}
ACCENT_DB = 3.0
HAMMER_DB = -4.0
GHOST_DB = -7.0
SLIDE_DB = -2.0

RISE_S = 0.0008
LET_GO_S = 0.03  # the time a finger takes to stop a string
SHORT_SHARE = 0.5
SHORTEST_S = 0.04
VARIANTS = 4
VARIANT_SEED = 8
VARIANT_MM, VARIANT_DB = 6.0, 0.4

MUTED_DAMPING, MUTED_DAMPING_KHZ = 7.0, 60.0
GHOST_DAMPING, GHOST_DAMPING_KHZ = 55.0, 120.0
NOISE_SEED = 5
NOISE_S = 0.012
NOISE_DB = {Attack.FINGER: -30.0, Attack.PICK: -22.0}
NOISE_BAND_HZ = {Attack.FINGER: (150.0, 1800.0), Attack.PICK: (900.0, 5500.0)}
GHOST_NOISE_DB = 12.0
LEVEL = 0.35  # brings a full-force note's peak near 0.7


@dataclass(frozen=True, slots=True)
class _Touch:
    """One stroke as the string feels it: the key of a sound that can be used again."""

    midi: int
    open_midi: int
    level_db: float
    articulation: Articulation
    variant: int


class Bass:
    """Plays note events, and keeps the sound of each stroke it has made.

    Parameters
    ----------
    sample_rate_hz
        Samples a second.
    sound
        Instrument and hand; None for fingers on a usual bass.
    tuning
        Open strings as MIDI numbers, low to high, for notes that name their string.
    """

    def __init__(
        self,
        sample_rate_hz: int,
        *,
        sound: BassSound | None = None,
        tuning: tuple[int, ...] | None = None,
    ) -> None:
        self._rate_hz = sample_rate_hz
        self._sound = sound or FINGERS
        self._tuning = tuning
        self._made: dict[_Touch, Samples] = {}

    def play(self, events: tuple[NoteEvent, ...], n_samples: int) -> Samples:
        """All notes in their places, shape (n_samples,)."""
        out = np.zeros(n_samples, np.float32)
        for index, event in enumerate(events):
            sound = self.note(event, variant=index % VARIANTS)
            start = round((event.onset_s - event.lead_s) * self._rate_hz)
            skipped, stop = max(0, -start), min(n_samples, start + len(sound))
            out[start + skipped : stop] += sound[skipped : stop - start]
        return out

    def note(self, event: NoteEvent, *, variant: int = 0) -> Samples:
        """The sound of one event, from `lead_s` before its onset to its end.

        Parameters
        ----------
        event
            What is played.
        variant
            0 to 3: strokes that differ a little in touch, as those of a hand do.

        Returns
        -------
        numpy.ndarray
            Shape (n_samples,).
        """
        touch = self._touch(event.note, variant)
        length_s = event.length_s
        if touch.articulation is Articulation.SHORT:
            length_s = max(length_s * SHORT_SHARE, min(length_s, SHORTEST_S))
        let_go_s = min(LET_GO_S, length_s / 2)
        if touch.articulation is Articulation.HELD:
            length_s += let_go_s
        n_samples = max(2, round((length_s + event.lead_s) * self._rate_hz))
        if event.lead_s:
            sound = self._slide(touch, event, n_samples)
        else:
            sound = self._struck(touch, n_samples)
        n_fall = max(1, min(round(let_go_s * self._rate_hz), n_samples))
        fall = 0.5 + 0.5 * np.cos(np.pi * np.arange(1, n_fall + 1) / n_fall)
        sound[-n_fall:] *= fall.astype(np.float32)
        return sound

    def _touch(self, note: Note, variant: int) -> _Touch:
        level_db = DYNAMIC_DB[note.dynamic] + (ACCENT_DB if note.accented else 0.0)
        midi = note.pitch.midi
        return _Touch(midi, self._open_midi(note), level_db, note.articulation, variant)

    def _open_midi(self, note: Note) -> int:
        """The string a note is played on: its own, else the lowest place on the neck."""
        midi = note.pitch.midi
        if self._tuning and note.string is not None and note.string <= len(self._tuning):
            named = self._tuning[-note.string]
            if 0 <= midi - named <= 2 * SEMITONES_PER_OCTAVE:
                return named
        below = [each for each in self._tuning or OPEN_MIDI if each <= midi]
        return max(below, default=midi)

    def _struck(self, touch: _Touch, n_samples: int) -> Samples:
        made = self._made.get(touch)
        if made is None or len(made) < n_samples:
            # Half as much again, so that the next, longer note seldom has to be made anew.
            made = self._stroke(touch, n_samples + n_samples // 2)
            self._made[touch] = made
        return made[:n_samples].copy()

    def _stroke(self, touch: _Touch, n_samples: int) -> Samples:
        rng = np.random.default_rng((VARIANT_SEED, touch.variant))
        off_mm, off_db = rng.uniform(-1, 1, 2) * (VARIANT_MM, VARIANT_DB)
        sound, level_db = self._sound, touch.level_db + off_db
        width = {Articulation.HAMMERED: 2.0, Articulation.GHOST: 1.5}.get(touch.articulation, 1.0)
        sound = BassSound(
            sound.attack, sound.attack_mm + off_mm, sound.pickup_mm, sound.tone_hz / width
        )
        damping, damping_khz, noise_db = 0.0, 0.0, NOISE_DB[sound.attack]
        match touch.articulation:
            case Articulation.MUTED:
                damping, damping_khz = MUTED_DAMPING, MUTED_DAMPING_KHZ
            case Articulation.GHOST:
                damping, damping_khz = GHOST_DAMPING, GHOST_DAMPING_KHZ
                level_db, noise_db = level_db + GHOST_DB, noise_db + GHOST_NOISE_DB
            case Articulation.HAMMERED:
                level_db, noise_db = level_db + HAMMER_DB, noise_db - 6.0
            case _:
                pass
        modes = modes_of(
            midi_to_hz(touch.midi),
            open_midi=touch.open_midi,
            sound=sound,
            level_db=level_db,
            damping=damping,
            damping_khz=damping_khz,
        )
        out = ring(modes, n_samples, self._rate_hz)
        noise = self._noise(sound.attack, touch.variant) * 10 ** ((level_db + noise_db) / 20)
        out[: len(noise)] += noise[:n_samples]
        n_rise = min(n_samples, round(RISE_S * self._rate_hz))
        out[:n_rise] *= np.sin(np.pi / 2 * np.arange(n_rise) / n_rise) ** 2
        return np.asarray(out * LEVEL, dtype=np.float32)

    def _noise(self, attack: Attack, variant: int) -> Floats:
        """Skin or plastic on the string, peak near 1."""
        n_samples = round(NOISE_S * self._rate_hz)
        rng = np.random.default_rng((NOISE_SEED, variant))
        band = butter(2, NOISE_BAND_HZ[attack], "bandpass", fs=self._rate_hz, output="sos")
        noise = sosfilt(band, rng.standard_normal(n_samples))
        fall = np.exp(-5 * np.arange(n_samples) / n_samples) * np.hanning(2 * n_samples)[n_samples:]
        return np.asarray(noise / np.abs(noise).max() * fall)

    def _slide(self, touch: _Touch, event: NoteEvent, n_samples: int) -> Samples:
        """A string that is already sounding, moved from one pitch to the next in `lead_s`."""
        semitones = (event.from_midi or touch.midi) - touch.midi
        modes = modes_of(
            midi_to_hz(touch.midi),
            open_midi=touch.open_midi,
            sound=self._sound,
            level_db=touch.level_db + SLIDE_DB,
        )
        n_lead = round(event.lead_s * self._rate_hz)
        away = np.clip(1 - np.arange(n_samples) / max(1, n_lead), 0, 1)
        away = away * away * (3 - 2 * away)
        out = glide(modes, 2 ** (semitones * away / SEMITONES_PER_OCTAVE), self._rate_hz)
        n_rise = min(n_samples, max(1, round(LET_GO_S / 2 * self._rate_hz)))
        out[:n_rise] *= np.arange(n_rise) / n_rise
        return np.asarray(out * LEVEL, dtype=np.float32)
