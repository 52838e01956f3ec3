"""The neck: a key on any instrument, its shapes and root moves; every note can be heard."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from undersong.errors import TheoryError, UndersongError
from undersong.neck.geometry import fret_distance_mm
from undersong.neck.instrument import Instrument
from undersong.neck.moves import RootMove, root_moves
from undersong.neck.neckmap import key_on_neck
from undersong.neck.shapes import Shape, closed_shapes, degree_in_key
from undersong.theory.chord import NumberChord, diatonic_chords, number_of
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Degree, Key, parse_degree, parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Note, Part
from undersong.theory.pitch import musical_signs, plain_pitch
from undersong.theory.tuning import TUNINGS, parse_tuning
from undersong.web.pages import desk_of, number, page, player_of
from undersong.web.songs import shelf_of
from undersong.web.sounds import Wanted

WIDTH, LEFT, OPEN, STRING_GAP, TOP = 1180.0, 12.0, 46.0, 48.0, 26.0
SPOT = 27.0
DOTS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)
LOWEST_MIDI, HIGHEST_MIDI = 12, 84


@dataclass(frozen=True, slots=True)
class Spot:
    """A note of the key on the neck: where it is drawn, where a finger finds it, what it is."""

    x: float
    y: float
    left: float
    width: float
    midi: int
    degree: str
    said: str
    is_chord_tone: bool
    is_root: bool
    finger: str


@dataclass(frozen=True, slots=True)
class Board:
    """The neck as drawn: strings (height, thickness), frets, dots and notes."""

    width: float
    height: float
    nut: float
    strings: tuple[tuple[float, float], ...]
    frets: tuple[float, ...]
    dots: tuple[tuple[float, int], ...]
    spots: tuple[Spot, ...]
    bracket: tuple[float, float] | None


def show_neck(request: Request) -> Response:
    """A key on the neck."""
    query = request.query_params
    usual = desk_of(request).instrument(player_of(request))
    key = parse_key(query.get("key", "G"))
    instrument = _instrument(usual, query.get("tuning"), query.get("hand"), query.get("frets"))
    asked = parse_degree(query.get("from") or "1")
    try:
        start = degree_in_key(key, asked)
    except TheoryError:
        start = Degree(1)  # from another key, whose degrees were others
    chords = tuple(number_of(chord, key) for chord in diatonic_chords(key))
    names = [str(chord) for chord in chords]
    chord = chords[names.index(query["chord"])] if query.get("chord") in names else chords[0]
    shapes = closed_shapes(instrument, key, start)
    chosen = int(number(query.get("shape") or "0", "shape"))
    shape = shapes[chosen] if 0 <= chosen < len(shapes) else None
    return page(
        request,
        "neck.html",
        key=key,
        keys=(*MAJOR_KEYS, *MINOR_KEYS),
        instrument=instrument,
        tunings=TUNINGS,
        start=start,
        chord=str(chord),
        chords=names,
        shapes=[(number, _shape_words(each)) for number, each in enumerate(shapes)],
        chosen=chosen,
        shape=shape,
        board=board_of(instrument, key, chord, shape),
        moves=_moves(root_moves(instrument, key), start),
    )


def _instrument(
    usual: Instrument, tuning: str | None, hand: str | None, frets: str | None
) -> Instrument:
    made = usual
    if tuning:
        made = replace(made, tuning=parse_tuning(tuning))
    if hand in ("right", "left"):
        made = replace(made, left_handed=hand == "left")
    if frets:
        made = replace(made, frets=int(number(frets, "number of frets")))
    return made


def board_of(instrument: Instrument, key: Key, chord: NumberChord, shape: Shape | None) -> Board:
    """The drawing of a key on a neck; the chord's tones are filled, the shape has its fingers."""
    tones = {name.pitch_class for _, name in chord.in_key(key).tones}
    tonic = key.tonic.pitch_class
    fingers = {(n.string, n.fret): str(n.finger) for n in shape.notes} if shape else {}
    place = _Places(instrument)
    spots = tuple(
        Spot(
            x=place.x(note.fret),
            y=place.y(note.string),
            left=min(place.ends(note.fret)),
            width=abs(place.ends(note.fret)[1] - place.ends(note.fret)[0]),
            midi=note.pitch.midi,
            degree=musical_signs(str(note.degree)),
            said=f"String {note.string}, fret {note.fret}: {musical_signs(str(note.pitch))}, "
            f"degree {musical_signs(str(note.degree))}",
            is_chord_tone=note.pitch.midi % 12 in tones,
            is_root=note.pitch.midi % 12 == tonic,
            finger=fingers.get((note.string, note.fret), ""),
        )
        for note in key_on_neck(instrument, key)
    )
    frets = [fret for _, fret in fingers if fret]
    ends = sorted((place.x(min(frets)), place.x(max(frets)))) if frets else []
    return Board(
        width=WIDTH,
        height=TOP + STRING_GAP * instrument.strings + 24,
        nut=place.at(0),
        strings=tuple(
            (place.y(string), round(1 + 0.7 * string, 1))
            for string in range(1, instrument.strings + 1)
        ),
        frets=tuple(place.at(fret) for fret in range(1, instrument.frets + 1)),
        dots=tuple((place.x(fret), fret) for fret in DOTS if fret <= instrument.frets),
        spots=spots,
        bracket=(ends[0] - SPOT / 2, ends[1] + SPOT / 2) if ends else None,
    )


