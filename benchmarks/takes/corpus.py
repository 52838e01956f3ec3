"""The splits: which kinds, sounds, tempos and mistakes, by seed.

`tune` is for building the ear, `report` for telling how good it is, `wider` for asking how it fares
with basses of another make. They share no seed and no sound; `report` has a source that the others
never hear.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from takes import mix
from takes.attack import Samples
from takes.conditions import in_order, under
from takes.hands import hammered, slid, with_ghosts, written
from takes.material import KINDS, STEPWISE, Part, Rng, beat_wholes, make_part
from takes.player import PLANTS, Performance, Played, perform, seconds_per_whole
from takes.recording import Recording
from takes.sources import Sound, sound
from takes.spelling import DROP_TUNINGS, FIVE_STRING, FOUR_STRING, SIX_STRING

SOUNDS = {
    "tune": (
        *("fluid-finger", "freepats-finger", "fluid-slap", "freepats-acoustic"),
        *("csound-acoustic", "csound-finger", "csound-pick", "csound-fretless", "csound-slap"),
        *("freepats-slap", "freepats-nylon", "freepats-jazz", "freepats-clean"),
        *("fluid-nylon", "fluid-steel", "fluid-jazz", "fluid-clean"),
        *("csound-nylon", "csound-steel", "csound-jazz", "csound-clean", "csound-muted"),
    ),
    "wider": tuple(f"modelled-{number}" for number in range(1, 17)),
    "report": ("karoryfer-electric", "fluid-pick", "freepats-pick", "fluid-fretless", "fluid-pop"),
}
KITS = {
    "tune": (
        *("fluid-0", "fluid-8", "fluid-16", "fluid-25"),
        *("pearl-0", "red-0", "freepats-0"),
    ),
    "wider": tuple(f"csound-{program}" for program in (0, 8, 16, 25, 32, 40)),
    "report": ("fluid-24", "fluid-32", "fluid-40", "fluid-48"),
}
"""Drum kits of each split: a bank, and the program as General MIDI numbers it less one."""
FIRST_SEED = {"tune": 1000, "wider": 5000, "report": 9100}
# (sample rate in Hz, channels): mostly small files, some as an interface or a camera gives them
FORMATS = ((22050, 1),) * 7 + ((24000, 1),) * 4 + ((44100, 1), (48000, 1), (22050, 2))
PLANTS_A_TAKE = (3, 4, 5)
HIGHEST_MIDI, HIGHEST_OF_SIX_MIDI = 52, 60
LEVEL = "A"
FALSE_START = "false start"
Card = TypeVar("Card")


@dataclass(frozen=True, slots=True)
class Take:
    """A take: samples, shape (n_samples, n_channels), and the truth about it."""

    name: str
    samples: Samples
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
    conditions: Sequence[str] = (),
    kits: tuple[str, ...] = KITS["tune"],
) -> tuple[Samples, dict[str, Any]]:
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
        Of the player and of the conditions.
    bass
        From `sources.sound`.
    sample_rate_hz, n_channels
        Of the recording; 1 or 2 channels.
    conditions
        Keys of `conditions.CONDITIONS`; none for a dry take.
    kits
        Drum kits that may be heard.

    Returns
    -------
    tuple
        Samples, shape (n_samples, n_channels), and the truth (see benchmarks/takes/README.md).
    """
    rng, around = np.random.default_rng(seed), np.random.default_rng([seed, 1])
    hands = np.random.default_rng([seed, 2])
    usual = FIVE_STRING if min(n["midi"] for n in part["notes"]) < 28 else FOUR_STRING
    open_strings = tuple(part.get("tuning", usual))
    if "other-tempo" in conditions:
        tempo_bpm = round(tempo_bpm * float(around.uniform(0.88, 1.12)), 2)
    off_cents = float(around.choice([-1, 1]) * around.uniform(15, 40))
    performance = perform(
        part,
        tempo_bpm=tempo_bpm,
        plants=plants,
        rng=rng,
        open_strings=open_strings,
        midi_range=(max(open_strings[0], bass.lowest_midi), bass.highest_midi),
        lead_s=lead_s(part, tempo_bpm, conditions, around),
        off_cents=off_cents if "detuned" in conditions else 0.0,
    )
    if "stops-halfway" in conditions:
        performance = broken_off(performance, int(around.integers(3, max(4, len(part["notes"])))))
    if "false-start" in conditions:
        performance = falsely_started(performance, around)
    if "hammered" in conditions:
        performance = hammered(performance, part, hands)
    if "slides" in conditions:
        performance = slid(performance, part, hands)
    if hands.uniform() < 0.5:
        part = written(part, performance.played)
    if "ghosts" in conditions:
        performance = with_ghosts(performance, hands)
    sounding = mix.mixed(performance, bass)
    recording = recorded(sounding, part, tempo_bpm, performance.start_s, kits)
    recording = under(recording, conditions, around)
    peak_dbfs = float(rng.uniform(-14, -6))
    level = mix.levelled(recording.samples, 0.0 if "clipped" in conditions else peak_dbfs)
    samples = mix.in_channels(mix.at_rate(level, sample_rate_hz), n_channels, rng)
    facts = {
        "strings": len(open_strings),
        "sound": bass.name,
        "source": bass.source,
        "preset": bass.preset,
        "seed": seed,
        "sample_rate_hz": sample_rate_hz,
        "n_channels": n_channels,
        "tempo_bpm": tempo_bpm,
        "condition": "+".join(in_order(conditions)) or "dry",
        **recording.facts,
    }
    if "detuned" in conditions:
        facts["tuning_cents"] = round(off_cents, 2)
    return samples, truth_of(part, by_its_clock(performance, recording), facts)


