"""A take as its blocks arrive: put together on the click's own clock, with its holes found.

Every block says which frame it begins with, by the browser's own count of what came in, and when
that frame was captured, on the clock the click is laid on. Where nothing was lost the two run side
by side. Where the clock runs on and the count does not, sound was lost: a hole of that length is
filled with silence, so that all later notes keep their times (the ear treats a hole as a place
where it cannot tell). Where the count runs on and the clock does not, the click itself stumbled:
whoever plays goes on with it, a little later, so what came in while it stood still is taken out,
and a short hole left in its place.

Conventions
-----------
Frames are counted from wherever the browser began. Times are seconds on the click's clock. A
median over a third of a second stands against the jitter of a capture clock: a few milliseconds
on common sound systems (measured with a headless browser: 0.1 ms).
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from undersong.ear.grid import running_median
from undersong.errors import UndersongError

HEAD = struct.Struct("<dd")
LARGEST_BLOCK_BYTES = HEAD.size + 4 * 65_536
LONGEST_S = 20 * 60.0
LEAST_HOLE_S = 0.004  # below it jitter and loss cannot be told apart
LEAST_SAID_MS = 5.0  # less than this lost changes no verdict
MOST_LOST_MS = 70.0  # more than this, and too much of the pass is guesswork
# Nobody follows a larger jump of the click at once, and the narrowest window is not much wider.
MOST_STUMBLE_MS = 25.0
MARK_S = 0.008  # of silence where sound is taken out: the ear knows it for a hole
_BUSY = "the computer could not keep up. Close what else is running, and play it again."
AROUND_S, MOST_AROUND = 0.45, 41
MOST_HOLES = 50  # so many are far more than `MOST_LOST_MS`
Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Arrived:
    """A whole take.

    Attributes
    ----------
    samples
        Shape (n,), holes filled with silence.
    zero_s
        When the first sample was captured, on the click's clock.
    lost_ms
        Sound that is missing, and stands as silence of the right length.
    broken_ms
        Silence that stands where sound must have been: how much was lost there is not known.
    stumbled_ms, worst_stumble_ms
        By how much the click's own clock stood still while the take went on, in all and at once.
    """

    samples: Samples
    zero_s: float
    lost_ms: float = 0.0
    broken_ms: float = 0.0
    stumbled_ms: float = 0.0
    worst_stumble_ms: float = 0.0

    @property
    def refusal(self) -> str:
        """Why the times in it mean nothing; empty where they do."""
        lost_ms = max(self.lost_ms if self.lost_ms > MOST_LOST_MS else 0.0, self.broken_ms)
        if lost_ms > LEAST_SAID_MS:
            return f"{lost_ms:.0f} ms of sound were lost: {_BUSY}"
        if self.worst_stumble_ms > MOST_STUMBLE_MS or self.stumbled_ms > MOST_LOST_MS:
            return f"The click stumbled by {self.stumbled_ms:.0f} ms: {_BUSY}"
        return ""


@dataclass(frozen=True, slots=True)
class Hole:
    """A place where clock and count part: before which block, and by how many seconds."""

    block: int
    length_s: float


@dataclass
class Incoming:
    """Blocks in their order; a block sent twice is kept once."""

    sample_rate_hz: int
    blocks: list[Samples] = field(default_factory=list)
    frames: list[int] = field(default_factory=list)
    times_s: list[float] = field(default_factory=list)

    def add(self, message: bytes) -> bool:
        """One binary message; whether any of it is new."""
        frame, time_s, samples = read_block(message)
        if not self.blocks:
            return self._keep(frame, time_s, samples)
        gap = frame - self.next_frame
        if max(gap, 0) + len(self) > LONGEST_S * self.sample_rate_hz:
            raise UndersongError("This take is too long: twenty minutes is the most.")
        if gap < 0:  # sent before
            samples, frame = samples[-gap:], frame - gap
            time_s -= gap / self.sample_rate_hz
        return len(samples) > 0 and self._keep(frame, time_s, samples)

    def _keep(self, frame: int, time_s: float, samples: Samples) -> bool:
        self.blocks.append(samples)
        self.frames.append(frame)
        self.times_s.append(time_s)
        return True

    @property
    def next_frame(self) -> int:
        """The frame that is due."""
        return self.frames[-1] + len(self.blocks[-1]) if self.blocks else 0

    def __len__(self) -> int:
        return self.next_frame - (self.frames[0] if self.frames else 0)

    def zero_s(self) -> float:
        """When the first frame was captured, by the first third of a second."""
        if not self.blocks:
            return 0.0
        first = self._apart_s()[: self._around]
        return float(np.median(first)) + self.frames[0] / self.sample_rate_hz

    def whole(self) -> Arrived:
        """The take put together."""
        rate = self.sample_rate_hz
        pieces: list[Samples] = []
        lost = length = 0
        stumbles: list[tuple[int, int]] = []
        due = self.frames[0] if self.frames else 0
        holes = {hole.block: hole.length_s for hole in holes_in(self._apart_s(), self._around)}
        for place, (frame, samples) in enumerate(zip(self.frames, self.blocks, strict=True)):
            # Frames that never came are counted by the clock too: the two are not added.
            hole = round(holes.get(place, 0.0) * rate)
            missing = frame - due + max(0, hole)
            if missing > 0:
                pieces.append(np.zeros(missing, np.float32))
                lost += missing
            if hole < 0:
                stumbles.append((length + max(0, missing), -hole))
            pieces.append(samples)
            length += max(0, missing) + len(samples)
            due = frame + len(samples)
        samples = np.concatenate([np.zeros(0, np.float32), *pieces])
        if len(samples) > LONGEST_S * rate:
            raise UndersongError("This take is too long: twenty minutes is the most.")
        stood_ms = [1000 * frames / rate for _, frames in stumbles]
        return Arrived(
            samples=_without(samples, stumbles, round(MARK_S * rate)),
            zero_s=self.zero_s(),
            lost_ms=1000 * lost / rate,
            broken_ms=broken_ms(samples, rate) if not lost else 0.0,
            stumbled_ms=sum(stood_ms),
            worst_stumble_ms=max(stood_ms, default=0.0),
        )

    def _apart_s(self) -> NDArray[np.float64]:
        """By how much the clock is ahead of the count, block by block."""
        return np.array(self.times_s) - np.array(self.frames, float) / self.sample_rate_hz

    @property
    def _around(self) -> int:
        usual = max(len(block) for block in self.blocks) if self.blocks else 1
        return int(np.clip(round(AROUND_S * self.sample_rate_hz / usual), 3, MOST_AROUND))


def _without(samples: Samples, stumbles: Sequence[tuple[int, int]], mark: int) -> Samples:
    """Samples without what came in while the click stood still (where, and how many frames)."""
    pieces, done = [], 0
    for at, frames in stumbles:
        pieces += [samples[done : max(done, at)], np.zeros(mark, np.float32)]
        done = max(done, at) + frames + mark
    return np.concatenate([*pieces, samples[done:]]) if stumbles else samples


def read_block(message: bytes) -> tuple[int, float, Samples]:
    """One block: its first frame's number and time on the click's clock in seconds, samples."""
    if not HEAD.size < len(message) <= LARGEST_BLOCK_BYTES or len(message) % 4:
        raise UndersongError("A block of sound came broken.")
    place, time_s = HEAD.unpack_from(message)
    if not (isfinite(place) and isfinite(time_s)):
        raise UndersongError("A block of sound has no place.")
    samples = np.frombuffer(message, "<f4", offset=HEAD.size).astype(np.float32)
    if not np.isfinite(samples).all():
        raise UndersongError("A block of sound holds samples that are no numbers.")
    return round(place), float(time_s), samples


def holes_in(apart_s: Sequence[float] | NDArray[np.float64], around: int) -> list[Hole]:
    """Where clock and count part company.

    Parameters
    ----------
    apart_s
        Shape (n_blocks,): by how much the clock is ahead of the count at each block, in seconds.
    around
        Over how many blocks, before and after, a median is taken.

    Returns
    -------
    list[Hole]
        In order; a length below 0 where the clock fell behind. Slow drift of one clock against
        the other (quartz: some hundred-thousandths) is no hole.
    """
    apart = np.array(apart_s, float)
    steps = _steps(apart, 0, len(apart), around)
    holes: list[Hole] = []
    while len(steps) and np.abs(steps).max() >= LEAST_HOLE_S and len(holes) < MOST_HOLES:
        # Medians only say that there is a step near by: it is where the blocks change sides.
        near = int(np.abs(steps).argmax())
        first, last = max(0, near - around), near + around
        before, after = np.median(apart[first:near]), np.median(apart[near:last])
        sides = np.abs(apart[first:last] - before) - np.abs(apart[first:last] - after)
        block = first + int(np.cumsum(sides[:-1]).argmin()) + 1
        step = float(np.median(apart[block : block + around]))
        step -= float(np.median(apart[max(0, block - around) : block]))
        if abs(step) < LEAST_HOLE_S:
            step = float(after - before)
        holes.append(Hole(block, step))
        apart[block:] -= step
        first, last = max(0, block - around), min(len(apart), block + around)
        steps[first:last] = _steps(apart, first, last, around)
    return _lasting(sorted(holes, key=lambda hole: hole.block))


def _lasting(holes: list[Hole]) -> list[Hole]:
    """Holes without those that close again: a time stamp may come back, lost sound does not."""
    kept: list[Hole] = []
    for hole in holes:
        if kept and abs(kept[-1].length_s + hole.length_s) < LEAST_HOLE_S:
            kept.pop()
        else:
            kept.append(hole)
    return kept


def _steps(apart: NDArray[np.float64], first: int, last: int, around: int) -> NDArray[np.float64]:
    """By how much the median of the `around` blocks from each on is above that of those before.

    For blocks `first` to `last`, the last left out; 0 where too few lie on one side.
    """
    low, high = max(0, first - around), min(len(apart), last + around)
    missing = around - (first - low), around - (high - last)
    near = np.pad(apart[low:high], missing, constant_values=np.nan)
    median, count = running_median(near, around)
    wanted = last - first
    enough = np.minimum(count[:wanted], count[around : around + wanted]) >= max(1, around // 4)
    return np.where(enough, median[around : around + wanted] - median[:wanted], 0.0)


# A browser's buffer before the audio graph was measured to run dry for 150 ms at the most.
SHORTEST_BREAK_S, LONGEST_BREAK_S, BESIDE_S = 0.0015, 0.19, 0.02
SOUNDING = 10 ** (-80 / 20)  # well under any input's own noise beside a played note


def broken_ms(samples: Samples, sample_rate_hz: int) -> float:
    """How much silence stands in a recording where sound must have been, in milliseconds.

    A browser that could not keep up puts silence there, and silence to the last bit between two
    stretches of sound never comes out of a microphone. Longer silence is a player's or a gate's.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], samples == 0, [False]]).astype(int)))
    starts, ends = edges[::2], edges[1::2]
    lengths = ends - starts
    short = (lengths >= SHORTEST_BREAK_S * sample_rate_hz) & (
        lengths <= LONGEST_BREAK_S * sample_rate_hz
    )
    around = round(BESIDE_S * sample_rate_hz)
    lost = 0
    for start, end in zip(starts[short], ends[short], strict=True):
        before, after = samples[max(0, start - around) : start], samples[end : end + around]
        if min(_level(before), _level(after)) > SOUNDING:
            lost += int(end - start)
    return 1000 * lost / sample_rate_hz


def _level(samples: Samples) -> float:
    return float(np.sqrt(np.mean(np.square(samples)))) if len(samples) else 0.0
