"""The tempo ladder says what tempo to play next.

Start slow; some clean passes in a row raise the tempo a little; one pass that is not clean drops
it further and the climb starts again; a pass that could not be judged changes nothing.

Conventions
-----------
A `Rule` holds the settings, a `Ladder` the state (tempo and streak); `step` is the whole rule and
never refuses a history. Tempos are beats a minute of the meter's own beat. Toward a song the
song's tempo is a rung: a step up that would pass it stops there. Above it the climb goes on by the
same step to the ceiling, ten per cent over the song, so that Sunday's tempo feels easy. A step down
is always the full step and need not stop at the song's tempo.

References
----------
The rule and its figures: trade handbook 5.1 (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from enum import StrEnum

from undersong.errors import PracticeError
from undersong.theory.tempo import TEMPO_MAX_BPM, TEMPO_MIN_BPM

ABOVE_SONG = 1.1  # the ceiling over a song's tempo, trade handbook 5.1
SLOW_SHARE = 0.75  # of a slow song's tempo, where its hard bars are first worked on
_BPM_DIGITS = 6  # keeps 70.1 + 0.1 + 0.1 at 70.3, far below anything a click can show


class Outcome(StrEnum):
    """How a pass went; the letter is how it is written down."""

    CLEAN = "C"
    NOT_CLEAN = "F"
    UNSURE = "U"


def outcome_of(clean: bool | None) -> Outcome:  # noqa: FBT001 - the verdict itself, not a switch
    """The outcome of a hearing: its `clean` is true, false, or None for could not tell."""
    if clean is None:
        return Outcome.UNSURE
    return Outcome.CLEAN if clean else Outcome.NOT_CLEAN


@dataclass(frozen=True, slots=True)
class Rule:
    """The settings of a climb, checked: tempos and steps in BPM, and the clean passes in a row."""

    start_bpm: float = 70.0
    up_bpm: float = 5.0
    down_bpm: float = 10.0
    in_a_row: int = 2
    floor_bpm: float = 40.0
    ceiling_bpm: float = TEMPO_MAX_BPM
    song_bpm: float | None = None

    def __post_init__(self) -> None:
        _check_numbers(self)
        if self.floor_bpm > self.ceiling_bpm:
            raise PracticeError(
                f"The floor, {self.floor_bpm:g}, is above the ceiling, {self.ceiling_bpm:g}: "
                "lower the floor or raise the ceiling."
            )
        if not self.floor_bpm <= self.start_bpm <= self.ceiling_bpm:
            raise PracticeError(
                f"The climb cannot start at {self.start_bpm:g}: start between the floor, "
                f"{self.floor_bpm:g}, and the ceiling, {self.ceiling_bpm:g}, or move them."
            )


_SAID = {
    "start_bpm": "start",
    "up_bpm": "step up",
    "down_bpm": "step down",
    "floor_bpm": "floor",
    "ceiling_bpm": "ceiling",
    "song_bpm": "song's tempo",
}


def _check_numbers(rule: Rule) -> None:
    # Settings also come from files and forms, so their types are looked at and not believed.
    settings: dict[str, object] = asdict(rule)
    in_a_row = settings["in_a_row"]
    if isinstance(in_a_row, bool) or not isinstance(in_a_row, int) or in_a_row < 1:
        raise PracticeError(
            f"The clean passes in a row are a whole number from 1, not {in_a_row!r}."
        )
    for name, said in _SAID.items():
        value = settings[name]
        if name == "song_bpm" and value is None:
            continue
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not math.isfinite(value)
        ):
            raise PracticeError(f"The {said} is a number of beats a minute, not {value!r}.")
        if name in ("up_bpm", "down_bpm"):
            if not 0 < value <= TEMPO_MAX_BPM:
                raise PracticeError(
                    f"The {said} is more than 0 and at most {TEMPO_MAX_BPM:g} beats a minute, "
                    f"not {value:g}."
                )
        elif not TEMPO_MIN_BPM <= value <= TEMPO_MAX_BPM:
            raise PracticeError(
                f"The {said} is from {TEMPO_MIN_BPM:g} to {TEMPO_MAX_BPM:g} beats a minute, "
                f"not {value:g}."
            )


@dataclass(frozen=True, slots=True)
class Ladder:
    """Where a climb stands: the tempo of the next pass, and the clean passes in a row at it."""

    tempo_bpm: float
    streak: int = 0


def first(rule: Rule) -> Ladder:
    """The foot of a climb."""
    return Ladder(float(rule.start_bpm))


def settled(rule: Rule, ladder: Ladder) -> Ladder:
    """A state made to fit a rule whose settings have changed since: inside floor and ceiling."""
    tempo_bpm = min(max(ladder.tempo_bpm, rule.floor_bpm), rule.ceiling_bpm)
    streak = min(max(ladder.streak, 0), rule.in_a_row - 1)
    return Ladder(float(tempo_bpm), streak)


def step(rule: Rule, ladder: Ladder, outcome: Outcome) -> Ladder:
    """The state after one more pass; any state and any outcome have an answer."""
    ladder = settled(rule, ladder)
    if outcome is Outcome.UNSURE:
        return ladder
    if outcome is Outcome.NOT_CLEAN:
        below = round(ladder.tempo_bpm - rule.down_bpm, _BPM_DIGITS)
        return settled(rule, Ladder(below))
    if ladder.streak + 1 < rule.in_a_row:
        return replace(ladder, streak=ladder.streak + 1)
    return settled(rule, Ladder(_rung_above(rule, ladder.tempo_bpm)))


def _rung_above(rule: Rule, tempo_bpm: float) -> float:
    above = round(tempo_bpm + rule.up_bpm, _BPM_DIGITS)
    if rule.song_bpm is not None and tempo_bpm < rule.song_bpm < above:
        return rule.song_bpm
    return above


@dataclass(frozen=True, slots=True)
class Climb:
    """A climb so far: the tempo each pass was played at, and the state after the last."""

    tempos_bpm: tuple[float, ...]
    ladder: Ladder

    @property
    def next_bpm(self) -> float:
        """The tempo of the pass to come."""
        return self.ladder.tempo_bpm


def climb(rule: Rule, outcomes: Iterable[Outcome], ladder: Ladder | None = None) -> Climb:
    """The rule followed through a history, oldest pass first.

    Parameters
    ----------
    rule
        The settings.
    outcomes
        One for each pass; none at all is an answer too.
    ladder
        Where the climb stands before the first of them; the foot of the rule if None.

    Returns
    -------
    Climb
        `tempos_bpm` has one tempo for each outcome, in the same order.
    """
    state = first(rule) if ladder is None else settled(rule, ladder)
    tempos: list[float] = []
    for outcome in outcomes:
        tempos.append(state.tempo_bpm)
        state = step(rule, state, outcome)
    return Climb(tuple(tempos), state)


def climb_json(rule: Rule, outcomes: Iterable[Outcome]) -> dict[str, object]:
    """A climb as other people's scripts read it: the tempo of each pass, and of the next."""
    climbed = climb(rule, outcomes)
    return {
        "tempos": [_plain(tempo) for tempo in climbed.tempos_bpm],
        "next": _plain(climbed.next_bpm),
    }


