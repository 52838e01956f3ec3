"""Scales under one hand: the one-octave scale and the position exercise."""

from __future__ import annotations

from collections.abc import Sequence

from undersong.drills.drill import Drill, DrillSheet, Setting
from undersong.drills.writing import Event, Tone, chord_on, evenly, sheet
from undersong.errors import UnplayableError
from undersong.neck.fingering import Wishes, finger_part
from undersong.neck.shapes import Place, Shape, closed_shapes
from undersong.theory.key import DEGREES
from undersong.theory.meter import Wholes
from undersong.theory.part import Note, Part
from undersong.theory.pitch import SEMITONES_PER_OCTAVE, Pitch

POSITION_STEPS = (0, 1, 3, 4, 5, 7)
"""The starts of the position exercise as scale steps: 1 2 4 5 6 8 (trade handbook 6, X2)."""


def shapes_from(setting: Setting, step: int) -> tuple[Shape, ...]:
    """The shapes from a scale step that lie in the setting's range."""
    degree = setting.key.degrees[step % DEGREES]
    return tuple(
        shape
        for shape in closed_shapes(setting.instrument, setting.key, degree)
        if all(setting.allows(note.midi) for note in shape.notes)
    )


def easiest(setting: Setting, shapes: Sequence[Shape]) -> Shape:
    """Of several shapes the one on fewest strings that costs the hand least, up and down.

    Fewest strings first, because a shape that starts on finger 4 over four strings leaves the
    hand where it was, and the exercise is there to move it.
    """
    return min(shapes, key=lambda shape: (shape.strings, _effort(setting, shape)))


def _effort(setting: Setting, shape: Shape) -> float:
    key, unit = setting.key, setting.meter.beat
    places = [*shape.notes, *shape.notes[-2::-1]]
    notes = tuple(
        Note(unit * at, unit, key.spell(note.midi), string=note.string, fret=note.fret)
        for at, note in enumerate(places)
    )
    part = Part("shape", key, setting.meter, setting.tempo_bpm, notes)
    return finger_part(part, setting.instrument, wishes=Wishes(keep_places=True)).cost


def shape_events(
    setting: Setting,
    shape: Shape,
    step: int,
    *,
    length: Wholes | None = None,
    section: str | None = None,
) -> list[Event]:
    """A shape up and down in its own places; `step` is the scale step of its first note."""
    up = [Tone(step + place) for place in range(len(shape.notes))]
    events = evenly(
        [*up, *up[-2::-1]],
        setting.meter,
        length=length,
        chord=chord_on(setting.key, 0),
        section=section,
    )
    places = [(note.string, note.fret) for note in (*shape.notes, *shape.notes[-2::-1])]
    return [_at(event, place) for event, place in zip(events, places, strict=True)]


def _at(event: Event, place: Place) -> Event:
    return Event(event.length, event.tone, event.chord, place, section=event.section)


def _tonic_below(setting: Setting, shape: Shape, step: int) -> Pitch:
    """The tonic that a shape's first note counts its step from."""
    octave, place = divmod(step, DEGREES)
    names = setting.key.names
    above = (names[place].pitch_class - names[0].pitch_class) % SEMITONES_PER_OCTAVE
    midi = shape.notes[0].midi - above - SEMITONES_PER_OCTAVE * octave
    return setting.key.tonic.with_midi(midi)


def _nearest_nut(shapes: Sequence[Shape]) -> Shape:
    return min(shapes, key=lambda shape: (shape.notes[0].midi, shape.lowest_fret))


def make_scale(setting: Setting) -> DrillSheet:
    """One octave up and down in the lowest closed shape."""
    title = f"Scale of {setting.key}"
    shapes = shapes_from(setting, 0)
    if not shapes:
        tones = [Tone(step) for step in (*range(DEGREES + 1), *range(DEGREES - 1, -1, -1))]
        events = evenly(tones, setting.meter, chord=chord_on(setting.key, 0), section="Scale")
        remark = "No closed octave from the 1 lies in this range: the notes are fingered freely."
        return sheet(setting, title, events, remarks=[remark])
    first = _nearest_nut(shapes)
    shape = easiest(setting, [other for other in shapes if other.place == first.place])
    remarks = [] if shape.note is None else [f"From the 1: this shape {shape.note}."]
    events = shape_events(setting, shape, 0, section="Scale")
    tonic = _tonic_below(setting, shape, 0)
    return sheet(setting, title, events, tonic=tonic, remarks=remarks)


