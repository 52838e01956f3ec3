"""What the live ear says: values, and the plain dicts that travel to a page.

Conventions
-----------
Seconds of the stream: samples fed so far divided by the rate. `said_s` is when it could be said.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from undersong.ear.hearing import HeardNote
from undersong.ear.tuner import TunerReading


@dataclass(frozen=True, slots=True)
class NoteJudged:
    """A verdict on an asked note, or an extra note (index None).

    `revises`: something else was said before of this note, or of this extra note; this replaces it.
    An extra note taken back comes again as unsure.
    """

    note: HeardNote
    said_s: float
    revises: bool


@dataclass(frozen=True, slots=True)
class NowAt:
    """The player has come to a note of the part; `played` False where its time passed unplayed."""

    index: int
    said_s: float
    played: bool


@dataclass(frozen=True, slots=True)
class PlayerTempo:
    """The player's tempo over the last notes, in the meter's own beat, and lateness there."""

    tempo_bpm: float
    lateness_ms: float
    said_s: float


@dataclass(frozen=True, slots=True)
class PassOver:
    """The written end has passed and every asked note was spoken of."""

    said_s: float


Event = NoteJudged | NowAt | PlayerTempo | TunerReading | PassOver
_KINDS = {
    NoteJudged: "note",
    NowAt: "place",
    PlayerTempo: "tempo",
    TunerReading: "tuner",
    PassOver: "over",
}


def event_json(event: Event) -> dict[str, object]:
    """An event as a dict with its `kind`; numbers rounded to what can be measured."""
    values = asdict(event)
    note = values.pop("note", {})
    flat = {"kind": _KINDS[type(event)], **note, **values}
    return {key: round(v, 4) if isinstance(v, float) else v for key, v in flat.items()}
