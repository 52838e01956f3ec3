"""How long each note sounds, beside how long it is written.

A note ends where a hand stops it: the level falls at once, much faster than a string dies away by
itself; else where the next stroke begins. What rings on into the next note is not measured.
Sounding over written length is trade handbook T17.

Conventions
-----------
Levels are in dB, `HOP_S` apart; each is over `SPAN_S`, a period of the lowest string.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from undersong.ear.frames import Samples
from undersong.ear.hearing import HeardNote
from undersong.ear.pitch import PITCH_RATE_HZ
from undersong.theory.part import Articulation, Part

Floats = NDArray[np.float64]

HOP_S, SPAN_S = 0.005, 0.03
HOP, SPAN = round(HOP_S * PITCH_RATE_HZ), round(SPAN_S * PITCH_RATE_HZ)
SETTLED_S = 0.06
"""A note is not over before this: its own attack dies away fast as well."""
FALL_DB, FALL_S = 10.0, 0.06
"""A hand stops a string by so much in such a time; by itself a bass string loses about 1 dB."""
BEGUN = 2
"""Hops by which the fall has begun before it is seen, its span being what it is."""
LONGEST_S = 20.0
SHORT = (Articulation.SHORT, Articulation.MUTED, Articulation.GHOST)


def with_lengths(
    notes: tuple[HeardNote, ...], part: Part, string: Samples, ratio: float
) -> tuple[HeardNote, ...]:
    """The notes with their sounding lengths as shares of the written ones.

    Parameters
    ----------
    notes
        In order of time.
    part
        At the tempo asked.
    string
        The take at `PITCH_RATE_HZ`.
    ratio
        Seconds played over seconds asked.
    """
    written_s = {
        stroke.index: ratio
        * (part.tempo_map.seconds_at(stroke.end) - part.tempo_map.seconds_at(stroke.at))
        for stroke in part.strokes
        if stroke.note.articulation not in SHORT
    }
    onset_s = [note.onset_s for note in notes if note.onset_s is not None]
    # Of no notes at all there is one end too many.
    following = dict(zip(onset_s, [*onset_s[1:], np.inf], strict=False))
    out = []
    for note in notes:
        if note.index in written_s and note.onset_s is not None:
            until_s = min(following[note.onset_s], note.onset_s + LONGEST_S)
            share = sounding_s(string, note.onset_s, until_s) / written_s[note.index]
            note = replace(note, length_share=share)
        out.append(note)
    return tuple(out)


def sounding_s(string: Samples, onset_s: float, until_s: float) -> float:
    """Seconds for which a note sounds, at most until the next begins or the take ends."""
    first = round(onset_s * PITCH_RATE_HZ)
    last = min(len(string), first + round(min(until_s - onset_s, LONGEST_S) * PITCH_RATE_HZ))
    longest_s = (last - first) / PITCH_RATE_HZ
    piece = string[first : last + SPAN].astype(np.float64) ** 2
    total = np.concatenate(([0.0], np.cumsum(piece)))
    starts = np.arange(0, max(0, len(piece) - SPAN), HOP)
    level_db = 10 * np.log10((total[starts + SPAN] - total[starts]) / SPAN + 1e-12)
    ahead, settled = round(FALL_S / HOP_S), round(SETTLED_S / HOP_S)
    if len(level_db) <= ahead + settled:
        return longest_s
    fall = level_db[settled:-ahead] - level_db[settled + ahead :]
    falls = np.flatnonzero(fall >= FALL_DB)
    if len(falls) == 0:
        return longest_s
    # The fall begins where the level first leaves what it was, within the time it was seen in.
    seen = int(falls[0]) + settled
    run = level_db[seen : seen + ahead + 1]
    begun = seen + int(np.argmax(run < level_db[seen] - 1.5)) + BEGUN
    return min(longest_s, begun * HOP_S)
