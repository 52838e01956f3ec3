"""Is there a click in this recording, and where? Then it is the time to judge by, and no note.

A click is the one thing in a take that repeats itself exactly: the same wave, at distances equal to
a fraction of a millisecond. A player does neither. So every attack is compared with those about one
or two beats later; pairs that are alike vote for the beat they would mean; from the likeliest pair
the comb is followed both ways. It is believed only where it sounds by itself often enough (in a
count-in, in rests, over long notes): otherwise an even player could be taken for a click.

Other sounds on the same comb (the accented beat, subdivisions) are learnt once the comb is known.
Each sound's wave is then averaged over all its strokes, which leaves the bass out, and subtracted.

Conventions
-----------
Times are where `attack` would date the attack of the click, so they compare with notes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from undersong.ear.frames import RATE_HZ, Samples

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

FROM_HZ = 900.0
"""Bass guitars are weak and clicks are strong from here up."""
_HIGH = butter(4, FROM_HZ, "highpass", fs=RATE_HZ, output="sos")
LEARNT_OVER_S = 60.0
LEAST_RISE = 0.7
LEAD, CORE, REACH = 16, 192, 24
"""Samples of a stroke before its attack, in all, and of play either way when two are compared."""
CLOSE = 2.0
CLOSE_S, COMB_TURNS = 0.0005, 3
N_FFT = 512
FAINT_SHARE = 0.03
ALIKE = 0.8
NEARLY_ALIKE = 0.6
LIKE_ENOUGH = 0.45
"""For a stroke exactly where the comb, once known, has one."""
TEMPO_REACH = 0.15
"""A click's tempo may differ so much from the tempo asked."""
APART_BEATS = (1, 2)
VOTE_S = 0.0008
ON_COMB_S = 0.001
NEAR_COMB_S = 0.0025
BARE_RISE = 0.35
BODY_S, QUIET_SHARE = (0.03, 0.07), 0.03
"""Between these a click has died and a string has not."""
LEAST_HITS, LEAST_BARE = 4, 2
MANY_HITS = 8
FEW_HITS, LEAST_BARE_SHARE, NEIGHBOURHOOD_S = 6, 0.33, 0.025
"""Such a share of the bare sounds near the comb must be on it; of few strokes, twice the share."""
MOST_OFF_S = 0.0001
"""What the strokes of a click lie off their comb, in the median; a drummer's lie further."""
PARTS_OF_BEAT = (0.0, 0.25, 1 / 3, 0.5, 2 / 3, 0.75)
LEAST_STROKES = 3
MOST_SEEDS = 8
MOST_SOUNDS = 4


@dataclass(frozen=True, slots=True)
class Comb:
    """Equal distances: beat k falls at `start_s + k * period_s`."""

    start_s: float
    period_s: float

    def off_s(self, at_s: Floats, part_of_beat: float = 0.0) -> Floats:
        """How far each time lies from the nearest place of the comb, moved by part of a beat."""
        beats = (at_s - self.start_s) / self.period_s - part_of_beat
        return np.asarray((beats - np.round(beats)) * self.period_s)


@dataclass(frozen=True, slots=True)
class Strokes:
    """Attacks as they are compared with one another.

    Attributes
    ----------
    at
        Shape (n,): sample at which each attack is dated.
    core, wide
        Spectra of each stroke and of each with `REACH` more either side, (n, N_FFT / 2 + 1).
    size, sizes
        Norm of each core, shape (n,), and of what lies at each lag, shape (n, 2 * REACH + 1).
    is_bare
        Shape (n,): no string begins to sound with it.
    """

    at: Places
    core: NDArray[np.complex64]
    wide: NDArray[np.complex64]
    size: Floats
    sizes: Floats
    is_bare: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.at)


