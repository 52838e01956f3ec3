"""MusicXML 4.0: the harmony elements of a score, its repeats, endings, keys and meters.

The part with the most chord symbols is read; notes only tell where in the bar a symbol stands.
Sections begin at rehearsal marks, and at words that name one.

References
----------
Elements and kinds as in the MusicXML 4.0 specification: ``harmony``, ``kind-value``, ``degree``,
``repeat``, ``ending``, ``time``, ``key``, ``offset``, ``backup``, ``forward``.
"""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass, field, replace
from fractions import Fraction

from lxml import etree

from undersong.chart.sheet import LETTER_KEY, Sheet, SheetSettings, song_from
from undersong.chart.sheetlines import section_name
from undersong.chart.song import MAX_TIMES, Bar, ChordEvent, KeyChange, Section, Song
from undersong.errors import ChartError, ChartErrors, ChartSyntaxError, TheoryError
from undersong.theory.chord import QUALITIES, Chord, Quality, number_of, parse_quality, quality
from undersong.theory.interval import Interval, parse_interval
from undersong.theory.key import MAJOR_KEYS, Key
from undersong.theory.meter import Meter, Wholes
from undersong.theory.pitch import PitchName

MAX_XML_BYTES = 30_000_000
MAX_MEASURES = 5_000
_KINDS = {
    "major": "major",
    "minor": "minor",
    "augmented": "augmented",
    "diminished": "diminished",
    "dominant": "seventh",
    "major-seventh": "major seventh",
    "minor-seventh": "minor seventh",
    "diminished-seventh": "diminished seventh",
    "augmented-seventh": "augmented seventh",
    "half-diminished": "half-diminished seventh",
    "major-minor": "minor major seventh",
    "major-sixth": "sixth",
    "minor-sixth": "minor sixth",
    "dominant-ninth": "ninth",
    "major-ninth": "major ninth",
    "minor-ninth": "minor ninth",
    "dominant-11th": "eleventh",
    "major-11th": "major ninth",
    "minor-11th": "minor eleventh",
    "dominant-13th": "thirteenth",
    "major-13th": "major thirteenth",
    "minor-13th": "minor thirteenth",
    "suspended-second": "suspended second",
    "suspended-fourth": "suspended fourth",
    "power": "power",
}
_GUESSED_KINDS = {"major-11th"}
_DEGREES = ("P1", "M2", "M3", "P4", "P5", "M6", "m7", "P8", "M9", "M10", "P11", "P12", "M13")
_JUMPS = ("dacapo", "dalsegno", "fine", "tocoda", "coda", "segno")


@dataclass(slots=True)
class _Measure:
    """One measure as it is read: chord places from its bar line."""

    meter: Meter
    chords: dict[Wholes, Chord | None] = field(default_factory=dict)
    length: Wholes = Fraction(0)
    name: str | None = None
    words: list[str] = field(default_factory=list)
    key: Key | None = None
    opens: bool = False
    closes: int = 0
    endings: tuple[int, ...] = ()


def song_from_musicxml(
    data: bytes, settings: SheetSettings | None = None, *, source: str | None = None
) -> Song:
    """Read a MusicXML file, plain or compressed.

    Raises
    ------
    ChartErrors
        If it is not MusicXML, is too large, declares entities, or holds no chord symbol.
    """
    settings = settings or SheetSettings()
    try:
        root = _root(_unpacked(data))
        sheet = _Reader(root, settings).read()
    except ChartError as error:
        error.source = source
        raise ChartErrors([error]) from None
    return song_from(sheet, settings, source=source)


def _refusal(message: str) -> ChartSyntaxError:
    return ChartSyntaxError(message)


def _unpacked(data: bytes) -> bytes:
    """The score itself, out of a compressed file where it is one."""
    if not data.startswith(b"PK"):
        return data
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = [info for info in archive.infolist() if not info.is_dir()]
            scores = [
                info
                for info in names
                if re.search(r"\.(musicxml|xml)$", info.filename, re.IGNORECASE)
                and not info.filename.startswith("META-INF")
            ]
            if not scores:
                raise _refusal("There is no score in this compressed file.")
            if scores[0].file_size > MAX_XML_BYTES:
                raise _refusal("This score is too large to be a song.")
            with archive.open(scores[0]) as score:
                return score.read(MAX_XML_BYTES + 1)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError):
        raise _refusal("This compressed score is damaged.") from None


