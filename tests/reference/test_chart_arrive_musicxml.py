"""MusicXML import against music21: scores it wrote, lead sheets it carries, its own reading.

Source: music21 10.5 (`harmony.ChordSymbol`, `bar.Repeat`, `spanner.RepeatBracket`, its corpus of
lead sheets); the shape of a bare score as in the MusicXML 4.0 specification.
"""

import io
import warnings
import zipfile
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from lxml import etree
from music21 import (
    bar,
    converter,
    corpus,
    harmony,
    key,
    metadata,
    meter,
    note,
    spanner,
    stream,
    tempo,
)
from music21.musicxml.m21ToXml import GeneralObjectExporter

from undersong.chart.arrive import read_sheet
from undersong.chart.arrive_musicxml import song_from_musicxml
from undersong.chart.roadmap import unrolled
from undersong.chart.song import Song
from undersong.errors import ChartErrors
from undersong.theory.chord import QUALITIES

untyped: Any = stream  # parts of music21 carry no types

# music21's own names of our kinds, where a figure of it exists.
FIGURES = [
    *("C", "Cm", "Cdim", "C+", "Cpower", "Csus4", "Csus2", "C6", "Cm6", "C7", "CM7", "Cm7"),
    *("CmM7", "Cø7", "Co7", "C+7", "C9", "CM9", "Cm9", "C11", "Cm11", "C13", "CM13", "Cm13"),
    *("C7b5", "C7#9", "C7b9", "Cadd9", "Am7", "F#m7", "B-M7", "E-7"),
    *("D/F#", "G/B", "Am/G", "A-/C"),
]


def score_of(figures: list[str]) -> Any:
    """A score of one chord a bar."""
    part: Any = untyped.Part()
    for number, figure in enumerate(figures, start=1):
        measure: Any = untyped.Measure(number=number)
        if number == 1:
            measure.append(key.KeySignature(0))
            measure.append(meter.TimeSignature("4/4"))
        measure.insert(0, harmony.ChordSymbol(figure))
        measure.append(note.Note("C4", quarterLength=4))
        part.append(measure)
    score: Any = untyped.Score([part])
    score.metadata = metadata.Metadata(title="A Song")
    return score


def xml_of(score: Any) -> bytes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return bytes(GeneralObjectExporter(score).parse())


def sounds(song: Song) -> list[tuple[int, int, frozenset[int]]]:
    found = []
    for played in unrolled(song):
        for event in played.events:
            if event.chord is not None:
                chord = event.chord.in_key(song.counted_in(played.key))
                tones = frozenset(name.pitch_class for _, name in chord.tones)
                found.append((chord.root.pitch_class, chord.lowest.pitch_class, tones))
    return found


def test_every_kind_that_music21_writes() -> None:
    song = song_from_musicxml(xml_of(score_of(FIGURES)))
    assert song.title == "A Song"
    for figure, (root, bass, tones) in zip(FIGURES, sounds(song), strict=True):
        theirs = harmony.ChordSymbol(figure)
        assert root == theirs.root().pitchClass, figure
        assert bass == theirs.bass().pitchClass, figure
        wanted = set(theirs.pitchClasses)
        if "13" in figure:
            wanted.discard((theirs.root().pitchClass + 5) % 12)  # the 11th players leave out
        if theirs.bass() != theirs.root():
            wanted.discard(theirs.bass().pitchClass)
            tones -= {bass}
        assert tones == wanted, figure


def test_our_kinds_come_through_without_a_guess() -> None:
    song = song_from_musicxml(xml_of(score_of(FIGURES)))
    kinds = {event.chord.quality for b in unrolled(song) for event in b.events if event.chord}
    assert len(kinds) >= 27
    assert kinds <= set(QUALITIES)
    assert not [remark for remark in song.report if "Bar" in remark.text]


def test_repeats_and_endings_unroll_as_music21_expands_them() -> None:
    score = score_of(["C", "F", "G", "Am", "Dm", "C"])
    part = score.parts[0]
    measures = list(part.getElementsByClass("Measure"))
    measures[0].leftBarline = bar.Repeat(direction="start")
    measures[3].rightBarline = bar.Repeat(direction="end")
    part.insert(0, spanner.RepeatBracket([measures[2], measures[3]], number=1))
    part.insert(0, spanner.RepeatBracket([measures[4]], number=2))
    song = song_from_musicxml(xml_of(score))
    theirs = [
        symbol.root().pitchClass
        for symbol in part.expandRepeats().recurse().getElementsByClass("ChordSymbol")
    ]
    assert [root for root, _, _ in sounds(song)] == theirs


