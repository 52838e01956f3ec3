"""What a line pays for: the costs of the search, each named, weighted and given a reason.

One point is about what a good player would give to avoid one needless leap of an octave. A
negative weight is a wish. All are common practice, no source: settings with these defaults;
docs/lines.md explains them to a teacher who may want to change one.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LineWeights:
    """Points for each kind of trouble in a line.

    Register, in the choice of octaves for the notes every level shares:

    leap
        Each semitone beyond a fifth between one chord's note and the next.
    octave_change
        The same note name in another octave where no section begins.
    below_weight
        Each semitone under E1 where the song does not ask for weight (needs a low string).
    above_weight
        Each semitone over C2, the top of the range of weight.
    above_verse
        Each semitone over G2 on top of that.
    high_fret
        Each fret over the seventh at the lowest place of the note.

    Figures, bar by bar:

    other_rhythm
        A rhythm that is not the section's own.
    phrase_rhythm
        A change of rhythm at a phrase end of a later visit: a wish.
    plain
        Playing less than the level asked for allows.
    busy
        Leaving the root in a bar of low energy: each note.
    approach, fill, pickup, melody
        Having one: wishes, kept in check by how often each is allowed.
    crowded
        An approach in the bar after one, where the level allows that at all.
    same_road
        Going into a chord the way the last one was gone into.
    reach
        Each semitone beyond a step from the root or fifth to the approach after it.
    static_target
        An approach to the note that is sounding already.
    wide
        Each semitone beyond a fifth inside a figure, octaves and tenths apart.
    into_target
        Each semitone beyond a step between the last note and the next chord's note, where that
        note is on its way there.
    out_of_range
        Each semitone over the section's ceiling inside a figure.
    hurried
        A note shorter than an eighth of a second.
    turn
        An idea whose turn it is not: how the seed and the visit choose among near equals.

    Roads, note by note:

    skip, jump
        A third inside a road; anything wider.
    repeat
        The same note twice.
    turning
        A change of direction.
    weak_chord_note
        A note on a beat that is no note of the chord.
    """

    leap: float = 0.25
    octave_change: float = 2.0
    below_weight: float = 0.12
    above_weight: float = 0.12
    above_verse: float = 0.5
    high_fret: float = 0.1

    other_rhythm: float = 0.6
    phrase_rhythm: float = -1.0
    plain: float = 0.8
    busy: float = 0.15
    approach: float = -1.2
    fill: float = -3.0
    pickup: float = -3.4
    melody: float = -2.0
    crowded: float = 1.1
    same_road: float = 0.5
    reach: float = 0.05
    static_target: float = 0.6
    wide: float = 0.08
    into_target: float = 0.12
    out_of_range: float = 0.15
    hurried: float = 1.5
    turn: float = 0.5

    skip: float = 0.35
    jump: float = 0.9
    repeat: float = 0.9
    turning: float = 0.4
    weak_chord_note: float = 0.4


WEIGHTS = LineWeights()
