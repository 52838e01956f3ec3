"""One written note as MusicXML: on the staff, and on the TAB staff."""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from undersong.exchange.marks import in_force
from undersong.exchange.staves import Staves, drum_id, drum_place, has_cross_head
from undersong.exchange.values import FINEST, Value
from undersong.exchange.written import WrittenPart
from undersong.exchange.xmltree import Element, sub
from undersong.theory.meter import Wholes
from undersong.theory.part import Articulation, KeyMark, Note, Part, Voice
from undersong.theory.pitch import Pitch

TYPES = {
    1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd", 64: "64th",
    128: "128th", 256: "256th", 512: "512th", 1024: "1024th",
}  # fmt: skip
_ACCIDENTALS = {
    0: "natural", 1: "sharp", -1: "flat", 2: "double-sharp", -2: "flat-flat",
    3: "triple-sharp", -3: "triple-flat",
}  # fmt: skip
_SHARPS = "FCGDAEB"
_MARKS = {Articulation.HELD: "tenuto", Articulation.SHORT: "staccato"}
_MOST_BEAMS = 8
MUTED_TEXT = "P.M."


class NoteWriter:
    """Writes values of one part; remembers which accidentals stand in the bar."""

    def __init__(self, part: Part, written: WrittenPart, staves: Staves) -> None:
        self._part = part
        self._written = written
        self._staves = staves
        self._chord_at = in_force(part.chords)
        self._key_at = in_force([KeyMark(Fraction(0), part.key), *part.key_marks])
        self._measure: Element | None = None
        self._shown: dict[tuple[str, int], int] = {}
        self._led = {
            before: part.notes[index].articulation
            for index, before in written.before.items()
            if part.notes[index].articulation in (Articulation.SLIDE, Articulation.HAMMERED)
        }

    def write(self, measure: Element, value: Value, duration: str, voice: int) -> None:
        """A rest, or every head of a value, on the staff."""
        if measure is not self._measure:
            self._measure, self._shown = measure, {}
        for place, index in enumerate(value.span.notes or (None,)):
            note = None if index is None else self._part.notes[index]
            element, ties = self._begun(measure, index, value, duration)
            if place:
                element.insert(0, etree.Element("chord"))
            if note is not None and self._part.voice is Voice.DRUMS:
                sub(element, "instrument", id=drum_id(note.pitch.midi))
            sub(element, "voice", str(voice))
            self._value(element, value, None if ties[:1] == ("stop",) else note)
            self._notehead(element, note)
            if self._staves.has_tab:
                sub(element, "staff", "1")
            if place == 0:
                for level, name in enumerate(value.beams[:_MOST_BEAMS], start=1):
                    sub(element, "beam", name, number=str(level))
            self._notations(element, index, value, ties)
            if note is not None and self._begins(index, value):
                self._words(element, note)

    def write_tab(self, measure: Element, value: Value, duration: str, voice: int) -> None:
        """Every head of a value that is fingered, on the TAB staff; else an unseen rest."""
        notes = self._part.notes
        fingered = [
            index
            for index in value.span.notes
            if notes[index].string and notes[index].fret is not None
        ]
        for place, index in enumerate(fingered or (None,)):
            note = None if index is None else notes[index]
            element, ties = self._begun(measure, index, value, duration)
            if note is None:
                element.set("print-object", "no")
            if place:
                element.insert(0, etree.Element("chord"))
            sub(element, "voice", str(voice))
            self._value(element, value, None)
            sub(element, "stem", "none")
            self._notehead(element, note)
            sub(element, "staff", "2")
            if note is not None and index is not None:
                notations = sub(element, "notations")
                for tie in ties:
                    sub(notations, "tied", type=tie)
                self._slides(notations, index, value)
                technical = sub(notations, "technical")
                sub(technical, "string", str(note.string))
                sub(technical, "fret", str(note.fret))

    def _begun(
        self, measure: Element, index: int | None, value: Value, duration: str
    ) -> tuple[Element, tuple[str, ...]]:
        """A note element as far as its ties, and those ties."""
        element = sub(measure, "note")
        self._head(element, None if index is None else self._part.notes[index], value)
        sub(element, "duration", duration)
        ties = () if index is None else self._ties(index, value)
        for tie in ties:
            sub(element, "tie", type=tie)
        return element, ties

    def _head(self, element: Element, note: Note | None, value: Value) -> None:
        if note is None:
            rest = sub(element, "rest")
            if value.kind == 0 and value.span.length * FINEST >= 1:
                rest.set("measure", "yes")
        elif self._part.voice is Voice.DRUMS:
            place = drum_place(note.pitch.midi)
            unpitched = sub(element, "unpitched")
            sub(unpitched, "display-step", place[0])
            sub(unpitched, "display-octave", place[1:])
        else:
            pitch = sub(element, "pitch")
            sub(pitch, "step", note.pitch.letter)
            if note.pitch.alteration:
                sub(pitch, "alter", str(note.pitch.alteration))
            sub(pitch, "octave", str(note.pitch.octave))

    def _value(self, element: Element, value: Value, fresh: Note | None) -> None:
        """Type, dots, accidental (of a note that is no tie's end), tuplet."""
        if value.kind:
            sub(element, "type", TYPES[value.kind])
        for _ in range(value.dots):
            sub(element, "dot")
        if fresh is not None and self._part.voice is not Voice.DRUMS:
            name = self._accidental(fresh.pitch, value.span.start)
            if name is not None:
                sub(element, "accidental", name)
        if value.actual > 1:
            time = sub(element, "time-modification")
            sub(time, "actual-notes", str(value.actual))
            sub(time, "normal-notes", str(value.normal))

    def _accidental(self, pitch: Pitch, at: Wholes) -> str | None:
        mark = self._key_at(at)
        signature = (mark.key if mark is not None else self._part.key).signature
        sharps = _SHARPS[: max(signature, 0)]
        flats = _SHARPS[::-1][: max(-signature, 0)]
        by_key = (pitch.letter in sharps) - (pitch.letter in flats)
        place = (pitch.letter, pitch.octave)
        if self._shown.get(place, by_key) == pitch.alteration:
            return None
        self._shown[place] = pitch.alteration
        return _ACCIDENTALS.get(pitch.alteration)

    def _notehead(self, element: Element, note: Note | None) -> None:
        if note is None:
            return
        is_crossed = self._part.voice is Voice.DRUMS and has_cross_head(note.pitch.midi)
        if note.articulation is Articulation.GHOST:
            sub(element, "notehead", "x", parentheses="yes" if is_crossed else "no")
        elif is_crossed:
            sub(element, "notehead", "x")

    def _begins(self, index: int | None, value: Value) -> bool:
        return index is not None and self._part.notes[index].at == value.span.start

    def _ends(self, index: int, value: Value) -> bool:
        return self._part.notes[index].end == value.span.end

    def _ties(self, index: int, value: Value) -> tuple[str, ...]:
        stops = not self._begins(index, value) or index in self._written.tied_back
        starts = not self._ends(index, value) or index in self._written.tied_on
        return ("stop",) * stops + ("start",) * starts

    def _notations(
        self, element: Element, index: int | None, value: Value, ties: tuple[str, ...]
    ) -> None:
        notations = sub(element, "notations")
        for tie in ties:
            sub(notations, "tied", type=tie)
        if value.starts_tuplet:
            bracket = "yes" if value.is_bracketed else "no"
            sub(notations, "tuplet", type="start", number="1", bracket=bracket)
        if value.stops_tuplet:
            sub(notations, "tuplet", type="stop", number="1")
        if index is not None:
            self._slides(notations, index, value)
            self._touch(notations, index, value)
        if len(notations) == 0:
            element.remove(notations)

    def _slides(self, notations: Element, index: int, value: Value) -> None:
        note = self._part.notes[index]
        slid = note.articulation is Articulation.SLIDE and index in self._written.before
        if slid and self._begins(index, value):
            sub(notations, "slide", type="stop", number="1")
        if self._led.get(index) is Articulation.SLIDE and self._ends(index, value):
            sub(notations, "slide", type="start", number="1")

    def _touch(self, notations: Element, index: int, value: Value) -> None:
        note = self._part.notes[index]
        technical = sub(notations, "technical")
        if self._begins(index, value):
            if note.finger is not None:
                sub(technical, "fingering", str(note.finger))
            if note.articulation is Articulation.MUTED:
                sub(technical, "other-technical", MUTED_TEXT)
            self._articulations(notations, index, note)
        self._hammers(technical, index, value)
        if len(technical) == 0:
            notations.remove(technical)

    def _hammers(self, technical: Element, index: int, value: Value) -> None:
        note = self._part.notes[index]
        if note.articulation is Articulation.HAMMERED and self._begins(index, value):
            sub(technical, "hammer-on", type="stop", number="1")
        if self._led.get(index) is Articulation.HAMMERED and self._ends(index, value):
            sub(technical, "hammer-on", "H", type="start", number="1")

    def _articulations(self, notations: Element, index: int, note: Note) -> None:
        names = ["accent"] if note.accented else []
        if note.articulation in _MARKS:
            names.append(_MARKS[note.articulation])
        if note.articulation is Articulation.SLIDE and index not in self._written.before:
            names.append("scoop")  # slid into from nowhere: there is no note before
        if names:
            articulations = sub(notations, "articulations")
            for name in names:
                sub(articulations, name)

    def _words(self, element: Element, note: Note) -> None:
        """The degree; under it the note's chord where it is not the one in force; the mute."""
        if note.degree is not None:
            _lyric(element, 1, "degree", str(note.degree))
        mark = self._chord_at(note.at)
        if note.chord is not None and (mark is None or mark.chord != note.chord):
            _lyric(element, 2, "chord", str(note.chord))
        if note.articulation is Articulation.MUTED:
            sub(sub(element, "play"), "mute", "palm")


def _lyric(element: Element, number: int, name: str, text: str) -> None:
    lyric = sub(element, "lyric", number=str(number), name=name)
    sub(lyric, "syllabic", "single")
    sub(lyric, "text", text)
