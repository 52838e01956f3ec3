"""MusicXML: what our files say, and files as other programs write them."""

import io
import zipfile
from dataclasses import replace
from fractions import Fraction

import pytest
from lxml import etree

from exchange_parts import FIVE, PARTS, line
from undersong.errors import ExchangeError
from undersong.exchange import musicxml_bytes, part_from_musicxml
from undersong.exchange.chordkinds import chord_kind, quality_of
from undersong.theory.chord import QUALITIES, Quality, parse_number_chord
from undersong.theory.key import MinorHabit, parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Articulation, ChordMark, Note, Part, Voice
from undersong.theory.pitch import parse_pitch

F = Fraction


def tree(part: Part) -> etree._Element:
    return etree.fromstring(musicxml_bytes(part))


def texts(part: Part, path: str) -> list[str | None]:
    return [each.text for each in tree(part).iterfind(path)]


@pytest.mark.parametrize("part", PARTS.values(), ids=PARTS.keys())
def test_a_part_comes_back_with_everything_on_its_notes(part: Part) -> None:
    back = part_from_musicxml(musicxml_bytes(part))
    joined = [replace(s.note, length=s.length, tied=False) for s in part.strokes]
    filled = [replace(n, chord=part.chord_at(n.at)) for n in joined]
    assert list(back.notes) == filled
    for name in ("title", "key", "meter", "pickup", "length", "swing", "sections", "chords"):
        assert getattr(back, name) == getattr(part, name)
    for name in ("tempo_bpm", "key_marks", "meter_marks", "tempo_marks"):
        assert getattr(back, name) == getattr(part, name)


def test_the_pick_up_is_measure_0_and_not_counted() -> None:
    first = tree(PARTS["four_four"]).find("part/measure")
    assert first is not None
    assert (first.get("number"), first.get("implicit")) == ("0", "yes")


def test_a_sounding_tempo_counts_quarters_and_the_printed_one_the_beat() -> None:
    part = PARTS["six_eight"]
    sounds = [sound.get("tempo") for sound in tree(part).iterfind(".//sound")]
    assert sounds == ["84", "90"]  # MusicXML 4.0: quarter notes a minute
    assert texts(part, ".//per-minute") == ["56", "60"]
    assert texts(part, ".//beat-unit") == ["quarter", "quarter"]
    assert len(texts(part, ".//beat-unit-dot")) == 2


def test_the_tab_staff_has_the_strings_of_the_instrument() -> None:
    part = PARTS["six_eight"]
    assert texts(part, ".//staff-lines") == ["5"]
    assert texts(part, ".//staff-tuning/tuning-step") == ["B", "E", "A", "D", "G"]
    assert texts(part, ".//staff-tuning/tuning-octave") == ["0", "1", "1", "2", "2"]
    assert part_from_musicxml(musicxml_bytes(part)).tuning == FIVE


def test_a_part_without_tuning_gets_the_strings_its_frets_agree_with() -> None:
    part = replace(PARTS["six_eight"], tuning=None)
    assert part_from_musicxml(musicxml_bytes(part)).tuning == FIVE
    half_step_down = replace(
        PARTS["four_four"], tuning=None, notes=line("Eb1:1/4", "Eb", (27,) * 4)
    )
    tuning = part_from_musicxml(musicxml_bytes(half_step_down)).tuning
    assert tuning is not None
    assert len(tuning) == 4
    assert tuning[0] == 27


def test_an_unfingered_part_has_no_tab() -> None:
    assert texts(PARTS["tuplets"], ".//staves") == []


def test_accidentals_stand_once_in_a_bar_and_again_in_the_next() -> None:
    notes = line("C#2:1/4 C#2:1/4 C2:1/4 F#2:1/4 C#2:1/4 C2:3/4", "G")
    part = Part("Try-out", parse_key("G"), parse_meter("4/4"), 72, notes)
    shown = [
        note.findtext("accidental")
        for note in tree(part).iter("note")
        if note.findtext("staff") == "1"
    ]
    assert shown == ["sharp", None, "natural", None, "sharp", "natural"]


