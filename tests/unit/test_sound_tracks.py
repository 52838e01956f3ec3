import subprocess
import sys
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from undersong.errors import AudioError
from undersong.sound.files import Samples, open_sound
from undersong.sound.loudness import loudness_lufs, true_peak_db
from undersong.sound.mix import Levels, render_part
from undersong.sound.tracks import (
    MEMORY,
    Album,
    Track,
    TrackKind,
    file_name_of,
    loop_track,
    practice_tracks,
    tuning_track,
    write_stems,
    write_track,
    write_tracks,
)
from undersong.theory.key import parse_key
from undersong.theory.meter import FOUR_FOUR
from undersong.theory.part import Note, Part, Voice
from undersong.theory.pitch import plain_pitch

FLAC = Album("Sunday", date="2026-11-29", ending=".flac", sample_rate_hz=22050)


def song(title: str = "Slow Water", midi: int = 31) -> Part:
    notes = tuple(Note(k * Fraction(1, 4), Fraction(1, 4), plain_pitch(midi)) for k in range(8))
    return Part(title, parse_key("G"), FOUR_FOUR, 160, notes)


def sound_of(path: Path) -> Samples:
    samples: Samples = soundfile.read(path, dtype="float32")[0]
    return samples


def test_the_usual_tracks_of_a_song() -> None:
    tracks = practice_tracks("01 Slow Water", song(), kinds=tuple(TrackKind), climb_bpm=(80, 100))
    assert [track.name for track in tracks] == [
        "01 Slow Water",
        "01 Slow Water - bass out",
        "01 Slow Water - slow 112",
        "01 Slow Water - click on 2 and 4",
        "01 Slow Water - click on 1 and 3",
        "01 Slow Water - click drops out",
        "01 Slow Water - climb",
    ]


def test_sections_are_called_where_the_form_is_learnt() -> None:
    called = {track.name for track in practice_tracks("1", song()) if track.levels.cue is not None}
    assert called == {"1", "1 - slow 112"}


def test_a_loop_takes_the_band_along() -> None:
    part = song()
    drums = replace(part, voice=Voice.DRUMS)
    (full, *_) = practice_tracks("1", part, (drums,))
    loop = loop_track(full, (2, 2), times=3)
    assert (loop.name, loop.title) == ("1 - bar 2", "Slow Water (bar 2)")
    assert loop.part.length == 3
    assert [len(each.notes) for each in (loop.part, *loop.with_parts)] == [12, 12]


@pytest.mark.parametrize(
    ("title", "name"),
    [("What? / Why", "What - Why"), ("AC: live", "AC - live"), ("...", "Track"), ("a\nb", "a - b")],
)
def test_titles_become_file_names(title: str, name: str) -> None:
    assert file_name_of(title) == name


def test_written_track_has_its_tags_and_length(tmp_path: Path) -> None:
    track = practice_tracks("01 Slow Water", song())[0]
    path = write_track(track, tmp_path, album=FLAC, number=1)
    (mix,) = track.passes(22050)
    with soundfile.SoundFile(path) as back:
        assert back.frames == len(mix.samples)
        assert (back.title, back.album, back.tracknumber) == ("Slow Water", "Sunday", "1")
        assert back.comment == "160 BPM"


def test_climb_is_one_file_of_equally_loud_passes(tmp_path: Path) -> None:
    kinds = (TrackKind.CLIMB,)
    (climb,) = practice_tracks("x", song(), kinds=kinds, climb_bpm=(80, 120, 160))
    path = write_track(climb, tmp_path, album=FLAC)
    passes = list(climb.passes(22050))
    assert len(passes) == 3
    sound = sound_of(path)
    assert len(sound) == sum(len(mix.samples) for mix in passes)
    ends = np.cumsum([len(mix.samples) for mix in passes])
    levels = [loudness_lufs(piece, 22050) for piece in np.split(sound, ends[:-1])]
    assert max(levels) - min(levels) < 0.5
    with soundfile.SoundFile(path) as back:
        assert back.comment == "80 BPM; climb: 80, 120, 160"


def test_only_what_changed_is_made_again(tmp_path: Path) -> None:
    tracks = practice_tracks("1", song())[:2] + practice_tracks("2", song("Other"))[:1]
    made: list[str] = []
    paths = write_tracks(
        tracks, tmp_path, album=FLAC, progress=lambda n, of, name: made.append(name)
    )
    assert sorted(made) == ["1", "1 - bass out", "2"]
    before = {path: path.stat().st_mtime_ns for path in paths}
    changed = (*tracks[:2], replace(tracks[2], part=song("Other", midi=33)))
    write_tracks(changed, tmp_path, album=FLAC)
    again = {path for path in paths if path.stat().st_mtime_ns != before[path]}
    assert again == {tmp_path / "2.flac"}


