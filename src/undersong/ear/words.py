"""What a musician reads after a pass: short, kind, exact. One thing to keep, one to fix."""

from __future__ import annotations

from undersong.ear.hearing import HeardNote, Hearing, Reference, Summary, Verdict
from undersong.ear.passing import is_fault, place_name
from undersong.errors import TheoryError
from undersong.theory.part import Part
from undersong.theory.pitch import Pitch, PitchName, plain_pitch

OUT_OF_TUNE_CENTS = 10.0
"""Beyond this a bass is out of tune for a band (trade handbook 8.6)."""
OTHER_TEMPO = 0.01
DRIFTED_PERCENT = 2.0
"""A change of tempo worth a word; listeners notice about 2 % over a few beats (handbook 5.4)."""


def hearing_lines(hearing: Hearing, part: Part) -> list[str]:
    """The verdict, what to keep, what to fix, and what it was timed against.

    Parameters
    ----------
    hearing
        Of a take of `part`.
    part
        As it was given to `hear`.
    """
    if hearing.clean is None:
        return [f"I could not judge this: {_lower_first(hearing.reason or 'no reason was found.')}"]
    lines = [_verdict(hearing)]
    keep, fix = _keep(hearing), _fix(hearing, part)
    if keep is not None:
        lines.append(f"Keep: {keep}")
    if fix is not None:
        lines.append(f"Fix: {fix}")
    lines.append(_timed_against(hearing, part))
    tuning = hearing.tuning_cents
    if tuning is not None and abs(tuning) > OUT_OF_TUNE_CENTS:
        way = "sharp" if tuning > 0 else "flat"
        lines.append(f"Your bass is {abs(tuning):.0f} cents {way}: tune before the next pass.")
    return lines


def _verdict(hearing: Hearing) -> str:
    if hearing.clean:
        return f"Clean. All {hearing.summary.right} notes right and in time."
    if hearing.reason is not None:
        return f"Not clean. {hearing.reason}"
    return f"Not clean: {_counted(hearing.summary)}."


def _counted(summary: Summary) -> str:
    counts = (
        (summary.wrong, "wrong"),
        (summary.missed, "missed"),
        (summary.extra, "extra"),
        (summary.early, "early"),
        (summary.late, "late"),
    )
    return ", ".join(f"{count} {word}" for count, word in counts if count)


def _keep(hearing: Hearing) -> str | None:
    summary = hearing.summary
    if summary.right == 0:
        return None
    if not (summary.wrong or summary.missed or summary.extra) and not hearing.clean:
        return "every note was the right one."
    if not (summary.early or summary.late) and summary.spread_ms is not None:
        return f"your time was even, {summary.spread_ms:.0f} milliseconds either way."
    if summary.right >= summary.asked / 2:
        return f"{summary.right} of {summary.asked} notes had the right pitch."
    return None


def _fix(hearing: Hearing, part: Part) -> str | None:
    """The first fault of the worst bar; else drift."""
    worst = hearing.summary.worst_bars
    if worst:
        for place, note in enumerate(hearing.notes):
            if is_fault(note, hearing.tolerance_ms) and _bar(hearing, part, place) == worst[0].bar:
                return fault_line(note, part, before=_before(hearing, place))
    if hearing.summary.cut_short > hearing.summary.asked / 10:
        return f"{hearing.summary.cut_short} notes stopped before half their length: hold them."
    drift = hearing.summary.drift_percent
    if drift is not None and abs(drift) > DRIFTED_PERCENT:
        way = "sped up" if drift > 0 else "slowed down"
        return f"you {way} by {abs(drift):.0f} percent from first note to last."
    return None


def fault_lines(hearing: Hearing, part: Part) -> list[str]:
    """Every fault in a sentence of its own, in the order of the music; empty if not judged.

    Notes after the player stopped are not faults of their own.
    """
    if hearing.clean is None:
        return []
    reached = len(part.notes) if hearing.stopped_at is None else hearing.stopped_at
    return [
        fault_line(note, part, before=_before(hearing, place))
        for place, note in enumerate(hearing.notes)
        if is_fault(note, hearing.tolerance_ms) and (note.index is None or note.index < reached)
    ]


def _before(hearing: Hearing, place: int) -> int | None:
    """Index of the last asked note up to a place among the heard ones."""
    for note in reversed(hearing.notes[: place + 1]):
        if note.index is not None:
            return note.index
    return None


def _bar(hearing: Hearing, part: Part, place: int) -> int:
    index = _before(hearing, place)
    if index is None:
        return part.bars[0].number
    return part.place_of(part.notes[index].at)[0]


def fault_line(note: HeardNote, part: Part, *, before: int | None = None) -> str:
    """One fault in a sentence, as in "Bar 3, beat 4: you played F, the chart has F sharp".

    Parameters
    ----------
    before
        For an extra note, the index of the asked note it follows.
    """
    if note.index is None:
        where = "Before the first note" if before is None else f"After {place_name(part, before)}"
        return f"{where}: an extra {_said_midi(note.heard_midi, part, before)}."
    where = _upper_first(place_name(part, note.index))
    asked = part.notes[note.index].pitch
    if note.verdict is Verdict.MISSED:
        return f"{where}: the {_said(asked.name)} is missing."
    if note.verdict is Verdict.WRONG and note.heard_midi is not None:
        return f"{where}: {_wrong(note.heard_midi, asked, part, note.index)}"
    lateness = note.timing_ms or 0.0
    way = "late" if lateness > 0 else "early"
    return f"{where}: the {_said(asked.name)} came {abs(lateness):.0f} milliseconds {way}."


def _wrong(heard_midi: int, asked: Pitch, part: Part, index: int) -> str:
    octaves, rest = divmod(heard_midi - asked.midi, 12)
    if rest == 0:
        way = "high" if octaves > 0 else "low"
        return f"you played the {_said(asked.name)} an octave too {way}."
    return f"you played {_said_midi(heard_midi, part, index)}, the chart has {_said(asked.name)}."


def _said_midi(midi: int | None, part: Part, index: int | None) -> str:
    if midi is None:
        return "note"
    place = part.notes[index].at if index is not None else part.notes[0].at
    try:
        return _said(part.key_at(place).spell(midi).name)
    except TheoryError:
        return _said(plain_pitch(midi).name)


def _said(name: PitchName) -> str:
    """A note name in words: ``F sharp``."""
    word = {1: " sharp", -1: " flat", 2: " double sharp", -2: " double flat"}
    return name.letter + word.get(name.alteration, "")


def _timed_against(hearing: Hearing, part: Part) -> str:
    tempo = f"{hearing.tempo_bpm:.0f}"
    if hearing.reference is Reference.START:
        return f"Timed against the known start, at {tempo}."
    if hearing.reference is Reference.CLICK:
        return f"Timed against the click in the recording, at {tempo}."
    if abs(hearing.tempo_bpm / part.tempo_bpm - 1) > OTHER_TEMPO:
        return f"Timed against your own steady pulse: you played at {hearing.tempo_bpm:.1f}."
    return f"Timed against your own steady pulse, at {tempo}."


def _lower_first(sentence: str) -> str:
    return sentence if sentence.startswith("I ") else sentence[:1].lower() + sentence[1:]


def _upper_first(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]
