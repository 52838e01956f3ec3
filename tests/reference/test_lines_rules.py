"""Lines against the rules of a good player, on the demo set and more than forty other charts.

The rules are trade handbook 7.1 and 7.2 (common practice, no source), "each written so it can be
checked on a generated line". They are checked here from the chart and the notes alone: nothing of
the maker's own analysis is used, except where a test says so. Each chart is written at all six
levels in one feel, the feels taking turns; `benchmarks/lines_rules.py` goes through every chart
at every level in every feel.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from itertools import pairwise

import pytest

from line_charts import TEXTS, chart
from undersong.chart.roadmap import PlayedBar, PlayedChord, timeline, unrolled
from undersong.chart.song import Song
from undersong.chart.text import parse_song
from undersong.lines import Feel, LineSheet, drum_part, write_line
from undersong.theory.meter import Wholes
from undersong.theory.part import Note
from undersong.theory.pitch import PitchName

LEVELS = range(1, 7)
FEELS = tuple(Feel)
STEP = 2  # semitones
VOCAL = "vocal"


@cache
def demo_songs() -> dict[str, str]:
    folder = resources.files("undersong") / "demo" / "songs"
    texts = {each.name: each.read_text("utf-8") for each in folder.iterdir()}
    assert len(texts) >= 6
    return texts


NAMES = (*TEXTS, *demo_songs())
assert len(TEXTS) >= 40


@cache
def song_of(name: str) -> Song:
    return chart(name) if name in TEXTS else parse_song(demo_songs()[name], source=name)


@cache
def bars_of(name: str) -> tuple[PlayedBar, ...]:
    return unrolled(song_of(name))


def feel_for(name: str) -> Feel:
    return FEELS[NAMES.index(name) % len(FEELS)]


@cache
def sheet(name: str, level: int) -> LineSheet:
    return write_line(song_of(name), level=level, feel=feel_for(name))


@cache
def played_chords(name: str) -> list[PlayedChord]:
    """Chords the bass has to play: not silence, not where it lays out."""
    song = song_of(name)
    bars = bars_of(name)
    return [
        each
        for each in timeline(song)
        if each.event.chord is not None and not bars[each.bar].is_out
    ]


def names_of(song: Song, chord: PlayedChord) -> tuple[PitchName, set[int]]:
    """The bass note, and the pitch classes of chord and key together."""
    assert chord.event.chord is not None
    key = song.counted_in(chord.key)
    letters = chord.event.chord.in_key(key)
    inside = {name.pitch_class for name in key.names}
    inside |= {name.pitch_class for _, name in letters.tones} | {letters.lowest.pitch_class}
    return letters.lowest, inside


def chord_over(chords: list[PlayedChord], note: Note) -> PlayedChord:
    return next(each for each in chords if each.at <= note.at < each.until)


def bar_over(bars: tuple[PlayedBar, ...], note: Note) -> PlayedBar:
    return next(bar for bar in bars if bar.at <= note.at < bar.at + bar.length)


@pytest.mark.parametrize("name", NAMES)
def test_the_charts_bass_note_sounds_on_every_arrival_and_bar_line(name: str) -> None:
    song, bars = song_of(name), bars_of(name)
    for level in LEVELS:
        notes = sheet(name, level).part.notes
        struck = {note.at: note for note in notes}
        for chord in played_chords(name):
            wanted = names_of(song, chord)[0].pitch_class
            assert struck[chord.at].pitch.midi % 12 == wanted
            if chord.event.stopped or chord.event.held or chord.event.fermata:
                continue
            for bar in bars:
                if chord.at < bar.at < chord.until and not bar.is_out:
                    sounding = next(n for n in notes if n.at <= bar.at < n.end)
                    assert sounding.pitch.midi % 12 == wanted


@pytest.mark.parametrize("name", NAMES)
def test_silence_is_silent_and_a_stop_is_short(name: str) -> None:
    song, bars = song_of(name), bars_of(name)
    for level in LEVELS:
        notes = sheet(name, level).part.notes
        assert not any(bar_over(bars, note).is_out for note in notes if not _is_pushed(note))
        for chord in timeline(song):
            inside = [note for note in notes if chord.at < note.at < chord.until]
            if chord.event.chord is None:
                assert not [note for note in notes if chord.at <= note.at < chord.until]
                assert not [note for note in notes if note.at < chord.at < note.end]
            elif chord.event.stopped or chord.event.held:
                assert not inside


def _is_pushed(note: Note) -> bool:
    return note.why is not None and "pushed" in note.why


@pytest.mark.parametrize("name", NAMES)
def test_every_chromatic_note_is_resolved_by_step(name: str) -> None:
    song, chords = song_of(name), played_chords(name)
    arrivals = {chord.at for chord in chords}
    bar_lines = {bar.at for bar in bars_of(name)}
    for level in LEVELS:
        notes = sheet(name, level).part.notes
        for place, note in enumerate(notes):
            if note.pitch.midi % 12 in names_of(song, chord_over(chords, note))[1]:
                continue
            following = notes[place + 1 : place + 3]
            steps = [abs(other.pitch.midi - note.pitch.midi) for other in following]
            encloses = (
                len(following) == 2
                and following[1].at in arrivals | bar_lines
                and steps[1] <= STEP
                and abs(following[1].pitch.midi - following[0].pitch.midi) <= STEP
            )
            assert 0 < steps[0] <= STEP or encloses, (level, note)


@pytest.mark.parametrize("name", NAMES)
def test_every_note_is_on_the_instrument_at_its_place(name: str) -> None:
    for level in LEVELS:
        line = sheet(name, level)
        neck = line.instrument
        for note in line.part.notes:
            assert note.string is not None
            assert note.fret is not None
            assert neck.midi_at(note.string, note.fret) == note.pitch.midi
            assert note.degree is not None
            assert note.chord is not None
            assert note.why


@pytest.mark.parametrize("name", NAMES)
def test_no_fill_and_no_approach_where_the_voice_comes_in(name: str) -> None:
    song, chords, bars = song_of(name), played_chords(name), bars_of(name)
    marked = [bar for bar in bars if VOCAL in bar.bar.directions]
    for level in LEVELS:
        for note in sheet(name, level).part.notes:
            over = [
                bar for bar in marked if bar.at - bar.meter.beat <= note.at < bar.at + bar.length
            ]
            if not over:
                continue
            chord = chord_over(chords, note)
            assert chord.event.chord is not None
            letters = chord.event.chord.in_key(song.counted_in(chord.key))
            plain = {letters.root.pitch_class, letters.lowest.pitch_class}
            plain |= {each.pitch_class for role, each in letters.tones if role == "fifth"}
            assert note.pitch.midi % 12 in plain


def test_some_charts_mark_the_voice() -> None:
    marked = [name for name in NAMES if any(VOCAL in bar.bar.directions for bar in bars_of(name))]
    assert len(marked) >= 10


@pytest.mark.parametrize("name", NAMES)
def test_levels_are_strictly_ordered_and_share_their_arrivals(name: str) -> None:
    lines = [sheet(name, level) for level in LEVELS]
    hardness = [line.report.difficulty for line in lines]
    assert all(low < high for low, high in pairwise(hardness)), hardness
    arrivals = {chord.at for chord in played_chords(name)}
    shared = {
        tuple((note.at, note.pitch) for note in line.part.notes if note.at in arrivals)
        for line in lines
    }
    assert len(shared) == 1


@pytest.mark.parametrize("name", NAMES)
def test_level_two_strikes_with_every_kick_and_plays_nothing_but_the_bass_note(name: str) -> None:
    song, feel = song_of(name), feel_for(name)
    chords, bars = played_chords(name), bars_of(name)
    strikes = {note.at for note in sheet(name, 2).part.notes}
    kicks = {note.at for note in drum_part(song, feel=feel).notes if note.pitch.midi == 36}
    steady = [
        chord
        for chord in chords
        if not (chord.event.stopped or chord.event.held or chord.event.fermata)
    ]
    for chord in steady:
        inside = {at for at in kicks if chord.at <= at < min(chord.until, bars[-1].at)}
        assert inside <= strikes | _out_kicks(bars, inside)
    for note in sheet(name, 2).part.notes:
        wanted = names_of(song, chord_over(chords, note))[0]
        assert note.pitch.midi % 12 == wanted.pitch_class


def _out_kicks(bars: tuple[PlayedBar, ...], kicks: set[Wholes]) -> set[Wholes]:
    return {at for at in kicks for bar in bars if bar.is_out and bar.at <= at < bar.at + bar.length}


@pytest.mark.parametrize("name", NAMES)
def test_level_four_leaves_chord_notes_only_in_the_last_beat_before_a_target(name: str) -> None:
    song, chords = song_of(name), played_chords(name)
    targets = sorted({chord.at for chord in chords} | {bar.at for bar in bars_of(name)})
    for note in sheet(name, 4).part.notes:
        chord = chord_over(chords, note)
        assert chord.event.chord is not None
        letters = chord.event.chord.in_key(song.counted_in(chord.key))
        own = {letters.lowest.pitch_class} | {each.pitch_class for _, each in letters.tones}
        if note.pitch.midi % 12 not in own:
            gap = min(at - note.at for at in targets if at > note.at)
            assert gap <= bar_over(unrolled(song), note).meter.beat or gap * 4 <= 1


@pytest.mark.parametrize("name", NAMES)
def test_fills_come_at_most_once_in_four_bars_and_not_in_the_first_section(name: str) -> None:
    bars = bars_of(name)
    sections = [index for index, bar in enumerate(bars) if bar.is_first]
    for level in (5, 6):
        filled = sorted(
            {
                bars.index(bar_over(bars, note))
                for note in sheet(name, level).part.notes
                if note.why is not None and note.why.startswith("fill")
            }
        )
        assert all(later - earlier >= 4 for earlier, later in pairwise(filled))
        if len(sections) > 1:
            assert all(index >= sections[1] for index in filled)


@pytest.mark.parametrize("name", NAMES)
def test_the_last_bar_is_held(name: str) -> None:
    last = bars_of(name)[-1]
    for level in LEVELS:
        notes = [note for note in sheet(name, level).part.notes if note.at >= last.at]
        assert len(notes) <= len([each for each in last.events if each.chord is not None]) or (
            len(notes) == 1
        )


@pytest.mark.parametrize("name", NAMES[::6])
def test_the_same_seed_gives_the_same_line(name: str) -> None:
    again = write_line(song_of(name), level=5, feel=feel_for(name))
    assert again == sheet(name, 5)


@pytest.mark.parametrize("name", NAMES[::6])
def test_another_seed_gives_another_line_on_the_same_arrivals(name: str) -> None:
    other = write_line(song_of(name), level=5, feel=feel_for(name), seed=2)
    assert other.part != sheet(name, 5).part
    arrivals = {chord.at for chord in played_chords(name)}
    for one, two in zip(
        [n for n in other.part.notes if n.at in arrivals],
        [n for n in sheet(name, 5).part.notes if n.at in arrivals],
        strict=True,
    ):
        assert one.pitch == two.pitch