def _plain(number: float) -> int | float:
    return int(number) if float(number).is_integer() else number


# What may stand between results; anything else that is not a result is named.
_BETWEEN = frozenset(" \t\r\n,;.-|/")


def parse_results(word: str) -> tuple[Outcome, ...]:
    """Read ``CCFU``, ``c c f u`` or ``C, C, F, U``; a word with nothing in it is no passes.

    Raises
    ------
    PracticeError
        For the first character that is no result, with its place counted from 1.
    """
    outcomes: list[Outcome] = []
    for place, character in enumerate(word, start=1):
        if character in _BETWEEN:
            continue
        if character.upper() not in ("C", "F", "U"):
            raise PracticeError(
                f"{character!r}, character {place} of the results, is no result: write C for a "
                "clean pass, F for one that was not clean, U for one nobody could judge."
            )
        outcomes.append(Outcome(character.upper()))
    return tuple(outcomes)


def rule_for_song(song_bpm: float, rule: Rule | None = None) -> Rule:
    """The rule of a climb to a song.

    Parameters
    ----------
    song_bpm
        The song's own tempo, in the meter's own beat.
    rule
        Settings to keep; its start gives way where the song is slower, its floor only where the
        song leaves no room above it, its ceiling always.

    Returns
    -------
    Rule
        Starts at the rule's start or the song's tempo, whichever is lower. The song's tempo is a
        rung. The ceiling is ten per cent over the song, in whole beats a minute (never below the
        song itself). For a song at or under the floor the floor is one step down below the song,
        so that there is always a slower tempo to fall back to.
    """
    base = Rule() if rule is None else rule
    replace(base, song_bpm=song_bpm)  # says what is wrong with the tempo itself, if anything is
    above = math.floor(round(song_bpm * ABOVE_SONG, _BPM_DIGITS))
    floor_bpm = base.floor_bpm
    if song_bpm <= floor_bpm:
        floor_bpm = max(TEMPO_MIN_BPM, song_bpm - base.down_bpm)
    return replace(
        base,
        start_bpm=min(base.start_bpm, song_bpm),
        floor_bpm=floor_bpm,
        ceiling_bpm=min(TEMPO_MAX_BPM, max(above, song_bpm)),
        song_bpm=song_bpm,
    )