def by_its_clock(performance: Performance, recording: Recording) -> Performance:
    """The performance as the recorder's own clock dates it."""
    ratio = float(recording.facts.get("clock_ratio", 1.0))
    played, ghosts = (
        tuple(
            replace(note, onset_s=note.onset_s / ratio, offset_s=note.offset_s / ratio)
            for note in notes
        )
        for notes in (performance.played, performance.ghosts)
    )
    start_s = performance.start_s / ratio
    return replace(performance, played=played, ghosts=ghosts, start_s=start_s)


def broken_off(performance: Performance, before: int) -> Performance:
    """The performance as far as the asked note `before`, which is not played any more."""
    end_s = min(
        (n.onset_s for n in performance.played if n.asked_index in range(before, before + 3)),
        default=float("inf"),
    )
    return replace(
        performance,
        played=tuple(note for note in performance.played if note.onset_s < end_s),
        missed=tuple(place for place in performance.missed if place < before),
        stopped_before=before,
    )


def falsely_started(performance: Performance, rng: Rng) -> Performance:
    """The performance after its first few notes were played once and given up."""
    count = int(rng.integers(2, 5))
    first = [note for note in performance.played if note.asked_index is not None][:count]
    tried = [replace(note, asked_index=None, plant=FALSE_START) for note in first]
    later_s = first[-1].offset_s - performance.start_s + float(rng.uniform(0.7, 1.8))
    moved = [
        replace(note, onset_s=note.onset_s + later_s, offset_s=note.offset_s + later_s)
        for note in performance.played
    ]
    return replace(performance, played=(*tried, *moved), start_s=performance.start_s + later_s)


def lead_s(part: Part, tempo_bpm: float, conditions: Sequence[str], rng: Rng) -> float:
    """Time before the Part that these conditions need: a count-in, talking, waiting."""
    lead = seconds_per_whole(part, tempo_bpm) * float(Fraction(part["meter"]))
    lead = lead if "click" in conditions else 0.0
    lead = max(lead, float(rng.uniform(3, 6)) if "talking" in conditions else 0.0)
    return max(lead, float(rng.uniform(4, 9)) if "late-start" in conditions else 0.0)


def recorded(
    samples: Samples, part: Part, tempo_bpm: float, start_s: float, kits: tuple[str, ...]
) -> Recording:
    """Samples with the beats of the Part and of the bar before it."""
    beat_s = 60 / tempo_bpm
    beat = beat_wholes(part["meter"])
    end = max(Fraction(n["at"]) + Fraction(n["length"]) for n in part["notes"])
    n_bar = max(1, round(Fraction(part["meter"]) / beat))
    beats_s = tuple(start_s + k * beat_s for k in range(-n_bar, ceil(end / beat)))
    return Recording(samples, beats_s, n_bar, kits)


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
            **by_hand(note),
        }
        for note in performance.played
        if note.plant != FALSE_START
    ]
    tried = [note for note in performance.played if note.plant == FALSE_START]
    if tried:
        facts = {**facts, "false_start_s": [round(note.onset_s, 4) for note in tried]}
    if performance.ghosts:
        facts = {**facts, "ghosts_s": [round(note.onset_s, 6) for note in performance.ghosts]}
    planted = [note for note in performance.played if note.plant not in (None, FALSE_START)]
    return {
        **facts,
        "level": LEVEL,
        "tolerance_ms": performance.tolerance_ms,
        "start_s": round(performance.start_s, 6),
        "plants_left_out": list(performance.left_out),
        "stopped_before": performance.stopped_before,
        "clean": not planted and not performance.missed and performance.stopped_before is None,
        "missed": sorted(performance.missed),
        "played": played,
        "asked": part,
    }


