"""The sampled basses: three independent sound sources, each note with its own attack and tuning.

Conventions
-----------
A `Sound` gives single notes as mono float arrays at 44.1 kHz. Sources are found through the Debian
and npm clients by package name; `tests/takes/README.md` has their licences.
"""

import ctypes
import ctypes.util
import struct
import subprocess
import tarfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Protocol

import numpy as np
import soundfile as sf
from scipy.signal import lfilter

from takes.attack import RATE_HZ, Samples, attack_sample, midi_to_hz, tuning_cents

LONGEST_NOTE_S = 9.0
WARNING = 2
"""Fluidsynth's own number for one."""
LEAD_S = 0.003
VELOCITY_STEP = 6


class SourceMissing(RuntimeError):
    """A sound source is not installed; the message names the package."""


class Raw(Protocol):
    """Anything that can sound one note for as long as the string would ring."""

    def raw(self, midi: int, velocity: int) -> Samples:
        """One note at 44.1 kHz."""
        ...


def installed_file(package: str, ending: str) -> Path:
    """The one file of a Debian package whose path ends so."""
    listing = subprocess.run(["dpkg", "-L", package], capture_output=True, text=True, check=False)
    for line in listing.stdout.splitlines():
        if line.endswith(ending):
            return Path(line)
    raise SourceMissing(f"{ending} not found: install the Debian package {package}")


def varispeed(samples: Samples, ratio: float) -> Samples:
    """Play `samples` at `ratio` times their speed (Catmull-Rom interpolation)."""
    n_out = int((len(samples) - 3) / ratio)
    return at_places(samples, np.arange(n_out, dtype=np.float64) * ratio)


def at_places(samples: Samples, position: Samples) -> Samples:
    """The samples at fractional places from 0 to 3 before their end, by Catmull-Rom."""
    whole = np.minimum(position.astype(np.int64), len(samples) - 4)
    t = position - whole
    a, b, c, d = (np.concatenate((samples[:1], samples))[whole + k] for k in range(4))
    curve = 2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)
    out: Samples = b + 0.5 * t * (c - a + t * curve)
    return out


