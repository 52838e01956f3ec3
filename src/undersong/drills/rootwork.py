"""Roots and the roads between them: moves, changes, call-outs, passing and approach notes."""

from __future__ import annotations

import random
from dataclasses import replace

from undersong.drills.chordwork import FOUR_ROOTS
from undersong.drills.drill import Drill, DrillSheet, Setting
from undersong.drills.writing import (
    Event,
    Tone,
    chord_on,
    held,
    in_bars,
    lowest_tonic,
    nearest_in_range,
    pulses,
    semitones_of,
    sheet,
    write_part,
)
from undersong.neck.fingering import fingered
from undersong.theory.key import DEGREES, Key, key_on
from undersong.theory.part import KeyMark, SectionMark
from undersong.theory.pitch import SEMITONES_PER_OCTAVE, Pitch, parse_pitch_name

CHANGES = (FOUR_ROOTS, (0, 3, 5, 4), (5, 3, 0, 4), (3, 0, 4, 5))
CYCLE = tuple(
    parse_pitch_name(name)
    for name in ("C", "F", "Bb", "Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G")
)
CALL_OUT_BARS = 16
SECTION_NAMES = {
    "step": "By step",
    "below": "From below",
    "above": "From above",
    "above, below": "Above, below",
    "below, above": "Below, above",
}
WHOLE_STEP = 2


def make_root_moves(setting: Setting) -> DrillSheet:
    """All 42 pairs (X7): up from the root to the other, then down to it from an octave higher."""
    events: list[Event] = []
    for start, degree in enumerate(setting.key.degrees):
        section: str | None = f"From {degree}"
        for end in range(DEGREES):
            if end == start:
                continue
            above = end if end > start else end + DEGREES
            tones = [Tone(start), Tone(above), Tone(start + DEGREES), Tone(above)]
            chord = chord_on(setting.key, start)
            bar = in_bars(tones, setting.meter, chord=chord, section=section)
            events += [replace(e, why=f"{degree} to {setting.key.degrees[end]}") for e in bar]
            section = None
    title = f"Root moves in {setting.key}"
    return sheet(setting, title, [*events, held(Tone(0), setting.meter, section="Home")])


def make_four_roots(setting: Setting) -> DrillSheet:
    """Four common changes, each first in long notes, then on the pulse (handbook 6, X8)."""
    events: list[Event] = []
    for changes in CHANGES:
        name = " ".join(str(setting.key.degrees[root]) for root in changes)
        for kind in ("long", "on the pulse"):
            section: str | None = f"{name}, {kind}"
            for root in changes:
                chord = chord_on(setting.key, root)
                if kind == "long":
                    events.append(held(Tone(root), setting.meter, chord=chord, section=section))
                else:
                    events += pulses(Tone(root), setting.meter, chord=chord, section=section)
                section = None
    events.append(held(Tone(0), setting.meter, chord=chord_on(setting.key, 0), section="Home"))
    return sheet(setting, f"Four roots in {setting.key}", events)


def make_cycle(setting: Setting) -> DrillSheet:
    """Roots round the cycle of fourths from the key's tonic, within one octave (X9)."""
    classes = [name.pitch_class for name in CYCLE]
    first = classes.index(setting.key.tonic.pitch_class)
    low = setting.lowest_midi
    events = []
    for turn in range(len(CYCLE) + 1):
        name = CYCLE[(first + turn) % len(CYCLE)]
        if turn in (0, len(CYCLE)):
            name = setting.key.tonic
        pitch = nearest_in_range(setting, name, name.at_or_above(low).midi)
        events.append(Event(setting.meter.bar, pitch=pitch, why=f"find {pitch.name}"))
    events[0] = replace(events[0], section="Cycle of fourths")
    return sheet(setting, f"Cycle of fourths from {setting.key.tonic}", events)