def strokes_of(samples: Samples, high: Samples, onset_s: Floats, low: Floats) -> Strokes:
    """Attacks of a take, ready to be compared.

    Parameters
    ----------
    samples, high
        Shape (n_samples,): the take, and what of it lies above `FROM_HZ`.
    onset_s, low
        Shape (n,): from `attack.Attacks`.
    """
    at = np.round(onset_s * RATE_HZ).astype(np.intp)
    width = CORE + 2 * REACH
    padded = np.pad(high, (LEAD + REACH, width))
    wide = padded[at[:, None] + np.arange(width)]
    core = wide[:, REACH : REACH + CORE]
    total = np.cumsum(np.pad(wide.astype(np.float64) ** 2, ((0, 0), (1, 0))), axis=1)
    sizes = np.sqrt(np.maximum(total[:, CORE:] - total[:, : 2 * REACH + 1], 1e-14))
    return Strokes(
        at,
        np.fft.rfft(core, N_FFT).astype(np.complex64),
        np.fft.rfft(wide, N_FFT).astype(np.complex64),
        sizes[:, REACH],
        sizes,
        (low < BARE_RISE) | _is_quiet_after(samples, at),
    )


def _is_quiet_after(samples: Samples, at: Places) -> NDArray[np.bool_]:
    """True where so little follows a stroke that no string can sound."""
    total = np.concatenate(([0.0], np.cumsum(samples.astype(np.float64) ** 2)))
    first, last = (np.minimum(at + round(s * RATE_HZ), len(samples)) for s in BODY_S)
    energy = total[last] - total[first]
    return np.asarray(energy < QUIET_SHARE * np.percentile(energy, 80))


def likeness(
    strokes: Strokes, one: Places, other: Places, expected: Floats | None = None
) -> tuple[Floats, Floats]:
    """How alike pairs of strokes are, at best, and by how many samples the other lies later.

    Parameters
    ----------
    one, other
        Shape (n_pairs,): rows of `strokes`.
    expected
        Shape (n_pairs,): the lag to ask about, give or take `CLOSE`; None for any within `REACH`. A
        beep is like itself one cycle on, so where the lag is known no other may win.

    Returns
    -------
    tuple
        Correlation in [-1, 1] and lag beyond the difference of `at`, each of shape (n_pairs,).
    """
    product = np.conj(strokes.core[one]) * strokes.wide[other]
    cross = np.fft.irfft(product, N_FFT, axis=1)[:, : 2 * REACH + 1]
    alike = cross / (strokes.size[one, None] * strokes.sizes[other])
    asked = alike
    if expected is not None:
        lags = np.arange(-REACH, REACH + 1)
        asked = np.where(np.abs(lags - expected[:, None]) <= CLOSE, alike, -1.0)
    top = np.clip(asked.argmax(axis=1), 1, 2 * REACH - 1)
    row = np.arange(len(top))
    left, mid, right = (alike[row, top + step] for step in (-1, 0, 1))
    bend = left - 2 * mid + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, 1.0), 0.0)
    return mid, top - REACH + np.clip(shift, -0.5, 0.5)


def beat_voted(strokes: Strokes, beat_s: float) -> tuple[float, int] | None:
    """The beat that most pairs of like strokes mean, and the stroke that is in most of them."""
    at_s = strokes.at / RATE_HZ
    votes: list[Floats] = []
    members: list[Places] = []
    for beats in APART_BEATS:
        first = np.searchsorted(at_s, at_s + (1 - TEMPO_REACH) * beats * beat_s)
        last = np.searchsorted(at_s, at_s + (1 + TEMPO_REACH) * beats * beat_s)
        one = np.repeat(np.arange(len(at_s)), last - first)
        step = np.arange(len(one)) - np.repeat(
            np.cumsum(last - first) - (last - first), last - first
        )
        other = first[one] + step
        loud = strokes.size > FAINT_SHARE * np.percentile(strokes.size, 90)
        heard = loud[one] & loud[other]
        one, other = one[heard], other[heard]
        alike, lag = likeness(strokes, one, other)
        kept = alike > ALIKE
        one, other, lag = one[kept], other[kept], lag[kept]
        votes.append((strokes.at[other] - strokes.at[one] + lag) / (RATE_HZ * beats))
        members.append(np.stack((one, other), axis=1))
    beats_s, pairs = np.concatenate(votes), np.concatenate(members)
    if len(beats_s) == 0:
        return None
    order = np.argsort(beats_s)
    ordered = beats_s[order]
    count = np.searchsorted(ordered, ordered + VOTE_S) - np.arange(len(ordered))
    top = int(count.argmax())
    chosen = order[top : top + int(count[top])]
    seed = np.bincount(pairs[chosen].ravel()).argmax()
    return float(np.median(beats_s[chosen])), int(seed)


