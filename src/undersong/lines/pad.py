"""A pad: the chart's chords held, as a Part to practise over.

Each chord is three or four notes around the middle of the piano; the voicings are the cheapest
road through the song. State: one voicing of one chord. Step: the next chord. Cost: how far the
voices move, how far the chord lies from the middle. A move's cost depends on its two ends alone,
so the best road to each voicing goes through the best road to one before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import product

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
    best: list[dict[Voicing, tuple[float, Voicing | None]]] = []
    for place, voicings in enumerate(options):
        row: dict[Voicing, tuple[float, Voicing | None]] = {}
        for voicing in voicings:
            here = sum(abs(pitch.midi - MIDDLE) for pitch in voicing) / len(voicing) / 4
            if not place:
                row[voicing] = here, None
                continue
            roads = (
                (cost + here + _movement(before, voicing), before)
                for before, (cost, _) in best[-1].items()
            )
            row[voicing] = min(roads, key=lambda each: each[0])
        best.append(row)
    if not best:
        return ()
    at: Voicing | None = min(best[-1], key=lambda each: best[-1][each][0])
    road: list[Voicing] = []
    for row in reversed(best):
        assert at is not None
        road.append(at)
        at = row[at][1]
    return tuple(reversed(road))


def _movement(before: Voicing, after: Voicing) -> float:
    """Semitones the voices move: each note to the nearest of the other chord, both ways."""
    return float(
        sum(min(abs(a.midi - b.midi) for a in before) for b in after)
        + sum(min(abs(a.midi - b.midi) for b in after) for a in before)
    )
