"""A Part from MusicXML: ours, or another program's with one bass in it, plain or zipped (.mxl).

Conventions
-----------
Repeats and endings are played out. Ties are joined, over bar lines and within them. Written
pitches of a transposing part are brought to their sound. Of a staff with TAB under it the notes
come from the staff, string and fret from the TAB; the chord of a note is the one in force.
A first bar that is too short is a pick-up; two short bars that make a whole one are that one.

References
----------
MusicXML 4.0 and its compressed format [W3C Music Notation Community Group, 2021].
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from undersong.errors import ExchangeError, TheoryError
from undersong.exchange.bounds import (
    MAX_BYTES,
    checked_count,
    checked_length,
    checked_size,
)
from undersong.exchange.choose import Candidate, chosen
from undersong.exchange.marks import in_force, meter_lasting, sections_of, told_in
from undersong.exchange.musicxml_measure import Head, Measure, MeasureReader
from undersong.exchange.musicxml_write import HABIT_FIELD
from undersong.exchange.repeats import MAX_BARS, played_order
from undersong.exchange.xmltree import Element, parsed, text_of
from undersong.theory.key import MinorHabit
from undersong.theory.meter import Meter, Wholes
from undersong.theory.part import (
    ChordMark,
    Dynamic,
    KeyMark,
    MeterMark,
    Note,
    Part,
    Voice,
)
from undersong.theory.tempo import TempoMark

_ZIP_SIGN = b"PK\x03\x04"
_BASS_PROGRAMS, _PAD_PROGRAMS = range(33, 41), range(89, 97)  # counted from 1 here
_DRUM_CHANNEL = "10"
_DEFAULT_QUARTERS = 120.0  # MusicXML leaves it to the reader; MIDI's default


def part_from_musicxml(data: bytes, *, which: str | None = None) -> Part:
    """The bass part of a MusicXML file.

    Parameters
    ----------
    data
        The file's bytes: XML text, or the zipped form.
    which
        Name of the part to take, or its number counted from 1; None takes the one that is a
        bass by its name or instrument, or the only one there is.

    Raises
    ------
    ExchangeError
        If this is no MusicXML, or several parts could be meant: the sentence lists them.
    """
    checked_size(data, "MusicXML")
    root = parsed(_unzipped(data) if data.startswith(_ZIP_SIGN) else data)
    if root.tag not in ("score-partwise", "score-timewise"):
        raise ExchangeError(
            f"This XML is no score: it begins with <{root.tag.rpartition('}')[2][:40]}>, and "
            "MusicXML with <score-partwise>."
        )
    score_part = _score_part(root, which)
    reader = MeasureReader(_drum_keys(score_part), _minor_habit(root))
    measures = [reader.read(head, music) for head, music in _measures(root, score_part)]
    if not measures:
        raise ExchangeError("The file holds no measures.")
    try:
        return _assembled(root, score_part, reader, measures)
    except TheoryError as error:
        raise ExchangeError(f"The MusicXML file cannot be read as a part: {error}") from error


def _unzipped(data: bytes) -> bytes:
    """The score inside a compressed file: the one its container names."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
            name = next(
                (n for n in names if n.endswith((".musicxml", ".xml")) and "/" not in n), None
            )
            if "META-INF/container.xml" in names:
                container = parsed(_bounded(archive, "META-INF/container.xml"))
                roots = container.xpath("//*[local-name()='rootfile']/@full-path")
                name = str(roots[0]) if isinstance(roots, list) and roots else name
            if name is None or name not in names:
                raise ExchangeError("The .mxl file holds no score.")
            return _bounded(archive, name)
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError) as error:
        raise ExchangeError("The .mxl file is damaged: save it again where it was made.") from error
    except (NotImplementedError, RuntimeError) as error:  # odd compression; a password
        raise ExchangeError(
            "The .mxl file is locked or packed in a way that is not read: save it as .musicxml."
        ) from error


def _bounded(archive: zipfile.ZipFile, name: str) -> bytes:
    with archive.open(name) as member:
        data = member.read(MAX_BYTES["MusicXML"] + 1)
    return checked_size(data, "MusicXML")


def _score_part(root: Element, which: str | None) -> Element:
    listed = root.findall("part-list/score-part")
    sounding = {
        part.get("id") for part in root.iter("part") if part.find(".//note/duration") is not None
    }
    # A part of rests alone is a part where it is the only one.
    listed = [each for each in listed if each.get("id") in sounding] or listed[:1]
    candidates = [
        Candidate(
            text_of(each, "part-name") or "",
            is_bass=_program(each) in _BASS_PROGRAMS
            or "bass" in (text_of(each, "score-instrument/instrument-sound") or ""),
            is_drums=text_of(each, "midi-instrument/midi-channel") == _DRUM_CHANNEL,
        )
        for each in listed
    ]
    return listed[chosen(candidates, which)]