def alike_to(strokes: Strokes, seed: int, comb: Comb | None = None) -> tuple[Floats, Floats]:
    """Likeness of every stroke to one of them, and when each begins (s) if it is the same sound.

    Where the comb through that one is known, only the nearest place on it is asked about.
    """
    everyone = np.arange(len(strokes))
    expected = None
    if comb is not None:
        own_s = strokes.at / RATE_HZ
        expected = RATE_HZ * (comb.off_s(own_s[seed : seed + 1]) - comb.off_s(own_s))
    alike, lag = likeness(strokes, np.full(len(strokes), seed), everyone, expected)
    return alike, (strokes.at + lag) / RATE_HZ


def refitted(comb: Comb, at_s: Floats, alike: Floats) -> tuple[Comb, NDArray[np.bool_]]:
    """The comb through the strokes on it that are alike, and which they are."""
    off_s = comb.off_s(at_s)
    on_comb = (alike > NEARLY_ALIKE) & (np.abs(off_s) < CLOSE_S)
    beat = np.round((at_s[on_comb] - comb.start_s) / comb.period_s)
    if len(beat) < LEAST_HITS or np.ptp(beat) < 2:
        return comb, on_comb
    middle = np.median(off_s[on_comb])
    on_comb &= np.abs(off_s - middle) < CLOSE_S
    beat = np.round((at_s[on_comb] - comb.start_s) / comb.period_s)
    period, start = np.polyfit(beat, at_s[on_comb], 1)
    return Comb(float(start), float(period)), on_comb


def followed(at_s: Floats, seed_s: float, beat_s: float) -> Comb:
    """The comb through one time and as many others as lie on it, from near to far.

    Parameters
    ----------
    at_s
        Shape (n,): times that may lie on it.
    beat_s
        A first guess at the distance.
    """
    comb = Comb(seed_s, beat_s)
    used_s, used_k = [seed_s], [0]
    for each in at_s[np.argsort(np.abs(at_s - seed_s), kind="stable")].tolist():
        k = round((each - comb.start_s) / comb.period_s)
        if abs(each - comb.start_s - k * comb.period_s) > ON_COMB_S:
            continue
        used_s.append(each)
        used_k.append(k)
        if len(used_s) > 3 and len(set(used_k)) > 2:
            period, start = np.polyfit(used_k, used_s, 1)
            if abs(period / beat_s - 1) < 0.01:
                comb = Comb(float(start), float(period))
    return comb


@dataclass(frozen=True, slots=True)
class Sound:
    """One of a click's sounds as first heard.

    Attributes
    ----------
    part_of_beat
        Where in the beat it sounds, in [0, 1).
    at
        Shape (n,): samples at which its strokes lie, fractions included; equal waves at equal ones.
    dated
        Samples by which `attack` dates such a stroke later than `at`.
    """

    part_of_beat: float
    at: Floats
    dated: float


def sounds_of(strokes: Strokes, onset_s: Floats, beat_s: float) -> tuple[Comb, list[Sound]] | None:
    """The comb of a click and the sounds on it, the commonest first; None if there is no click.

    Parameters
    ----------
    onset_s
        Shape (n_strokes,): as `attack` dates them.
    beat_s
        The beat asked.
    """
    voted = beat_voted(strokes, beat_s) if len(strokes) else None
    if voted is None:
        return None
    comb, on_comb, at_s = _best_comb(strokes, *voted)
    rows = np.flatnonzero(on_comb)
    if not _is_click(strokes, comb, rows, at_s):
        return None
    found = [_sound(strokes, onset_s, rows, at_s[rows], 0.0)]
    comb = replace(comb, start_s=comb.start_s + found[0].dated / RATE_HZ)
    left = np.ones(len(strokes), bool)
    left[rows] = False
    for part in PARTS_OF_BEAT:
        while len(found) < MOST_SOUNDS:
            more = _another(strokes, onset_s, comb, part, left)
            if more is None:
                break
            found.append(more)
    return comb, found