def make_call_outs(setting: Setting) -> DrillSheet:
    """Degrees called at random, one a bar, never the same twice running; seeded."""
    rng = random.Random(setting.seed)
    events: list[Event] = []
    root = 0
    for bar in range(CALL_OUT_BARS):
        section = "Call-outs" if bar == 0 else None
        chord = chord_on(setting.key, root)
        events += pulses(Tone(root), setting.meter, chord=chord, section=section)
        root = rng.choice([other for other in range(DEGREES) if other != root])
    events.append(held(Tone(0), setting.meter, chord=chord_on(setting.key, 0), section="Home"))
    remark = f"The calls are those of seed {setting.seed}: another seed calls others."
    return sheet(setting, f"Call-outs in {setting.key}", events, remarks=[remark])


def make_passing_notes(setting: Setting) -> DrillSheet:
    """1 to 4, 4 to 5, 5 to 8 with the scale's own note just before the change (X12)."""
    return _approached(setting, "Passing notes", (0, 3, 4, 7), ("step",), home=7)


def make_approach(setting: Setting) -> DrillSheet:
    """A half step into each change, from below and then from above (X13)."""
    return _approached(setting, "Approach notes", (0, 4, 5, 3), ("below", "above"))


def make_double_approach(setting: Setting) -> DrillSheet:
    """Both neighbours before each change: above and below, then below and above (X14)."""
    return _approached(setting, "Double approach", (0, 4, 5, 3), ("above, below", "below, above"))


def _approached(
    setting: Setting,
    title: str,
    roots: tuple[int, ...],
    ways: tuple[str, ...],
    *,
    home: int = 0,
) -> DrillSheet:
    """One bar on each root, its last pulse a road to the next; the last root leads home."""
    events: list[Event] = []
    for way in ways:
        section: str | None = SECTION_NAMES[way]
        for root, target in zip(roots, (*roots[1:], home), strict=True):
            chord = chord_on(setting.key, root)
            bar = pulses(Tone(root), setting.meter, chord=chord, section=section)
            events += [*bar[:-1], *_road(setting, root, target, way, bar[-1])]
            section = None
    events.append(held(Tone(home), setting.meter, chord=chord_on(setting.key, 0), section="Home"))
    return sheet(setting, f"{title} in {setting.key}", events)


def _road(setting: Setting, root: int, target: int, way: str, last: Event) -> list[Event]:
    """What stands on the last pulse before a target."""
    number = setting.key.degrees[target % DEGREES]
    if root == target:
        return [last]
    if way == "step":
        step = target + 1 if target < root else target - 1
        return [replace(last, tone=Tone(step), why=f"passing note to the {number}")]
    tones = {
        "below": half_step_below(setting.key, target),
        "above": half_step_above(setting.key, target),
    }
    words = way.split(", ")
    return [
        replace(
            last,
            length=last.length / len(words),
            tone=tones[word],
            why=f"approach to the {number} from {word}",
        )
        for word in words
    ]


def half_step_below(key: Key, target: int) -> Tone:
    """The note a half step below a scale step, spelled by the step below it."""
    gap = semitones_of(key, Tone(target)) - semitones_of(key, Tone(target - 1))
    return Tone(target - 1, gap - 1)


def half_step_above(key: Key, target: int) -> Tone:
    """The note a half step above a scale step, spelled by the step above it."""
    gap = semitones_of(key, Tone(target + 1)) - semitones_of(key, Tone(target))
    return Tone(target + 1, 1 - gap)


