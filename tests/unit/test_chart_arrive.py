"""Sheets that arrive: chords above words, lists, other countries' names, a capo, and refusals."""

import io
import zipfile

import docx
import pytest
from reportlab.pdfgen import canvas  # type: ignore[import-untyped]

from sheets import LAYOUTS, Written, chords_right, written
from undersong.chart.arrive import read_sheet
from undersong.chart.arrive_text import song_from_text
from undersong.chart.names import Naming, read_name
from undersong.chart.sheet import SheetSettings
from undersong.chart.sheetlines import section_name
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.chart.write import song_text
from undersong.errors import ChartErrors
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter

SHEETS = written(44)


def numbers(song: Song) -> list[list[str]]:
    return [
        [" ".join(str(event.chord or 0) for event in bar.events) for bar in section.bars]
        for section in song.sections
    ]


def test_every_layout_is_among_the_sheets() -> None:
    assert {sheet.name.partition(" ")[2] for sheet in SHEETS} == set(LAYOUTS)


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_the_chords_of_a_sheet(sheet: Written) -> None:
    song = read_sheet(sheet.text.encode(), "sheet.txt", sheet.settings)
    right, total = chords_right(song, sheet.truth)
    assert right == total
    assert parse_song(song_text(song)) == song


def test_the_report_says_what_was_guessed_and_left_out() -> None:
    text = (
        "A Lamp for the Stairs\nby Anselm\n\nVerse\nG    D/F#   Em7(add11)\nla la la la\n"
        "C    (D)  Gwow\nmore la\n\nVerse 2\nla la\n"
    )
    song = song_from_text(text)
    said = [(each.line, each.kind, each.text.partition(" (")[0]) for each in song.report]
    assert song.title == "A Lamp for the Stairs"
    assert numbers(song) == [["1", "5/7", "6-(7)", "4", "5"]]
    assert said == [
        (0, "guessed", "5 chords have no bar lines; each is given a bar of 4/4."),
        (0, "guessed", "No key is written; from its chords it is G"),
        (0, "guessed", "No tempo is written; 80 is assumed."),
        (2, "left out", "4 lines of words are left out, from this line on."),
        (5, "guessed", "Em7(add11) is read as Em7."),
        (7, "guessed", "a chord in brackets is played."),
        (7, "left out", "Gwow is no chord that can be read."),
        (10, "guessed", "Verse 2 has no chords of its own; those of Verse are played."),
    ]


def test_words_are_dropped_unless_the_leader_keeps_them() -> None:
    text = "Key: G\n\nVerse\nG  D\nla lo\nEm C\nmi ma\n"
    assert not any(bar.directions for bar in song_from_text(text).sections[0].bars)
    kept = song_from_text(text, SheetSettings(keep_words=True)).sections[0].bars
    assert [bar.directions for bar in kept] == [("la lo",), (), ("mi ma",), ()]


def test_the_capo() -> None:
    text = "Key: G\nCapo 4\n\nG D Em C\n"
    song = song_from_text(text)
    assert str(song.key) == "B"  # trade handbook 3.6
    assert numbers(song) == [["1", "5", "6-", "4"]]
    sounding = song_from_text(text.replace("Key: G", "Key: B"))
    assert (str(sounding.key), numbers(sounding)) == ("B", numbers(song))
    unknown = song_from_text("G D Em C G", SheetSettings(capo=3))
    assert str(unknown.key) == "Bb"


@pytest.mark.parametrize(
    ("shapes", "capo", "key"),
    # trade handbook 3.6
    [("C", 1, "Db"), ("C", 3, "Eb"), ("D", 2, "E"), ("D", 4, "F#"), ("E", 3, "G"), ("A", 2, "B")],
)
def test_capo_table(shapes: str, capo: int, key: str) -> None:
    text = f"Key: {shapes}\nCapo: {capo}\n\n{shapes} {shapes}7 {shapes}\n"
    assert str(song_from_text(text).key) == key


def test_bars_and_repeats_of_a_list() -> None:
    text = "Key: D\n\nIntro: |: D | A/C# :| x3\nVerse\n| D G | % | N.C. |\nG D A (x2)\n"
    song = song_from_text(text)
    assert numbers(song) == [["1", "5/7"], ["1 4", "1 4", "0", "4", "1", "5"]]
    assert song.sections[0].bars[1].closes_repeat == 3
    assert song.sections[1].bars[5].closes_repeat == 2