def _best_comb(
    strokes: Strokes, beat_s: float, seed: int
) -> tuple[Comb, NDArray[np.bool_], Floats]:
    """The comb through a stroke, which strokes are on it, and when they begin.

    Followed from stroke to stroke or straight on from the beat voted for: whichever more lie on.
    """
    alike, at_s = alike_to(strokes, seed)
    chosen = alike > NEARLY_ALIKE
    straight = Comb(float(at_s[seed]), beat_s)
    best: tuple[int, Comb, NDArray[np.bool_], Floats] | None = None
    for comb in (straight, followed(at_s[chosen], straight.start_s, beat_s)):
        for _ in range(COMB_TURNS):
            alike, at_s = alike_to(strokes, seed, comb)
            comb, on_comb = refitted(comb, at_s, alike)
        count = np.count_nonzero(on_comb & (np.abs(comb.off_s(at_s)) < MOST_OFF_S))
        if best is None or count > best[0]:
            best = int(count), comb, on_comb, at_s
    assert best is not None
    return best[1:]


def _is_click(strokes: Strokes, comb: Comb, rows: Places, at_s: Floats) -> bool:
    """True where like strokes lie on a comb too exactly, and too often bare, for a player."""
    n_hits = len(np.unique(np.round((at_s[rows] - comb.start_s) / comb.period_s)))
    if n_hits < LEAST_HITS or np.median(np.abs(comb.off_s(at_s[rows]))) > MOST_OFF_S:
        return False
    near = strokes.is_bare & (np.abs(comb.off_s(strokes.at / RATE_HZ)) < NEIGHBOURHOOD_S)
    n_bare = np.count_nonzero(strokes.is_bare[rows])
    least_share = LEAST_BARE_SHARE * (2 if n_hits < FEW_HITS else 1)
    least = LEAST_BARE - (n_hits >= MANY_HITS)
    return bool(n_bare >= max(least, least_share * np.count_nonzero(near)))


def _sound(
    strokes: Strokes, onset_s: Floats, rows: Places, at_s: Floats, part_of_beat: float
) -> Sound:
    bare = rows[strokes.is_bare[rows]] if strokes.is_bare[rows].any() else rows
    chosen = np.isin(rows, bare)
    dated = float(np.median(onset_s[rows[chosen]] - at_s[chosen])) * RATE_HZ
    return Sound(part_of_beat, at_s * RATE_HZ, dated)


def _another(
    strokes: Strokes, onset_s: Floats, comb: Comb, part: float, left: NDArray[np.bool_]
) -> Sound | None:
    """A further sound of the click at one part of the beat; its strokes are struck off `left`."""
    near = np.flatnonzero(left & (np.abs(comb.off_s(onset_s, part)) < NEAR_COMB_S))
    seeds = near[strokes.is_bare[near]][:MOST_SEEDS]
    if len(near) < LEAST_STROKES or len(seeds) == 0:
        return None
    one, other = np.repeat(seeds, len(near)), np.tile(near, len(seeds))
    own_s = strokes.at / RATE_HZ
    moved_s = comb.off_s(own_s[other], part) - comb.off_s(own_s[one], part)
    alike, lag = likeness(strokes, one, other, -moved_s * RATE_HZ)
    at_s = ((strokes.at[other] + lag) / RATE_HZ).reshape(len(seeds), -1)
    own_s = own_s[seeds, None]
    close = np.abs(comb.off_s(at_s, part) - comb.off_s(own_s, part)) < 2 * MOST_OFF_S
    members = close & (alike.reshape(len(seeds), -1) > LIKE_ENOUGH)
    best = int(members.sum(axis=1).argmax())
    rows = near[members[best]]
    off_beat = part > 0
    if len(rows) < LEAST_STROKES + off_beat or strokes.is_bare[rows].sum() < 1 + off_beat:
        return None
    left[rows] = False
    return _sound(strokes, onset_s, rows, at_s[best, members[best]], part)


def high_part(samples: Samples) -> Samples:
    """What of a take lies above `FROM_HZ`."""
    return np.asarray(sosfilt(_HIGH, samples), np.float32)