def _root(data: bytes) -> etree._Element:
    if len(data) > MAX_XML_BYTES:
        raise _refusal("This score is too large to be a song.")
    if re.search(rb"<!ENTITY", data.replace(b"\0", b"")):
        raise _refusal("This file declares entities of its own, which no score needs.")
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False
    )
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        line, column = error.position
        raise _refusal(
            "This file is not MusicXML that can be read: its markup breaks off or is nested too "
            f"deeply at line {line}, column {column}."
        ) from None
    except ValueError:
        raise _refusal("This file is not MusicXML that can be read.") from None
    if root.tag != "score-partwise":
        raise _refusal("This is no score written part by part (score-partwise) in MusicXML.")
    return root


class _Reader:
    def __init__(self, root: etree._Element, settings: SheetSettings) -> None:
        self.root = root
        self.settings = settings
        self.sheet = Sheet()
        self.divisions = 1
        self.ending: tuple[int, ...] = ()
        self.has_key = False

    def read(self) -> Sheet:
        parts = self.root.findall("part")
        if not parts:
            raise _refusal("This score has no part.")
        part = max(parts, key=lambda each: len(each.findall(".//harmony")))
        measures = self._measures(part)
        self.sheet.title = self._title()
        self.sheet.meter = measures[0].meter if measures else self.sheet.meter
        self._gather(measures)
        self._jumps(part)
        return self.sheet

    def _title(self) -> str:
        for path in ("work/work-title", "movement-title"):
            title = (self.root.findtext(path) or "").strip()
            if title:
                return " ".join(title.split())
        return ""

    def _measures(self, part: etree._Element) -> list[_Measure]:
        found = part.findall("measure")
        if len(found) > MAX_MEASURES:
            raise _refusal(f"A score of more than {MAX_MEASURES} bars cannot be one song.")
        measures: list[_Measure] = []
        meter = self.sheet.meter
        for number, element in enumerate(found, start=1):
            try:
                measure = self._measure(element, meter, number)
            except (ValueError, ZeroDivisionError, TheoryError) as error:
                raise _refusal(f"Bar {number} cannot be read: {error}") from None
            meter = measure.meter
            measures.append(measure)
        return measures

    def _measure(self, element: etree._Element, meter: Meter, number: int) -> _Measure:
        measure = _Measure(meter, endings=self.ending)
        at = Fraction(0)
        for child in element:
            if child.tag == "attributes":
                self._attributes(child, measure)
            elif child.tag in ("note", "backup", "forward"):
                at += self._step(child)
                measure.length = max(measure.length, at)
            elif child.tag == "harmony":
                place = at + self._wholes(child.findtext("offset") or "0")
                measure.chords[max(place, Fraction(0))] = self._chord(child, number)
            elif child.tag == "direction":
                self._direction(child, measure)
            elif child.tag == "sound":
                self._sound(child)
            elif child.tag == "barline":
                self._barline(child, measure)
        return measure

    def _wholes(self, divisions: str) -> Wholes:
        return Fraction(divisions.strip()) / (4 * self.divisions)

    def _step(self, child: etree._Element) -> Wholes:
        if child.find("chord") is not None or child.find("grace") is not None:
            return Fraction(0)
        length = self._wholes(child.findtext("duration") or "0")
        return -length if child.tag == "backup" else length

    def _attributes(self, child: etree._Element, measure: _Measure) -> None:
        divisions = child.findtext("divisions")
        if divisions:
            self.divisions = max(1, int(float(divisions)))
        fifths = child.findtext("key/fifths")
        if fifths is not None:
            self._key(int(fifths), child.findtext("key/mode"), measure)
        beats, unit = child.findtext("time/beats"), child.findtext("time/beat-type")
        if beats and unit:
            measure.meter = Meter(sum(int(n) for n in beats.split("+")), int(unit))

    def _key(self, fifths: int, mode: str | None, measure: _Measure) -> None:
        major = next((key for key in MAJOR_KEYS if key.signature == fifths), None)
        if major is None:
            raise ValueError(f"there is no key of {fifths} signs")
        key = major.relative if mode == "minor" else major
        if not self.has_key:
            self.has_key = True
            self.sheet.key = key
        else:
            measure.key = key

    def _direction(self, child: etree._Element, measure: _Measure) -> None:
        for words in child.iterfind(".//rehearsal"):
            measure.name = " ".join((words.text or "").split()) or None
        for words in child.iterfind(".//words"):
            text = " ".join((words.text or "").split())
            name = section_name(text)
            if name is not None and measure.name is None:
                measure.name = name
            elif text:
                measure.words.append(text)
        for sound in child.iterfind("sound"):
            self._sound(sound)
        self._metronome(child)

    def _metronome(self, child: etree._Element) -> None:
        per_minute = child.findtext(".//metronome/per-minute")
        if per_minute and self.sheet.tempo_bpm is None:
            number = re.search(r"\d+(?:\.\d+)?", per_minute)
            unit = child.findtext(".//metronome/beat-unit") or "quarter"
            dots = len(child.findall(".//metronome/beat-unit-dot"))
            wholes = {"half": Fraction(1, 2), "eighth": Fraction(1, 8)}.get(unit, Fraction(1, 4))
            if number:
                beat = wholes * (2 - Fraction(1, 2**dots))
                self._tempo(float(number[0]) * float(beat))

    def _sound(self, sound: etree._Element) -> None:
        tempo = sound.get("tempo")  # quarter notes a minute
        if tempo and self.sheet.tempo_bpm is None:
            self._tempo(float(tempo) / 4)

    def _tempo(self, wholes_per_minute: float) -> None:
        # Kept in whole notes until the first meter is known; see `_gather`.
        self.sheet.tempo_bpm = wholes_per_minute

    def _barline(self, child: etree._Element, measure: _Measure) -> None:
        ending = child.find("ending")
        if ending is not None:
            numbers = tuple(int(n) for n in re.findall(r"\d+", ending.get("number") or ""))
            if ending.get("type") == "start":
                self.ending = measure.endings = numbers
            else:
                self.ending = ()
        repeat = child.find("repeat")
        if repeat is not None and repeat.get("direction") == "forward":
            measure.opens = True
        elif repeat is not None:
            measure.closes = min(MAX_TIMES, max(2, int(repeat.get("times") or 2)))

    # Chords

    def _chord(self, element: etree._Element, number: int) -> Chord | None:
        kind = (element.findtext("kind") or "").strip()
        root = element.find("root")
        if kind == "none":
            return None
        if root is None:
            self._remark(number, "left out", "A chord symbol without a root is left out.")
            return None
        chord = Chord(_name(root, "root"), self._quality(element, kind, number))
        bass = element.find("bass")
        if bass is not None and bass.find("bass-step") is not None:
            name = _name(bass, "bass")
            chord = replace(chord, bass=None if name == chord.root else name)
        return chord

    def _quality(self, element: etree._Element, kind: str, number: int) -> Quality:
        name = _KINDS.get(kind) or _kind_by_text(element)
        if name is None or kind in _GUESSED_KINDS:
            self._remark(number, "guessed", f"The kind {kind!r} is read as {name or 'major'}.")
        base = quality(name or "major")
        degrees = element.findall("degree")
        if not degrees:
            return base
        wanted = _with_degrees(base, degrees)
        exact = next((each for each in QUALITIES if frozenset(each.intervals) == wanted), None)
        if exact is not None:
            return exact
        fitting = [each for each in QUALITIES if frozenset(each.intervals) <= wanted]
        nearest = max(fitting, key=lambda each: len(each.intervals), default=base)
        self._remark(number, "guessed", f"A chord with altered degrees is read as {nearest.name}.")
        return nearest

    def _remark(self, number: int, kind: str, text: str) -> None:
        self.sheet.remark(0, 0, kind, f"Bar {number}: {text}")

    # Bars and sections

    def _gather(self, measures: list[_Measure]) -> None:
        if self.sheet.tempo_bpm is not None:
            tempo_bpm = self.sheet.tempo_bpm / float(self.sheet.meter.beat)
            self.sheet.tempo_bpm = min(400.0, max(10.0, round(tempo_bpm, 3)))
        _close_endings(measures, self.sheet)
        groups = _sections(measures, self.sheet)
        taken: dict[str, int] = {}
        for name, group in groups:
            taken[name] = taken.get(name, 0) + 1
            full = name if taken[name] == 1 else f"{name} {taken[name]}"
            is_start = not self.sheet.sections
            bars = tuple(
                self._bar(each, is_pickup=is_start and place == 0)
                for place, each in enumerate(group)
            )
            self.sheet.sections.append(Section(full, bars))
            self.sheet.visits.append(full)

    def _bar(self, measure: _Measure, *, is_pickup: bool) -> Bar:
        meter, length = measure.meter, measure.meter.bar
        pickup = Fraction(0)
        if 0 < measure.length < length and is_pickup:
            pickup = length = measure.length
        elif 0 < measure.length != length:
            units = measure.length * meter.unit
            if units.denominator == 1 and units <= 32:
                meter = Meter(int(units), meter.unit)
                length = meter.bar
        events = tuple(
            ChordEvent(at, None if chord is None else number_of(chord, LETTER_KEY))
            for at, chord in sorted(measure.chords.items())
            if at < length
        )
        return Bar(
            events,
            meter,
            pickup=pickup,
            key_change=None if measure.key is None else KeyChange(key=measure.key),
            directions=tuple(measure.words),
            opens_repeat=measure.opens,
            closes_repeat=0 if measure.endings else measure.closes,
            endings=measure.endings,
        )

    def _jumps(self, part: etree._Element) -> None:
        for sound in part.iter("sound"):
            for name in _JUMPS:
                if sound.get(name) and name not in ("segno", "coda"):
                    self.sheet.remark(
                        0, 0, "left out", f"The score jumps ({name}): write the order yourself."
                    )
                    return


