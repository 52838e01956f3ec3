"""MIDI: the grid, pick-ups, compound tempo, choosing the track, files from elsewhere."""

import io
from dataclasses import replace
from fractions import Fraction

import mido
import pytest

from exchange_parts import PARTS, line
from undersong.errors import ExchangeError
from undersong.exchange import midi_bytes, part_from_midi
from undersong.exchange.bounds import FINE_GRID
from undersong.theory.key import parse_key
from undersong.theory.meter import parse_meter
from undersong.theory.part import Note, Part, Voice
from undersong.theory.pitch import parse_pitch

F = Fraction


def opened(data: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(data))


def events(data: bytes, kind: str) -> list[mido.Message]:
    return [m for track in opened(data).tracks for m in track if m.type == kind]


def one_note(at: str, length: str, **changes: object) -> Part:
    note = Note(F(at), F(length), parse_pitch("G1"))
    part = Part("Try-out", parse_key("G"), parse_meter("4/4"), 72, (note,))
    return replace(part, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("length", "per_quarter"),
    [("1/4", 480), ("1/12", 480), ("1/28", 3360), ("1/44", 5280), ("1/2048", 7680)],
)
def test_the_grid_holds_every_place_exactly(length: str, per_quarter: int) -> None:
    data = midi_bytes(one_note("0", length))
    assert opened(data).ticks_per_beat == per_quarter
    assert part_from_midi(data).notes[0].length == F(length)


def test_places_no_grid_can_hold_are_rounded_and_no_note_is_lost() -> None:
    part = one_note("1/99991", "1/99989")
    data = midi_bytes(part)
    assert opened(data).ticks_per_beat == FINE_GRID
    note = part_from_midi(data).notes[0]
    assert abs(note.at - part.notes[0].at) <= F(1, 8 * FINE_GRID)
    assert note.length == F(1, 4 * FINE_GRID)


def test_a_dotted_quarter_beat_is_written_as_quarters() -> None:
    data = midi_bytes(PARTS["six_eight"])
    quarter_s = events(data, "set_tempo")[0].tempo / 1e6
    assert 60 / quarter_s == pytest.approx(56 * 1.5, abs=0.001)
    assert part_from_midi(data).tempo_bpm == 56


def test_a_pick_up_is_a_bar_of_its_own_length() -> None:
    data = midi_bytes(PARTS["four_four"])
    signs = [(m.numerator, m.denominator) for m in events(data, "time_signature")]
    assert signs == [(1, 8), (4, 4)]
    assert part_from_midi(data).pickup == F(1, 8)


def test_a_real_short_first_bar_of_ours_is_no_pick_up() -> None:
    part = part_from_midi(midi_bytes(PARTS["twelve_eight"]))
    assert part.pickup == 0
    assert part.meter_marks == PARTS["twelve_eight"].meter_marks


def test_sections_key_changes_swing_and_title_come_back() -> None:
    first = part_from_midi(midi_bytes(PARTS["four_four"]))
    assert first.title == "Slow Water, Bright Stone"
    assert first.sections == PARTS["four_four"].sections
    assert part_from_midi(midi_bytes(PARTS["six_eight"])).key_marks == PARTS["six_eight"].key_marks
    assert part_from_midi(midi_bytes(PARTS["tuplets"])).swing == PARTS["tuplets"].swing


def test_a_title_beyond_latin_letters_comes_back() -> None:
    part = replace(PARTS["tuplets"], title="Grüße ♭ 水")
    assert part_from_midi(midi_bytes(part)).title == part.title


def test_drums_go_to_channel_10() -> None:
    part = one_note("0", "1/4", voice=Voice.DRUMS)
    assert {m.channel for m in events(midi_bytes(part), "note_on")} == {9}
    assert part_from_midi(midi_bytes(part)).voice is Voice.DRUMS


def test_tied_notes_are_struck_once() -> None:
    part = PARTS["three_four"]
    assert len(events(midi_bytes(part), "note_on")) == len(part.strokes) == len(part.notes) - 1


def test_a_part_of_rests_comes_back() -> None:
    part = Part("Silence", parse_key("F"), parse_meter("4/4"), 72, (), length=F(3))
    back = part_from_midi(midi_bytes(part))
    assert (back.notes, back.length, back.key) == ((), F(3), part.key)


def test_a_tempo_midi_cannot_carry_is_refused() -> None:
    part = Part("Too slow", parse_key("G"), parse_meter("3/32"), 10, ())
    with pytest.raises(ExchangeError, match="MIDI cannot carry 10 beats"):
        midi_bytes(part)


