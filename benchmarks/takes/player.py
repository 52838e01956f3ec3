"""A made-up player: plays a Part as a person would, with mistakes where they are planted.

Conventions
-----------
Seconds from the start of the file. Human timing is a slow drift plus Gaussian jitter (sd 5 to
12 ms, never above 0.35 of the tolerance), clipped to lie at least `CLEAN_MARGIN_MS` inside the
tolerance. A planted late or early note lies at least `PLANT_MARGIN_MS` outside it. The tolerance
is the level A window of the trade handbook 5.6: a tenth of a beat, kept between 25 and 60 ms, and
never more than a quarter of the shortest note.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from takes.attack import Samples
from takes.material import Part, Rng, beat_wholes
from takes.spelling import MAJOR_STEPS, neck_places, tonic_class

CLEAN_MARGIN_MS = 8.0
PLANT_MARGIN_MS = 15.0
LEAST_GAP_MS = 60.0
LEAST_GAP_FOR_EXTRA_S = 0.3
PLANTS = (
    "wrong:semitone",
    "missed",
    "late",
    "extra:between",
    "wrong:step",
    "early",
    "extra:repeated",
    "wrong:octave",
)


@dataclass(frozen=True, slots=True)
class LeftHand:
    """How a note sounds that is not plucked: the string of the note before goes on.

    `articulation` is `hammered`, `pulled` or `slide`. A slide takes `glide_s` up to its onset and
    costs `softer_db`. A hammered or pulled note sounds `softer_db` weaker than a plucked one, and
    its attack is `tap_db` below that of a plucked one.
    """

    articulation: str
    softer_db: float
    glide_s: float = 0.0
    tap_db: float = 0.0


@dataclass(frozen=True, slots=True)
class Played:
    """One note as played.

    From `offset_s` on it falls by 30 dB in `damping_s`. `touch` is how much brighter (or duller,
    below 0) this stroke is than the sample. `asked_index` is None for an extra note. `left_hand` is
    None for a plucked note.
    """

    onset_s: float
    offset_s: float
    midi: int
    velocity: int
    string: int
    cents: float
    touch: float
    damping_s: float
    asked_index: int | None
    plant: str | None = None
    plant_detail: str | None = None
    left_hand: LeftHand | None = None


@dataclass(frozen=True, slots=True)
class Performance:
    """All that was played of a Part, in order of onset; asked notes missed; plants left out.

    `stopped_before` is the asked note that was not reached, in a pass broken off. `ghosts` are
    muted strokes, which are no notes.
    """

    played: tuple[Played, ...]
    missed: tuple[int, ...]
    start_s: float
    tolerance_ms: float
    left_out: tuple[str, ...] = ()
    stopped_before: int | None = None
    ghosts: tuple[Played, ...] = ()


def seconds_per_whole(part: Part, tempo_bpm: float) -> float:
    """Length of a whole note when the meter's own beat goes at `tempo_bpm`."""
    return float(60 / tempo_bpm / beat_wholes(part["meter"]))


def tolerance_ms(part: Part, tempo_bpm: float) -> float:
    """Level A window of the trade handbook 5.6 with its cap."""
    whole_s = seconds_per_whole(part, tempo_bpm)
    window = float(np.clip(100 * 60 / tempo_bpm, 25, 60))
    shortest = min(Fraction(note["length"]) for note in part["notes"])
    return round(min(window, 250 * float(shortest) * whole_s), 1)


def human_deviations_s(n_notes: int, tolerance: float, rng: Rng) -> Samples:
    """Seconds late (negative early) of each note of a clean player, shape (n_notes,)."""
    sd_ms = min(rng.uniform(5, 12), 0.35 * tolerance)
    swing_ms = rng.uniform(0, 0.25) * tolerance
    place = np.arange(n_notes)
    period = rng.uniform(0.7, 2.5) * max(n_notes, 8)
    drift = swing_ms * np.sin(2 * np.pi * (place / period + rng.uniform()))
    deviations = drift + rng.normal(0, sd_ms, n_notes)
    most = tolerance - CLEAN_MARGIN_MS
    late_s: Samples = np.clip(deviations - deviations.mean(), -most, most) / 1000
    return late_s


