"""The two splits: which kinds, sounds, tempos and mistakes, by seed.

`tune` is for building the ear, `report` for telling how good it is. They share no seed and no
sound; `report` has a source that `tune` never hears.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from takes import mix
from takes.material import KINDS, Part, Rng, make_part
from takes.player import PLANTS, Performance, perform
from takes.sources import Sound, sound
from takes.spelling import FIVE_STRING, FOUR_STRING

SOUNDS = {
    "tune": ("fluid-finger", "freepats-finger", "fluid-slap", "freepats-acoustic"),
    "report": ("karoryfer-electric", "fluid-pick", "freepats-pick", "fluid-fretless", "fluid-pop"),
}
FIRST_SEED = {"tune": 1000, "report": 9100}
# (sample rate in Hz, channels): mostly small files, some as an interface or a camera gives them
FORMATS = ((22050, 1),) * 7 + ((24000, 1),) * 4 + ((44100, 1), (48000, 1), (22050, 2))
PLANTS_A_TAKE = (3, 4, 5)
HIGHEST_MIDI = 52
LEVEL = "A"
Card = TypeVar("Card")


@dataclass(frozen=True, slots=True)
class Take:
    """A take: samples, shape (n_samples, n_channels), and the truth about it."""

    name: str
    samples: np.ndarray
    truth: dict[str, Any]


def render_part(
    part: Part,
    plants: Sequence[str],
    tempo_bpm: float,
    seed: int,
    bass: Sound,
    *,
    sample_rate_hz: int = 22050,
    n_channels: int = 1,
) -> tuple[np.ndarray, dict[str, Any]]:
    """Play and record any Part.

    Parameters
    ----------
    part
        A Part in the project's JSON form.
    plants
        One entry of `player.PLANTS` for each mistake to plant; empty for a clean take.
    tempo_bpm
        Tempo played, in the meter's own beat.
    seed
        Of the player.
    bass
        From `sources.sound`.
    sample_rate_hz, n_channels
        Of the recording; 1 or 2 channels.

    Returns
    -------
    tuple
        Samples, shape (n_samples, n_channels), and the truth (see benchmarks/takes/README.md).
    """
    rng = np.random.default_rng(seed)
    open_strings = FIVE_STRING if min(n["midi"] for n in part["notes"]) < 28 else FOUR_STRING
    performance = perform(
        part,
        tempo_bpm=tempo_bpm,
        plants=plants,
        rng=rng,
        open_strings=open_strings,
        midi_range=(max(open_strings[0], bass.lowest_midi), bass.highest_midi),
    )
    dry = mix.levelled(mix.mixed(performance, bass), float(rng.uniform(-14, -6)))
    samples = mix.in_channels(mix.at_rate(dry, sample_rate_hz), n_channels, rng)
    facts = {
        "strings": len(open_strings),
        "sound": bass.name,
        "source": bass.source,
        "preset": bass.preset,
        "seed": seed,
        "sample_rate_hz": sample_rate_hz,
        "n_channels": n_channels,
        "tempo_bpm": tempo_bpm,
    }
    return samples, truth_of(part, performance, facts)


def truth_of(part: Part, performance: Performance, facts: dict[str, Any]) -> dict[str, Any]:
    """The truth of a take as plain data."""
    played = [
        {
            "onset_s": round(note.onset_s, 6),
            "offset_s": round(note.offset_s, 6),
            "midi": note.midi,
            "cents": round(note.cents, 2),
            "velocity": note.velocity,
            "asked_index": note.asked_index,
            "plant": note.plant,
            "plant_detail": note.plant_detail,
        }
        for note in performance.played
    ]
    planted = [note for note in performance.played if note.plant is not None]
    return {
        **facts,
        "condition": "dry",
        "level": LEVEL,
        "tolerance_ms": performance.tolerance_ms,
        "start_s": round(performance.start_s, 6),
        "clean": not planted and not performance.missed,
        "missed": sorted(performance.missed),
        "played": played,
        "asked": part,
    }


def dealt(cards: Sequence[Card], rng: Rng) -> Iterator[Card]:
    """All the cards in random order, again and again."""
    while True:
        for place in rng.permutation(len(cards)):
            yield cards[int(place)]


def takes(split: str, n_takes: int, seed: int, download_folder: Path) -> Iterator[Take]:
    """The takes of a split in order, each made when asked for; half of them clean.

    Kinds, sounds, formats and mistakes are dealt like cards, so that each comes equally often and
    none goes with another. The first takes do not depend on how many are asked for.
    """
    dealer = np.random.default_rng([seed, 0])
    kinds, sounds = dealt(list(KINDS), dealer), dealt(SOUNDS[split], dealer)
    formats, clean = dealt(FORMATS, dealer), dealt([True, False], dealer)
    mistakes, numbers = dealt(PLANTS, dealer), dealt(PLANTS_A_TAKE, dealer)
    for number in range(n_takes):
        n_plants = 0 if next(clean) else next(numbers)
        plants = [next(mistakes) for _ in range(n_plants)]
        bass = sound(next(sounds), download_folder)
        rate_hz, n_channels = next(formats)
        kind = next(kinds)
        rng = np.random.default_rng([seed, 1 + number])
        part = chosen_part(kind, bass, rng)
        samples, truth = render_part(
            part,
            plants,
            part["tempo_bpm"],
            seed + number,
            bass,
            sample_rate_hz=rate_hz,
            n_channels=n_channels,
        )
        slug = re.sub("[^a-z0-9]+", "-", kind)
        name = f"{split}-{number:03d}-{slug}-{'clean' if truth['clean'] else 'faulty'}"
        yield Take(name, samples, {"name": name, "split": split, "kind": kind, **truth})


def chosen_part(kind: str, bass: Sound, rng: Rng) -> Part:
    """A Part of a kind for this bass, on four strings or, where it reaches, sometimes five."""
    five = rng.uniform() < 0.35 and bass.lowest_midi < FOUR_STRING[0]
    return make_part(
        kind,
        rng,
        open_strings=FIVE_STRING if five else FOUR_STRING,
        highest_midi=HIGHEST_MIDI,
        target_s=float(rng.uniform(11, 16)),
    )