@pytest.mark.parametrize(
    ("line", "bars", "column"),
    [
        ("| C | 5 | Am | F |", ["1", "0", "6-", "4"], 7),
        ("| C | Q | (softly) | F |", ["1", "0", "0", "4"], 7),
        ("| C | second time | Am | F |", ["1", "0", "6-", "4"], 7),
        ("| 5 | C | Am | F |", ["0", "1", "6-", "4"], 3),
        ("C | 5 | Am | F", ["1", "0", "6-", "4"], 5),
        ("Intro: | C | 5 | Am | F |", ["1", "0", "6-", "4"], 14),
        ("| C |  | Am | F |", ["1", "0", "6-", "4"], 6),
        ("| C | |: Am | F :|", ["1", "6-", "4"], 0),
        ("|: C | F :| |: Am | F :| |", ["1", "4", "6-", "4"], 0),
    ],
)
def test_no_bar_is_lost(line: str, bars: list[str], column: int) -> None:
    song = read_sheet(f"Key: C\n\n{line}\n".encode(), "s", SheetSettings(key=parse_key("C")))
    found = [str(bar.events[0].chord) if bar.events else "0" for bar in song.sections[0].bars]
    assert found == bars
    assert parse_song(song_text(song)) == song
    said = [each.column for each in song.report if "carries on" in each.text]
    assert said[:1] == ([column] if column else [])


def test_a_key_change_on_the_sheet() -> None:
    song = song_from_text("Key: G\n\nVerse\nG D\n\nChorus\nKey change to A\nA E\n")
    assert numbers(song) == [["1", "5"], ["1", "5"]]
    assert str(song.sections[1].bars[0].key_change.key) == "A"  # type: ignore[union-attr]


def test_a_waltz() -> None:
    song = song_from_text("Key: G  Time: 3/4\n\nG / / C / D\n")
    assert numbers(song) == [["1", "4 5"]]
    assert song.sections[0].bars[0].meter == parse_meter("3/4")


def test_the_leaders_word_goes_over_the_sheets() -> None:
    song = song_from_text("Key: G\n\nA D E A", SheetSettings(key=parse_key("A")))
    assert (str(song.key), numbers(song)) == ("A", [["1", "4", "5", "1"]])


@pytest.mark.parametrize(
    ("text", "chord"),
    [
        ("Cmaj7", "Cmaj7"),
        ("CM7", "Cmaj7"),
        ("CΔ", "Cmaj7"),
        ("C-7", "Cm7"),
        ("Cmin7", "Cm7"),
        ("Cø", "Cm7b5"),
        ("Co7", "Cdim7"),
        ("C°", "Cdim"),
        ("C(no3)", "C5"),
        ("C6/9", "C69"),
        ("Bmadd9", "Bm(add9)"),
        ("Dsus4/A", "Dsus/A"),
        ("Gadd9/B", "Gadd9/B"),
        ("D*", "D"),
    ],
)
def test_names_as_people_write_them(text: str, chord: str) -> None:
    name = read_name(text)
    assert name is not None
    assert str(name.chord) == chord


@pytest.mark.parametrize("text", ["Add", "Dad", "Bad", "Face", "Edge", "Go", "Beg", "H7", "Do"])
def test_words_are_no_names(text: str) -> None:
    assert read_name(text) is None


@pytest.mark.parametrize(
    ("text", "naming", "chord"),
    [
        ("H7", Naming(german=True), "B7"),
        ("B", Naming(german=True), "Bb"),
        ("fis", Naming(german=True), "F#m"),
        ("Es/B", Naming(german=True), "Eb/Bb"),
        ("Esus4", Naming(german=True), "Esus"),
        ("Rem7", Naming(solfege=True), "Dm7"),
        ("Sib/Re", Naming(solfege=True), "Bb/D"),
    ],
)
def test_names_of_other_countries(text: str, naming: Naming, chord: str) -> None:
    assert str(read_name(text, naming).chord) == chord  # type: ignore[union-attr]


