"""Lines for any chart there can be: whatever the signs, the rules that never bend hold."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from chart_songs import songs
from undersong.chart.song import Song
from undersong.lines import Feel, drum_part, line_report, pad_part, write_line
from undersong.lines.report import report_on
from undersong.lines.score import score_of
from undersong.neck.fingering import finger_part
from undersong.neck.instrument import TUNINGS, Instrument, Tuning

# Generated charts unroll to hundreds of bars, so failing ones are not shrunk.
few = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],
)
levels = st.integers(1, 6)
feels = st.sampled_from(Feel)


@few
@given(songs(), levels, feels, st.integers(1, 9), st.sampled_from(TUNINGS))
def test_any_chart_gets_a_line_that_plays_its_bass_notes(
    song: Song, level: int, feel: Feel, seed: int, tuning: Tuning
) -> None:
    instrument = Instrument(tuning)
    line = write_line(song, level=level, feel=feel, seed=seed, instrument=instrument)
    score = score_of(song, feel)
    struck = {note.at: note for note in line.part.notes}
    assert len(struck) == len(line.part.notes)
    assert all(one.end <= two.at for one, two in pairwise(line.part.notes))
    for chord in score.chords:
        if chord.event.chord is None or score.bars[chord.bar].is_out:
            continue
        wanted = song.counted_in(chord.key).name_of(chord.event.chord.lowest)
        assert struck[chord.at].pitch.midi % 12 == wanted.pitch_class
    assert line.report.chromatic_resolved == line.report.chromatic
    assert all(
        instrument.lowest <= note.pitch.midi <= instrument.highest for note in line.part.notes
    )
    assert len(line.ideas) == len(score.bars)


@few
@given(songs(), feels)
def test_drums_and_pad_share_the_lines_marks(song: Song, feel: Feel) -> None:
    line = write_line(song, level=1, feel=feel).part
    for other in (drum_part(song, feel=feel), pad_part(song, feel=feel)):
        assert other.length == line.length
        assert other.pickup == line.pickup
        assert other.chords == line.chords
        assert other.sections == line.sections
        assert other.meter_marks == line.meter_marks
        assert other.key_marks == line.key_marks
        assert other.swing == line.swing


@settings(few, max_examples=8)
@given(songs(), levels)
def test_the_report_needs_no_more_than_the_part(song: Song, level: int) -> None:
    line = write_line(song, level=level)
    fingering = finger_part(line.part, line.instrument)
    assert report_on(fingering, line.instrument, level) == line.report
    assert line_report(line.part, line.instrument, level=level).notes == line.report.notes