def slow_bpm(song_bpm: float) -> float:
    """Where work on hard bars begins: 70, or three quarters of the song's tempo where that is less.

    In whole beats a minute where the tempo leaves room for them; common practice, no source.
    """
    slow = math.floor(round(song_bpm * SLOW_SHARE, _BPM_DIGITS))
    return max(TEMPO_MIN_BPM, min(Rule().start_bpm, slow))


def clean_climb(song_bpm: float) -> tuple[float, ...]:
    """The tempo of each pass from slow up to a song's own tempo, if every pass is clean."""
    toward = rule_for_song(song_bpm)
    start_bpm = slow_bpm(song_bpm)
    rule = replace(toward, start_bpm=start_bpm, floor_bpm=min(toward.floor_bpm, start_bpm))
    most = rule.in_a_row * (2 + int((song_bpm - start_bpm) // rule.up_bpm))
    tempos = climb(rule, [Outcome.CLEAN] * most).tempos_bpm
    return tuple(tempo for tempo in tempos if tempo <= song_bpm)


def ladder_json(rule: Rule, ladder: Ladder) -> dict[str, object]:
    """A climb to keep: its settings and where it stands."""
    return {"rule": asdict(rule), "tempo_bpm": ladder.tempo_bpm, "streak": ladder.streak}


def parse_ladder(saved: Mapping[str, object]) -> tuple[Rule, Ladder]:
    """Read what `ladder_json` kept; going on from it equals never having stopped.

    Raises
    ------
    PracticeError
        If it is no kept climb, or its settings are none a rule can have.
    """
    rule = parse_rule(saved.get("rule"))
    tempo_bpm, streak = saved.get("tempo_bpm"), saved.get("streak")
    if isinstance(tempo_bpm, bool) or not isinstance(tempo_bpm, int | float):
        raise PracticeError(f"A kept climb has a tempo in beats a minute, not {tempo_bpm!r}.")
    if isinstance(streak, bool) or not isinstance(streak, int):
        raise PracticeError(f"A kept climb has a streak of clean passes, not {streak!r}.")
    if not math.isfinite(tempo_bpm):
        raise PracticeError(f"A kept climb has a tempo in beats a minute, not {tempo_bpm!r}.")
    return rule, settled(rule, Ladder(float(tempo_bpm), streak))


def parse_rule(saved: object) -> Rule:
    """Read the settings that `ladder_json` kept under ``rule``; what is absent is the default."""
    if not isinstance(saved, Mapping):
        raise PracticeError("A kept climb has its settings under 'rule'.")
    known = {field.name for field in fields(Rule)}
    unknown = sorted(str(name) for name in saved if name not in known)
    if unknown:
        raise PracticeError(f"A climb has no setting named {', '.join(unknown)}.")
    return Rule(**{str(name): value for name, value in saved.items()})
