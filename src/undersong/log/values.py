"""What the practice log gives back: small values, never rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from undersong.practice.ladder import Ladder, Outcome, Rule
from undersong.practice.passes import Judged, Pass

KINDS = ("drill", "line", "song")
HANDS = ("right", "left")
VERDICTS = ("right", "wrong", "missed", "extra", "unsure")


@dataclass(frozen=True, slots=True)
class Player:
    """Someone who practises; as little about them as the work needs."""

    id: int
    name: str
    level: int
    tuning: str
    hand: str
    added_at: datetime
    recordings_agreed_at: datetime | None = None
    pain_asked_at: datetime | None = None
    pain_said_on: date | None = None


@dataclass(frozen=True, slots=True)
class Item:
    """Something to practise: a drill, a written line or a whole song, in one key."""

    id: int
    kind: str
    name: str
    key: str
    song_bpm: float | None = None
    chart: str | None = None
    part: Mapping[str, object] | None = field(default=None, compare=False)

    @property
    def label(self) -> str:
        """``drill scale in G``: what people and the practice rules call it."""
        return f"{self.kind} {self.name} in {self.key}" if self.key else f"{self.kind} {self.name}"


@dataclass(frozen=True, slots=True)
class Overruled:
    """A verdict that a person put right: which note of the hearing, what it was, what it is."""

    note: int
    was: str
    verdict: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Take:
    """One pass as it was kept.

    `at` has the player's own offset. `counted_as` is the outcome with which the take moved the
    ladder, None where it did not. `hearing` is the Hearing contract, as the ear said it.
    """

    id: int
    uid: str
    player: str
    item: Item
    at: datetime
    tempo_bpm: float
    outcome: Outcome
    counted_as: Outcome | None
    tolerance_ms: float | None
    length_s: float
    whole: bool
    roots_right: float | None
    in_time: bool | None
    audio: str | None
    note: str
    overruled: tuple[Overruled, ...] = ()
    hearing: Mapping[str, object] | None = field(default=None, compare=False)

    @property
    def as_pass(self) -> Pass:
        """The take as the practice rules see it."""
        return Pass(
            self.item.label,
            self.at,
            self.tempo_bpm,
            self.outcome,
            length_s=self.length_s,
            whole=self.whole,
            roots_right=self.roots_right,
            in_time=self.in_time,
        )

    @property
    def judged(self) -> tuple[Judged, ...]:
        """The heard notes with the verdicts that people put right; none where nobody listened."""
        right = {each.note: each.verdict for each in self.overruled}
        return tuple(
            Judged(index if isinstance(index := note.get("index"), int) else None, fault)
            for place, note in enumerate(notes_of(self.hearing))
            for fault in [_fault(note, right.get(place), self.tolerance_ms)]
        )


def notes_of(hearing: object) -> list[Mapping[str, object]]:
    """The notes of a hearing, in its order; none where there is no hearing."""
    notes = hearing.get("notes") if isinstance(hearing, Mapping) else None
    return [note for note in notes if isinstance(note, Mapping)] if isinstance(notes, list) else []


def _fault(note: Mapping[str, object], put_right: str | None, tolerance_ms: float | None) -> str:
    verdict = str(note.get("verdict")) if put_right is None else put_right
    if verdict in ("wrong", "missed", "extra"):
        return verdict
    timing_ms = note.get("timing_ms")
    # Who says "that was right" means its time too.
    if put_right is not None or tolerance_ms is None or not isinstance(timing_ms, int | float):
        return ""
    if abs(timing_ms) <= tolerance_ms:
        return ""
    return "late" if timing_ms > 0 else "early"


@dataclass(frozen=True, slots=True)
class LadderState:
    """A climb as it stands: its settings and its state."""

    rule: Rule
    ladder: Ladder


@dataclass(frozen=True, slots=True)
class KeptTake:
    """What keeping a take did: the ladder before and after, and whether the take counted."""

    take: Take
    ladder_before: Ladder
    ladder_after: Ladder

    @property
    def counted(self) -> bool:
        """Whether the take was one of the climb."""
        return self.take.counted_as is not None

    @property
    def in_words(self) -> str:
        """What the rule says after this take, in a sentence."""
        before, after = self.ladder_before, self.ladder_after
        tempo = f"{after.tempo_bpm:g}"
        if not self.counted:
            return (
                f"Kept, played at {self.take.tempo_bpm:g}. The climb stands at {tempo} and stays "
                "there: only a pass at its own tempo counts."
            )
        if after.tempo_bpm > before.tempo_bpm:
            passes = before.streak + 1
            said = _CLEAN_PASSES.get(passes, f"{passes} clean passes in a row")
            return f"{said}. Next: {tempo}."
        if after.tempo_bpm < before.tempo_bpm:
            return f"Next: {tempo}, and the climb starts again."
        if after.streak > before.streak:
            return f"Once more clean at {tempo}, and the tempo goes up."
        return f"Next: {tempo} again."


_CLEAN_PASSES = {1: "One clean pass", 2: "Two clean passes", 3: "Three clean passes"}


@dataclass(frozen=True, slots=True)
class KeptChart:
    """A chart's text by its title."""

    title: str
    text: str
    kept_at: datetime


@dataclass(frozen=True, slots=True)
class KeptSet:
    """A Sunday's set: its name, its day and its text, as the chart room reads it."""

    name: str
    held_on: date
    text: str
    kept_at: datetime


@dataclass(frozen=True, slots=True)
class Assignment:
    """Work given to a player."""

    id: int
    player: str
    item: Item
    given_at: datetime
    due_on: date | None
    note: str
    done_at: datetime | None