def _program(score_part: Element) -> int:
    text = text_of(score_part, "midi-instrument/midi-program") or ""
    return int(text) if text.isdecimal() and len(text) <= 3 else 0


def _drum_keys(score_part: Element) -> dict[str, int]:
    keys = {}
    for instrument in score_part.iterfind("midi-instrument"):
        text = text_of(instrument, "midi-unpitched") or ""
        if text.isdecimal() and 1 <= int(text[:4]) <= 128:
            keys[instrument.get("id", "")] = int(text) - 1
    return keys


def _measures(root: Element, score_part: Element) -> list[tuple[Element, Element]]:
    """Pairs of what carries a measure's number and what holds its music, in either layout."""
    wanted = score_part.get("id")
    if root.tag == "score-partwise":
        rows = [
            (measure, measure)
            for part in root.iterfind("part")
            if part.get("id") == wanted
            for measure in part.iterfind("measure")
        ]
    else:
        rows = [
            (measure, part)
            for measure in root.iterfind("measure")
            for part in measure.iterfind("part")
            if part.get("id") == wanted
        ]
    if len(rows) > MAX_BARS:
        raise ExchangeError(f"The file has {len(rows)} measures; at most {MAX_BARS} can be read.")
    return rows


@dataclass
class _Score:
    """The part as it grows, measure by played measure."""

    at: Wholes = Fraction(0)
    heads: list[tuple[Wholes, Head, Dynamic]] = field(default_factory=list)
    bars: list[tuple[Wholes, Wholes, Meter]] = field(default_factory=list)
    keys: list[KeyMark] = field(default_factory=list)
    tempos: list[TempoMark] = field(default_factory=list)
    chords: list[ChordMark] = field(default_factory=list)
    sections: list[tuple[Wholes, str]] = field(default_factory=list)
    dynamic: Dynamic = Dynamic.MF

    def add(self, measure: Measure, length: Wholes) -> None:
        """One measure more."""
        start = self.at
        for at, key in [(Fraction(0), measure.key), *measure.keys]:
            if not self.keys or self.keys[-1].key != key:
                self.keys.append(KeyMark(start + at, key))
        if measure.tempo is not None:
            self._tempo(replace(measure.tempo, at=start))
        for mark in measure.tempos:
            self._tempo(replace(mark, at=start + mark.at))
        self.chords += [ChordMark(start + at, chord) for at, chord in measure.chords]
        self.sections += [(start + at, name) for at, name in measure.sections]
        dynamics = sorted(measure.dynamics, key=lambda pair: pair[0])
        for head in measure.heads:
            earlier = [each for at, each in dynamics if at <= head.at]
            self.heads.append((start + head.at, head, earlier[-1] if earlier else self.dynamic))
        self.dynamic = dynamics[-1][1] if dynamics else self.dynamic
        self.bars.append((start, length, measure.meter))
        self.at = checked_length(start + length)
        checked_count(len(self.heads))

    def _tempo(self, mark: TempoMark) -> None:
        if self.tempos and self.tempos[-1].at == mark.at:
            self.tempos.pop()  # the later word counts
        last = self.tempos[-1] if self.tempos else None
        if last is None or (last.tempo_bpm, last.beat) != (mark.tempo_bpm, mark.beat):
            self.tempos.append(mark)


def _minor_habit(root: Element) -> MinorHabit:
    """How our own files say that numbers are counted; others leave it at the key's own tonic."""
    for told in root.iterfind("identification/miscellaneous/miscellaneous-field"):
        if told.get("name") == HABIT_FIELD and told.text == MinorHabit.RELATIVE:
            return MinorHabit.RELATIVE
    return MinorHabit.TONIC


def _assembled(
    root: Element, score_part: Element, reader: MeasureReader, measures: Sequence[Measure]
) -> Part:
    score = _Score()
    for place in played_order([measure.road for measure in measures]):
        score.add(measures[place], _length(measures, place))
    first = measures[0]
    is_short = score.bars[0][1] < first.meter.bar
    has_pickup = is_short and (len(score.bars) > 1 or first.number == "0")
    pickup = score.bars[0][1] if has_pickup else Fraction(0)
    meter, meter_marks = _meters(score.bars, has_pickup=has_pickup)
    tempos = score.tempos
    if not tempos or tempos[0].at > 0:
        tempos = [TempoMark(Fraction(0), _DEFAULT_QUARTERS), *tempos]
    shell = Part(
        title=text_of(root, "work/work-title") or text_of(root, "movement-title") or "Untitled",
        key=score.keys[0].key,
        meter=meter,
        tempo_bpm=told_in(tempos[0], meter.beat),
        notes=(),
        voice=_voice(score_part, reader),
        pickup=pickup,
        length=score.at,
        key_marks=tuple(score.keys[1:]),
        meter_marks=meter_marks,
        tempo_marks=tuple(tempos[1:]),
        sections=sections_of(score.sections),
        chords=tuple(sorted(score.chords, key=lambda mark: mark.at)),
        swing=reader.swing,
        tuning=_tuning(reader),
        minor_habit=reader.minor_habit,
    )
    return replace(shell, notes=_notes(score, reader.tab_staves, shell))


