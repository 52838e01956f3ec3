"""What stands above and between the notes in MusicXML: keys, meters, tempo, sections, chords."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from undersong.exchange.chordkinds import chord_kind
from undersong.exchange.musicxml_note import TYPES
from undersong.exchange.staves import Staves
from undersong.exchange.values import Span, value_name
from undersong.exchange.xmltree import Element, sub
from undersong.theory.chord import NumberChord
from undersong.theory.key import Key
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import Bar, Dynamic, Part
from undersong.theory.pitch import PitchName
from undersong.theory.tempo import TempoMark

Duration = Callable[[Wholes], str]
_SWUNG_TYPES = {8: "eighth", 16: "16th"}


@dataclass(frozen=True, slots=True)
class _Sign:
    """Something to write at a place; `rank` orders those of one place."""

    at: Wholes
    rank: int
    write: Callable[[Element, str | None], None]


class Signs:
    """The signs of one part, handed out as the writing reaches their places."""

    def __init__(self, part: Part, staves: Staves) -> None:
        self._part = part
        self._staff = "1" if staves.has_tab else None
        self._signs = sorted(self._all(), key=lambda sign: (sign.at, sign.rank))
        self._next = 0
        self._keys = sorted(part.key_marks, key=lambda mark: mark.at)
        self._key_places = [mark.at for mark in self._keys]
        self._section_places = {mark.at for mark in part.sections}

    def has_section(self, at: Wholes) -> bool:
        """True where a section begins."""
        return at in self._section_places

    def directions(self, measure: Element, span: Span, duration: Duration) -> None:
        """Everything that stands within a span, before its note is written."""
        while self._next < len(self._signs) and self._signs[self._next].at < span.end:
            sign = self._signs[self._next]
            late = sign.at - span.start
            sign.write(measure, duration(late) if late > 0 else None)
            self._next += 1

    def attributes(
        self, measure: Element, bar: Bar, before: Meter | None, staves: Staves, divisions: int
    ) -> None:
        """Divisions and clefs (first bar), key and time where they begin or change."""
        attributes = sub(measure, "attributes")
        if before is None:
            sub(attributes, "divisions", str(divisions))
        if before is None or self._changes_key(bar.at):
            _key(attributes, self._part.key_at(bar.at))
        if before != bar.meter:
            time = sub(attributes, "time")
            sub(time, "beats", str(bar.meter.upper))
            sub(time, "beat-type", str(bar.meter.unit))
        if before is None:
            staves.write(attributes)
        if len(attributes) == 0:
            measure.remove(attributes)

    def _changes_key(self, at: Wholes) -> bool:
        return bisect_left(self._key_places, at) < bisect_right(self._key_places, at)

    def keys_inside(self, measure: Element, bar: Bar, duration: Duration) -> None:
        """Key changes within the bar, each at its place."""
        end = bar.at + bar.length
        inside = slice(bisect_right(self._key_places, bar.at), bisect_left(self._key_places, end))
        for mark in self._keys[inside]:
            sub(sub(measure, "backup"), "duration", duration(end - mark.at))
            _key(sub(measure, "attributes"), mark.key)
            sub(sub(measure, "forward"), "duration", duration(end - mark.at))

    def _all(self) -> Iterator[_Sign]:
        part = self._part
        for section in part.sections:
            yield _Sign(section.at, 0, self._words("rehearsal", section.name))
        for tempo in part.tempo_map.marks:
            yield _Sign(tempo.at, 1, self._tempo(tempo))
        if part.swing is not None and part.swing.unit.denominator in _SWUNG_TYPES:
            yield _Sign(Fraction(0), 2, self._swing)
        for at, chord in self._chords():
            if chord is not None:
                yield _Sign(at, 3, self._words("words", str(chord)))
            yield _Sign(at, 4, self._harmony(chord, part.counted_from(at)))
        dynamic = Dynamic.MF
        for note in part.notes:
            if note.dynamic is not dynamic:
                dynamic = note.dynamic
                yield _Sign(note.at, 5, self._dynamics(dynamic))

    def _chords(self) -> Iterator[tuple[Wholes, NumberChord | None]]:
        """The part's chord marks; without any, the chords its notes sit on."""
        if self._part.chords:
            yield from ((mark.at, mark.chord) for mark in self._part.chords)
            return
        before = None
        for note in self._part.notes:
            if note.chord is not None and note.chord != before:
                before = note.chord
                yield note.at, before

    def _direction(
        self, measure: Element, offset: str | None, placement: str
    ) -> tuple[Element, Element]:
        direction = sub(measure, "direction", placement=placement)
        kind = sub(direction, "direction-type")
        if offset is not None:
            sub(direction, "offset", offset)
        if self._staff is not None:
            sub(direction, "staff", self._staff)
        return direction, kind

    def _words(self, tag: str, text: str) -> Callable[[Element, str | None], None]:
        def write(measure: Element, offset: str | None) -> None:
            _, kind = self._direction(measure, offset, "above")
            sub(kind, tag, text)

        return write

    def _tempo(self, mark: TempoMark) -> Callable[[Element, str | None], None]:
        def write(measure: Element, offset: str | None) -> None:
            direction, kind = self._direction(measure, offset, "above")
            metronome = sub(kind, "metronome")
            name, tempo_bpm = value_name(mark.beat), mark.tempo_bpm
            quarters = tempo_bpm * float(mark.beat) * 4
            if name is None:
                name, tempo_bpm = (4, 0), quarters
            sub(metronome, "beat-unit", TYPES[name[0]])
            if name[1]:
                sub(metronome, "beat-unit-dot")
            sub(metronome, "per-minute", decimal(tempo_bpm))
            sub(direction, "sound", tempo=decimal(quarters))

        return write

    def _swing(self, measure: Element, offset: str | None) -> None:
        swing = self._part.swing
        assert swing is not None
        direction, kind = self._direction(measure, offset, "above")
        sub(kind, "words", "Swing")
        swung = sub(sub(direction, "sound"), "swing")
        sub(swung, "first", str(swing.ratio.numerator))
        sub(swung, "second", str(swing.ratio.denominator))
        sub(swung, "swing-type", _SWUNG_TYPES[swing.unit.denominator])

    def _dynamics(self, dynamic: Dynamic) -> Callable[[Element, str | None], None]:
        def write(measure: Element, offset: str | None) -> None:
            _, kind = self._direction(measure, offset, "below")
            sub(sub(kind, "dynamics"), dynamic.value)

        return write

    def _harmony(
        self, chord: NumberChord | None, key: Key
    ) -> Callable[[Element, str | None], None]:
        def write(measure: Element, offset: str | None) -> None:
            harmony = sub(measure, "harmony")
            if chord is None:
                sub(sub(harmony, "root"), "root-step", key.tonic.letter, text="")
                sub(harmony, "kind", "none", text="N.C.")
            else:
                _spelled(harmony, chord, key)
            if offset is not None:
                sub(harmony, "offset", offset)
            if self._staff is not None:
                sub(harmony, "staff", self._staff)

        return write


def _spelled(harmony: Element, chord: NumberChord, key: Key) -> None:
    letters = chord.in_key(key)
    kind, degrees = chord_kind(chord.quality)
    _name(sub(harmony, "root"), "root", letters.root)
    sub(harmony, "kind", kind, text=chord.quality.letter_tail)
    if letters.bass is not None:
        _name(sub(harmony, "bass"), "bass", letters.bass)
    for value, alter, way in degrees:
        # The kind's text says it already: a printed degree would say it twice.
        degree = sub(harmony, "degree", print_object="no")
        sub(degree, "degree-value", str(value))
        sub(degree, "degree-alter", str(alter))
        sub(degree, "degree-type", way)


def _name(element: Element, word: str, name: PitchName) -> None:
    sub(element, f"{word}-step", name.letter)
    if name.alteration:
        sub(element, f"{word}-alter", str(name.alteration))


def _key(attributes: Element, key: Key) -> None:
    element = sub(attributes, "key")
    sub(element, "fifths", str(key.signature))
    sub(element, "mode", key.mode.value)


def decimal(value: float) -> str:
    """A number without exponent or a needless point, all digits that tell it apart."""
    text = repr(float(value))
    return text[:-2] if text.endswith(".0") else text
