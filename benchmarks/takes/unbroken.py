"""Notes without a pluck of their own: one string that goes on sounding from note to note.

A hammered or pulled note is the sample of its own pitch from where its pluck is over, weaker than a
plucked one and not much louder than the string was just sounding, with a faint tap of its attack. A
slide is the sample sounding already, played faster or slower, fret by fret on a fretted neck.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from takes.attack import RATE_HZ, Samples
from takes.player import LeftHand, Played
from takes.sources import Sound, Strike, at_places, one_pole

TAIL_S = 1.2
DAMPED_DB = 30.0
TOUCH_HZ = 500.0
HALF_CROSSFADE = round(0.003 * RATE_HZ)
"""A hammered note begins in the middle of a crossfade twice as long."""
SETTLED_S = 0.08
"""From so long after its attack a sample is a string that rings, without its pluck."""
LEVEL_OVER_S, MOST_LOUDER_DB = 0.06, 3.0
TAP_S, TAP_FROM_HZ = 0.012, 400.0
FRET_CHANGE_S = 0.003


def by_pluck(played: Sequence[Played]) -> list[list[Played]]:
    """Each plucked note with the hammered, pulled and slid ones that follow on its string."""
    groups: list[list[Played]] = []
    for note in played:
        if note.left_hand is None:
            groups.append([note])
        else:
            groups[-1].append(note)
    return groups


def by_sample(notes: Sequence[Played]) -> list[list[Played]]:
    """Notes of one pluck, those apart that are hammered or pulled, each with its slides."""
    groups: list[list[Played]] = []
    for note in notes:
        if note.left_hand is None or note.left_hand.articulation != "slide":
            groups.append([note])
        else:
            groups[-1].append(note)
    return groups


def unbroken_sound(notes: Sequence[Played], sound: Sound) -> tuple[Samples, float]:
    """A plucked note and those that follow without a pluck, and the place of its attack."""
    first = notes[0]
    strike = sound.strike(first.midi, first.velocity)
    lead = strike.attack / 2 ** ((first.cents - strike.cents) / 1200)
    out = np.zeros(int(lead + (notes[-1].offset_s - first.onset_s + TAIL_S) * RATE_HZ))
    for part in by_sample(notes):
        at = lead + (part[0].onset_s - first.onset_s) * RATE_HZ
        hand = part[0].left_hand
        strike = sound.strike(part[0].midi, part[0].velocity)
        start = 0 if hand is None else round(at) - HALF_CROSSFADE
        origin = strike.attack + (0.0 if hand is None else SETTLED_S * RATE_HZ)
        is_smooth = "fretless" in sound.name
        samples = gliding(part, strike, origin, start - at, len(out) - start, is_smooth=is_smooth)
        if hand is None:
            n_fade = int(lead)
            samples[:n_fade] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(n_fade) / max(1, n_fade))
        else:
            _taken_over(samples, out, start, hand)
            _tapped(samples[HALF_CROSSFADE:], strike, hand)
        out[start:] += samples
    held = lead + (notes[-1].offset_s - first.onset_s) * RATE_HZ
    beyond_s = np.maximum(0, np.arange(len(out)) - held) / RATE_HZ
    return out * 10 ** (-DAMPED_DB * beyond_s / notes[-1].damping_s / 20), lead


def _taken_over(samples: Samples, out: Samples, start: int, hand: LeftHand) -> None:
    """Bring a hammered note to its level, and let it take over from what sounds in `out`."""
    n_level, n_fade = round(LEVEL_OVER_S * RATE_HZ), 2 * HALF_CROSSFADE
    before = out[max(0, start - n_level) : start]
    own = np.sqrt(np.mean(samples[:n_level] ** 2))
    most = np.sqrt(np.mean(before**2)) * 10 ** (MOST_LOUDER_DB / 20)
    samples *= min(own * 10 ** (-hand.softer_db / 20), most) / max(own, 1e-9)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_fade) + 0.5) / n_fade)
    samples[:n_fade] *= rise
    out[start : start + n_fade] *= rise[::-1]
    out[start + n_fade :] = 0


def _tapped(samples: Samples, strike: Strike, hand: LeftHand) -> None:
    """Add what a finger's fall on the string (or its leaving it) sounds of, from the first on."""
    n_tap = min(round(TAP_S * RATE_HZ), len(samples))
    tap = strike.samples[strike.attack : strike.attack + n_tap]
    tap = tap - one_pole(tap, TAP_FROM_HZ)
    samples[: len(tap)] += 10 ** (-hand.tap_db / 20) * tap * np.linspace(1, 0, len(tap))


def gliding(
    notes: Sequence[Played],
    strike: Strike,
    origin: float,
    first: float,
    n_samples: int,
    *,
    is_smooth: bool,
) -> Samples:
    """One strike whose pitch slides from note to note.

    Parameters
    ----------
    notes
        The first note and those slid to from it.
    origin
        Place in the strike, in samples, that sounds at the first note's onset.
    first, n_samples
        From where on, in samples after the first note's onset, and how many; what is beyond the end
        of the strike is silent.
    is_smooth
        True on a neck without frets.
    """
    after_s = (np.arange(n_samples) + first) / RATE_HZ
    cents = np.full(n_samples, 100 * notes[0].midi + notes[0].cents)
    loss_db = np.zeros(n_samples)
    for before, note in pairwise(notes):
        assert note.left_hand is not None
        n_frets = abs(note.midi - before.midi)
        arrived_s = note.onset_s - notes[0].onset_s
        way = np.clip((after_s - arrived_s) / note.left_hand.glide_s + 1, 0, 1)
        if not is_smooth:
            # from fret to fret in the last `FRET_CHANGE_S` before each is reached
            change = note.left_hand.glide_s / n_frets / FRET_CHANGE_S
            fret = np.floor(way * n_frets)
            way = (fret + np.clip((way * n_frets - fret - 1) * change + 1, 0, 1)) / n_frets
        cents += way * (100 * (note.midi - before.midi) + note.cents - before.cents)
        loss_db += way * note.left_hand.softer_db
    ratio = 2 ** ((cents - 100 * notes[0].midi - strike.cents) / 1200)
    position = origin + first * ratio[0] + np.cumsum(ratio) - ratio[0]
    inside = (position >= 0) & (position < len(strike.samples) - 4)
    out = np.zeros(n_samples)
    out[inside] = at_places(strike.samples, position[inside])
    out = out + notes[0].touch * (out - one_pole(out, TOUCH_HZ))
    faded: Samples = out * 10 ** (-loss_db / 20)
    return faded
