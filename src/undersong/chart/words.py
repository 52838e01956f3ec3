"""What the doors say of a song, its keys and a set, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from undersong.chart.counts import HardBar, SetCounts
from undersong.chart.lownotes import LOWEST_MIDI, LowNotes
from undersong.chart.ranges import KeyFit
from undersong.chart.transitions import Transition
from undersong.theory.pitch import plain_pitch

_BASS_WAY = {
    0: "stays where it is",
    1: "goes up a half step",
    2: "goes up a whole step",
    3: "goes up three half steps",
    4: "goes up four half steps",
    5: "goes up a fourth",
    6: "goes half an octave away",
    -1: "goes down a half step",
    -2: "goes down a whole step",
    -3: "goes down three half steps",
    -4: "goes down four half steps",
    -5: "goes down a fourth",
}


def low_words(low: LowNotes) -> str:
    """What the key asks of the bottom of the instrument, in one sentence."""
    if not low.tonic_is_low:
        return f"The lowest 1 is {low.tonic}."
    ending = ", and the song ends there" if low.ends_low else ""
    return (
        f"The lowest 1 is {low.tonic} on a four-string; a five-string has it an octave "
        f"lower{ending}."
    )


def key_table(rows: Sequence[LowNotes], fits: Sequence[KeyFit] = ()) -> tuple[str, ...]:
    """Keys in rows: bars whose bass note also lies lower, and what is left for a singer.

    Parameters
    ----------
    rows
        Keys, in the order to show them, where no singer is asked for.
    fits
        The same for a singer, in their order; then `rows` is not used.
    """
    head = f"{'key':<5}{'lowest 1':<10}" + "".join(f"{_below(name):<14}" for name in _UPPER)
    bass = [fit.bass for fit in fits] or list(rows)
    lines = [head + "the melody" if fits else head]
    voice = [f"{fit.low} to {fit.high}, {singer_words(fit)}" for fit in fits] or [""] * len(bass)
    lines += [_key_row(low) + sung for low, sung in zip(bass, voice, strict=True)]
    lines.append(f"Below E1 and D1: of {bass[0].bars} bars, those a five-string can take lower.")
    return tuple(line.rstrip() for line in lines)


_UPPER = [name for name, midi in LOWEST_MIDI.items() if midi > min(LOWEST_MIDI.values())]


def _below(name: str) -> str:
    return f"below {plain_pitch(LOWEST_MIDI[name])}"


def _key_row(low: LowNotes) -> str:
    counts = "".join(f"{low.below[name]:<14}" for name in _UPPER)
    return f"{low.key!s:<5}{low.tonic!s:<10}{counts}"


def singer_words(fit: KeyFit) -> str:
    """What a key leaves a singer, or asks too much of."""
    if fit.fits:
        if not (fit.spare_low or fit.spare_high):
            return "fits exactly"
        return f"fits, with {_half_steps(fit.spare_low)} below and {fit.spare_high} above"
    over = [
        f"{_half_steps(-spare)} too {way}"
        for spare, way in ((fit.spare_low, "low"), (fit.spare_high, "high"))
        if spare < 0
    ]
    return " and ".join(over)


def _half_steps(count: int) -> str:
    return f"{count} half step{'' if count == 1 else 's'}"


def transition_words(step: Transition) -> str:
    """How one song leads to the next, in a sentence or two."""
    bass = f"the bass {_BASS_WAY[step.bass_semitones]}"
    shared = [str(name) for name in step.shared]
    both = f"both have {_listed(shared)}" if shared else "they share no note"
    text = f"{step.last} to {step.first}: {both}; {bass}."
    if not step.link:
        return text
    bars = " | ".join(" ".join(str(chord) for chord in bar) for bar in step.link_letters)
    return f"{text} The keys are {step.signs_apart} sharps or flats apart; a way across: | {bars} |"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def count_words(counts: SetCounts, *, moves: int = 6) -> tuple[str, ...]:
    """The keys of a set and its commonest moves of the bass, a sentence each."""
    keys = ", ".join(f"{key} {bars}" for key, bars in counts.keys.most_common())
    steps = ", ".join(
        f"{before} to {after} ({times})"
        for (before, after), times in counts.moves.most_common(moves)
    )
    lines = [f"Bars in each key: {keys}."]
    return (*lines, f"Commonest moves of the bass: {steps}.") if steps else tuple(lines)


def hard_words(hard: HardBar) -> str:
    """A bar that wants practice, and why."""
    return f"{hard.title}, {hard.section}, bar {hard.number}: {'; '.join(hard.reasons)}"