def make_positions(setting: Setting) -> DrillSheet:
    """The scale from 1, 2, 4, 5, 6 and 8 along one string, each closed shape up and down."""
    title = f"Positions in {setting.key}"
    by_step = {step: shapes_from(setting, step) for step in POSITION_STEPS}
    if not any(by_step.values()):
        raise UnplayableError(
            f"No octave of {setting.key} lies under the hand on this neck and in this range: "
            "give more strings, more frets or a wider range."
        )
    string, tonic_midi = _best_string(setting, by_step)
    events: list[Event] = []
    remarks: list[str] = []
    used: set[Place] = set()
    for step in POSITION_STEPS:
        shape, remark = _placed(setting, by_step[step], step, string, tonic_midi, used)
        remarks += remark
        if shape is None:
            continue
        used.add(shape.place)
        moved = shape.notes[0].midi - _start_midi(setting, tonic_midi, step)
        shown = step + DEGREES * (moved // SEMITONES_PER_OCTAVE)
        events += shape_events(setting, shape, shown, section=f"From {_number(setting, step)}")
    tonic = setting.key.tonic.with_midi(tonic_midi)
    return sheet(setting, title, events, tonic=tonic, remarks=remarks)


def _number(setting: Setting, step: int) -> str:
    return "8" if step == DEGREES else str(setting.key.degrees[step])


def _start_midi(setting: Setting, tonic_midi: int, step: int) -> int:
    octave, place = divmod(step, DEGREES)
    names = setting.key.names
    above = (names[place].pitch_class - names[0].pitch_class) % SEMITONES_PER_OCTAVE
    return tonic_midi + above + SEMITONES_PER_OCTAVE * octave


def _best_string(setting: Setting, by_step: dict[int, tuple[Shape, ...]]) -> tuple[int, int]:
    """The string and tonic from which most starts have their shape on that one string."""
    starts = {
        step: {(shape.place[0], shape.notes[0].midi) for shape in shapes}
        for step, shapes in by_step.items()
    }
    tonics = [
        midi
        for midi in range(setting.lowest_midi - SEMITONES_PER_OCTAVE, setting.highest_midi + 1)
        if midi % SEMITONES_PER_OCTAVE == setting.key.tonic.pitch_class and midi >= 0
    ]

    def found(string: int, tonic: int) -> tuple[bool, ...]:
        return tuple(
            (string, _start_midi(setting, tonic, step)) in starts[step] for step in POSITION_STEPS
        )

    candidates = [
        (string, tonic) for string in range(setting.instrument.strings, 0, -1) for tonic in tonics
    ]
    return max(candidates, key=lambda each: (found(*each)[0], sum(found(*each)), each[0], -each[1]))


def _placed(
    setting: Setting,
    shapes: Sequence[Shape],
    step: int,
    string: int,
    tonic_midi: int,
    used: set[Place],
) -> tuple[Shape | None, list[str]]:
    """The shape for one start and what has to be said of it.

    On the exercise's own string if it is there; else the same pitch on the nearest other
    string; else an octave lower, on the same string first.
    """
    number = _number(setting, step)
    wanted = _start_midi(setting, tonic_midi, step)

    def far(shape: Shape) -> tuple[bool, int, int, bool]:
        octaves = abs(shape.notes[0].midi - wanted) // SEMITONES_PER_OCTAVE
        strings = abs(shape.place[0] - string)
        return shape.place in used, octaves, strings, shape.place[0] > string

    if not shapes:
        return None, [f"From the {number}: no octave lies under the hand here, so it is left out."]
    nearest = min(far(shape) for shape in shapes)
    chosen = easiest(setting, [shape for shape in shapes if far(shape) == nearest])
    remarks = []
    place = f"string {chosen.place[0]}, fret {chosen.place[1]}"
    moved = chosen.notes[0].midi - wanted
    if moved:
        way = "lower" if moved < 0 else "higher"
        remarks.append(
            f"From the {number}: the neck runs out on string {string}, so this one lies an octave "
            f"{way}, from {place}."
        )
    elif chosen.place[0] != string:
        remarks.append(
            f"From the {number}: the neck runs out on string {string}, so it moves to {place}."
        )
    if chosen.note is not None:
        remarks.append(f"From the {number}: this shape {chosen.note}.")
    return chosen, remarks


SCALE = Drill(
    name="scale",
    title="One-octave scale",
    level=1,
    purpose="The movable shape under the hand: one octave of the key, up and down.",
    listen_for="Every note as loud and as long as its neighbour, with no gap where strings change.",
    common_mistakes="Finger 3 collapses, the string change comes late, the top note is doubled.",
    make=make_scale,
)
POSITIONS = Drill(
    name="positions",
    title="Positions",
    level=3,
    purpose="The whole neck in one key: its scale from 1, 2, 4, 5, 6 and 8, each in its own shape.",
    listen_for="The same seven notes in every place, home still sounding like home.",
    common_mistakes="Losing the key: a major scale from each start; a jerk at the shift.",
    make=make_positions,
)