def test_a_note_over_the_bar_line_is_tied_and_its_accidental_not_repeated() -> None:
    part = Part("Tie", parse_key("C"), parse_meter("4/4"), 72, line("r:3/4 Bb1:1/2", "C", None))
    heads = [note for note in tree(part).iter("note") if note.find("pitch") is not None]
    assert [[tie.get("type") for tie in head.iterfind("tie")] for head in heads] == [
        ["start"],
        ["stop"],
    ]
    assert [head.findtext("accidental") for head in heads] == ["flat", None]


@pytest.mark.parametrize("quality", QUALITIES, ids=lambda quality: quality.name)
def test_every_kind_of_chord_comes_back(quality: Quality) -> None:
    kind, degrees = chord_kind(quality)
    assert quality_of(kind, frozenset(degrees)) is quality


def test_drums_keep_their_keys() -> None:
    hits = tuple(
        Note(F(place, 8), F(1, 8), parse_key("C").spell(midi))
        for place, midi in ((0, 36), (0, 42), (1, 42), (2, 38), (2, 42), (3, 81))
    )
    part = Part("Beat", parse_key("C"), parse_meter("4/4"), 90, hits, voice=Voice.DRUMS)
    back = part_from_musicxml(musicxml_bytes(part))
    assert [(n.at, n.pitch.midi) for n in back.notes] == [(n.at, n.pitch.midi) for n in hits]
    assert back.voice is Voice.DRUMS


def test_control_characters_in_a_title_do_not_break_the_file() -> None:
    part = replace(PARTS["tuplets"], title="Small\x00 <Hours> & more")
    assert part_from_musicxml(musicxml_bytes(part)).title == "Small <Hours> & more"


def score(*measures: str, attributes: str = "", name: str = "Bass", before: str = "") -> bytes:
    """A small file as another program might write it: quarter notes are 2 divisions."""
    head = f"<attributes><divisions>2</divisions>{attributes}</attributes>"
    body = "".join(
        f'<measure number="{number}">{head if number == 1 else ""}{inside}</measure>'
        for number, inside in enumerate(measures, start=1)
    )
    listed = (
        f'<part-list><score-part id="P1"><part-name>{name}</part-name></score-part></part-list>'
    )
    part = f'<part id="P1">{body}</part>'
    return f'{before}<score-partwise version="3.1">{listed}{part}</score-partwise>'.encode()


def n(pitch: str, duration: int, inside: str = "", chord: str = "") -> str:
    p = parse_pitch(pitch)
    alter = f"<alter>{p.alteration}</alter>" if p.alteration else ""
    return (
        f"<note>{chord}<pitch><step>{p.letter}</step>{alter}<octave>{p.octave}</octave></pitch>"
        f"<duration>{duration}</duration>{inside}</note>"
    )


def rows(data: bytes) -> list[str]:
    notes = part_from_musicxml(data).notes
    return [f"{note.at} {note.length} {note.pitch}" for note in notes]


def test_the_least_there_has_to_be_reads() -> None:
    part = part_from_musicxml(score(n("E1", 8)))
    assert (part.title, str(part.key), str(part.meter), part.tempo_bpm) == (
        "Untitled",
        "C",
        "4/4",
        120,
    )
    assert rows(score(n("E1", 8))) == ["0 1 E1"]


@pytest.mark.parametrize(
    ("transpose", "sounds", "key"),
    [
        (
            "<diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change>",
            "F#1",
            "D",
        ),
        ("<chromatic>-12</chromatic><diatonic>-7</diatonic>", "F#1", "D"),
        ("<diatonic>-1</diatonic><chromatic>-2</chromatic>", "E2", "C"),
    ],
)
def test_a_transposing_part_is_brought_to_its_sound(transpose: str, sounds: str, key: str) -> None:
    signs = f"<key><fifths>2</fifths></key><transpose>{transpose}</transpose>"
    part = part_from_musicxml(score(n("F#2", 8), attributes=signs))
    assert str(part.notes[0].pitch) == sounds
    assert str(part.key_at(F(0))) in (key, "D")