@dataclass(frozen=True, slots=True)
class Zone:
    """One sample of a sampled instrument: samples at `rate_hz`, sounding `root_hz`."""

    samples: Samples
    rate_hz: float
    root_hz: float
    loop: tuple[int, int] | None

    def lengthened(self, n_samples: int) -> Samples:
        """The samples, their loop repeated until there are enough."""
        if self.loop is None or len(self.samples) >= n_samples:
            return self.samples
        start, end = self.loop
        turns = -(-(n_samples - start) // (end - start))
        return np.concatenate((self.samples[:start], np.tile(self.samples[start:end], turns)))


@dataclass(frozen=True, slots=True)
class Sampler:
    """Plays the nearest zone at the right speed; softer notes are darker.

    `fade_db_s` is the fall of the looped part, for patches whose loop would never die away.
    """

    zones: tuple[Zone, ...]
    fade_db_s: float

    def raw(self, midi: int, velocity: int) -> Samples:
        """One note at 44.1 kHz, as long as its sample or `LONGEST_NOTE_S`."""
        hz = midi_to_hz(midi)
        zone = min(self.zones, key=lambda z: abs(np.log2(hz / z.root_hz)))
        ratio = hz / zone.root_hz * zone.rate_hz / RATE_HZ
        sound = varispeed(zone.lengthened(int(LONGEST_NOTE_S * RATE_HZ * ratio) + 8), ratio)
        sound = sound[: int(LONGEST_NOTE_S * RATE_HZ)]
        if zone.loop is not None:
            beyond_s = np.maximum(0, np.arange(len(sound)) - zone.loop[0] / ratio) / RATE_HZ
            sound = sound * 10 ** (-self.fade_db_s * beyond_s / 20)
        loudness = velocity / 127
        played: Samples = loudness**1.6 * one_pole(sound, 900 + 9000 * loudness**2)
        return played


def one_pole(sound: Samples, corner_hz: float) -> Samples:
    """Low-pass of first order, unit gain at 0 Hz."""
    pole = np.exp(-2 * np.pi * corner_hz / RATE_HZ)
    filtered: Samples = lfilter([1 - pole], [1, -pole], sound)
    return filtered


def patch_zones(path: Path) -> Iterator[Zone]:
    """Samples of a Gravis patch file (16-bit signed, little endian)."""
    data = path.read_bytes()
    n_zones = data[198]
    position = 239
    for _ in range(n_zones):
        head = data[position : position + 96]
        n_bytes, loop_start, loop_end = struct.unpack("<III", head[8:20])
        rate_hz, _low, _high, root_mhz = struct.unpack("<HIII", head[20:34])
        position += 96
        samples = np.frombuffer(data[position : position + n_bytes], "<i2") / 32768
        position += n_bytes
        yield Zone(samples, rate_hz, root_mhz / 1000, (loop_start // 2, loop_end // 2))


def npm_zones(package: str, folder: Path) -> Iterator[Zone]:
    """The WAV samples of an npm package, named for their notes (`As1.wav`), without loops."""
    folder.mkdir(parents=True, exist_ok=True)
    if not any(folder.glob(f"{package}-*.tgz")):
        # Whole or not at all: another process may be waiting for the same file.
        with TemporaryDirectory(dir=folder) as apart:
            subprocess.run(["npm", "pack", package], cwd=apart, capture_output=True, check=True)
            (packed,) = Path(apart).glob("*.tgz")
            packed.replace(folder / packed.name)
    archive_path = next(folder.glob(f"{package}-*.tgz"))
    semitones = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    with tarfile.open(archive_path) as archive:
        for member in archive:
            if not member.name.endswith(".wav"):
                continue
            name = Path(member.name).stem
            midi = semitones[name[0]] + ("s" in name) + 12 * (int(name[-1]) + 1)
            samples, rate_hz = sf.read(archive.extractfile(member), always_2d=True)
            yield Zone(samples.mean(axis=1), rate_hz, midi_to_hz(midi), None)


class FluidPreset:
    """One preset of a SoundFont played by the fluidsynth library, reverb and chorus off.

    Every note has a synthesiser of its own: one that has already sounded keeps traces of the last
    note in its filters, and takes could not be remade to the bit.
    """

    def __init__(self, font: Path, bank: int, program: int) -> None:
        name = ctypes.util.find_library("fluidsynth")
        if name is None:
            raise SourceMissing("fluidsynth not found: install the Debian package libfluidsynth3")
        self._library = ctypes.CDLL(name)
        # A font of drums alone lacks nothing: no word of it at every note.
        self._library.fluid_set_log_function(WARNING, None, None)
        for maker in ("new_fluid_settings", "new_fluid_synth"):
            getattr(self._library, maker).restype = ctypes.c_void_p
        self._settings = ctypes.c_void_p(self._library.new_fluid_settings())
        for key, value in (("synth.sample-rate", float(RATE_HZ)), ("synth.gain", 1.0)):
            self._library.fluid_settings_setnum(
                self._settings, key.encode(), ctypes.c_double(value)
            )
        for key in ("synth.reverb.active", "synth.chorus.active"):
            self._library.fluid_settings_setint(self._settings, key.encode(), 0)
        self._library.fluid_settings_setint(self._settings, b"synth.dynamic-sample-loading", 1)
        self._font, self._bank, self._program = str(font).encode(), bank, program

    def raw(self, midi: int, velocity: int) -> Samples:
        """One note at 44.1 kHz, held for `LONGEST_NOTE_S`."""
        synth = ctypes.c_void_p(self._library.new_fluid_synth(self._settings))
        font_id = self._library.fluid_synth_sfload(synth, self._font, 1)
        self._library.fluid_synth_program_select(synth, 0, font_id, self._bank, self._program)
        self._library.fluid_synth_noteon(synth, 0, midi, velocity)
        n_samples = int(LONGEST_NOTE_S * RATE_HZ)
        sides = np.zeros((2, n_samples), np.float32)
        left, right = (side.ctypes.data_as(ctypes.c_void_p) for side in sides)
        self._library.fluid_synth_write_float(synth, n_samples, left, 0, 1, right, 0, 1)
        self._library.delete_fluid_synth(synth)
        middle: Samples = sides.mean(axis=0).astype(np.float64)
        return middle


@dataclass(frozen=True, slots=True)
class Strike:
    """One recorded note: `samples[attack]` is its attack, `cents` its tuning."""

    samples: Samples
    attack: int
    cents: float


@dataclass(slots=True)
class Sound:
    """A bass: a sampled instrument, its range, and what was measured of its notes."""

    name: str
    source: str
    preset: str
    instrument: Raw
    lowest_midi: int
    highest_midi: int
    _strikes: dict[tuple[int, int], Strike] = field(default_factory=dict)
    _gain: float | None = None

    def strike(self, midi: int, velocity: int) -> Strike:
        """A note by pitch and MIDI velocity, at a level that makes all sounds comparable."""
        velocity = round(velocity / VELOCITY_STEP) * VELOCITY_STEP
        key = (midi, velocity)
        if key not in self._strikes:
            self._strikes[key] = self._measured(midi, velocity)
        return self._strikes[key]

    def _measured(self, midi: int, velocity: int) -> Strike:
        samples = self.instrument.raw(midi, velocity)
        attack = attack_sample(samples)
        begin = max(0, attack - round(LEAD_S * RATE_HZ))
        cents = tuning_cents(samples, midi, start_s=attack / RATE_HZ + 0.15)
        return Strike(self._level() * samples[begin:], attack - begin, cents)

    def _level(self) -> float:
        if self._gain is None:
            loud = self.instrument.raw(36, 96)[: RATE_HZ // 2]
            self._gain = float(0.22 / np.sqrt(np.mean(loud**2)))
        return self._gain


@cache
def patch(number_and_name: str, fade_db_s: float) -> Sampler:
    """A bass of the Debian package freepats."""
    path = installed_file("freepats", f"/{number_and_name}.pat")
    return Sampler(tuple(patch_zones(path)), fade_db_s)


FONTS = {
    "fluid": ("fluid-soundfont-gm", "/FluidR3_GM.sf2"),
    "csound": ("csound-soundfont", "/sf2/sf_GMbank.sf2"),
    "pearl": ("avldrums.lv2-soundfont", "/sf2/Black_Pearl_4_LV2.sf2"),
    "red": ("avldrums.lv2-soundfont", "/sf2/Red_Zeppelin_4_LV2.sf2"),
}
"""Debian packages of SoundFonts, and the file in each."""
DRUMS_ALONE = ("pearl", "red")
"""Those with nothing else: their kits are not where General MIDI has its own."""


def bass(font: str, program: int) -> FluidPreset:
    """A bass of a SoundFont, its program as General MIDI numbers it less one."""
    return FluidPreset(installed_file(*FONTS[font]), 0, program)


@dataclass(frozen=True, slots=True)
class PatchKit:
    """The drums of the Debian package freepats, a patch each, numbered as General MIDI has them."""

    def raw(self, midi: int, velocity: int) -> Samples:
        """One stroke at 44.1 kHz."""
        folder = installed_file("freepats", "/036_Kick_2.pat").parent
        (zone, *_) = patch_zones(sorted(folder.glob(f"{midi:03d}_*.pat"))[-1])
        struck: Samples = (velocity / 127) ** 1.6 * varispeed(zone.samples, zone.rate_hz / RATE_HZ)
        return struck


def drum_kit(font: str, program: int) -> Raw:
    """A drum kit of a SoundFont, or the one of FreePats."""
    if font == "freepats":
        return PatchKit()
    return FluidPreset(installed_file(*FONTS[font]), 0 if font in DRUMS_ALONE else 128, program)


BANKS = {
    "fluid": "FluidR3 GM (Debian: fluid-soundfont-gm)",
    "csound": "Csound GM bank (Debian: csound-soundfont)",
}
FREEPATS = "FreePats (Debian: freepats)"
KARORYFER = "Karoryfer bass (npm: tonejs-instrument-bass-electric)"
PROGRAMS = {
    "nylon": 24,
    "steel": 25,
    "jazz": 26,
    "clean": 27,
    "muted": 28,
    "acoustic": 32,
    "finger": 33,
    "pick": 34,
    "fretless": 35,
    "slap": 36,
    "pop": 37,
}
"""Guitars and basses: a guitar's notes, played an octave lower, are those of yet other strings."""
PATCHES = {
    "nylon": "024_Nylon_Guitar",
    "jazz": "026_Jazz_Guitar",
    "clean": "027_Clean_Electric_Guitar",
    "acoustic": "032_Acoustic_Bass",
    "finger": "033_Finger_Bass",
    "pick": "034_Pick_Bass",
    "slap": "036_Slap_Bass_1",
}
LOWEST_MIDI = 23
LOWEST_POPPED_MIDI = 28
HIGHEST_MIDI = 62
PATCH_FADE_DB_S = 9.0


@cache
def sound(name: str, download_folder: Path) -> Sound:
    """A bass: a bank and a kind (`fluid-pick`), `karoryfer-electric` or `modelled-<number>`."""
    maker, _, kind = name.partition("-")
    lowest = LOWEST_POPPED_MIDI if kind == "pop" else LOWEST_MIDI
    instrument: Raw
    if maker in BANKS:
        instrument = bass(maker, PROGRAMS[kind])
        source, named = BANKS[maker], f"program {PROGRAMS[kind]}, {kind}"
    elif maker == "modelled":
        from takes.modelled import Modelled  # the one source that is no recording of a bass

        instrument = Modelled.drawn(int(kind))
        source, named = "undersong.sound.strings", f"drawn with {kind}"
    elif maker == "freepats":
        instrument = patch(PATCHES[kind], PATCH_FADE_DB_S)
        source, named = FREEPATS, PATCHES[kind]
    else:
        zones = tuple(npm_zones("tonejs-instrument-bass-electric", download_folder))
        instrument = Sampler(zones, 0.0)
        source, named = KARORYFER, "electric bass"
    return Sound(name, source, named, instrument, lowest, HIGHEST_MIDI)
