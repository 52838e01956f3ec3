"""Two notes struck together: the ways in which one hand holds both.

The lower note leads: the search moves from lead to lead. The upper note has to be held by the
same hand, on another string, with fingers in the order of their frets (one finger may lie over
both on one fret); of the ways that can, each way of the lead takes the one of fewest points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from undersong.errors import UnplayableError
from undersong.neck.effort import Floats, Hands, Ints, Mask
from undersong.neck.wishes import where
from undersong.theory.part import Part, Stroke

MOST_TOGETHER = 2


@dataclass(frozen=True, slots=True)
class Held:
    """The ways of a lead that leave room for its upper note, and how that is held in each."""

    lead: Hands
    upper: Hands


def groups(part: Part, strokes: Sequence[Stroke]) -> list[tuple[int, ...]]:
    """Places in `strokes` that start together, lowest note first.

    Raises
    ------
    UnplayableError
        If more than two start together.
    """
    grouped: list[list[int]] = []
    for place, stroke in enumerate(strokes):
        if grouped and strokes[grouped[-1][0]].at == stroke.at:
            grouped[-1].append(place)
        else:
            grouped.append([place])
    for group in grouped:
        if len(group) > MOST_TOGETHER:
            names = " and ".join(str(strokes[place].note.pitch) for place in group)
            raise UnplayableError(
                f"{where(part, strokes[group[0]])}: {names} start together; we finger two notes "
                "at once at most: leave the others out.",
                midi=strokes[group[-1]].note.pitch.midi,
                index=strokes[group[-1]].index,
            )
    return [tuple(group) for group in grouped]


def held_together(lead: Hands, upper: Hands, points: Floats) -> Held | None:
    """How one hand holds two notes; None where it cannot.

    `points` are those of each way of the upper note, shape (n_upper,).
    """
    cost = np.where(_fits(lead, upper), points[None, :], np.inf)
    can: Mask = np.isfinite(cost.min(axis=1))
    if not can.any():
        return None
    chosen: Ints = cost.argmin(axis=1)[can]
    also = replace(lead.taken(can), also=cost.min(axis=1)[can])
    return Held(also, upper.taken(chosen))


def _fits(lead: Hands, upper: Hands) -> Mask:
    """For each way of the lead and of the upper note whether one hand holds both."""
    low = lead.column()
    apart = (low.string != upper.string) & (low.hand == upper.hand)
    both_stopped = (low.finger > 0) & (upper.finger > 0)
    in_order = np.sign(low.fret - upper.fret) == np.sign(low.finger - upper.finger)
    one_fret = low.fret == upper.fret
    fits: Mask = apart & (~both_stopped | in_order | one_fret)
    return fits


def not_together(part: Part, low: Stroke, high: Stroke) -> UnplayableError:
    """The refusal of two notes that one hand cannot hold."""
    return UnplayableError(
        f"{where(part, low)}: one hand cannot hold {low.note.pitch} and {high.note.pitch} together "
        "here: leave one out, or play one after the other.",
        midi=high.note.pitch.midi,
        index=high.index,
    )