def test_repeats_and_endings_are_played_out() -> None:
    first = '<barline location="left"><ending number="1" type="start"/></barline>'
    again = (
        '<barline location="right"><ending number="1" type="stop"/>'
        '<repeat direction="backward"/></barline>'
    )
    second = '<barline location="left"><ending number="2" type="start"/></barline>'
    verse = "<direction><direction-type><rehearsal>Verse</rehearsal></direction-type></direction>"
    part = part_from_musicxml(
        score(verse + n("C2", 8), first + n("D2", 8) + again, second + n("E2", 8))
    )
    assert [str(note.pitch) for note in part.notes] == ["C2", "D2", "C2", "E2"]
    assert [(m.at, m.name, m.visit) for m in part.sections] == [
        (F(0), "Verse", 1),
        (F(2), "Verse", 2),
    ]


def test_a_short_first_bar_is_a_pick_up() -> None:
    part = part_from_musicxml(score(n("C2", 2), n("D2", 8), n("E2", 8)))
    assert (part.pickup, part.length) == (F(1, 4), F(9, 4))
    assert [bar.number for bar in part.bars] == [0, 1, 2]


def test_a_bar_of_another_length_gets_its_own_meter() -> None:
    part = part_from_musicxml(score(n("C2", 8), n("D2", 8) + n("E2", 2), n("F2", 8)))
    assert [(bar.at, str(bar.meter)) for bar in part.bars] == [
        (0, "4/4"),
        (1, "5/4"),
        (F(9, 4), "4/4"),
    ]


def test_ties_are_joined_and_grace_notes_passed_over() -> None:
    grace = "<note><grace/><pitch><step>B</step><octave>1</octave></pitch></note>"
    tied = '<tie type="start"/>', '<tie type="stop"/>'
    data = score(grace + n("C2", 8, tied[0]), n("C2", 2, tied[1]) + n("C2", 6))
    assert rows(data) == ["0 5/4 C2", "5/4 3/4 C2"]


def test_chords_and_voices_keep_their_places() -> None:
    back = "<backup><duration>8</duration></backup><forward><duration>4</duration></forward>"
    data = score(n("C2", 8) + n("G2", 8, chord="<chord/>") + back + n("E3", 4))
    assert rows(data) == ["0 1 C2", "0 1 G2", "1/2 1/2 E3"]


def test_the_hand_is_read_from_the_staff_itself_where_there_is_no_tab() -> None:
    hand = "<technical><string>4</string><fret>3</fret><fingering>2</fingering></technical>"
    touch = f"<notations>{hand}<articulations><staccato/><accent/></articulations></notations>"
    note = part_from_musicxml(score(n("G1", 8, touch))).notes[0]
    assert (note.string, note.fret, note.finger) == (4, 3, 2)
    assert (note.articulation, note.accented) == (Articulation.SHORT, True)


def test_a_timewise_score_reads() -> None:
    data = (
        b'<score-timewise><part-list><score-part id="P1"><part-name>B</part-name></score-part>'
        b'</part-list><measure number="1"><part id="P1"><attributes><divisions>1</divisions>'
        b"</attributes><note><pitch><step>E</step><octave>1</octave></pitch><duration>4</duration>"
        b"</note></part></measure></score-timewise>"
    )
    assert rows(data) == ["0 1 E1"]


def mxl(data: bytes, name: str = "score.xml", *, container: bool = True) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        if container:
            archive.writestr(
                "META-INF/container.xml",
                f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>',
            )
        archive.writestr(name, data)
    return out.getvalue()


def test_a_zipped_file_reads() -> None:
    assert rows(mxl(score(n("E1", 8)))) == ["0 1 E1"]
    assert rows(mxl(score(n("E1", 8)), container=False)) == ["0 1 E1"]


