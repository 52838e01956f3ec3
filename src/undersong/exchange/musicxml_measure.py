"""The measures of a MusicXML part, one by one, as values whose places count from their bar line.

Nothing is joined or unrolled here: `musicxml_read` puts the played measures together. Grace and
cue notes have no time of their own and are passed over.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from undersong.errors import ExchangeError, TheoryError
from undersong.exchange.chordkinds import ChordDegree, quality_of
from undersong.exchange.musicxml_note import TYPES
from undersong.exchange.musicxml_signs import articulation_of, has_mark, meter_of
from undersong.exchange.repeats import Road
from undersong.exchange.xmltree import Element, text_of
from undersong.theory.chord import Chord, NumberChord, number_of, parse_number_chord
from undersong.theory.interval import Interval
from undersong.theory.key import MAJOR_KEYS, Degree, Key, MinorHabit, Mode, key_on, parse_degree
from undersong.theory.meter import FOUR_FOUR, Meter, Wholes
from undersong.theory.part import Articulation, Dynamic
from undersong.theory.pitch import Pitch, PitchName
from undersong.theory.tempo import Swing, TempoMark

_NUMBER = re.compile(r"-?\d{1,9}(?:\.\d{1,6})?")
_KINDS = {name: kind for kind, name in TYPES.items()}
_DYNAMICS = {each.value: each for each in Dynamic} | {
    "ppp": Dynamic.PP,
    "pppp": Dynamic.PP,
    "fff": Dynamic.FF,
    "ffff": Dynamic.FF,
}
_MOST_SHARPS = 7


@dataclass(frozen=True, slots=True)
class Head:
    """One note head."""

    at: Wholes
    length: Wholes
    pitch: Pitch
    staff: int
    voice: str
    is_tied_back: bool
    is_tied_on: bool
    string: int | None
    fret: int | None
    finger: int | None
    articulation: Articulation
    is_accented: bool
    degree: Degree | None
    chord: NumberChord | None


@dataclass(slots=True)
class Measure:
    """One measure: what is in force as it begins, what it holds, where it leads."""

    number: str
    is_implicit: bool
    key: Key
    meter: Meter
    tempo: TempoMark | None
    content: Wholes = Fraction(0)
    heads: list[Head] = field(default_factory=list)
    keys: list[tuple[Wholes, Key]] = field(default_factory=list)
    tempos: list[TempoMark] = field(default_factory=list)
    chords: list[tuple[Wholes, NumberChord | None]] = field(default_factory=list)
    sections: list[tuple[Wholes, str]] = field(default_factory=list)
    dynamics: list[tuple[Wholes, Dynamic]] = field(default_factory=list)
    road: Road = field(default_factory=Road)


class MeasureReader:
    """Reads measures in the order of the file; holds what carries over from one to the next."""

    def __init__(self, drum_keys: dict[str, int], minor_habit: MinorHabit) -> None:
        self.minor_habit = minor_habit
        self.tab_staves: set[int] = set()
        self.tunings: dict[int, dict[int, int]] = {}
        self.swing: Swing | None = None
        self.is_drums = False
        self._drum_keys = drum_keys
        self._divisions = Fraction(1)
        self._transpose = Interval(0, 0)
        self._key = MAJOR_KEYS[_MOST_SHARPS]
        self._meter = FOUR_FOUR
        self._tempo: TempoMark | None = None
        self._endings: frozenset[int] = frozenset()
        self._measure = Measure("", is_implicit=False, key=self._key, meter=FOUR_FOUR, tempo=None)
        self._at = Fraction(0)
        self._head_at = Fraction(0)
        self._letters: list[tuple[Wholes, Chord | None]] = []

    def read(self, head: Element, music: Element) -> Measure:
        """One measure: `head` carries its number, `music` its notes."""
        self._measure = measure = Measure(
            head.get("number", "?"),
            is_implicit=head.get("implicit") == "yes",
            key=self._key,
            meter=self._meter,
            tempo=self._tempo,
        )
        measure.road.endings = self._endings
        self._at = self._head_at = Fraction(0)
        self._letters = []
        readers = {
            "note": self._note,
            "backup": self._backup,
            "forward": self._forward,
            "attributes": self._attributes,
            "direction": self._direction,
            "harmony": self._harmony,
            "barline": self._bar_line,
            "sound": self._sound,
        }
        for element in music:
            reader = readers.get(str(element.tag))
            if reader is None:
                continue
            try:
                reader(element)
            except TheoryError as error:
                raise ExchangeError(f"{self._where}{error}") from error
            measure.content = max(measure.content, self._at)
        measure.chords = [(at, self._number_chord(at, chord)) for at, chord in self._letters]
        return measure

    def _number_chord(self, at: Wholes, chord: Chord | None) -> NumberChord | None:
        """By numbers of the key in force there, which may be told later than the chord."""
        keys = [key for place, key in self._measure.keys if place <= at]
        key = keys[-1] if keys else self._measure.key
        return None if chord is None else number_of(chord, key.number_key(self.minor_habit))

    @property
    def _where(self) -> str:
        return f"measure {self._measure.number}: "

    def _number(self, element: Element, path: str, default: str | None = None) -> Fraction:
        text = text_of(element, path) or default
        if text is None or _NUMBER.fullmatch(text) is None:
            shown = "is missing" if text is None else f"says {text[:20]!r}"
            raise ExchangeError(f"{self._where}<{path}> {shown}: it has to be a number.")
        return Fraction(text)

    def _whole(self, element: Element, path: str, default: str | None = None) -> int:
        return int(self._number(element, path, default))

    def _duration(self, element: Element) -> Wholes:
        duration = self._number(element, "duration")
        if duration < 0:
            raise ExchangeError(f"{self._where}a duration of {duration} runs backwards.")
        return duration / self._divisions / 4

    def _backup(self, element: Element) -> None:
        self._at = max(self._at - self._duration(element), Fraction(0))

    def _forward(self, element: Element) -> None:
        self._at += self._duration(element)

    def _note(self, element: Element) -> None:
        if element.find("grace") is not None or element.find("cue") is not None:
            return
        length = self._duration(element)
        if element.find("chord") is None:
            self._head_at = self._at
            self._at += length
        if element.find("rest") is not None or length == 0:
            return
        ties = {tie.get("type") for tie in element.iterfind("tie")}
        fingering = text_of(element, "notations/technical/fingering")
        lyrics = {lyric.get("name"): text_of(lyric, "text") for lyric in element.iterfind("lyric")}
        pitch = self._pitch(element)
        degree, chord = lyrics.get("degree"), lyrics.get("chord")
        self._measure.heads.append(
            Head(
                at=self._head_at,
                length=length,
                pitch=pitch,
                staff=self._whole(element, "staff", "1"),
                voice=text_of(element, "voice") or "1",
                is_tied_back="stop" in ties,
                is_tied_on="start" in ties,
                string=self._technical(element, "string"),
                fret=self._technical(element, "fret"),
                finger=int(fingering) if fingering in ("0", "1", "2", "3", "4") else None,
                articulation=articulation_of(element, pitch),
                is_accented=has_mark(element, "accent", "strong-accent"),
                degree=parse_degree(degree) if degree else None,
                chord=parse_number_chord(chord) if chord else None,
            )
        )

    def _technical(self, element: Element, name: str) -> int | None:
        path = f"notations/technical/{name}"
        return None if element.find(path) is None else max(self._whole(element, path), 0)

    def _pitch(self, element: Element) -> Pitch:
        written = element.find("pitch")
        if written is not None:
            letter, alter = text_of(written, "step") or "?", self._number(written, "alter", "0")
            if alter.denominator != 1:
                raise ExchangeError(
                    f"{self._where}{letter} is altered by {alter}: no quarter tones."
                )
            pitch = Pitch(letter, int(alter), self._whole(written, "octave"))
            return self._transpose.above(pitch) if self._transpose != Interval(0, 0) else pitch
        self.is_drums = True
        instrument = element.find("instrument")
        key = self._drum_keys.get(instrument.get("id", "")) if instrument is not None else None
        if key is not None:
            return MAJOR_KEYS[_MOST_SHARPS].spell(key)
        step = text_of(element, "unpitched/display-step") or "E"
        return Pitch(step, 0, self._whole(element, "unpitched/display-octave", "4"))

    def _attributes(self, element: Element) -> None:
        if element.find("divisions") is not None:
            self._divisions = self._number(element, "divisions")
            if self._divisions <= 0:
                raise ExchangeError(f"{self._where}<divisions> has to be above 0.")
        self._clefs(element)
        transpose = element.find("transpose")
        if transpose is not None:
            octaves = self._whole(transpose, "octave-change", "0")
            self._transpose = Interval(
                self._whole(transpose, "diatonic", "0") + 7 * octaves,
                self._whole(transpose, "chromatic", "0") + 12 * octaves,
            )
        key = element.find("key")
        if key is not None and key.find("fifths") is not None:
            self._key = self._sounding_key(key)
            self._measure.keys.append((self._at, self._key))
            if self._at == 0:
                self._measure.key = self._key
        time = element.find("time")
        if time is not None and time.find("beats") is not None:
            self._meter = meter_of(time, self._where)
            self._measure.meter = self._meter

    def _clefs(self, element: Element) -> None:
        for clef in element.iterfind("clef"):
            staff = int(clef.get("number", "1")) if clef.get("number", "1").isdecimal() else 1
            if text_of(clef, "sign") == "TAB":
                self.tab_staves.add(staff)
            self.is_drums |= text_of(clef, "sign") == "percussion"
        for details in element.iterfind("staff-details"):
            number = details.get("number", "1")
            staff = int(number) if number.isdecimal() else 1
            for tuning in details.iterfind("staff-tuning"):
                line = tuning.get("line", "")
                pitch = Pitch(
                    text_of(tuning, "tuning-step") or "?",
                    self._whole(tuning, "tuning-alter", "0"),
                    self._whole(tuning, "tuning-octave"),
                )
                if line.isdecimal():
                    self.tunings.setdefault(staff, {})[int(line)] = pitch.midi

    def _sounding_key(self, element: Element) -> Key:
        fifths = self._whole(element, "fifths")
        if abs(fifths) > _MOST_SHARPS:
            raise ExchangeError(
                f"{self._where}a key signature of {abs(fifths)} signs does not exist."
            )
        key = MAJOR_KEYS[fifths + _MOST_SHARPS]
        if text_of(element, "mode") in ("minor", "aeolian"):
            key = key.relative
        if self._transpose.semitones % 12 == 0:
            return key
        name = self._transpose.above_name(key.tonic)
        try:
            return Key(name, key.mode)
        except TheoryError:
            return key_on(name.pitch_class, Mode(key.mode))

    def _direction(self, element: Element) -> None:
        at = self._place(element)
        for words in element.iterfind("direction-type/rehearsal"):
            name = (words.text or "").strip()
            if name:
                self._measure.sections.append((at, name))
        for dynamics in element.iterfind("direction-type/dynamics"):
            for mark in dynamics:
                if mark.tag in _DYNAMICS:
                    self._measure.dynamics.append((at, _DYNAMICS[str(mark.tag)]))
        self._measure.road.is_segno |= element.find("direction-type/segno") is not None
        self._measure.road.is_coda |= element.find("direction-type/coda") is not None
        metronome = element.find("direction-type/metronome")
        has_tempo = metronome is not None and self._metronome(metronome, at)
        sound = element.find("sound")
        if sound is not None:
            self._sound(sound, at, has_tempo=has_tempo)

    def _place(self, element: Element) -> Wholes:
        offset = self._number(element, "offset", "0") / self._divisions / 4
        return max(self._at + offset, Fraction(0))

    def _metronome(self, element: Element, at: Wholes) -> bool:
        kind = _KINDS.get(text_of(element, "beat-unit") or "")
        figure = _NUMBER.search(text_of(element, "per-minute") or "")
        if kind is None or figure is None:
            return False
        dots = len(element.findall("beat-unit-dot"))
        beat = Fraction(1, kind) * (2 - Fraction(1, 2 ** min(dots, 3)))
        self._set_tempo(TempoMark(at, float(figure[0]), beat))
        return True

    def _set_tempo(self, mark: TempoMark) -> None:
        self._tempo = mark
        self._measure.tempos.append(mark)
        if mark.at == 0:
            self._measure.tempo = mark

    def _sound(
        self, element: Element, at: Wholes | None = None, *, has_tempo: bool = False
    ) -> None:
        at = self._at if at is None else at
        tempo = element.get("tempo", "")
        if not has_tempo and _NUMBER.fullmatch(tempo):
            self._set_tempo(TempoMark(at, float(tempo)))
        road = self._measure.road
        road.da_capo |= element.get("dacapo") == "yes"
        road.dal_segno |= element.get("dalsegno") is not None
        road.is_segno |= element.get("segno") is not None
        road.is_coda |= element.get("coda") is not None
        road.to_coda |= element.get("tocoda") is not None
        road.is_fine |= element.get("fine") is not None
        swing = element.find("swing")
        if swing is not None and swing.find("first") is not None:
            unit = Fraction(1, 16 if text_of(swing, "swing-type") == "16th" else 8)
            second = self._number(swing, "second")
            if second <= 0:
                raise ExchangeError(f"{self._where}a swing of no second note cannot be.")
            self.swing = Swing(unit, self._number(swing, "first") / second)

    def _harmony(self, element: Element) -> None:
        at, kind = self._place(element), text_of(element, "kind") or "major"
        if kind == "none":
            self._letters.append((at, None))
            return
        root, bass = self._name(element, "root"), self._name(element, "bass")
        degrees = frozenset[ChordDegree](
            (
                self._whole(degree, "degree-value"),
                self._whole(degree, "degree-alter", "0"),
                text_of(degree, "degree-type") or "add",
            )
            for degree in element.iterfind("degree")
        )
        quality = quality_of(kind, degrees)
        if root is not None and quality is not None:  # else by function, or no chord of ours
            self._letters.append((at, Chord(root, quality, bass)))

    def _name(self, element: Element, word: str) -> PitchName | None:
        step = text_of(element, f"{word}/{word}-step")
        if step is None:
            return None
        name = PitchName(step, self._whole(element, f"{word}/{word}-alter", "0"))
        return self._transpose.above_name(name)

    def _bar_line(self, element: Element) -> None:
        road = self._measure.road
        ending = element.find("ending")
        if ending is not None and ending.get("type") == "start":
            numbers = re.findall(r"\d{1,2}", ending.get("number", ""))
            self._endings = road.endings = frozenset(map(int, numbers)) or frozenset({1})
        elif ending is not None:
            self._endings = frozenset()
        road.is_segno |= element.find("segno") is not None
        road.is_coda |= element.find("coda") is not None
        repeat = element.find("repeat")
        if repeat is None:
            return
        if repeat.get("direction") == "forward":
            road.opens_repeat = True
        else:
            road.closes_repeat = True
            times = repeat.get("times", "")
            road.times = int(times) if re.fullmatch(r"\d{1,2}", times) else None
