"""What the hands do beside plucking: hammered, pulled and slid notes, and ghost notes.

Each function takes a finished performance and returns another, in which the same notes begin at the
same times.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

from takes.material import Part, Rng
from takes.player import LeftHand, Performance, Played

WIDEST_HAMMERED, WIDEST_SLIDE = 5, 7
"""Semitones."""
SHARE = 0.5
SHORTEST_S = 0.09
LONGEST_UNPLUCKED_S, MOST_UNPLUCKED = 2.5, 2
"""A string that was plucked longer ago, or more notes ago, is plucked again."""
STRING_STOPPED_S = 0.004
GHOSTS = (3, 9)
GHOST_APART_S = 0.11
GHOST_PLACES = (0.5, 0.75, 2 / 3)


def hammered(performance: Performance, part: Part, rng: Rng) -> Performance:
    """About half of the notes that can be are hammered on (or, downwards, pulled off)."""

    def how(step: int, gap_s: float) -> LeftHand | None:
        if abs(step) > WIDEST_HAMMERED or rng.uniform() > SHARE:
            return None
        if step > 0:
            return LeftHand("hammered", rng.uniform(2, 8), tap_db=rng.uniform(12, 28))
        return LeftHand("pulled", rng.uniform(2, 8), tap_db=rng.uniform(10, 22))

    return _without_pluck(performance, part, how)


def slid(performance: Performance, part: Part, rng: Rng) -> Performance:
    """About half of the notes that can be are reached by sliding along the string."""

    def how(step: int, gap_s: float) -> LeftHand | None:
        if abs(step) > WIDEST_SLIDE or rng.uniform() > SHARE:
            return None
        glide_s = min(rng.uniform(0.03, 0.08), 0.5 * gap_s)
        return LeftHand("slide", rng.uniform(1, 5), glide_s=glide_s)

    return _without_pluck(performance, part, how)


def _without_pluck(
    performance: Performance, part: Part, how: Callable[[int, float], LeftHand | None]
) -> Performance:
    played = list(performance.played)
    plucked_s, unplucked = 0.0, 0
    for k in range(1, len(played)):
        before, note = played[k - 1], played[k]
        if before.left_hand is None:
            plucked_s, unplucked = before.onset_s, 0
        gap_s = note.onset_s - before.onset_s
        step = note.midi - before.midi
        if step == 0 or gap_s < SHORTEST_S or not _are_joined(part, before, note):
            continue
        if note.onset_s - plucked_s > LONGEST_UNPLUCKED_S or unplucked == MOST_UNPLUCKED:
            continue
        hand = how(step, gap_s)
        if hand is None:
            continue
        unplucked += 1
        until_s = note.onset_s - hand.glide_s
        played[k - 1] = replace(before, offset_s=until_s, damping_s=STRING_STOPPED_S)
        offset_s = note.offset_s
        if k + 1 < len(played) and played[k + 1].string == before.string:
            offset_s = min(offset_s, played[k + 1].onset_s - STRING_STOPPED_S)
        played[k] = replace(note, left_hand=hand, string=before.string, offset_s=offset_s)
    return replace(performance, played=tuple(played))


def _are_joined(part: Part, before: Played, note: Played) -> bool:
    """True where two notes are neighbours in the Part, with no rest between them."""
    if before.asked_index is None or note.asked_index != before.asked_index + 1:
        return False
    first, second = (part["notes"][each.asked_index] for each in (before, note))
    return Fraction(first["at"]) + Fraction(first["length"]) == Fraction(second["at"])


def with_ghosts(performance: Performance, rng: Rng) -> Performance:
    """A few muted strokes between the notes; each stops the string it is struck on."""
    played = list(performance.played)
    most = int(rng.integers(*GHOSTS))
    ghosts: list[Played] = []
    for place in rng.permutation(len(played) - 1).tolist():
        note, after = played[place], played[place + 1]
        gap_s = after.onset_s - note.onset_s
        at_s = note.onset_s + gap_s * float(rng.choice(GHOST_PLACES)) + rng.normal(0, 0.008)
        if min(at_s - note.onset_s, after.onset_s - at_s) < GHOST_APART_S:
            continue
        if note.asked_index is None or after.asked_index is None:
            continue
        if note.offset_s > at_s - 0.005:
            played[place] = replace(note, offset_s=at_s - 0.005, damping_s=0.012)
        ghosts.append(
            replace(
                note,
                onset_s=at_s,
                offset_s=at_s + float(rng.uniform(0.01, 0.02)),
                damping_s=float(rng.uniform(0.02, 0.04)),
                velocity=int(rng.integers(60, 100)),
                asked_index=None,
                plant=None,
                plant_detail=None,
                left_hand=None,
            )
        )
        if len(ghosts) == most:
            break
    return replace(
        performance, played=tuple(played), ghosts=tuple(sorted(ghosts, key=lambda g: g.onset_s))
    )


def written(part: Part, played: Sequence[Played]) -> Part:
    """The Part with what the left hand did asked for."""
    notes = [dict(note) for note in part["notes"]]
    for each in played:
        if each.left_hand is not None and each.asked_index is not None:
            is_slide = each.left_hand.articulation == "slide"
            notes[each.asked_index]["articulation"] = "slide" if is_slide else "hammered"
    return {**part, "notes": notes}