def test_missing_and_cut_files_are_made_again(tmp_path: Path) -> None:
    tracks = practice_tracks("1", song())[:2]
    first, second = write_tracks(tracks, tmp_path, album=FLAC)
    whole = second.read_bytes()
    first.unlink()
    second.write_bytes(whole[:500])
    write_tracks(tracks, tmp_path, album=FLAC)
    assert first.is_file()
    assert second.read_bytes() == whole


def test_spoilt_memory_is_no_trouble(tmp_path: Path) -> None:
    (tmp_path / MEMORY).write_text("{ not json")
    (path,) = write_tracks(practice_tracks("1", song())[:1], tmp_path, album=FLAC)
    assert path.is_file()


def test_two_tracks_of_one_name_and_a_folder_that_cannot_be(tmp_path: Path) -> None:
    track = practice_tracks("1", song())[0]
    with pytest.raises(AudioError, match="Two tracks are called '1'"):
        write_tracks((track, track), tmp_path)
    (tmp_path / "file").write_text("")
    with pytest.raises(AudioError, match="cannot be made"):
        write_tracks((track,), tmp_path / "file" / "folder")


def test_progress_comes_after_each_track(tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    write_tracks(
        practice_tracks("1", song())[:3],
        tmp_path,
        album=FLAC,
        progress=lambda done, total, _: seen.append((done, total)),
    )
    assert seen == [(1, 3), (2, 3), (3, 3)]


def test_trouble_in_one_track_leaves_the_finished_ones(tmp_path: Path) -> None:
    good = practice_tracks("1", song())[0]
    bad = replace(good, name="2", levels=Levels(bass=None, click=None))
    with pytest.raises(AudioError, match="everyone is silent"):
        write_tracks((good, bad), tmp_path, album=FLAC, workers=1)
    assert (tmp_path / "1.flac").is_file()


def test_stems_add_up_to_the_mix(tmp_path: Path) -> None:
    mix = render_part(song(), sample_rate_hz=22050)
    paths = write_stems(mix, tmp_path / "stems", name="Slow Water")
    assert [path.name for path in paths] == ["Slow Water - bass.wav", "Slow Water - click.wav"]
    total = sum(sound_of(path) for path in paths)
    assert np.abs(total - mix.samples).max() < 1e-5


def test_tuning_notes_start_softly_and_last(tmp_path: Path) -> None:
    track = tuning_track((28, 33, 38, 43))
    assert [note.string for note in track.part.notes] == [4, 3, 2, 1]
    (mix,) = track.passes(22050)
    assert mix.end_s == pytest.approx(0.25 + 4 * 9)
    assert true_peak_db(mix.samples) < -1.0
    late = mix.samples[7 * 22050 : 8 * 22050]
    assert np.abs(late).max() > 0.01


KILLED = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from test_sound_tracks import FLAC, practice_tracks, song, write_tracks
print("ready", flush=True)
write_tracks(practice_tracks("1", song()), Path(sys.argv[1]), album=FLAC)
"""


@pytest.mark.parametrize("delay_s", [0.05, 0.3, 0.6])
def test_killed_half_way_leaves_no_broken_file_and_goes_on(tmp_path: Path, delay_s: float) -> None:
    here = str(Path(__file__).parent)
    run = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path), here], stdout=subprocess.PIPE, text=True
    )
    assert run.stdout is not None
    assert run.stdout.readline() == "ready\n"
    time.sleep(delay_s)
    run.kill()
    run.wait()
    run.stdout.close()
    for path in tmp_path.glob("*.flac"):
        with open_sound(path) as recording:
            assert sum(len(block) for block in recording.blocks()) == recording.frames
    paths = write_tracks(practice_tracks("1", song()), tmp_path, album=FLAC)
    assert {path.name for path in tmp_path.iterdir()} == {MEMORY, *(path.name for path in paths)}


def test_a_track_may_be_built_by_hand() -> None:
    track = Track("x", "X", song(), tempos_bpm=(100.0,), click=None, count_in=False)
    (mix,) = track.passes()
    assert mix.stem_names == ("bass",)
