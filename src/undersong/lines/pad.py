"""A pad: the chart's chords held, as a Part to practise over.

Each chord is three or four notes around the middle of the piano; the voicings are the cheapest
road through the song. State: one voicing of one chord. Step: the next chord. Cost: how far the
voices move, how far the chord lies from the middle. A move's cost depends on its two ends alone,
so the best road to each voicing goes through the best road to one before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from undersong.chart.roadmap import PlayedChord
from undersong.chart.song import Song
from undersong.lines.feel import Feel
from undersong.lines.groove import EIGHTH
from undersong.lines.plan import BarPlan
from undersong.lines.score import score_of
from undersong.lines.walk import readable
from undersong.theory.chord import NumberChord
from undersong.theory.key import Key
from undersong.theory.part import Articulation, Dynamic, Note, Part, Voice, in_order
from undersong.theory.pitch import Pitch, parse_pitch

LOWEST, HIGHEST = parse_pitch("F3").midi, parse_pitch("E5").midi
MIDDLE = parse_pitch("C4").midi + 2
MOST_VOICES = 4
WIDEST = 16  # semitones from the lowest to the highest voice
_QUIETER = {Dynamic.FF: Dynamic.MF, Dynamic.F: Dynamic.MP, Dynamic.MF: Dynamic.P}

Voicing = tuple[Pitch, ...]
Floats = NDArray[np.float64]


def pad_part(song: Song, *, feel: Feel | None = None) -> Part:
    """Every chord of a song held until the next, voices moving as little as they can.

    Stopped chords are short, silences silent, pushes as early as the chart says. The slash bass
    is left to the bass player.
    """
    score = score_of(song, feel)
    sounding = [chord for chord in score.chords if chord.event.chord is not None]
    keys = [song.counted_in(chord.key) for chord in sounding]
    options = [
        _voicings(chord.event.chord, key)
        for chord, key in zip(sounding, keys, strict=True)
        if chord.event.chord is not None
    ]
    notes: list[Note] = []
    for chord, key, voicing in zip(sounding, keys, _best_road(options), strict=True):
        notes.extend(_struck(chord, key, voicing, score.plans[chord.bar]))
    return score.part(in_order(notes), Voice.PAD)


def _struck(chord: PlayedChord, key: Key, voicing: Voicing, plan: BarPlan) -> list[Note]:
    is_short = chord.event.stopped
    length = min(chord.length, EIGHTH) if is_short else chord.length
    return [
        Note(
            at=chord.at,
            length=length,
            pitch=pitch,
            degree=key.degree_of(pitch.name),
            chord=chord.event.chord,
            articulation=Articulation.SHORT if is_short else Articulation.HELD,
            dynamic=_QUIETER.get(plan.dynamic, plan.dynamic),
            why=f"pad: {chord.event.chord}",
        )
        for pitch in voicing
    ]


@lru_cache(maxsize=1024)
def _voicings(chord: NumberChord, key: Key) -> tuple[Voicing, ...]:
    """Close and open voicings of a chord within the pad's range, every note once.

    Of a chord of more than four notes the fifth goes first, then the root: the bass has it.
    """
    names = [readable(name, chord, key) for _, name in chord.in_key(key).tones]
    while len(names) > MOST_VOICES:
        names.pop(2 if len(names) > MOST_VOICES + 1 else 0)
    choices = [
        [
            name.with_midi(midi)
            for midi in range(LOWEST, HIGHEST + 1)
            if midi % 12 == name.pitch_class
        ]
        for name in names
    ]
    found = []
    for pick in product(*choices):
        voicing = tuple(sorted(pick, key=lambda pitch: pitch.midi))
        if voicing[-1].midi - voicing[0].midi <= WIDEST:
            found.append(voicing)
    return tuple(found)


def _best_road(options: Sequence[tuple[Voicing, ...]]) -> tuple[Voicing, ...]:
    """One voicing of each chord, so that all move least and lie near the middle."""
    if not options:
        return ()
    movements: dict[tuple[int, int], Floats] = {}
    cost = _off_middle(options[0])
    came_from: list[NDArray[np.intp]] = []
    for before, after in pairwise(options):
        # The same chords follow one another again and again, and `_voicings` remembers them.
        pair = id(before), id(after)
        if pair not in movements:
            movements[pair] = _movement(before, after)
        roads = cost + movements[pair]
        came_from.append(roads.argmin(axis=1))
        cost = roads.min(axis=1) + _off_middle(after)
    at = int(cost.argmin())
    road = [options[-1][at]]
    for voicings, places in zip(reversed(options[:-1]), reversed(came_from), strict=True):
        at = int(places[at])
        road.append(voicings[at])
    return tuple(reversed(road))


def _midi(voicings: tuple[Voicing, ...]) -> NDArray[np.intp]:
    """Shape (n_voicings, n_voices)."""
    return np.array([[pitch.midi for pitch in voicing] for voicing in voicings])


def _off_middle(voicings: tuple[Voicing, ...]) -> Floats:
    return np.asarray(np.abs(_midi(voicings) - MIDDLE).mean(axis=1) / 4)


def _movement(before: tuple[Voicing, ...], after: tuple[Voicing, ...]) -> Floats:
    """Semitones the voices move: each note to the nearest of the other chord, both ways.

    Shape (n_after, n_before).
    """
    apart = np.abs(_midi(after)[:, None, :, None] - _midi(before)[None, :, None, :])
    return np.asarray(apart.min(axis=3).sum(axis=2) + apart.min(axis=2).sum(axis=2), float)