def perform(
    part: Part,
    *,
    tempo_bpm: float,
    plants: Sequence[str],
    rng: Rng,
    open_strings: Sequence[int],
    midi_range: tuple[int, int],
    lead_s: float = 0.0,
    off_cents: float = 0.0,
) -> Performance:
    """Play a Part, planting one mistake for each entry of `plants` (see `PLANTS`).

    A plant for which the Part has no room (an extra note in a run of sixteenths, say) is left out
    and named in the performance. The Part begins `lead_s` and 0.35 to 2.2 s into the file, on an
    instrument tuned `off_cents` sharp.
    """
    tolerance = tolerance_ms(part, tempo_bpm)
    start_s = lead_s + float(rng.uniform(0.35, 2.2))
    notes = part["notes"]
    whole_s = seconds_per_whole(part, tempo_bpm)
    grid_s = start_s + np.array([float(Fraction(note["at"])) for note in notes]) * whole_s
    lengths_s = np.array([float(Fraction(note["length"])) for note in notes]) * whole_s
    onsets_s = grid_s + human_deviations_s(len(notes), tolerance, rng)
    played = struck(part, onsets_s, lengths_s, rng, open_strings)
    spot = PlantingGround(part, played, grid_s, tolerance, rng, midi_range)
    left_out = tuple(plant for plant in plants if not spot.plant(plant))
    ended = damped(spot.all_played(), rng)
    tuned = tuple(replace(note, cents=note.cents + off_cents) for note in ended)
    return Performance(tuned, tuple(spot.missed), start_s, tolerance, left_out)


def struck(
    part: Part, onsets_s: Samples, lengths_s: Samples, rng: Rng, open_strings: Sequence[int]
) -> list[Played]:
    """The asked notes with dynamics, lengths (70 to 100 %) and small intonation errors."""
    notes = part["notes"]
    places = neck_places([note["midi"] for note in notes], open_strings)
    legato = rng.uniform(0.76, 0.98)
    bar = Fraction(part["meter"])
    played = []
    for k, note in enumerate(notes):
        accent = 8 if Fraction(note["at"]) % bar == 0 else 0
        velocity = int(np.clip(rng.normal(88 + accent, 9), 55, 122))
        share = float(np.clip(rng.normal(legato, 0.05), 0.70, 1.0))
        played.append(
            Played(
                onset_s=float(onsets_s[k]),
                offset_s=float(onsets_s[k] + share * lengths_s[k]),
                midi=note["midi"],
                velocity=velocity,
                string=note["string"] or places[k][0],
                cents=float(np.clip(rng.normal(0, 2.5), -8, 8)),
                touch=float(np.clip(rng.normal(0, 0.15), -0.4, 0.4)),
                damping_s=float(rng.uniform(0.015, 0.040)),
                asked_index=k,
            )
        )
    return played