def test_section_names() -> None:
    assert section_name("[VERSE 2]") == "Verse 2"
    assert section_name("pre-chorus:") == "pre-chorus"
    assert section_name("softly") is None


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"\x89PNG\r\n\x1a\n....", "This is a picture"),
        (b"\xff\xd8\xff\xe0 jpeg", "This is a picture"),
        (b"RIFF\x24\x00\x00\x00WEBPVP8 ", "This is a picture"),
        (b"RIFF\x24\x00\x00\x00WAVEfmt ", "This is a sound.*take"),
        (b"FORM\x00\x00\x00\x24AIFFCOMM", "This is a sound"),
        (b"\xd0\xcf\x11\xe0 doc", "old word-processor file"),
        (b"{\\rtf1 hello}", "old word-processor file"),
        (b"%PDF-1.4 broken", "damaged"),
        (b"MThd broken", "not a MIDI file"),
        (b"PK\x03\x04 broken", "damaged"),
        (bytes(range(256)) * 20, "not text"),
        (b"", "no bars in this chart"),
        (b"Dear all,\nrehearsal is at seven.\n", "has no bars under it"),
        (b"x" * 2_000_000, "no song sheet"),
    ],
)
def test_what_cannot_be_read_is_refused_in_a_sentence(data: bytes, said: str) -> None:
    with pytest.raises(ChartErrors, match=said):
        read_sheet(data, "sheet")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(encoding: str) -> None:
    text = "Title: Fünf Brücken\nKey: G\nTempo: 72\n\nVerse\n| 1 | 4 |\n"
    assert read_sheet(text.encode(encoding), "x.txt").title == "Fünf Brücken"


def test_our_own_charts_come_through_and_show_their_errors() -> None:
    text = "Title: T\nKey: G\nTempo: 72\n\nVerse\n| 1 | 9 |\n"
    with pytest.raises(ChartErrors, match="9 is no chord"):
        read_sheet(text.encode(), "t.txt")
    letters = "Title: T\nKey: G\nTempo: 72\n\nVerse\n| G | Q |\n"
    with pytest.raises(ChartErrors, match="Q is no chord"):
        read_sheet(letters.encode(), "t.txt")


def test_a_sheet_without_a_title_is_called_as_its_file() -> None:
    assert read_sheet(b"| 1 | 4 |", "songs/copper-kettle.txt").title == "Copper kettle"


def docx_of(lines: list[str]) -> bytes:
    space = "http://schemas.openxmlformats.org/wordprocessingml/2006/main"
    body = "".join(
        f'<w:p><w:r><w:t xml:space="preserve">{line}</w:t></w:r></w:p>' for line in lines
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(
            "word/document.xml",
            f'<w:document xmlns:w="{space}"><w:body>{body}</w:body></w:document>',
        )
    return out.getvalue()


def test_a_word_processor_file() -> None:
    song = read_sheet(docx_of(["Song", "Key: G", "", "Verse:", "G  D/F#  Em", "la la"]), "s.docx")
    assert (song.title, numbers(song)) == ("Song", [["1", "5/7", "6-"]])


@pytest.mark.parametrize(
    ("lines", "said"), [([], "no text"), (["<w:drawing/>"], "damaged|only pictures|no chord")]
)
def test_a_word_processor_file_without_a_sheet(lines: list[str], said: str) -> None:
    with pytest.raises(ChartErrors, match=said):
        read_sheet(docx_of(lines), "s.docx")


def test_a_number_chart_as_pdf_and_in_a_table() -> None:
    rows = [["Verse", "1", "4", "1/3", "5"], ["C", "4", "5", "6-", "1 5"]]
    page = io.BytesIO()
    drawing = canvas.Canvas(page)
    lines = ["Cellar Door", "Key of Eb - 84 bpm - 4/4", *(f"{' | '.join(row)} |" for row in rows)]
    for place, line in enumerate(lines):
        drawing.drawString(60, 780 - 20 * place, line)
    drawing.save()
    document = docx.Document()
    document.add_paragraph("Cellar Door")
    document.add_paragraph("Key: Eb")
    table = document.add_table(rows=2, cols=5)
    for row, cells in zip(table.rows, rows, strict=True):
        for cell, text in zip(row.cells, cells, strict=True):
            cell.text = text
    file = io.BytesIO()
    document.save(file)
    for data, name in ((page.getvalue(), "a.pdf"), (file.getvalue(), "a.docx")):
        song = read_sheet(data, name)
        assert (song.title, str(song.key)) == ("Cellar Door", "Eb")
        bars = [[str(e.chord) for e in bar.events] for s in song.sections for bar in s.bars]
        assert bars == [["1"], ["4"], ["1/3"], ["5"], ["4"], ["5"], ["6-"], ["1", "5"]]
