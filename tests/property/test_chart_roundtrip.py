"""Charts come back: text to model to text, numbers to letters to numbers, in every key."""

from dataclasses import replace
from itertools import pairwise

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from chart_songs import KEYS, changes, number_chords, songs
from undersong.chart.degrees import letters, numbers
from undersong.chart.lownotes import low_notes
from undersong.chart.roadmap import chord_at, duration_s, length, timeline, unrolled
from undersong.chart.show import chart_json, chart_lines
from undersong.chart.song import Bar, ChordEvent, OrderItem, Song, Style, in_key
from undersong.chart.text import parse_song
from undersong.chart.write import fresh_text, song_text
from undersong.errors import ChartErrors
from undersong.theory.chord import NumberChord
from undersong.theory.key import MAJOR_KEYS, MINOR_KEYS, Key, MinorHabit, Mode

few = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@few
@given(songs())
def test_a_song_comes_back_from_its_text(song: Song) -> None:
    assert parse_song(fresh_text(song)) == song


@few
@given(songs(style=Style.LETTERS))
def test_a_song_in_letters_comes_back_from_its_text(song: Song) -> None:
    read = parse_song(fresh_text(song))
    assert read == song
    if any(event.chord for section in song for bar in section.bars for event in bar.events):
        assert read.style is Style.LETTERS


@few
@given(songs())
def test_an_unedited_chart_gives_its_own_text_back(song: Song) -> None:
    text = "# mine\r\n\r\n" + fresh_text(song).replace("\n", "\r\n").replace(" | ", "   |  ")
    assert song_text(parse_song(text)) == text


@few
@given(songs(), st.data())
def test_editing_one_bar_changes_one_line(song: Song, data: st.DataObject) -> None:
    read = parse_song(fresh_text(song))
    section = data.draw(st.integers(0, len(read.sections) - 1))
    index = data.draw(st.integers(0, len(read.sections[section].bars) - 1))
    old = read.sections[section].bars[index]
    new = replace(old, events=(ChordEvent(old.length * 0, data.draw(number_chords)),))
    bars = (*read.sections[section].bars[:index], new, *read.sections[section].bars[index + 1 :])
    sections = list(read.sections)
    sections[section] = replace(read.sections[section], bars=bars)
    edited = replace(read, sections=tuple(sections))
    before, after = song_text(read).split("\n"), song_text(edited).split("\n")
    assert parse_song("\n".join(after)) == edited
    assert len(before) == len(after)
    assert sum(a != b for a, b in zip(before, after, strict=True)) == (new != old)


@given(number_chords, st.sampled_from(KEYS), st.sampled_from(MinorHabit))
def test_numbers_to_letters_to_numbers(chord: NumberChord, key: Key, habit: MinorHabit) -> None:
    assert numbers(letters(chord, key, habit), key, habit) == chord


@few
@given(songs(), st.sampled_from(MAJOR_KEYS), st.sampled_from(MINOR_KEYS))
def test_to_another_key_and_back(song: Song, major: Key, minor: Key) -> None:
    there = in_key(song, minor if song.key.mode is Mode.MINOR else major)
    back = in_key(there, song.key)
    sounds = [bar.key.tonic.pitch_class for bar in unrolled(back)]
    assert sounds == [bar.key.tonic.pitch_class for bar in unrolled(song)]
    assert [bar.events for bar in unrolled(there)] == [bar.events for bar in unrolled(song)]
    assert parse_song(song_text(there)) == there


@few
@given(songs())
def test_the_roadmap_has_no_gap(song: Song) -> None:
    at = length(song) * 0
    for played in unrolled(song):
        assert played.at == at
        assert all(0 <= event.at < played.length for event in played.events)
        at += played.length
    assert at == length(song)
    assert duration_s(song) > 0
    chords = timeline(song)
    assert all(chord.until == following.at for chord, following in pairwise(chords))
    for chord in chords[:: max(1, len(chords) // 3)]:
        assert chord_at(song, chord.at) == chord


@few
@given(songs(), changes)
def test_every_song_can_be_shown(song: Song, change: object) -> None:
    shown = chart_json(song)
    assert len(shown["sections"]) == len(song.sections)
    assert chart_lines(song, both=True)
    counts = low_notes(song)
    assert counts.bars >= counts.below["four-string"] >= counts.below["low string dropped"]
    assert counts.below["five-string"] == 0


chart_like = st.text(
    alphabet=st.sampled_from("|:|:1234567-b#/ ./x2()<>!@%0NCVerseKyOrd,\n\n  ♭♯—ø△GAm7sus"),
    max_size=300,
)


@settings(max_examples=250, deadline=None)
@given(st.text(max_size=400) | chart_like)
@example("Order: :")
@example("|" * 300)
@example("1st: | 1 |")
@example("2/4: ")
@example("-- key")
@example("Verse x0\n| 1 |")
@example("0/0: 1 |")
@example("| <<1@99.9999 |")
@example("| 1@1+1/0 |")
@example("0@0")
@example("| <<1@0.5 |")
def test_any_text_reads_or_is_refused(text: str) -> None:
    try:
        song = parse_song(text)
    except ChartErrors as refused:
        errors = refused.errors
    else:
        assert song_text(song) == text
        assert parse_song(fresh_text(song)) == song
        return
    assert errors
    lines = text.count("\n") + text.count("\r") + 1
    for error in errors:
        assert 0 <= error.line <= lines
        assert error.column <= len(error.text) + 2


EDITS = ("facts", "add bar", "drop section", "add section", "order", "key")


@st.composite
def edits(draw: st.DrawFn, song: Song) -> Song:
    """A song changed in one way an editor would change it."""
    kind = draw(
        st.sampled_from(("facts", "add bar", "drop section", "add section", "order", "key"))
    )
    section = draw(st.integers(0, len(song.sections) - 1))
    sections = list(song.sections)
    if kind == "facts":
        return replace(song, title="Another", tempo_bpm=66.0, feel="slow", notes=("a note",))
    if kind == "add bar":
        bars = sections[section].bars
        at = draw(st.sampled_from((0, len(bars))))
        if bars[0].is_pickup or bars[-1].endings:
            return song
        new = Bar((ChordEvent(bars[0].length * 0, draw(number_chords)),), song.meter)
        sections[section] = replace(sections[section], bars=(*bars[:at], new, *bars[at:]))
        return replace(song, sections=tuple(sections))
    if kind == "drop section" and len(sections) > 1:
        name = sections.pop(section).name
        order = tuple(item for item in song.order if item.name != name)
        return replace(song, sections=tuple(sections), order=order)
    if kind == "add section":
        sections.insert(section, replace(sections[section], name="Quite new"))
        return replace(song, sections=tuple(sections))
    if kind == "key":
        return in_key(song, draw(st.sampled_from(KEYS[:15] if _is_major(song) else KEYS[15:])))
    return replace(song, order=(OrderItem(song.sections[section].name, 2),))


def _is_major(song: Song) -> bool:
    return song.key.mode is Mode.MAJOR


@few
@given(songs(), st.data())
def test_an_edit_keeps_the_leaders_comments(song: Song, data: st.DataObject) -> None:
    text = "# mine\n\n" + fresh_text(song).replace("\n\n", "\n\n# between\n", 1) + "; last\n"
    read = parse_song(text)
    edited = data.draw(edits(read))
    after = song_text(edited)
    assert parse_song(after) == edited
    assert after.startswith("# mine\n")
    assert "# between" in after
    assert after.rstrip().endswith("; last") or "; last\n" in after