class _Places:
    """Frets and strings as places in the drawing; mirrored for a left hand."""

    def __init__(self, instrument: Instrument) -> None:
        self.instrument = instrument
        self.unit = (WIDTH - LEFT - OPEN - LEFT) / fret_distance_mm(
            instrument.frets, instrument.scale_mm
        )

    def at(self, fret: int) -> float:
        """Where a fret's wire lies."""
        right = LEFT + OPEN + self.unit * fret_distance_mm(fret, self.instrument.scale_mm)
        return round(WIDTH - right if self.instrument.left_handed else right, 1)

    def x(self, fret: int) -> float:
        """Where a note stands: before its fret, an open string before the nut."""
        if fret == 0:
            open_x = LEFT + OPEN / 2 - 4
            return WIDTH - open_x if self.instrument.left_handed else open_x
        return round((self.at(fret - 1) + self.at(fret)) / 2, 1)

    def ends(self, fret: int) -> tuple[float, float]:
        """From where to where a note may be tapped: the whole of its fret."""
        if fret:
            return self.at(fret - 1), self.at(fret)
        return (WIDTH if self.instrument.left_handed else 0.0), self.at(0)

    def y(self, string: int) -> float:
        """A string's height: the lowest string lowest."""
        return TOP + STRING_GAP * (string - 0.5)


def _shape_words(shape: Shape) -> str:
    frets = [note.fret for note in shape.notes]
    words = f"frets {min(frets)} to {max(frets)}"
    return f"{words}: {shape.note}" if shape.note else words


def _moves(moves: tuple[RootMove, ...], start: Degree) -> list[dict[str, str]]:
    return [
        {
            "to": musical_signs(str(move.end)),
            "direction": move.direction,
            "where": "" if move.from_string is None else f"from string {move.from_string}",
            "words": move.words,
        }
        for move in moves
        if move.start == start
    ]


def one_note(request: Request) -> Response:
    """One note as the bass sounds."""
    midi = int(request.path_params["midi"])
    if not LOWEST_MIDI <= midi <= HIGHEST_MIDI:
        raise UndersongError(f"MIDI note {midi} is no note of a bass.")
    note = Note(Fraction(0), Fraction(1, 2), plain_pitch(midi))
    part = Part("One note", MAJOR_KEYS[7], FOUR_FOUR, 80.0, (note,), length=Fraction(1, 2))
    wanted = Wanted(part, has_click=False, has_count_in=False)
    return FileResponse(shelf_of(request).sound(wanted), media_type="audio/flac")


ROUTES = (Route("/neck", show_neck), Route("/sound/note/{midi:int}.flac", one_note))
