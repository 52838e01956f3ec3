"""A user's own SoundFont instead of our instruments, where the system has a player for it.

The player is the FluidSynth library by way of `pyfluidsynth`, an optional extra. Each stroke is
sounded alone from the first sample of a block, freed of the silence before its attack, kept, and
put where it belongs: notes fall as exactly on the click as those of our own instruments.

References
----------
SoundFont 2.04 (RIFF form ``sfbk``). Programs and percussion: General MIDI 1. A velocity's level is
the standard's usual curve, 40 dB for a tenth.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from undersong.errors import AudioError
from undersong.sound.drums import level_db_of
from undersong.sound.schedule import NoteEvent
from undersong.sound.strings import FINGERS, Attack, BassSound
from undersong.theory.part import Articulation, Voice

Samples = NDArray[np.float32]

MISSING = (
    "Playing a SoundFont needs the extra library pyfluidsynth and the system's FluidSynth: "
    "install undersong[soundfont] and the system package libfluidsynth, or leave the SoundFont out."
)
DRUM_BANK, DRUM_CHANNEL = 128, 9
FINGER_PROGRAM, PICK_PROGRAM, PAD_PROGRAM = 33, 34, 89  # General MIDI, counted from 0
BLOCK = 64  # samples the library sounds at a time
GAIN = 0.5
RING_S = {Voice.BASS: 0.3, Voice.DRUMS: 3.0, Voice.PAD: 1.0}
SHORT_SHARE = 0.5
GHOST_S = 0.06
ATTACK_SHARE, ATTACK_LEAD_S, LATEST_ATTACK_S = 0.2, 0.0004, 0.03
FULL_SCALE = 2**15


@dataclass(frozen=True, slots=True)
class SoundFont:
    """A SoundFont file; size and time of change tell whether it is still the same one."""

    path: str
    size: int
    changed_ns: int


def open_soundfont(path: Path) -> SoundFont:
    """A SoundFont that can be played.

    Raises
    ------
    AudioError
        If it is missing or no SoundFont, or if this system cannot play one.
    """
    try:
        with path.open("rb") as file:
            head = file.read(12)
        facts = path.stat()
    except OSError as error:
        raise AudioError(f"{path} cannot be read: {error.strerror}.") from None
    if head[:4] != b"RIFF" or head[8:12] != b"sfbk":
        raise AudioError(f"{path.name} is no SoundFont: choose a file ending in .sf2.")
    _library()
    return SoundFont(str(path.resolve()), facts.st_size, facts.st_mtime_ns)


def _library() -> Any:
    try:
        from fluidsynth import Synth
    except ImportError:  # the binding, or the library it binds
        raise AudioError(MISSING) from None
    return Synth


class FontPlayer:
    """Plays note events on one instrument of a SoundFont, and keeps each stroke it has made."""

    def __init__(
        self, font: SoundFont, voice: Voice, sample_rate_hz: int, *, sound: BassSound = FINGERS
    ) -> None:
        self._rate_hz, self._voice = sample_rate_hz, voice
        self._synth = _library()(gain=GAIN, samplerate=float(sample_rate_hz))
        for effect in ("synth.reverb.active", "synth.chorus.active"):
            self._synth.setting(effect, 0)
        number = self._synth.sfload(font.path)
        if number < 0:
            raise AudioError(f"{font.path} starts like a SoundFont but cannot be loaded.")
        self._channel = DRUM_CHANNEL if voice is Voice.DRUMS else 0
        bank = DRUM_BANK if voice is Voice.DRUMS else 0
        bass = PICK_PROGRAM if sound.attack is Attack.PICK else FINGER_PROGRAM
        program = {Voice.BASS: bass, Voice.PAD: PAD_PROGRAM, Voice.DRUMS: 0}[voice]
        if self._synth.program_select(self._channel, number, bank, program) < 0:
            raise AudioError(
                f"{font.path} has no {voice} (program {program + 1} of General MIDI): "
                "choose a General MIDI SoundFont."
            )
        self._made: dict[tuple[int, int, int], Samples] = {}

    def play(self, events: tuple[NoteEvent, ...], n_samples: int) -> Samples:
        """All notes in their places, shape (n_samples, 2)."""
        out = np.zeros((2, n_samples), np.float32)
        for event in events:
            sound = self._stroke(event)
            start = round(event.onset_s * self._rate_hz)
            end = min(n_samples, start + sound.shape[1])
            out[:, start:end] += sound[:, : end - start]
        self._synth.delete()
        return out.T

    def _stroke(self, event: NoteEvent) -> Samples:
        length_s = event.length_s
        match event.note.articulation:
            case Articulation.SHORT | Articulation.MUTED:
                length_s *= SHORT_SHARE
            case Articulation.GHOST:
                length_s = min(length_s, GHOST_S)
            case _:
                pass
        velocity = round(127 * 10 ** (level_db_of(event.note) / 40))
        blocks = max(1, round(length_s * self._rate_hz / BLOCK))
        touch = (event.note.pitch.midi, min(max(velocity, 1), 127), blocks)
        if touch not in self._made:
            self._made[touch] = self._struck(*touch)
        return self._made[touch]

    def _struck(self, midi: int, velocity: int, blocks: int) -> Samples:
        """One stroke, shape (2, n_samples), its attack at the first sample."""
        synth = self._synth
        synth.noteon(self._channel, midi, velocity)
        held = synth.get_samples(blocks * BLOCK)
        synth.noteoff(self._channel, midi)
        ring = synth.get_samples(round(RING_S[self._voice] * self._rate_hz / BLOCK) * BLOCK)
        synth.all_sounds_off(self._channel)
        synth.get_samples(4 * BLOCK)
        played = np.concatenate((held, ring)).astype(np.float32) / np.float32(FULL_SCALE)
        sound: Samples = played.reshape(-1, 2).T
        n_fall = round(0.2 * RING_S[self._voice] * self._rate_hz)
        sound[:, -n_fall:] *= np.linspace(1, 0, n_fall, dtype=np.float32)
        if self._voice is Voice.PAD:  # it swells in: nothing to wait for
            return sound
        first = np.abs(sound[:, : round(LATEST_ATTACK_S * self._rate_hz)]).max(axis=0)
        attack = int(np.argmax(first > ATTACK_SHARE * first.max()))
        return sound[:, max(0, attack - round(ATTACK_LEAD_S * self._rate_hz)) :]