def _kind_by_text(element: etree._Element) -> str | None:
    """The kind as the score prints it, where its own name is not one of the standard's."""
    kind = element.find("kind")
    text = kind.get("text") if kind is not None else None
    if not text:
        return None
    try:
        return parse_quality(text).name
    except TheoryError:
        return None


def _name(element: etree._Element, kind: str) -> PitchName:
    step = (element.findtext(f"{kind}-step") or "").strip()
    alter = float(element.findtext(f"{kind}-alter") or 0)
    return PitchName(step, round(alter))


def _with_degrees(base: Quality, degrees: list[etree._Element]) -> frozenset[Interval]:
    intervals = {interval.steps: interval for interval in base.intervals}
    for degree in degrees:
        value = int(degree.findtext("degree-value") or 1)
        alter = int(float(degree.findtext("degree-alter") or 0))
        if not 1 <= value <= len(_DEGREES):
            raise ValueError(f"there is no degree {value} in a chord")
        natural = parse_interval(_DEGREES[value - 1])
        kind = degree.findtext("degree-type")
        if kind == "subtract":
            intervals.pop(natural.steps, None)
        elif kind == "alter" and natural.steps in intervals:
            was = intervals[natural.steps]
            intervals[natural.steps] = Interval(was.steps, was.semitones + alter)
        else:
            intervals[natural.steps] = Interval(natural.steps, natural.semitones + alter)
    return frozenset(intervals.values())


