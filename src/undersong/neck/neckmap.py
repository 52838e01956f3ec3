"""The whole key over the whole neck, as data and as lines of text."""

from __future__ import annotations

from dataclasses import dataclass

from undersong.neck.instrument import Instrument
from undersong.neck.moves import Direction, RootMove, move_words, root_moves
from undersong.neck.shapes import TONIC, Shape, closed_shapes, degree_in_key
from undersong.theory.key import Degree, Key
from undersong.theory.pitch import Pitch

CELL = 4
WIDTH = 100
OTHER_WAYS = 2  # ways of a root move told beside the first; the data has all
FIRST_FRETS = 2
FIRST_FAMILY = (0, 3, 4, 5)  # 1 4 5 6: what to teach first (trade handbook 4.8)


@dataclass(frozen=True, slots=True)
class NeckNote:
    """A note of a key at one place on the neck."""

    string: int
    fret: int
    pitch: Pitch
    degree: Degree


def key_on_neck(instrument: Instrument, key: Key) -> tuple[NeckNote, ...]:
    """Every note of a key on the neck, open strings included, lowest string first."""
    by_class = {key.name_of(degree).pitch_class: degree for degree in key.degrees}
    found = []
    for string in range(instrument.strings, 0, -1):
        for fret in range(instrument.frets + 1):
            midi = instrument.midi_at(string, fret)
            degree = by_class.get(midi % 12)
            if degree is not None:
                pitch = key.name_of(degree).with_midi(midi)
                found.append(NeckNote(string, fret, pitch, degree))
    return tuple(found)


def neck_json(instrument: Instrument, key: Key, from_degree: Degree = TONIC) -> dict[str, object]:
    """The neck as plain data.

    Keys: `key`, `tuning` (MIDI, low to high), `tuning_name`, `frets`, `left_handed`, `notes`,
    `shapes` and `moves`; a shape that is an alternative has a `note`, a move on an uneven
    tuning a `from_string`, and every move its `words` and its `others`.

    Raises
    ------
    TheoryError
        If the key has no such degree.
    """
    return {
        "key": str(key),
        "tuning": list(instrument.tuning.midis),
        "tuning_name": instrument.tuning.name,
        "frets": instrument.frets,
        "left_handed": instrument.left_handed,
        "notes": [
            {
                "string": note.string,
                "fret": note.fret,
                "midi": note.pitch.midi,
                "pitch": str(note.pitch),
                "degree": str(note.degree),
            }
            for note in key_on_neck(instrument, key)
        ],
        "shapes": [shape_json(shape) for shape in closed_shapes(instrument, key, from_degree)],
        "moves": [_move_json(move) for move in root_moves(instrument, key)],
    }


def shape_json(shape: Shape) -> dict[str, object]:
    """One shape in plain values."""
    data: dict[str, object] = {
        "from": str(shape.start),
        "notes": [
            {
                "degree": str(note.degree),
                "string": note.string,
                "fret": note.fret,
                "finger": note.finger,
            }
            for note in shape.notes
        ],
        "frets": shape.frets,
        "strings": shape.strings,
    }
    if shape.note is not None:
        data["note"] = shape.note
    return data


def _move_json(move: RootMove) -> dict[str, object]:
    data: dict[str, object] = {
        "from": str(move.start),
        "to": str(move.end),
        "direction": move.direction,
        "strings": move.strings,
        "frets": move.frets,
        "words": move.words,
        "others": [{"strings": strings, "frets": frets} for strings, frets in move.others],
    }
    if move.from_string is not None:
        data["from_string"] = move.from_string
    return data


def neck_lines(instrument: Instrument, key: Key, from_degree: Degree = TONIC) -> list[str]:
    """The neck for a terminal: the key's degrees on the strings, the shapes, the root moves.

    The highest string is on top, as in tablature; a left-hander's picture has the nut on the
    right. No line is wider than 100 columns on up to 20 frets.
    """
    start = degree_in_key(key, from_degree)
    shapes = closed_shapes(instrument, key, start)
    heading = f"The key of {key} on {instrument.tuning.name} ({instrument.tuning})"
    return [
        heading,
        "",
        *_picture(instrument, key),
        "",
        *_shape_lines(instrument, start, shapes),
        "",
        *_move_lines(instrument, key),
    ]