def make_key_slide(setting: Setting) -> DrillSheet:
    """1 5 6 4, then the same a whole step up, prepared by the new key's 5 (X28)."""
    key = setting.key
    new_key = key_on(key.tonic.pitch_class + WHOLE_STEP, key.mode, prefer_flats=key.signature < 0)
    old_events = [_root(setting, root, is_first=root == 0) for root in FOUR_ROOTS]
    new_setting = replace(setting, key=new_key)
    tonic, _ = lowest_tonic(setting, [Tone(root) for root in (*FOUR_ROOTS, -3)])
    new_tonic = _nearest_tonic(new_setting, tonic.midi + WHOLE_STEP)
    prepared = chord_on(new_key, 4)
    new_events = [
        held(Tone(-3), setting.meter, chord=prepared, section=f"Prepare {new_key}"),
        *[_root(new_setting, root, is_first=root == 0) for root in FOUR_ROOTS],
        _root(new_setting, 0, is_first=False),
    ]
    old = write_part(setting, f"Key slide from {key} to {new_key}", old_events, tonic)
    new = write_part(new_setting, old.title, new_events, new_tonic)
    at = old.length
    part = replace(
        old,
        notes=(*old.notes, *(replace(note, at=note.at + at) for note in new.notes)),
        length=at + new.length,
        key_marks=(KeyMark(at, new_key),),
        sections=(
            *old.sections,
            *(SectionMark(mark.at + at, mark.name) for mark in new.sections),
        ),
        chords=(*old.chords, *(replace(mark, at=mark.at + at) for mark in new.chords)),
    )
    return DrillSheet(fingered(part, setting.instrument))


def _root(setting: Setting, root: int, *, is_first: bool) -> Event:
    chord = chord_on(setting.key, root)
    section = f"1 5 6 4 in {setting.key}" if is_first else None
    return held(Tone(root), setting.meter, chord=chord, section=section)


def _nearest_tonic(setting: Setting, midi: int) -> Pitch:
    fits = setting.allows(midi + SEMITONES_PER_OCTAVE)
    return setting.key.tonic.with_midi(midi if fits else midi - SEMITONES_PER_OCTAVE)


ROOTWORK = (
    Drill(
        name="root-moves",
        title="All root moves",
        level=1,
        purpose="From every root to every other, up and down: the way the hand goes, by feel.",
        listen_for="Arrive on the beat; the second half of the drill with your eyes shut.",
        common_mistakes="Counting frets from the nut; looking down.",
        make=make_root_moves,
    ),
    Drill(
        name="four-roots",
        title="Four roots",
        level=1,
        purpose="The commonest changes in long notes, then on the pulse.",
        listen_for="The new root exactly on 1, the old one ended just before.",
        common_mistakes="Late arrival; looking down.",
        make=make_four_roots,
    ),
    Drill(
        name="cycle",
        title="Cycle of fourths",
        level=2,
        purpose="To name and find every root fast, whatever the key.",
        listen_for="Say the name before you play it.",
        common_mistakes="Only one string used; guessing after the fifth root.",
        make=make_cycle,
    ),
    Drill(
        name="call-outs",
        title="Number call-outs",
        level=2,
        purpose="Numbers out of order, in time, as a leader calls them.",
        listen_for="The number sung in your head before the bar line.",
        common_mistakes="Stopping to think; 5 for 4.",
        make=make_call_outs,
    ),
    Drill(
        name="passing-notes",
        title="Passing notes",
        level=4,
        purpose="One note of the key between two roots, so that the line walks.",
        listen_for="The passing note softer than its target.",
        common_mistakes="Passing note louder than target; target late.",
        make=make_passing_notes,
    ),
    Drill(
        name="approach",
        title="Approach notes",
        level=4,
        purpose="A half step into each change, from below and from above.",
        listen_for="The pull into the target, and the target on the beat.",
        common_mistakes="The approach on the beat and the target late.",
        make=make_approach,
    ),
    Drill(
        name="double-approach",
        title="Double approach",
        level=5,
        purpose="Both neighbours of the target just before it.",
        listen_for="Two light notes, one heavy one.",
        common_mistakes="Used too often; the two notes rushed.",
        make=make_double_approach,
    ),
    Drill(
        name="key-slide",
        title="Up a key",
        level=4,
        purpose="The last chorus a whole step up: the preparing 5 and the same shape moved.",
        listen_for="The preparing bar opening the door to the new key.",
        common_mistakes="The hand starts from the wrong root.",
        make=make_key_slide,
    ),
)
