"""Neck diagrams: a key, a shape under the hand, the chord of the moment, the path of the roots."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from undersong.errors import PageError
from undersong.neck.instrument import Instrument
from undersong.neck.moves import move_words
from undersong.neck.neckmap import key_on_neck
from undersong.neck.shapes import TONIC, Shape, closed_shapes, degree_in_key
from undersong.page.ground import ground_named
from undersong.page.lettering import signs
from undersong.page.marks import Drawing
from undersong.page.neckdrawing import Board, Hop, Spot, board_marks
from undersong.page.pdf import drawing_png
from undersong.page.svg import svg_of
from undersong.theory.chord import NumberChord
from undersong.theory.key import Degree, Key
from undersong.theory.meter import Wholes
from undersong.theory.part import Part

WIDTH_MM = 180.0
_FULL_WIDTH_MM = 300.0  # the whole neck needs room for its highest frets
PAGE_FRETS = 12  # above it the neck repeats itself an octave higher
_LOWEST_FIRST = 5  # a shape to show begins at or below this fret where it can


def neck_drawing(
    instrument: Instrument,
    key: Key,
    from_degree: Degree = TONIC,
    *,
    chord: NumberChord | None = None,
    last_fret: int | None = None,
    width_mm: float = WIDTH_MM,
) -> Drawing:
    """The key on the neck, with the lowest shape from a degree under the hand.

    Parameters
    ----------
    instrument
        The neck, and the hand it is mirrored for.
    key
        Its degrees are shown; counted from its own tonic.
    from_degree
        The shape's first degree.
    chord
        The chord of the moment: its tones are filled instead of the shape's notes.
    last_fret
        How far the neck is drawn; all of it where None.
    width_mm
        Width of the drawing, >= 80.

    Raises
    ------
    TheoryError
        If the key has no such degree.
    """
    board = _board(instrument, last_fret, width_mm)
    shape = _shape_to_show(instrument, key, from_degree, board.last_fret)
    fingers = {(note.string, note.fret): note.finger for note in shape.notes} if shape else {}
    root, tones = _chord_classes(key, chord)
    spots = []
    for note in key_on_neck(instrument, key):
        place = note.string, note.fret
        name = note.pitch.name
        filled = name.pitch_class in tones if chord else place in fingers
        is_root = name.pitch_class == root
        finger = fingers.get(place)
        spots.append(Spot(*place, str(note.degree), filled, is_root, finger))
    spots += _outside(instrument, key, root, tones)
    hand = (shape.lowest_fret, shape.lowest_fret + shape.frets - 1) if shape else None
    return Drawing(
        width_mm,
        board.height_mm,
        board_marks(board, spots, hand=hand),
        f"The key of {signs(str(key))} on the neck",
        _words(instrument, key, shape, chord),
    )


def _board(instrument: Instrument, last_fret: int | None, width_mm: float) -> Board:
    if width_mm < 80:
        raise PageError(f"A neck {width_mm:g} mm wide cannot be read: draw it at least 80 mm wide.")
    last = instrument.frets if last_fret is None else min(last_fret, instrument.frets)
    if last < 1:
        raise PageError("A neck is drawn with at least one fret.")
    return Board(instrument, width_mm, last)


def _shape_to_show(instrument: Instrument, key: Key, start: Degree, last_fret: int) -> Shape | None:
    """The lowest shape on the lowest string that reaches no further than the drawing."""
    shapes = [
        shape
        for shape in closed_shapes(instrument, key, start)
        if shape.lowest_fret + shape.frets - 1 <= last_fret
    ]
    low = [shape for shape in shapes if shape.lowest_fret <= _LOWEST_FIRST] or shapes
    return min(
        low, key=lambda shape: (shape.note is not None, -shape.place[0], shape.place), default=None
    )


def _chord_classes(key: Key, chord: NumberChord | None) -> tuple[int, frozenset[int]]:
    if chord is None:
        return key.tonic.pitch_class, frozenset()
    letters = chord.in_key(key)
    return letters.root.pitch_class, frozenset(name.pitch_class for _, name in letters.tones)


def _outside(instrument: Instrument, key: Key, root: int, tones: frozenset[int]) -> list[Spot]:
    """Tones of the chord that are not of the key, by their altered degrees."""
    own = {name.pitch_class for name in key.names}
    return [
        Spot(
            string,
            fret,
            str(key.degree_of(key.spell(midi).name)),
            is_filled=True,
            is_root=midi % 12 == root,
        )
        for string in range(1, instrument.strings + 1)
        for fret in range(instrument.frets + 1)
        for midi in (instrument.midi_at(string, fret),)
        if midi % 12 in tones - own
    ]


def _words(instrument: Instrument, key: Key, shape: Shape | None, chord: NumberChord | None) -> str:
    hand = "left" if instrument.left_handed else "right"
    words = [
        f"The neck for the {hand} hand, tuned {instrument.tuning}: the notes of {key} as degrees."
    ]
    if chord is not None:
        words.append(f"Filled: the chord {chord}, {chord.in_key(key)}.")
    if shape is not None:
        notes = ", ".join(
            f"{note.degree} on string {note.string} fret {note.fret} finger {note.finger}"
            for note in shape.notes
        )
        words.append(f"Shape from {shape.start}: {notes}.")
    return " ".join(words)


@dataclass(frozen=True, slots=True)
class RootStep:
    """A move between two roots as a line plays it, and how often."""

    start: Degree
    end: Degree
    strings: int
    frets: int
    times: int

    @property
    def words(self) -> str:
        """As a teacher would say it."""
        return move_words(self.strings, self.frets)


@dataclass(frozen=True, slots=True)
class RootPath:
    """Where a fingered line puts the roots of one key, and its moves, commonest first."""

    key: Key
    spots: tuple[tuple[int, int, Degree], ...]
    steps: tuple[RootStep, ...]
    hops: tuple[Hop, ...]


def root_paths(part: Part) -> tuple[RootPath, ...]:
    """The path of root moves in each key of a fingered part, keys in order of appearance.

    The keys are those its chords count from: the relative major's where a minor song does so.

    The root of a chord is where the line first plays the chord's lowest note while it lasts;
    chords the bass does not play have none.
    """
    found: dict[Key, list[tuple[int, int, Degree]]] = {}
    ends = [mark.at for mark in part.chords[1:]] + [part.length]
    for mark, end in zip(part.chords, ends, strict=True):
        place = None if mark.chord is None else _root_place(part, mark.chord, mark.at, end)
        if place is not None:
            found.setdefault(part.counted_from(mark.at), []).append(place)
    return tuple(_path(key, places) for key, places in found.items())


def _root_place(
    part: Part, chord: NumberChord, start: Wholes, end: Wholes
) -> tuple[int, int, Degree] | None:
    first = max(bisect_left(part.notes, start, key=lambda note: note.at) - 1, 0)
    for note in part.notes[first:]:  # the one before may sound into this chord
        if note.at >= end:
            return None
        is_placed = note.string is not None and note.fret is not None
        if note.end > start and is_placed and note.degree == chord.lowest:
            return note.string or 0, note.fret or 0, chord.lowest
    return None


def _path(key: Key, places: Sequence[tuple[int, int, Degree]]) -> RootPath:
    moves = Counter((a, b) for a, b in pairwise(places) if a[:2] != b[:2])
    steps: Counter[tuple[Degree, Degree, int, int]] = Counter()
    for (a, b), times in moves.items():
        steps[a[2], b[2], a[0] - b[0], b[1] - a[1]] += times
    ranked = sorted(steps.items(), key=lambda item: -item[1])
    return RootPath(
        key,
        tuple(dict.fromkeys(places)),
        tuple(RootStep(*step, times) for step, times in ranked),
        tuple(Hop(a[:2], b[:2]) for (a, b), _ in moves.most_common()),
    )


def path_drawing(
    instrument: Instrument, path: RootPath, *, most_hops: int = 8, width_mm: float = WIDTH_MM
) -> Drawing:
    """The roots of a song where its line plays them, and its commonest moves as arrows."""
    highest = max([fret for _, fret, _ in path.spots] + [4])
    board = _board(instrument, max(PAGE_FRETS, highest), width_mm)
    spots = [
        Spot(string, fret, str(degree), is_filled=True, is_root=degree == TONIC)
        for string, fret, degree in path.spots
    ]
    moves = "; ".join(
        f"{step.start} to {step.end}, {step.words}" for step in path.steps[:most_hops]
    )
    return Drawing(
        width_mm,
        board.height_mm - 4.0,
        board_marks(board, spots, hops=path.hops[:most_hops]),
        f"The roots in {signs(str(path.key))}",
        f"Roots on the neck, and the moves between them: {moves or 'none'}.",
    )


def neck_svg(
    instrument: Instrument,
    key: Key,
    from_degree: Degree = TONIC,
    *,
    ground: str = "paper",
    chord: NumberChord | None = None,
) -> str:
    """The key on the whole neck as an SVG document (see `neck_drawing`)."""
    return svg_of(_full(instrument, key, from_degree, chord), ground_named(ground))


def neck_png(
    instrument: Instrument,
    key: Key,
    from_degree: Degree = TONIC,
    *,
    ground: str = "paper",
    chord: NumberChord | None = None,
    width_px: int = 1800,
) -> bytes:
    """The key on the whole neck as a PNG picture (see `neck_drawing`)."""
    drawing = _full(instrument, key, from_degree, chord)
    return drawing_png(drawing, ground_named(ground), width_px=width_px)


def _full(
    instrument: Instrument, key: Key, from_degree: Degree, chord: NumberChord | None
) -> Drawing:
    start = degree_in_key(key, from_degree)
    return neck_drawing(instrument, key, start, chord=chord, width_mm=_FULL_WIDTH_MM)
