"""Takes with known answers, and how right a hearing of one is.

Shared by the tests and the benchmarks of the ear. What counts is defined here once:

- a planted mistake is found when the note is called what it is: `wrong` where another pitch was
  played, `missed` where none was, `extra` within 50 ms of one, outside the window on the right side
  where it was moved;
- any such verdict on a note that was played right and in time is a false accusation, as is an extra
  note that is not there;
- `unsure` is neither found nor right;
- note F1 is mir_eval's: onsets within 50 ms, pitches within 50 cents, offsets ignored [mir_eval].
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import mir_eval
import numpy as np
import soundfile
from numpy.typing import NDArray

from undersong.ear import HeardNote, Hearing, Verdict
from undersong.exchange import part_from_json
from undersong.theory.part import Part
from undersong.theory.pitch import midi_to_hz

EXTRA_NEAR_S = 0.05
KINDS = ("wrong", "missed", "extra", "mistimed")


@dataclass(frozen=True)
class KnownTake:
    """A recording and everything that is in it."""

    name: str
    samples: NDArray[np.float32]
    rate_hz: int
    part: Part
    truth: dict[str, Any]

    @property
    def length_s(self) -> float:
        return len(self.samples) / self.rate_hz


def known_takes(folder: Path) -> Iterator[KnownTake]:
    """Every take of a folder, in order of name."""
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        if "asked" not in truth:
            continue
        sides, rate_hz = soundfile.read(path.with_suffix(".flac"), dtype="float32", always_2d=True)
        part = part_from_json(truth["asked"])
        yield KnownTake(truth["name"], sides.mean(axis=1), int(rate_hz), part, truth)


def add_fields(mine: object, other: object) -> None:
    """Add every count and list of one score to another's."""
    for name, value in vars(other).items():
        own = getattr(mine, name)
        if isinstance(value, Counter):
            own.update(value)
        elif isinstance(value, list):
            own.extend(value)
        else:
            setattr(mine, name, own + value)


@dataclass
class Score:
    """Counts over one take, or added over many."""

    takes: int = 0
    notes: int = 0
    planted: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    accused: Counter[str] = field(default_factory=Counter)
    right: int = 0
    unsure: int = 0
    clean_said: Counter[tuple[bool, bool | None]] = field(default_factory=Counter)
    onset_ms: list[float] = field(default_factory=list)
    matched: int = 0
    estimated: int = 0
    reference: int = 0
    beliefs: list[tuple[float, bool]] = field(default_factory=list)
    pass_beliefs: list[tuple[float, bool]] = field(default_factory=list)
    kinds_planted: Counter[str] = field(default_factory=Counter)
    kinds_found: Counter[str] = field(default_factory=Counter)
    remarks: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        add_fields(self, other)

    @property
    def recall(self) -> float:
        return _share(sum(self.found.values()), sum(self.planted.values()))

    @property
    def precision(self) -> float:
        found = sum(self.found.values())
        return _share(found, found + sum(self.accused.values()))

    @property
    def accused_per_thousand(self) -> float:
        return 1000 * _share(sum(self.accused.values()), self.right, empty=0.0)

    @property
    def note_f1(self) -> float:
        return _share(2 * self.matched, self.estimated + self.reference)

    @property
    def balanced(self) -> float:
        """Balanced accuracy of clean or not clean over the passes that were judged."""
        said = self.clean_said
        shares = []
        for truth in (True, False):
            judged = said[truth, True] + said[truth, False]
            shares.append(_share(said[truth, truth], judged))
        return sum(shares) / 2

    @property
    def clean_right(self) -> int:
        return self.clean_said[True, True] + self.clean_said[False, False]

    def onset_error_ms(self, percent: float) -> float:
        return float(np.percentile(np.abs(self.onset_ms), percent)) if self.onset_ms else np.nan


def _share(part: float, whole: float, *, empty: float = 1.0) -> float:
    return part / whole if whole else empty


def scored(take: KnownTake, hearing: Hearing) -> Score:
    """Everything that is counted about one take."""
    score = Score(takes=1)
    played = {p["asked_index"]: p for p in take.truth["played"] if p["asked_index"] is not None}
    stopped = take.truth.get("stopped_before")
    for note in hearing.notes:
        if note.index is None:
            continue
        if stopped is not None and note.index >= stopped:
            continue
        _score_note(score, note, played.get(note.index), hearing.tolerance_ms)
    _score_extras(score, take, hearing)
    if not hearing.notes:
        _score_unheard(score, take)
    score.clean_said[bool(take.truth["clean"]), hearing.clean] += 1
    if hearing.clean is not None:
        is_right = hearing.clean == bool(take.truth["clean"])
        score.pass_beliefs.append((hearing.probability, is_right))
    if hearing.clean != take.truth["clean"]:
        score.remarks.append(f"clean: said {hearing.clean}, is {take.truth['clean']}")
    _score_transcription(score, take, hearing)
    return score


def plant_kind(played: dict[str, Any] | None) -> str | None:
    """The kind of mistake planted on an asked note, or None."""
    if played is None:
        return "missed"
    plant = played["plant"]
    return "mistimed" if plant in ("late", "early") else plant


def _exact_kind(kind: str, played: dict[str, Any] | None) -> str:
    """The kind of a mistake more closely: which wrong note, late or early."""
    if kind == "missed" or played is None:
        return "missed"
    if kind == "wrong":
        interval = played["plant_detail"].split()[0]
        return f"wrong by {'an' if interval == 'octave' else 'a'} {interval}"
    return str(played["plant"])