def _length(measures: Sequence[Measure], place: int) -> Wholes:
    """How long a measure lasts: what it holds, but a gap left in the middle is filled."""
    measure = measures[place]
    nominal = measure.meter.bar
    may_be_short = measure.is_implicit or place in (0, len(measures) - 1)
    if measure.content == 0 or (measure.content < nominal and not may_be_short):
        return nominal
    return measure.content


def _voice(score_part: Element, reader: MeasureReader) -> Voice:
    if reader.is_drums:
        return Voice.DRUMS
    return Voice.PAD if _program(score_part) in _PAD_PROGRAMS else Voice.BASS


def _tuning(reader: MeasureReader) -> tuple[int, ...] | None:
    for staff in sorted(reader.tab_staves):
        lines = reader.tunings.get(staff)
        if lines:
            return tuple(lines[line] for line in sorted(lines))
    return None


def _meters(
    bars: Sequence[tuple[Wholes, Wholes, Meter]], *, has_pickup: bool
) -> tuple[Meter, tuple[MeterMark, ...]]:
    """The first full bar's meter and the changes; a bar of another length gets its own meter."""
    rows = list(bars[1:] if has_pickup else bars) or list(bars)
    marks: list[MeterMark] = []
    place = 0
    while place < len(rows):
        at, length, meter = rows[place]
        if length < meter.bar and place + 1 < len(rows):
            beyond = rows[place + 1][1]
            if length + beyond == meter.bar and rows[place + 1][2] == meter:
                length, place = meter.bar, place + 1
        is_last = place + 1 == len(rows)
        if length != meter.bar and not (is_last and length < meter.bar):
            own = meter_lasting(length, meter.unit)
            if own is None:
                raise ExchangeError(
                    f"A bar lasts {length} of a whole note under {meter}: no meter fits it."
                )
            meter = own
        if not marks or marks[-1].meter != meter:
            marks.append(MeterMark(at, meter))
        place += 1
    return marks[0].meter, tuple(marks[1:])


def _notes(score: _Score, tab_staves: set[int], shell: Part) -> tuple[Note, ...]:
    on_staff = [row for row in score.heads if row[1].staff not in tab_staves]
    on_tab = [row for row in score.heads if row[1].staff in tab_staves]
    frets = {(at, head.pitch.midi): head for at, head, _ in on_tab}
    chord_at = in_force(shell.chords)
    strokes: list[tuple[Note, str, bool]] = []
    for at, head, dynamic in sorted(on_staff or on_tab, key=lambda r: (r[0], r[1].pitch.midi)):
        before = _tied_to(strokes, at, head) if head.is_tied_back else None
        if before is None:
            note = _note(at, head, dynamic, frets.get((at, head.pitch.midi)), chord_at(at))
            strokes.append((note, head.voice, head.is_tied_on))
        else:
            note = strokes[before][0]
            longer = replace(note, length=at + head.length - note.at)
            strokes[before] = (longer, head.voice, head.is_tied_on)
    return tuple(note for note, _, _ in strokes)


def _tied_to(strokes: Sequence[tuple[Note, str, bool]], at: Wholes, head: Head) -> int | None:
    """The stroke this head is tied to: of its own voice first. Few are open at once."""
    found = None
    for place in range(len(strokes) - 1, max(len(strokes) - 65, -1), -1):
        note, voice, is_open = strokes[place]
        if is_open and note.end == at and note.pitch.midi == head.pitch.midi:
            if voice == head.voice:
                return place
            found = place if found is None else found
    return found


def _note(
    at: Wholes, head: Head, dynamic: Dynamic, tab: Head | None, mark: ChordMark | None
) -> Note:
    fingered = tab if tab is not None else head
    return Note(
        at,
        head.length,
        head.pitch,
        degree=head.degree,
        chord=head.chord or (mark.chord if mark is not None else None),
        string=fingered.string,
        fret=fingered.fret,
        finger=head.finger if head.finger is not None else fingered.finger,
        articulation=head.articulation,
        dynamic=dynamic,
        accented=head.is_accented,
    )