class PlantingGround:
    """Where mistakes may be planted: apart from each other and from the ends of the Part."""

    def __init__(
        self,
        part: Part,
        played: list[Played],
        grid_s: Samples,
        tolerance: float,
        rng: Rng,
        midi_range: tuple[int, int],
    ) -> None:
        self.played: list[Played | None] = list(played)
        self.extras: list[Played] = []
        self.missed: list[int] = []
        self._key_class = tonic_class(part["key"])
        self._grid_s = grid_s
        self._tolerance_s = tolerance / 1000
        self._rng = rng
        self._lowest, self._highest = midi_range
        self._taken: set[int] = set()

    def all_played(self) -> list[Played]:
        """Every note played so far, in order of onset."""
        kept = [note for note in self.played if note is not None]
        return sorted(kept + self.extras, key=lambda note: note.onset_s)

    def plant(self, plant: str) -> bool:
        """Plant one mistake at a random place that has room for it, and say if there is one."""
        name, _, detail = plant.partition(":")
        free = [k for k in range(1, len(self.played) - 1) if not self._taken & {k - 1, k, k + 1}]
        for place in self._rng.permutation(free):
            k = int(place)
            note = self.played[k]
            if note is not None and getattr(self, f"_{name}")(k, note, detail):
                self._taken |= {k - 1, k, k + 1}
                return True
        return False

    def _scale_step(self, midi: int) -> int:
        direction = int(self._rng.choice([-1, 1]))
        moved = midi + direction
        while (moved - self._key_class) % 12 not in MAJOR_STEPS:
            moved += direction
        return moved

    def _wrong(self, k: int, note: Played, detail: str) -> bool:
        sign = int(self._rng.choice([-1, 1]))
        moves = {"semitone": note.midi + sign, "octave": note.midi + 12 * sign}
        midi = moves.get(detail) or self._scale_step(note.midi)
        if detail == "octave" and not self._lowest <= midi <= self._highest:
            midi = note.midi - 12 * sign
        if not self._lowest <= midi <= self._highest:
            return False
        said = f"{detail} {'up' if midi > note.midi else 'down'}"
        self.played[k] = replace(note, midi=midi, plant="wrong", plant_detail=said)
        return True

    def _missed(self, k: int, note: Played, detail: str) -> bool:
        self.played[k] = None
        self.missed.append(k)
        before = self.played[k - 1]
        if before is not None and self._rng.uniform() < 0.4:
            self.played[k - 1] = replace(before, offset_s=note.onset_s + self._rng.uniform(0, 0.2))
        return True

    def _late(self, k: int, note: Played, detail: str) -> bool:
        return self._moved(k, note, 1, "late")

    def _early(self, k: int, note: Played, detail: str) -> bool:
        return self._moved(k, note, -1, "early")

    def _moved(self, k: int, note: Played, sign: int, name: str) -> bool:
        neighbour = self.played[k + sign]
        if neighbour is None:
            return False
        room_s = abs(neighbour.onset_s - self._grid_s[k])
        least = self._tolerance_s + PLANT_MARGIN_MS / 1000
        most = min(least + 0.07, room_s - LEAST_GAP_MS / 1000, 0.45 * room_s)
        if most < least:
            return False
        onset_s = float(self._grid_s[k] + sign * self._rng.uniform(least, most))
        moved_ms = 1000 * (onset_s - self._grid_s[k])
        offset_s = max(note.offset_s + 0.5 * (onset_s - note.onset_s), onset_s + 0.05)
        self.played[k] = replace(
            note, onset_s=onset_s, offset_s=offset_s, plant=name, plant_detail=f"{moved_ms:+.1f} ms"
        )
        return True

    def _extra(self, k: int, note: Played, detail: str) -> bool:
        after = self.played[k + 1]
        if after is None or after.onset_s - note.onset_s < LEAST_GAP_FOR_EXTRA_S:
            return False
        gap_s = after.onset_s - note.onset_s
        onset_s = note.onset_s + gap_s * self._rng.uniform(0.42, 0.58)
        midi = note.midi if detail == "repeated" else self._scale_step(note.midi)
        if not self._lowest <= midi <= self._highest:
            return False
        offset_s = onset_s + max(0.1, self._rng.uniform(0.6, 0.95) * (after.onset_s - onset_s))
        velocity = int(np.clip(self._rng.normal(note.velocity - 3, 6), 60, 120))
        self.extras.append(
            replace(
                note,
                onset_s=onset_s,
                offset_s=offset_s,
                midi=midi,
                velocity=velocity,
                asked_index=None,
                plant="extra",
                plant_detail=detail,
            )
        )
        return True


def damped(played: Sequence[Played], rng: Rng) -> tuple[Played, ...]:
    """End every note as two hands would.

    On the same string the next stroke stops the note 2 to 14 ms before it sounds. About one note in
    eight on another string is left ringing into the next.
    """
    ended = []
    for k, note in enumerate(played):
        following = played[k + 1] if k + 1 < len(played) else None
        if following is not None:
            if following.string == note.string:
                stopped_s = following.onset_s - rng.uniform(0.002, 0.014)
                note = replace(
                    note,
                    offset_s=max(min(note.offset_s, stopped_s), note.onset_s + 0.03),
                    damping_s=min(note.damping_s, 0.02)
                    if note.offset_s > stopped_s
                    else note.damping_s,
                )
            elif rng.uniform() < 0.12:
                note = replace(
                    note, offset_s=following.onset_s + rng.uniform(0.03, 0.25), damping_s=0.08
                )
        ended.append(note)
    return tuple(ended)