def _score_note(
    score: Score, note: HeardNote, played: dict[str, Any] | None, window_ms: float
) -> None:
    kind, said = plant_kind(played), fault_said(note, window_ms)
    score.notes += 1
    if note.onset_s is not None and played is not None:
        score.onset_ms.append(1000 * (note.onset_s - played["onset_s"]))
    if kind is not None:
        score.planted[kind] += 1
        score.kinds_planted[_exact_kind(kind, played)] += 1
    else:
        score.right += 1
    if note.verdict is Verdict.UNSURE:
        score.unsure += 1
        score.remarks.append(f"unsure: note {note.index} ({kind or 'right'})")
        return
    holds = _is_found(note, kind, said, played)
    score.beliefs.append((note.probability, holds or (kind is None and said is None)))
    if kind is None and said is not None:
        score.accused[said] += 1
        score.remarks.append(f"accused: note {note.index} of {said} {_described(note)}")
    elif kind is not None and holds:
        score.found[kind] += 1
        score.kinds_found[_exact_kind(kind, played)] += 1
    elif kind is not None:
        score.remarks.append(f"not found: note {note.index} {kind}, said {_described(note)}")


def fault_said(note: HeardNote, window_ms: float) -> str | None:
    """What a hearing holds against an asked note."""
    if note.verdict in (Verdict.WRONG, Verdict.MISSED):
        return str(note.verdict)
    if note.timing_ms is not None and abs(note.timing_ms) > window_ms:
        return "mistimed"
    return None


def _is_found(
    note: HeardNote, kind: str | None, said: str | None, played: dict[str, Any] | None
) -> bool:
    if kind is None or kind != said:
        return False
    if kind == "wrong" and played is not None:
        return note.heard_midi == int(played["midi"])
    if kind == "mistimed" and played is not None and note.timing_ms is not None:
        return (note.timing_ms > 0) == bool(played["plant"] == "late")
    return True


def _described(note: HeardNote) -> str:
    timing = "" if note.timing_ms is None else f" {note.timing_ms:+.0f} ms"
    return f"({note.asked_midi} heard as {note.heard_midi} {note.verdict}{timing})"


def _score_extras(score: Score, take: KnownTake, hearing: Hearing) -> None:
    """Extra notes one to one: each is used once."""
    said = [note for note in hearing.notes if note.verdict is Verdict.EXTRA]
    for played in take.truth["played"]:
        if played["asked_index"] is not None:
            continue
        score.planted["extra"] += 1
        score.kinds_planted[f"extra, {played['plant_detail']}"] += 1
        near = [n for n in said if abs((n.onset_s or 0.0) - played["onset_s"]) < EXTRA_NEAR_S]
        if near:
            best = min(near, key=lambda n: abs((n.onset_s or 0.0) - played["onset_s"]))
            said.remove(best)
            score.found["extra"] += 1
            score.kinds_found[f"extra, {played['plant_detail']}"] += 1
            score.beliefs.append((best.probability, True))
        else:
            score.remarks.append(f"not found: extra at {played['onset_s']:.2f} s")
    score.accused["extra"] += len(said)
    score.beliefs.extend((note.probability, False) for note in said)
    score.remarks.extend(f"accused: extra at {note.onset_s:.2f} s" for note in said)


def _score_unheard(score: Score, take: KnownTake) -> None:
    """A take that was refused outright: all its notes are unsure."""
    played = {p["asked_index"]: p for p in take.truth["played"] if p["asked_index"] is not None}
    for stroke in take.part.strokes:
        kind = plant_kind(played.get(stroke.index))
        score.notes += 1
        score.unsure += 1
        if kind is None:
            score.right += 1
        else:
            score.planted[kind] += 1
            score.kinds_planted[_exact_kind(kind, played.get(stroke.index))] += 1


def _score_transcription(score: Score, take: KnownTake, hearing: Hearing) -> None:
    heard = [
        (note.onset_s, note.heard_midi)
        for note in hearing.notes
        if note.onset_s is not None and note.heard_midi is not None
    ]
    true = [(played["onset_s"], played["midi"]) for played in take.truth["played"]]
    tuning = hearing.tuning_cents or 0.0
    lean = take.truth.get("tuning_cents") or 0.0
    score.matched += matched_notes(true, heard, true_cents=lean, heard_cents=tuning)
    score.estimated += len(heard)
    score.reference += len(true)


def matched_notes(
    true: list[tuple[float, int]],
    heard: list[tuple[float, int]],
    *,
    true_cents: float = 0.0,
    heard_cents: float = 0.0,
) -> int:
    """Notes of two lists of (onset in s, MIDI) that mir_eval pairs at 50 ms and 50 cents."""
    if not true or not heard:
        return 0
    lists = []
    for notes, cents in ((true, true_cents), (heard, heard_cents)):
        onset_s = np.array([at for at, _ in notes])
        hz = np.array([midi_to_hz(midi + cents / 100) for _, midi in notes])
        lists.append((np.stack((onset_s, onset_s + 0.1), axis=1), hz))
    return len(
        mir_eval.transcription.match_notes(
            *lists[0], *lists[1], onset_tolerance=0.05, pitch_tolerance=50.0, offset_ratio=None
        )
    )
