"""Whatever bytes arrive, they become a Song that can be written and read back, or a refusal."""

import io
import zipfile
from contextlib import suppress

import mido
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from undersong.chart.arrive import read_sheet
from undersong.chart.arrive_musicxml import song_from_musicxml
from undersong.chart.names import Naming, read_name
from undersong.chart.roadmap import unrolled
from undersong.chart.sheet import SheetSettings
from undersong.chart.show import chart_json
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.chart.write import fresh_text
from undersong.errors import ChartErrors
from undersong.theory.chord import QUALITIES, Chord
from undersong.theory.key import MAJOR_KEYS, Key
from undersong.theory.pitch import PitchName

some = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
names = st.builds(PitchName, st.sampled_from("CDEFGAB"), st.sampled_from((-1, 0, 0, 1)))
chords = st.builds(Chord, names, st.sampled_from(QUALITIES), st.none() | names)
SHEET_WORDS = (
    "C G Am F D/F# Em7 Bb Bbmaj7 (D) N.C. | / % x2 - Verse Chorus: [Bridge] Key: Capo 2 A Am la "
    "Gwow 3/4 72bpm :| |: \n \n \n\n"
)
sheet_words = st.sampled_from(SHEET_WORDS.split(" "))
sheets = st.lists(sheet_words, max_size=60).map(" ".join)


def arrives(data: bytes, settings: SheetSettings | None = None) -> Song | None:
    with suppress(ChartErrors):
        return read_sheet(data, "sheet", settings)
    return None


@some
@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode) | sheets.map(str.encode))
@example(b"PK\x05\x06" + b"\x00" * 18)
@example(b"<score-partwise/>")
@example(b"Capo 99\nC G")
def test_any_bytes(data: bytes) -> None:
    song = arrives(data)
    if song is not None:
        assert chart_json(song)["sections"]
        assert unrolled(song) or not any(song.sections)


@some
@given(sheets, st.booleans(), st.booleans())
@example("C \n -", False, True)  # noqa: FBT003 - a rule under the chords is no direction
@example("C \n C C Verse la :|", False, True)  # noqa: FBT003 - a word line kept as a direction
def test_a_sheet_that_reads_is_a_chart_that_reads(text: str, german: bool, words: bool) -> None:  # noqa: FBT001
    song = arrives(text.encode(), SheetSettings(naming=Naming(german=german), keep_words=words))
    if song is not None:
        assert parse_song(fresh_text(song)).sections == song.sections


@given(chords)
def test_every_chord_we_print_is_a_name_we_read(chord: Chord) -> None:
    name = read_name(str(chord))
    assert name is not None
    assert name.chord == chord
    assert name.guess == ""


@some
@given(st.lists(chords, min_size=1, max_size=12), st.sampled_from(MAJOR_KEYS))
def test_no_chord_of_a_list_is_lost(row: list[Chord], key: Key) -> None:
    text = f"Song\nKey: {key}\n\nVerse\n{'  '.join(str(chord) for chord in row)}\n"
    song = arrives(text.encode())
    assert song is not None
    assert [
        event.chord.in_key(song.number_key)
        for bar in song.sections[0].bars
        for event in bar.events
        if event.chord
    ] == row


notes = st.lists(
    st.tuples(st.integers(0, 15), st.integers(0, 127), st.integers(0, 900), st.integers(0, 120)),
    max_size=40,
)


@some
@given(notes)
def test_any_midi_file(rows: list[tuple[int, int, int, int]]) -> None:
    file = mido.MidiFile()
    track = mido.MidiTrack()
    file.tracks.append(track)
    for channel, note, time, velocity in rows:
        track.append(
            mido.Message("note_on", channel=channel, note=note, velocity=velocity, time=time)
        )
    out = io.BytesIO()
    file.save(file=out)
    song = arrives(out.getvalue())
    if song is not None:
        assert chart_json(song)["sections"]


@some
@given(st.binary(max_size=200), st.integers(0, 200))
def test_a_zip_with_anything_in_it(inside: bytes, cut: int) -> None:
    for name in ("word/document.xml", "score.xml"):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr(name, inside)
        arrives(out.getvalue())
        arrives(out.getvalue()[:-cut] if cut else out.getvalue())


measures = st.lists(
    st.sampled_from(
        (
            "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>",
            "<harmony><root><root-step>G</root-step></root><kind>dominant</kind></harmony>",
            "<note><duration>4</duration></note>",
            "<backup><duration>2</duration></backup>",
            "<attributes><divisions>2</divisions><time><beats>3</beats><beat-type>4</beat-type>"
            "</time></attributes>",
            "<attributes><key><fifths>-3</fifths></key></attributes>",
            '<barline><repeat direction="forward"/></barline>',
            '<barline><repeat direction="backward"/></barline>',
            '<barline><ending number="1" type="start"/></barline>',
            '<barline><ending number="1" type="stop"/></barline>',
            '<barline><ending number="2" type="start"/></barline>',
            '<barline><ending number="2" type="discontinue"/></barline>',
            "<direction><direction-type><rehearsal>Chorus</rehearsal></direction-type></direction>",
        )
    ),
    max_size=5,
)


def _ending(number: int) -> str:
    return f'<barline><ending number="{number}" type="start"/></barline>'


@some
@given(st.lists(measures, min_size=1, max_size=10))
@example(
    [[], [_ending(1)], ["<attributes><key><fifths>-3</fifths></key></attributes>"], [_ending(2)]]
)
def test_any_order_of_repeats_and_endings(rows: list[list[str]]) -> None:
    body = "".join(f"<measure>{''.join(row)}</measure>" for row in rows)
    try:
        song = song_from_musicxml(f"<score-partwise><part>{body}</part></score-partwise>".encode())
    except ChartErrors:
        return
    assert parse_song(fresh_text(song)).sections == song.sections
    assert len(unrolled(song)) >= sum(bool(row) for row in rows) - len(rows)