BILLION_LAUGHS = (
    '<!DOCTYPE score-partwise [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
    '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;"><!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;">]>'
)
OUTSIDE = '<!DOCTYPE score-partwise [<!ENTITY a SYSTEM "file:///etc/hostname">]>'


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "empty"),
        (b"<score-partwise>", "breaks off or is damaged at line 1"),
        (b"<html/>", "is no score: it begins with <html>"),
        (b"<score-partwise/>", "no notes"),
        (score(n("E1", 8), name="&d;", before=BILLION_LAUGHS), "declares XML entities"),
        (score(n("E1", 8), name="&a;", before=OUTSIDE), "declares XML entities"),
        (score(n("E1", 8).replace("8", "eight")), "measure 1: <duration> says 'eight'"),
        (score(n("E1", 8).replace("8", "1e999999999")), "measure 1: <duration> says"),
        (score(n("E1", 8).replace("<octave>1</octave>", "")), "measure 1: <octave> is missing"),
        (score(n("E1", 8).replace(">E<", ">H<")), "measure 1: 'H' is not a note letter"),
        (score(n("E1", -8)), "runs backwards"),
        (score(n("E1", 99_999_999)), "at most 4000"),
        (score(n("E1", 8), attributes="<divisions>0</divisions>"), None),
        (score(n("E1", 8), attributes="<key><fifths>9</fifths></key>"), "9 signs does not exist"),
        (
            score(
                n("E1", 8),
                attributes="<time><beats>four</beats><beat-type>4</beat-type></time>",
            ),
            "not made of numbers",
        ),
        (
            score(n("E1", 9) + "<forward><duration>0.001</duration></forward>", n("E1", 8)),
            "no meter",
        ),
        (b"PK\x03\x04 and nothing", "damaged"),
        (mxl(b" " * 25_000_000), "The MusicXML file holds 24 MB, above"),
        (mxl(b"<html/>"), "is no score"),
        (b"<score-partwise>" + b"<a>" * 5000, "breaks off or is damaged"),
    ],
)
def test_what_is_no_part_is_told(data: bytes, sentence: str | None) -> None:
    if sentence is None:
        assert rows(data)
        return
    with pytest.raises(ExchangeError) as caught:
        part_from_musicxml(data)
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)


def test_of_several_parts_the_bass_is_taken_or_asked_for() -> None:
    def two(first: str, second: str) -> bytes:
        one = score(n("E1", 8), name=first)
        listed = f'<score-part id="P2"><part-name>{second}</part-name></score-part></part-list>'
        other = one[one.index(b'<part id="P1">') : one.index(b"</score-partwise>")]
        other = other.replace(b"P1", b"P2").replace(b"<step>E", b"<step>G")
        both = one.replace(b"</part-list>", listed.encode())
        return both.replace(b"</score-partwise>", other + b"</score-partwise>")

    assert rows(two("Keys", "Bass Guitar")) == ["0 1 G1"]
    with pytest.raises(ExchangeError, match="1 Keys, 2 Guitar"):
        part_from_musicxml(two("Keys", "Guitar"))
    assert str(part_from_musicxml(two("Keys", "Guitar"), which="2").notes[0].pitch) == "G1"


def test_chord_letters_of_a_minor_song_counted_from_its_relative_major() -> None:
    """In E minor the home chord 6- is Em, whatever it is called (trade handbook 2.5)."""
    home = parse_number_chord("6-")
    part = Part(
        "Minor", parse_key("Em"), parse_meter("4/4"), 70,
        (Note(F(0), F(1), parse_pitch("E1"), chord=home),),
        chords=(ChordMark(F(0), home),), minor_habit=MinorHabit.RELATIVE,
    )  # fmt: skip
    data = musicxml_bytes(part)
    assert texts(part, ".//root-step") == ["E"]
    assert part_from_musicxml(data).chords == part.chords
