"""A Part as MusicXML 4.0, partwise: a staff, and a TAB staff under it once the part is fingered.

Conventions
-----------
Pitches are sounding pitches under an F clef with an octave sign, so that they show where a
bassist reads them. Lengths are split at bar lines and into note values, joined by ties. Chord
symbols are written by letters, with the number as words above and each note's degree below it;
a chord of a note that is not the chord in force follows as a second line. Notes carry string
and fret on the TAB staff, the finger on the other. Beams are written.

Not carried: a note's `why`, a swing of other notes than eighths and sixteenths.

References
----------
MusicXML 4.0 [W3C Music Notation Community Group, 2021]. General MIDI 1 programs as in
`midi_write`; percussion keys from the same standard.
"""

from __future__ import annotations

from math import lcm

from lxml import etree

from undersong.exchange import musicxml_marks as marks
from undersong.exchange.bounds import grid_of, on_grid, places_of
from undersong.exchange.midi_write import DRUM_CHANNEL, PROGRAM
from undersong.exchange.musicxml_note import NoteWriter
from undersong.exchange.staves import Staves, drum_id, drum_name, staves_of
from undersong.exchange.values import Value
from undersong.exchange.written import WrittenBar, WrittenPart, written
from undersong.exchange.xmltree import Element, sub
from undersong.theory.key import MinorHabit
from undersong.theory.meter import Wholes
from undersong.theory.part import Part, Voice

_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)
_TAB_VOICE = 5  # voices 1 to 4 are the staff's by habit; the TAB staff starts at 5
PART_ID = "P1"
HABIT_FIELD = "undersong minor numbers"


def musicxml_bytes(part: Part) -> bytes:
    """The part as an uncompressed MusicXML file."""
    part = on_grid(part, grid_of(part))
    score = _Score(part)
    return bytes(
        etree.tostring(
            score.root(), xml_declaration=True, encoding="UTF-8", pretty_print=True,
            doctype=_DOCTYPE,
        )
    )  # fmt: skip


class _Score:
    """One part on its way to a tree: what every bar needs to know."""

    def __init__(self, part: Part) -> None:
        self.part = part
        self.written: WrittenPart = written(part)
        self.staves: Staves = staves_of(part)
        self.divisions = _divisions(self.written, part)
        self.notes = NoteWriter(part, self.written, self.staves)
        self.signs = marks.Signs(part, self.staves)

    def duration(self, length: Wholes) -> str:
        return str(int(length * 4 * self.divisions))

    def root(self) -> Element:
        root = etree.Element("score-partwise", version="4.0")
        sub(sub(root, "work"), "work-title", self.part.title)
        about = sub(root, "identification")
        encoding = sub(about, "encoding")
        sub(encoding, "software", "Undersong")
        sub(encoding, "supports", element="beam", type="yes")
        if self.part.minor_habit is not MinorHabit.TONIC:
            # MusicXML has no word for how numbers are counted; this field brings it back to us.
            other = sub(about, "miscellaneous")
            sub(other, "miscellaneous-field", self.part.minor_habit, name=HABIT_FIELD)
        _part_list(root, self.part)
        body = sub(root, "part", id=PART_ID)
        for place, bar in enumerate(self.written.bars):
            self._measure(body, place, bar)
        return root

    def _measure(self, body: Element, place: int, bar: WrittenBar) -> None:
        first = place == 0
        measure = sub(body, "measure", number=str(bar.bar.number))
        if bar.bar.length < bar.bar.meter.bar:
            measure.set("implicit", "yes")
        before = None if first else self.written.bars[place - 1].bar.meter
        self.signs.attributes(measure, bar.bar, before, self.staves, self.divisions)
        for number, voice in enumerate(bar.voices):
            if voice:
                self._back(measure, bar, number)
                self._voice(measure, voice, number)
        if self.staves.has_tab:
            for number, voice in enumerate(bar.voices):
                if voice:
                    self._back(measure, bar, _TAB_VOICE + number)
                    self._tab_voice(measure, voice, _TAB_VOICE + number)
        self.signs.keys_inside(measure, bar.bar, self.duration)
        self._bar_line(measure, place)

    def _back(self, measure: Element, bar: WrittenBar, number: int) -> None:
        """Back to the bar line before every voice but the first."""
        if number:
            sub(sub(measure, "backup"), "duration", self.duration(bar.bar.length))

    def _voice(self, measure: Element, voice: tuple[Value, ...], number: int) -> None:
        for value in voice:
            duration = self.duration(value.span.length)
            if number == 0:
                self.signs.directions(measure, value.span, self.duration)
            elif value.is_rest:
                forward = sub(measure, "forward")
                sub(forward, "duration", duration)
                sub(forward, "voice", str(number + 1))
                continue
            self.notes.write(measure, value, duration, number + 1)

    def _tab_voice(self, measure: Element, voice: tuple[Value, ...], number: int) -> None:
        for value in voice:
            self.notes.write_tab(measure, value, self.duration(value.span.length), number)

    def _bar_line(self, measure: Element, place: int) -> None:
        is_last = place + 1 == len(self.written.bars)
        bar = self.written.bars[place].bar
        if is_last or (bar.number and self.signs.has_section(bar.at + bar.length)):
            line = sub(measure, "barline", location="right")
            sub(line, "bar-style", "light-heavy" if is_last else "light-light")


def _divisions(bars: WrittenPart, part: Part) -> int:
    """Steps of a quarter that hold every value, and every sign between them."""
    lengths = {v.span.length for bar in bars.bars for voice in bar.voices for v in voice}
    places = {place for bar in bars.bars for place in (bar.bar.at, bar.bar.length)}
    signs = set(places_of(part))
    return lcm(*((each * 4).denominator for each in lengths | places | signs))


def _part_list(root: Element, part: Part) -> None:
    score_part = sub(sub(root, "part-list"), "score-part", id=PART_ID)
    sub(score_part, "part-name", part.voice.value.capitalize())
    program = str(PROGRAM[part.voice] + 1)
    if part.voice is not Voice.DRUMS:
        name = "Electric Bass" if part.voice is Voice.BASS else "Pad"
        sub(sub(score_part, "score-instrument", id=f"{PART_ID}-I1"), "instrument-name", name)
        midi = sub(score_part, "midi-instrument", id=f"{PART_ID}-I1")
        sub(midi, "midi-channel", "1")
        sub(midi, "midi-program", program)
        return
    keys = sorted({note.pitch.midi for note in part.notes})
    for key in keys:
        instrument = sub(score_part, "score-instrument", id=drum_id(key))
        sub(instrument, "instrument-name", drum_name(key))
    for key in keys:
        midi = sub(score_part, "midi-instrument", id=drum_id(key))
        sub(midi, "midi-channel", str(DRUM_CHANNEL + 1))
        sub(midi, "midi-program", program)
        sub(midi, "midi-unpitched", str(key + 1))  # the standard counts from 1 here