def _close_endings(measures: list[_Measure], sheet: Sheet) -> None:
    """Make every repeat explicit: an opening bar for each closing one, endings from 1 up."""
    start, opened = 0, False
    at = 0
    while at < len(measures):
        measure = measures[at]
        if measure.opens:
            start, opened = at, True
        if measure.endings:
            end = at
            while end + 1 < len(measures) and measures[end + 1].endings:
                end += 1
            _check_endings(measures[at : end + 1], sheet)
            if measures[at].endings and at > start:
                measures[start].opens = True
            start, opened, at = end + 1, False, end + 1
            continue
        if measure.closes:
            measures[start].opens = True
            start, opened = at + 1, False
        at += 1
    if opened:
        measures[start].opens = False


def _check_endings(group: list[_Measure], sheet: Sheet) -> None:
    numbers = list(dict.fromkeys(n for measure in group for n in measure.endings))
    if numbers == list(range(1, len(numbers) + 1)) and len(numbers) > 1:
        return
    for measure in group:
        measure.endings, measure.closes = (), 0
    sheet.remark(0, 0, "left out", "An ending without its fellow is played straight on.")


def _sections(measures: list[_Measure], sheet: Sheet) -> list[tuple[str, list[_Measure]]]:
    groups: list[tuple[str, list[_Measure]]] = []
    open_repeat = False
    for measure in measures:
        if measure.opens:
            open_repeat = True
            may_start = True
        else:
            may_start = not open_repeat and not measure.endings
        if not groups:
            groups.append((measure.name or "Song", [measure]))
        elif measure.name and may_start:
            groups.append((measure.name, [measure]))
        else:
            if measure.name:
                sheet.remark(0, 0, "left out", f"{measure.name} begins inside a repeat.")
            groups[-1][1].append(measure)
        if measure.closes or measure.endings:
            open_repeat = False
    return groups