def band(*tracks: tuple[str, int, int], kind: int = 1) -> bytes:
    """A file of another program: one note on each (name, channel, program)."""
    file = mido.MidiFile(type=kind, ticks_per_beat=96)
    rows = [
        (
            mido.MetaMessage("track_name", name=name),
            mido.Message("program_change", channel=channel, program=program),
            mido.Message("note_on", channel=channel, note=40 + number, velocity=99),
            mido.Message("note_on", channel=channel, note=40 + number, velocity=0, time=96),
        )
        for number, (name, channel, program) in enumerate(tracks)
    ]
    if kind == 0:
        file.tracks.append(mido.MidiTrack(message for row in rows for message in row))
    else:
        file.tracks.extend(mido.MidiTrack(row) for row in rows)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "midi"),
    [
        (band(("Keys", 0, 0)), 40),
        (band(("Keys", 0, 0), ("Bass", 1, 0)), 41),
        (band(("Bass drum", 9, 0), ("E-Bass", 1, 0), ("Keys", 2, 0)), 41),
        (band(("", 0, 0), ("", 1, 34)), 41),
        (band(("", 9, 0), ("", 1, 0)), 41),
        (band(("", 0, 0), ("", 1, 33), ("", 9, 0), kind=0), 41),
    ],
)
def test_the_bass_is_found(data: bytes, midi: int) -> None:
    assert [note.pitch.midi for note in part_from_midi(data).notes] == [midi]


def test_where_it_is_not_clear_the_sentence_lists_the_tracks_and_one_can_be_asked_for() -> None:
    data = band(("Keys", 0, 0), ("Guitar", 1, 26))
    with pytest.raises(ExchangeError, match="2 tracks with notes \\(1 Keys, 2 Guitar\\)"):
        part_from_midi(data)
    assert part_from_midi(data, which="guitar").notes[0].pitch.midi == 41
    assert part_from_midi(data, which="1").notes[0].pitch.midi == 40
    with pytest.raises(ExchangeError, match="no single track 'Flute'; there are: 1 Keys, 2 Guitar"):
        part_from_midi(data, which="Flute")


def test_a_file_of_another_program_is_read_with_the_standards_defaults() -> None:
    part = part_from_midi(band(("Bass", 0, 33)))
    assert (str(part.meter), part.tempo_bpm, part.length) == ("4/4", 120.0, F(1))
    assert part.notes[0].dynamic.value == "mf"


def test_a_note_without_end_lasts_to_the_end_and_one_without_length_a_tick() -> None:
    file = mido.MidiFile(ticks_per_beat=96)
    track = file.add_track("Bass")
    track.append(mido.Message("note_on", note=40))
    track.append(mido.Message("note_on", note=43, time=96))
    track.append(mido.Message("note_off", note=43, time=0))
    track.append(mido.MetaMessage("end_of_track", time=96))
    out = io.BytesIO()
    file.save(file=out)
    lengths = [note.length for note in part_from_midi(out.getvalue()).notes]
    assert lengths == [F(1, 2), F(1, 384)]


def test_a_meter_sign_within_a_bar_cuts_that_bar_short() -> None:
    file = mido.MidiFile(ticks_per_beat=96)
    track = file.add_track("Bass")
    track.append(mido.MetaMessage("time_signature", numerator=4, denominator=4))
    track.append(mido.Message("note_on", note=40))
    track.append(mido.MetaMessage("time_signature", numerator=3, denominator=4, time=96 * 6))
    track.append(mido.Message("note_off", note=40, time=96 * 3))
    out = io.BytesIO()
    file.save(file=out)
    bars = part_from_midi(out.getvalue()).bars
    assert [(bar.at, str(bar.meter)) for bar in bars] == [(0, "4/4"), (1, "2/4"), (F(3, 2), "3/4")]


def head(kind: int = 1, tracks: int = 1, division: int = 480) -> bytes:
    return b"MThd\x00\x00\x00\x06" + b"".join(
        number.to_bytes(2, "big") for number in (kind, tracks, division)
    )


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "empty"),
        (b"RIFF....", "does not begin with 'MThd'"),
        (head(), "damaged"),
        (head() + b"MTrk\x00\x00\x00\xff\x00\x90", "damaged"),
        (head() + b"MTrk\x00\x00\x00\x04\x00\xff\x2f\x00", "no notes"),
        (head(kind=2) + b"MTrk\x00\x00\x00\x04\x00\xff\x2f\x00", "separate songs"),
        (head(division=0xE728) + b"MTrk\x00\x00\x00\x04\x00\xff\x2f\x00", "film frames"),
        (b"MThd" + b"\x00" * 9_000_000, "holds 9 MB"),
    ],
)
def test_what_is_no_midi_part_is_told(data: bytes, sentence: str) -> None:
    with pytest.raises(ExchangeError) as caught:
        part_from_midi(data)
    assert sentence in str(caught.value)


def test_a_part_without_end_is_refused() -> None:
    late = b"\xff\xff\xff\x7f\x90\x28\x40" + b"\xff\xff\xff\x7f\x80\x28\x40"
    track = b"MTrk" + len(late).to_bytes(4, "big") + late
    with pytest.raises(ExchangeError, match="at most 4000"):
        part_from_midi(head(division=24) + track)


def test_overlapping_notes_of_one_pitch_keep_their_own_ends() -> None:
    long_one, short_one = line("C3:1", "C", None)[0], line("r:1/4 C3:1/4", "C", None)[0]
    part = replace(PARTS["tuplets"], notes=(long_one, short_one), voice=Voice.PAD)
    back = part_from_midi(midi_bytes(part))
    assert [(n.at, n.length) for n in back.notes] == [(0, 1), (F(1, 4), F(1, 4))]
    assert back.voice is Voice.PAD