def _picture(instrument: Instrument, key: Key) -> list[str]:
    degrees = {(note.string, note.fret): str(note.degree) for note in key_on_neck(instrument, key)}
    frets = list(range(instrument.frets + 1))
    if instrument.left_handed:
        frets.reverse()
    lines = []
    for string in range(1, instrument.strings + 1):
        name = str(instrument.tuning.strings[-string])
        cells = [_cell(degrees.get((string, fret), ""), is_open=fret == 0) for fret in frets]
        row = "".join(cells)
        lines.append(f"{row} {name}" if instrument.left_handed else f"{name:>4} {row}")
    marks = "".join(str(fret).center(CELL) for fret in frets)
    lines.append((marks if instrument.left_handed else f"{'':>4} {marks}").rstrip())
    return lines


def _cell(text: str, *, is_open: bool) -> str:
    fill = " " if is_open else "-"
    return (text or fill).center(CELL, fill)


def _shape_lines(instrument: Instrument, start: Degree, shapes: tuple[Shape, ...]) -> list[str]:
    if not shapes:
        return [f"No octave from the {start} lies under the hand on this neck."]
    if shapes[0].note is None:
        lines = [f"One octave from the {start}: three strings, four frets, no open string"]
    else:
        lines = [f"One octave from the {start} does not fit three strings and four frets; nearest:"]
    lines += [f"  {line}" for shape in shapes for line in shape_words(instrument, shape)]
    return lines


def shape_words(instrument: Instrument, shape: Shape) -> list[str]:
    """A shape by strings, frets and fingers, and what an alternative costs."""
    words = [_by_string(instrument, shape)]
    return words if shape.note is None else [*words, f"    {shape.note}"]


def _by_string(instrument: Instrument, shape: Shape) -> str:
    groups = []
    for string in dict.fromkeys(note.string for note in shape.notes):
        frets = " ".join(f"{note.fret}" for note in shape.notes if note.string == string)
        groups.append(f"{string_name(instrument, string)} {frets}")
    fingers = "".join(str(note.finger) for note in shape.notes)
    return f"{', '.join(groups)}; fingers {fingers}"


def string_name(instrument: Instrument, string: int) -> str:
    """``A string``; ``string 3 (A)`` on a tuning that has two strings of one name."""
    names = [pitch.name for pitch in instrument.tuning.strings]
    name = names[-string]
    return f"{name} string" if len(set(names)) == len(names) else f"string {string} ({name})"


def _move_lines(instrument: Instrument, key: Key) -> list[str]:
    moves = root_moves(instrument, key)
    family = {key.degrees[step] for step in FIRST_FAMILY}
    lines = ["Root moves to know first"]
    for move in moves:
        if move.start in family and move.end in family and abs(move.frets) <= FIRST_FRETS:
            lines += _first_move_lines(move)
    directions: tuple[Direction, ...] = ("up", "down")
    for direction in directions:
        lines += ["", f"All root moves {direction} in pitch: strings, frets"]
        for string in dict.fromkeys(move.from_string for move in moves):
            if string is not None:
                lines.append(f"  from string {string}")
            rows = [m for m in moves if m.direction == direction and m.from_string == string]
            lines += _move_table(key, rows)
    return lines


def _first_move_lines(move: RootMove) -> list[str]:
    """A move and its nearest other ways, on one line where they fit."""
    where = "" if move.from_string is None else f" from string {move.from_string}"
    told = f"  {move.start} {move.direction} to {move.end}{where}: {move.words}"
    others = "; ".join(move_words(*way) for way in move.others[:OTHER_WAYS])
    if not others:
        return [told]
    on_one = f"{told} (or {others})"
    return [on_one] if len(on_one) <= WIDTH else [told, f"      (or {others})"]


def _move_table(key: Key, moves: list[RootMove]) -> list[str]:
    cells = {(move.start, move.end): f"{move.strings:+d},{move.frets:+d}" for move in moves}
    lines = ["  from  to " + "".join(f"{degree!s:>8}" for degree in key.degrees)]
    for start in key.degrees:
        row = "".join(f"{cells.get((start, end), '.'):>8}" for end in key.degrees)
        lines.append(f"  {start!s:>4}     {row}")
    return lines