def test_key_meter_and_tempo() -> None:
    score = score_of(["A", "D", "E7", "A"])
    part = score.parts[0]
    first, _, third, _ = part.getElementsByClass("Measure")
    first.removeByClass("KeySignature")
    first.removeByClass("TimeSignature")
    first.insert(0, key.Key("A"))
    first.insert(0, meter.TimeSignature("3/4"))
    first.insert(0, tempo.MetronomeMark(number=90))
    for measure in part.getElementsByClass("Measure"):
        next(iter(measure.notes)).quarterLength = 3
        for each in measure.getElementsByClass("Note"):
            each.quarterLength = 3
    third.insert(0, key.Key("B"))
    song = song_from_musicxml(xml_of(score))
    assert (str(song.key), str(song.meter), song.tempo_bpm) == ("A", "3/4", 90.0)
    assert [str(played.key) for played in unrolled(song)] == ["A", "A", "B", "B"]


def lead_sheets() -> list[Path]:
    paths = [Path(str(path)) for path in corpus.getPaths()]
    return [path for path in paths if "leadsheet" in str(path).casefold()]


def test_the_lead_sheets_of_the_corpus_read_as_music21_reads_them() -> None:
    paths = lead_sheets()
    assert len(paths) >= 2
    for path in paths:
        song = read_sheet(path.read_bytes(), path.name)
        ours = [
            (place, event.at, event.chord.in_key(song.number_key).root.pitch_class)
            for place, each in enumerate(b for s in song.sections for b in s.bars)
            for event in each.events
            if event.chord is not None
        ]
        assert ours == theirs_in(path)


def theirs_in(path: Path) -> list[tuple[int, Fraction, int]]:
    rows: list[list[tuple[int, Fraction, int]]] = []
    score: Any = converter.parse(path)
    for part in score.parts:
        rows.append([])
        for place, measure in enumerate(part.getElementsByClass("Measure")):
            for symbol in measure.getElementsByClass("ChordSymbol"):
                at = Fraction(symbol.offset).limit_denominator(64) / 4
                rows[-1].append((place, at, symbol.root().pitchClass))
    return max(rows, key=len)


BARE = b"""<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>B</part-name></score-part>
</part-list><part id="P1"><measure number="1">%s</measure></part></score-partwise>"""


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (BARE % b"", "There is no chord in this sheet"),
        (b'<?xml version="1.0"?><html/>', "no score written part by part"),
        (b'<?xml version="1.0"?><score-partwise><part>', "not MusicXML that can be read"),
        (
            b'<?xml version="1.0"?><!DOCTYPE s [<!ENTITY a "x"><!ENTITY b "&a;&a;">]>'
            b"<score-partwise>&b;</score-partwise>",
            "declares entities of its own",
        ),
        (b"PK\x03\x04 and then nothing", "damaged"),
        (
            BARE % b"<harmony><root><root-step>X</root-step></root></harmony>",
            "Bar 1 cannot be read",
        ),
        (BARE % b"<attributes><key><fifths>11</fifths></key></attributes>", "Bar 1 cannot be read"),
        (BARE % b"<attributes><divisions>0</divisions></attributes>", "no chord in this sheet"),
    ],
)
def test_what_is_no_score_is_refused_in_a_sentence(data: bytes, said: str) -> None:
    with pytest.raises(ChartErrors, match=said):
        read_sheet(data, "score.musicxml")


def test_a_compressed_score_and_a_bomb() -> None:
    xml = xml_of(score_of(["C", "F"]))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("META-INF/container.xml", "<container/>")
        archive.writestr("score.musicxml", xml)
    assert len(sounds(read_sheet(out.getvalue(), "score.mxl"))) == 2
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.musicxml", b"<score-partwise>" + b" " * 40_000_000)
    with pytest.raises(ChartErrors, match="too large"):
        read_sheet(bomb.getvalue(), "score.mxl")


def test_every_kind_of_the_published_schema_is_read_or_named_in_the_report() -> None:
    """Source: the kind-value type of the MusicXML 4.0 schema, as the package `musicxml` has it."""
    text = files("musicxml").joinpath("generate_classes", "musicxml_4_0.xsd").read_bytes()
    space = "{http://www.w3.org/2001/XMLSchema}"
    types = etree.fromstring(text).iterfind(f"{space}simpleType[@name='kind-value']")
    kinds = [each.get("value", "") for each in next(types).iter(f"{space}enumeration")]
    assert len(kinds) >= 30
    guessed = set()
    for kind in kinds:
        symbol = f"<harmony><root><root-step>C</root-step></root><kind>{kind}</kind></harmony>"
        song = song_from_musicxml(BARE % (symbol + C_MAJOR).encode())
        if any("is read as" in remark.text for remark in song.report):
            guessed.add(kind)
    assert guessed == {
        *("major-11th", "Neapolitan", "Italian", "French", "German", "pedal", "Tristan", "other")
    }


C_MAJOR = (
    "<harmony><root><root-step>C</root-step></root><kind>major</kind><offset>1</offset></harmony>"
)