def by_hand(note: Played) -> dict[str, Any]:
    """What the truth says more of a note that was not plucked."""
    hand = note.left_hand
    if hand is None:
        return {}
    slide = {"slide_s": round(hand.glide_s, 4)} if hand.articulation == "slide" else {}
    return {"articulation": hand.articulation, **slide}


def dealt(cards: Sequence[Card], rng: Rng) -> Iterator[Card]:
    """All the cards in random order, again and again."""
    while True:
        for place in rng.permutation(len(cards)):
            yield cards[int(place)]


def takes(
    split: str,
    n_takes: int,
    seed: int,
    download_folder: Path,
    conditions: Sequence[Sequence[str]] = ((),),
    clean: Sequence[bool] = (True, False),
    share: tuple[int, int] = (0, 1),
) -> Iterator[Take]:
    """The takes of a split in order, each made when asked for; half of them clean, or as told.

    With `share` (k, n) only every n-th is made, from the k-th on, the same as among all.

    Kinds, sounds, formats and mistakes are dealt like cards, so that each comes equally often and
    none goes with another; so are the sets of `conditions`, without a say in anything else. The
    first takes do not depend on how many are asked for.
    """
    around = dealt(conditions, np.random.default_rng([seed, 0, 1]))
    dealer = np.random.default_rng([seed, 0])
    kinds, sounds = dealt(list(KINDS), dealer), dealt(SOUNDS[split], dealer)
    formats, cleanly = dealt(FORMATS, dealer), dealt(clean, dealer)
    mistakes, numbers = dealt(PLANTS, dealer), dealt(PLANTS_A_TAKE, dealer)
    for number in range(n_takes):
        n_plants = 0 if next(cleanly) else next(numbers)
        plants = [next(mistakes) for _ in range(n_plants)]
        bass = sound(next(sounds), download_folder)
        rate_hz, n_channels = next(formats)
        kind = next(kinds)
        names = next(around)
        if number % share[1] != share[0]:
            continue
        rng = np.random.default_rng([seed, 1 + number])
        if {"hammered", "slides"} & set(names) and kind not in STEPWISE:
            kind = STEPWISE[number % len(STEPWISE)]
        if "drop" in names and bass.lowest_midi > DROP_TUNINGS[0][0]:
            bass = sound(SOUNDS[split][0], download_folder)
        part = chosen_part(kind, bass, rng, names)
        samples, truth = render_part(
            part,
            plants,
            part["tempo_bpm"],
            seed + number,
            bass,
            sample_rate_hz=rate_hz,
            n_channels=n_channels,
            conditions=names,
            kits=KITS[split],
        )
        slug = re.sub("[^a-z0-9]+", "-", kind)
        how = "" if truth["condition"] == "dry" else f"-{truth['condition']}"
        name = f"{split}-{number:03d}-{slug}-{'clean' if truth['clean'] else 'faulty'}{how}"
        yield Take(name, samples, {"name": name, "split": split, "kind": kind, **truth})


def chosen_part(kind: str, bass: Sound, rng: Rng, conditions: Sequence[str]) -> Part:
    """A Part of a kind for this bass, on four strings or, where it reaches, sometimes five."""
    if "six-string" in conditions:
        return part_at_an_end(kind, bass, rng)
    if "drop" in conditions:
        tuning = DROP_TUNINGS[int(rng.integers(len(DROP_TUNINGS)))]
        return make_part(
            kind,
            rng,
            open_strings=tuning,
            highest_midi=HIGHEST_MIDI,
            target_s=float(rng.uniform(11, 16)),
            reaching=(FOUR_STRING[0] - 1, 0),
            tuned=True,
        )
    five = rng.uniform() < 0.35 and bass.lowest_midi < FOUR_STRING[0]
    return make_part(
        kind,
        rng,
        open_strings=FIVE_STRING if five else FOUR_STRING,
        highest_midi=HIGHEST_MIDI,
        target_s=float(rng.uniform(11, 16)),
    )


def part_at_an_end(kind: str, bass: Sound, rng: Rng) -> Part:
    """A Part for six strings that needs the lowest of them or the highest."""
    low = bass.lowest_midi <= SIX_STRING[0] and rng.uniform() < 0.5
    return make_part(
        kind,
        rng,
        open_strings=SIX_STRING,
        highest_midi=HIGHEST_OF_SIX_MIDI,
        target_s=float(rng.uniform(11, 16)),
        reaching=(FOUR_STRING[0] - 1, 0) if low else (HIGHEST_OF_SIX_MIDI, HIGHEST_MIDI + 1),
        lowest_midi=bass.lowest_midi,
        tuned=True,
    )
