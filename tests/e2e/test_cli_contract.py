"""Every command of the contract answers, with the right status, and never with a traceback."""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from urllib.request import urlopen

import pypdf
import pytest
from lxml import etree

from doors import Undersong
from undersong.log.book import Book
from undersong.practice.ladder import Outcome

COMMANDS = (
    "chart",
    "neck",
    "drill",
    "line",
    "finger",
    "hear",
    "climb",
    "pack",
    "ready",
    "rejudge",
    "open",
)
CHART = """\
Title: Slow Water, Bright Stone
Key: G
Meter: 4/4
Tempo: 72

Verse
| 1 | 5/7 | 6- | 4 |
| 1 / / 5 | 4 | 2-7 5sus | 1 |

Order: Verse, Verse
"""


@pytest.fixture
def chart(tmp_path: Path) -> Path:
    path = tmp_path / "slow-water.txt"
    path.write_text(CHART, encoding="utf-8")
    return path


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_and_json(undersong: Undersong, command: str) -> None:
    said = undersong(command, "--help")
    assert said.status == 0
    assert "--json" in said.out


def test_the_whole_list_is_in_the_help(undersong: Undersong) -> None:
    said = undersong("--help")
    assert said.status == 0
    for command in (*COMMANDS, "demo"):
        assert f"    {command} " in said.out


def test_open_says_where_it_is(tmp_path: Path) -> None:
    words = ["open", "--no-browser", "--json", "--log", str(tmp_path / "log.sqlite")]
    with subprocess.Popen(
        [sys.executable, "-m", "undersong", *words], stdout=subprocess.PIPE, text=True
    ) as app:
        assert app.stdout is not None
        address = json.loads(app.stdout.readline())["address"]
        assert address.startswith("http://127.0.0.1:")
        with urlopen(address) as page:
            assert "Slow Water, Bright Stone" in page.read().decode()
        app.send_signal(signal.SIGINT)
        assert app.wait(timeout=30) == 0


def test_pages_and_drawings(undersong: Undersong, tmp_path: Path) -> None:
    pdf, svg = tmp_path / "drill.pdf", tmp_path / "neck.svg"
    assert undersong("drill", "scale", "--key", "G", "--pdf", pdf).status == 0
    assert undersong("neck", "--key", "G", "--svg", svg).status == 0
    text = "".join(page.extract_text() for page in pypdf.PdfReader(pdf).pages)
    assert "Scale of G" in text
    assert etree.parse(svg).getroot().tag.endswith("svg")


def test_chart_json_keys(undersong: Undersong, chart: Path) -> None:
    said = undersong("chart", chart, "--json")
    assert said.status == 0
    answer = json.loads(said.out)
    assert answer["title"] == "Slow Water, Bright Stone"
    assert (answer["key"], answer["meter"], answer["tempo_bpm"]) == ("G", "4/4", 72)
    assert answer["order"] == ["Verse", "Verse"]
    assert answer["report"] == []
    bars = answer["sections"][0]["bars"]
    assert [bar["chords"][0]["number"] for bar in bars] == [
        "1",
        "5/7",
        "6-",
        "4",
        "1",
        "4",
        "2-(7)",
        "1",
    ]
    slash = {"at": "0", "number": "5/7", "letters": "D/F#"}
    plain = {"held": False, "pushed": False, "stopped": False}
    assert bars[1]["chords"][0].items() >= (slash | plain).items()
    assert [chord["at"] for chord in bars[4]["chords"]] == ["0", "3/4"]
    assert [chord["at"] for chord in bars[6]["chords"]] == ["0", "1/2"]


def test_chart_in_another_key(undersong: Undersong, chart: Path) -> None:
    answer = json.loads(undersong("chart", chart, "--key", "Bb", "--json").out)
    assert answer["key"] == "Bb"
    assert answer["sections"][0]["bars"][1]["chords"][0]["letters"] == "F/A"
    said = undersong("chart", chart, "--key", "Bb", "--as", "letters")
    assert "F/A" in said.out


def test_a_bad_chart_shows_all_its_errors(undersong: Undersong, tmp_path: Path) -> None:
    path = tmp_path / "bad.txt"
    path.write_text("Title: Bad\nKey: G\n\nVerse\n| 1 | 9 |\n| x | 4 |\n", encoding="utf-8")
    said = undersong("chart", path)
    assert said.status == 2
    assert "bad.txt, line 5, column 7" in said.err
    assert "line 6, column 3" in said.err
    assert "Traceback" not in said.err


def test_a_chart_that_is_no_text(undersong: Undersong, tmp_path: Path) -> None:
    path = tmp_path / "noise.txt"
    path.write_bytes(bytes(range(256)))
    said = undersong("chart", path)
    assert said.status == 2
    assert said.err.count("\n") == 1


def test_a_file_that_is_not_there(undersong: Undersong, tmp_path: Path) -> None:
    said = undersong("chart", tmp_path / "nothing.txt")
    assert (said.status, said.out) == (2, "")
    assert "There is no file" in said.err


def test_what_a_sheet_does_not_say(undersong: Undersong, tmp_path: Path) -> None:
    sheet = tmp_path / "lied.txt"
    sheet.write_text("Feld\n\nVerse\nC G a F\nC F G C\nH C G C\n", encoding="utf-8")
    words = ("chart", sheet, "--names", "german", "--capo", 2, "--meter", "3/4", "--json")
    answer = json.loads(undersong(*words).out)
    assert (answer["key"], answer["meter"]) == ("D", "3/4")
    letters = [chord["letters"] for bar in answer["sections"][0]["bars"] for chord in bar["chords"]]
    assert letters[:4] == ["D", "A", "Bm", "G"]
    assert letters[8] == "C#"


def test_neck_json_keys(undersong: Undersong) -> None:
    answer = json.loads(undersong("neck", "--key", "G", "--json").out)
    assert answer["key"] == "G"
    assert answer["tuning"] == [28, 33, 38, 43]
    assert {"string", "fret", "midi", "pitch", "degree"} <= answer["notes"][0].keys()
    shape = answer["shapes"][0]
    assert (shape["from"], shape["frets"], shape["strings"]) == ("1", 4, 3)
    assert shape["notes"][0].keys() >= {"degree", "string", "fret", "finger"}
    moves = {(move["from"], move["to"], move["direction"]): move for move in answer["moves"]}
    assert (moves["1", "4", "up"]["strings"], moves["1", "4", "up"]["frets"]) == (1, 0)
    assert (moves["4", "6", "up"]["strings"], moves["4", "6", "up"]["frets"]) == (1, -1)
    assert len(moves) == 84


def test_neck_from_the_second_says_what_it_costs(undersong: Undersong) -> None:
    answer = json.loads(undersong("neck", "--key", "G", "--from", "2", "--json").out)
    assert all(shape["note"] for shape in answer["shapes"])


def test_drill_writes_what_is_asked(undersong: Undersong, tmp_path: Path) -> None:
    files = [tmp_path / name for name in ("d.mid", "d.musicxml", "d.wav")]
    said = undersong(
        "drill", "scale", "--key", "Bb", "--tempo", "80",
        "--midi", files[0], "--musicxml", files[1], "--wav", files[2], "--json",
    )  # fmt: skip
    assert said.status == 0
    part = json.loads(said.out)
    assert (part["key"], part["tempo_bpm"], part["meter"]) == ("Bb", 80, "4/4")
    first = part["notes"][0]
    assert (first["at"], first["pitch"], first["degree"]) == ("0", "Bb1", "1")
    assert {"length", "midi", "chord", "string", "fret", "finger"} <= first.keys()
    assert all(path.stat().st_size > 100 for path in files)
    assert sorted(tmp_path.iterdir()) == sorted(files)


def test_drills_are_listed(undersong: Undersong) -> None:
    said = undersong("drill", "--list")
    assert said.status == 0
    assert {"scale", "positions"} <= {line.split()[0] for line in said.out.splitlines()}
    names = [each["name"] for each in json.loads(undersong("drill", "--list", "--json").out)]
    assert {"scale", "positions"} <= set(names)


@pytest.mark.parametrize(
    ("words", "needle"),
    [
        (("drill", "scale"), "which key"),
        (("drill", "nonsense", "--key", "G"), "nonsense"),
        (("drill", "scale", "--key", "H"), "not a key"),
        (("drill", "scale", "--key", "G", "--tempo", "fast"), "not a tempo"),
        (("drill", "scale", "--key", "G", "--tuning", "banjo"), "banjo"),
        (("neck", "--key", "G#"), "write it as Ab"),
        (("neck", "--from", "9"), "not a degree"),
        (("climb", "CCX"), "X"),
        (("climb", "CC", "--up", "-5"), "more than 0"),
        (("nothing",), "There is no command nothing: there are demo, chart"),
        ((), "COMMAND is missing"),
        (("line",), "CHART is missing"),
        (("line", "x", "--level", "7"), "no level 7: levels go from 1, held roots, to 6"),
        (("line", "x", "--level", "high"), "'high' is not a whole number"),
        (("line", "x", "--another", "Chorus"), "'Chorus' is not a bar: write its number, as in 5"),
        (("line", "x", "--span", "wide"), "'wide' is not a number"),
        (("line", "x", "--key"), "what is asked is missing after it"),
        (("line", "x", "--louder"), "Nothing here is called --louder"),
        (("chart", "x", "--as", "tab"), "tab is not one of numbers, letters, both"),
        (("track", "x", "--out", "y", "--climb", "--tempo", "60"), "cannot both be asked"),
    ],
)
def test_bad_words_get_one_sentence(
    undersong: Undersong, words: tuple[str, ...], needle: str
) -> None:
    said = undersong(*words)
    assert (said.status, said.out) == (2, "")
    assert needle in said.err
    assert said.err.count("\n") == 1
    assert not re.search(r"argument|invalid|choice|\bint\b|\bfloat\b", said.err, re.IGNORECASE)


@pytest.mark.parametrize("suffix", [".json", ".mid", ".musicxml"])
def test_finger_takes_every_kind_of_part(undersong: Undersong, tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"part{suffix}"
    said = undersong("drill", "scale", "--key", "G", "--midi", tmp_path / "part.mid",
                     "--musicxml", tmp_path / "part.musicxml", "--json")  # fmt: skip
    (tmp_path / "part.json").write_text(said.out, encoding="utf-8")
    fingered = undersong("finger", path, "--json")
    assert fingered.status == 0, fingered.err
    notes = json.loads(fingered.out)["notes"]
    assert [note["midi"] for note in notes] == [
        note["midi"] for note in json.loads(said.out)["notes"]
    ]
    assert all(note["string"] and note["fret"] is not None for note in notes)


def test_finger_promises_no_degrees_that_a_file_does_not_tell(
    undersong: Undersong, tmp_path: Path
) -> None:
    path = tmp_path / "part.mid"
    told = undersong("drill", "scale", "--key", "G", "--midi", path).out
    assert "name(degree)" in told
    assert "(degree)" not in undersong("finger", path).out


def test_finger_by_wish(undersong: Undersong, tmp_path: Path) -> None:
    path = tmp_path / "part.mid"
    undersong("drill", "scale", "--key", "G", "--midi", path)
    low = json.loads(undersong("finger", path, "--highest-fret", 5, "--open-strings", "never",
                               "--json").out)["notes"]  # fmt: skip
    assert all(1 <= note["fret"] <= 5 for note in low)
    high = json.loads(undersong("finger", path, "--start-fret", 3, "--json").out)["notes"]
    assert high[0]["fret"] == 3
    plain, second = (
        [(note["string"], note["fret"]) for note in json.loads(said.out)["notes"]]
        for said in (
            undersong("finger", path, "--json"),
            undersong("finger", path, "--second-best", "--json"),
        )
    )
    assert plain != second


def test_finger_on_another_tuning(undersong: Undersong, tmp_path: Path) -> None:
    path = tmp_path / "low.json"
    path.write_text(
        json.dumps(
            {
                "title": "Low", "key": "D", "meter": "4/4", "tempo_bpm": 70,
                "notes": [{"at": "0", "length": "1", "midi": 26}],
            }
        ),
        encoding="utf-8",
    )  # fmt: skip
    said = undersong("finger", path)
    assert said.status == 2
    assert "bar 1" in said.err.lower()
    note = json.loads(undersong("finger", path, "--tuning", "drop d", "--json").out)["notes"][0]
    assert (note["string"], note["fret"], note["finger"]) == (4, 0, 0)


def test_line_at_every_level(undersong: Undersong, chart: Path, tmp_path: Path) -> None:
    difficulties = []
    for level in range(1, 7):
        midi = tmp_path / f"{level}.mid"
        said = undersong("line", chart, "--level", level, "--key", "D", "--midi", midi, "--json")
        assert said.status == 0, said.err
        part = json.loads(said.out)
        assert part["key"] == "D"
        assert all(note["string"] for note in part["notes"])
        assert midi.stat().st_size > 100
        difficulties.append(part["report"]["difficulty"])
    assert difficulties == sorted(set(difficulties))


def test_the_same_seed_gives_the_same_line(undersong: Undersong, chart: Path) -> None:
    lines = [undersong("line", chart, "--level", 5, "--seed", seed).out for seed in (3, 3)]
    assert lines[0] == lines[1]
    assert "   1 | 1 G" in lines[0]


def test_a_leader_steers_the_line(undersong: Undersong, chart: Path) -> None:
    def notes_of(*words: object) -> list[tuple[str, int]]:
        said = undersong("line", chart, "--level", 4, "--json", *words)
        assert said.status == 0, said.err
        return [(note["at"], note["midi"]) for note in json.loads(said.out)["notes"]]

    plain = notes_of()
    assert notes_of("--another", 2) != plain
    assert len(notes_of("--simplify", 3, "--simplify", 3)) < len(plain)
    assert len(notes_of("--section", "Verse=1")) < len(plain)
    assert notes_of("--feel", "half-time") != notes_of("--feel", "straight eighths")


@pytest.mark.parametrize(
    ("words", "needle"),
    [(("--feel", "polka"), "polka"), (("--section", "Verse"), "Verse=2"),
     (("--section", "Bridge=2"), "Bridge"), (("--another", "99"), "99"), (("--level", "9"), "9")],
)  # fmt: skip
def test_a_line_that_cannot_be_asked_for(
    undersong: Undersong, chart: Path, words: tuple[str, ...], needle: str
) -> None:
    said = undersong("line", chart, *words)
    assert (said.status, said.out) == (2, "")
    assert needle in said.err
    assert said.err.count("\n") == 1


def test_climb_json(undersong: Undersong) -> None:
    answer = json.loads(undersong("climb", "CCCCFCCCC", "--json").out)
    assert answer == {"tempos": [70, 70, 75, 75, 80, 70, 70, 75, 75], "next": 80}
    answer = json.loads(
        undersong("climb", "ccf", "--start", "60", "--up", "4", "--down", "8", "--json").out
    )
    assert answer == {"tempos": [60, 60, 64], "next": 56}


def test_climb_in_words(undersong: Undersong) -> None:
    said = undersong("climb", "CUC")
    assert said.out.splitlines()[-1] == "Next: 75."


def test_as_a_program_of_its_own() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "undersong", "climb", "CC", "--json"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert json.loads(done.stdout)["next"] == 75


def test_keys_for_a_singer(undersong: Undersong, tmp_path: Path) -> None:
    path = tmp_path / "song.txt"
    path.write_text(CHART.replace("Tempo: 72", "Range: D4 to B4\nTempo: 72"), encoding="utf-8")
    answer = json.loads(undersong("chart", path, "--singer", "C4-B4", "--json").out)
    fits = {each["key"]: each for each in answer["keys"]}
    # D4 to B4 in G leaves two half steps below a voice that ends at B4; a step up is too high.
    assert (fits["G"]["spare_low"], fits["G"]["spare_high"]) == (2, 0)
    assert fits["G"]["fits"]
    assert not fits["A"]["fits"]
    said = undersong("chart", path, "--singer", "C4-B4")
    assert "fits" in said.out
    assert "too high" in said.out
    assert undersong("chart", path, "--singer", "B4-C4").status == 2


def test_a_chart_without_a_range_fits_no_singer(undersong: Undersong, chart: Path) -> None:
    said = undersong("chart", chart, "--singer", "C4-B4")
    assert said.status == 2
    assert said.out == ""
    assert "write Range" in said.err


def test_a_chart_moved_by_an_interval(undersong: Undersong, chart: Path) -> None:
    assert json.loads(undersong("chart", chart, "--move", "M2", "--json").out)["key"] == "A"
    assert json.loads(undersong("chart", chart, "--move=-m3", "--json").out)["key"] == "E"
    assert undersong("chart", chart, "--move", "M2", "--key", "A").status == 2


def test_the_week_of_a_set(undersong: Undersong, chart: Path, tmp_path: Path) -> None:
    other = tmp_path / "far.txt"
    other.write_text("Title: Far\nKey: Eb\n\nVerse\n| 1 | <<4 | 2 | 1 |\n", encoding="utf-8")
    week = tmp_path / "sunday.toml"
    week.write_text(
        f'title = "Two"\n[[song]]\nfile = "{chart.name}"\n[[song]]\nfile = "far.txt"\n',
        encoding="utf-8",
    )
    answer = json.loads(undersong("chart", week, "--json").out)
    assert [song["key"] for song in answer["songs"]] == ["G", "Eb"]
    (step,) = answer["transitions"]
    assert (step["last"], step["first"]) == ("G", "Eb")
    assert step["shared"] == ["G"]
    assert step["bass_semitones"] == -4
    assert step["link"][-1][-1] == "Bb"
    # Once in each of the two verses, once in the other song.
    assert {"from": "4", "to": "2", "times": 3} in answer["moves"]
    assert [(bar["bar"], bar["reasons"]) for bar in answer["hard"]] == [(2, ["a push"])]
    said = undersong("chart", week)
    assert "G to Eb: both have G; the bass goes down four half steps." in said.out
    assert undersong("chart", week, "--key", "A").status == 2


def test_a_drill_of_a_songs_changes(undersong: Undersong, chart: Path) -> None:
    answer = json.loads(undersong("drill", "changes", "--song", chart, "--json").out)
    assert answer["key"] == "G"
    roots = [note["degree"] for note in answer["notes"] if note["at"].isdigit()]
    assert roots[:8] == ["1", "7", "6", "4", "1", "5", "4", "2"]
    assert undersong("drill", "scale", "--song", chart).status == 2


def test_a_drill_of_hard_places(undersong: Undersong, tmp_path: Path) -> None:
    part = tmp_path / "part.json"
    part.write_text(undersong("drill", "scale", "--key", "G", "--json").out, encoding="utf-8")
    answer = json.loads(undersong("drill", "--part", part, "--bars", "2", "--json").out)
    assert answer["title"] == "Hard places of Scale of G"
    assert undersong("drill", "--part", part).status == 2
    assert undersong("drill", "--part", part, "--bars", "2,x").status == 2
    assert undersong("drill", "--part", part, "--bars", "99").status == 2


def test_a_drill_within_a_range(undersong: Undersong) -> None:
    words = ("drill", "scale", "--key", "A", "--range", "A1-A2", "--json")
    notes = json.loads(undersong(*words).out)["notes"]
    assert {min(n["midi"] for n in notes), max(n["midi"] for n in notes)} == {33, 45}
    said = undersong("drill", "scale", "--key", "G", "--range", "E1-A1")
    assert said.status == 2
    assert "E1 to A1" in said.err


def test_a_folder_of_sheets_becomes_charts_and_a_set(undersong: Undersong, tmp_path: Path) -> None:
    arrived, kept = tmp_path / "arrived", tmp_path / "kept"
    arrived.mkdir()
    (arrived / "one.txt").write_text(CHART, encoding="utf-8")
    (arrived / "two.txt").write_text(
        "Lantern Road\nKey: D\n\nVerse\nD     A/C#\nthe lantern swings\nBm    G\nabove\n",
        encoding="utf-8",
    )
    (arrived / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0 no chords here")
    said = undersong("chart", arrived, "--save", kept)
    assert said.status == 2  # the photograph
    assert "photo.jpg: This is a picture" in said.err
    assert "Slow Water, Bright Stone" in said.out
    chart = (kept / "Lantern Road.txt").read_text(encoding="utf-8")
    assert "| 1 | 5/7 | 6- | 4 |" in chart
    week = json.loads(undersong("chart", kept / "sunday.toml", "--json").out)
    assert [(song["title"], song["key"]) for song in week["songs"]] == [
        ("Slow Water, Bright Stone", "G"),
        ("Lantern Road", "D"),
    ]
    (kept / "Lantern Road.txt").write_text("mine", encoding="utf-8")
    again = undersong("chart", arrived, "--save", kept)
    assert "is there already" in again.out
    assert (kept / "Lantern Road.txt").read_text(encoding="utf-8") == "mine"
    assert undersong("chart", arrived, "--key", "A").status == 2


def test_a_chart_is_saved_in_its_new_key(undersong: Undersong, chart: Path, tmp_path: Path) -> None:
    new = tmp_path / "new.txt"
    assert undersong("chart", chart, "--key", "A", "--save", new).status == 0
    text = new.read_text(encoding="utf-8")
    assert "Key: A" in text
    assert "| 1 | 5/7 | 6- | 4 |" in text


def test_patterns_views_and_positions_on_the_neck(undersong: Undersong) -> None:
    # A minor pentatonic from the fifth fret of the lowest string: common practice, no source.
    said = json.loads(
        undersong("neck", "--key", "Am", "--pattern", "minor pentatonic", "--json").out
    )
    places = [[(n["string"], n["fret"]) for n in shape["notes"]] for shape in said["pattern"]]
    assert [(4, 5), (4, 8), (3, 5), (3, 7), (2, 5), (2, 7)] in places
    said = json.loads(undersong("neck", "--key", "G", "--over", "4", "--json").out)
    assert {"string": 3, "fret": 3} in [view["root"] for view in said["views"]]
    said = json.loads(undersong("neck", "--key", "G", "--positions", "--json").out)
    assert said["positions"][0]["from"] == 2
    assert "around the 4 (C)" in undersong("neck", "--key", "G", "--over", "4").out
    assert "hold every note" in undersong("neck", "--key", "G", "--positions").out
    assert undersong("neck", "--pattern", "nonsense").status == 2


def test_the_hand_decides_the_fingering(undersong: Undersong, tmp_path: Path) -> None:
    path = tmp_path / "part.json"
    path.write_text(undersong("drill", "scale", "--key", "G", "--json").out, encoding="utf-8")
    four = json.loads(undersong("finger", path, "--json").out)["notes"]
    three = json.loads(undersong("finger", path, "--fingers", "1-2-4", "--json").out)["notes"]
    assert 3 in {note["finger"] for note in four if note["fret"] < 5}
    assert 3 not in {note["finger"] for note in three if note["fret"] < 5}
    near = undersong("finger", path, "--around-chord", "--scale-length", "short", "--span", "90")
    assert near.status == 0
    assert undersong("finger", path, "--scale-length", "huge").status == 2
    assert undersong("neck", "--span", "5").status == 2


def test_who_is_ready(undersong: Undersong, chart: Path, tmp_path: Path) -> None:
    week = tmp_path / "sunday.toml"
    week.write_text(
        f'[[song]]\nfile = "{chart.name}"\n[[player]]\nname = "Iris"\n', encoding="utf-8"
    )
    log = tmp_path / "log.sqlite"
    assert undersong("ready", week, "--log", log).status == 2  # no log yet, and none is made
    assert not log.exists()
    now = datetime.now(UTC)
    with Book.open(log) as book:
        player = book.add_player("Iris", at=now)
        item = book.keep_item("line", "Slow Water, Bright Stone", key="G", song_bpm=72)
        for days in (1, 2):
            at = now - timedelta(days=days)
            book.keep_take(player, item, outcome=Outcome.CLEAN, tempo_bpm=72, at=at, whole=True)
    answer = json.loads(undersong("ready", week, "--log", log, "--json").out)
    assert [(each["player"], each["ready"]) for each in answer] == [("Iris", True)]
    assert "Ready: the first pass of the day was good" in undersong("ready", week, "--log", log).out
    assert undersong("ready", week, "--log", log, "--player", "Nobody").status == 2


def test_kept_takes_are_heard_again(undersong: Undersong, tmp_path: Path) -> None:
    part, sound = tmp_path / "part.json", tmp_path / "take.flac"
    drill = undersong("drill", "scale", "--key", "G", "--wav", sound, "--json")
    part.write_text(drill.out, encoding="utf-8")
    hearing = json.loads(undersong("hear", sound, "--part", part, "--json").out)
    hearing["notes"][3]["verdict"] = "missed"  # as a worse ear might have said
    log = tmp_path / "log.sqlite"
    assert undersong("rejudge", "--log", log).status == 2
    now = datetime.now(UTC)
    with Book.open(log) as book:
        assert "nothing to hear again" in undersong("rejudge", "--log", log).out
        iris = book.agree_to_recordings(book.add_player("Iris", at=now), at=now)
        item = book.keep_item("drill", "Scale of G", key="G", part=json.loads(drill.out))
        (tmp_path / "recordings").mkdir()
        shutil.copy(sound, tmp_path / "recordings" / "one.flac")
        for audio in ("one.flac", None):
            kept = book.keep_take(
                iris,
                item,
                outcome=Outcome.NOT_CLEAN,
                tempo_bpm=70,
                at=now,
                hearing=hearing,
                tolerance_ms=60,
                audio=audio,
            )
            book.overrule(kept.take.id, 3, "right", at=now, by="Iris")
    heard, unheard = json.loads(undersong("rejudge", "--log", log, "--json").out)
    assert (heard["then"], heard["truth"], heard["now"]) == ("missed", "right", "right")
    assert (unheard["now"], unheard["why"]) == (None, "its recording was not kept")
    assert "Of 1 heard again the ear agrees with 1." in undersong("rejudge", "--log", log).out


def test_names_that_musicians_use(undersong: Undersong, chart: Path, tmp_path: Path) -> None:
    five = json.loads(undersong("neck", "--tuning", "BEADG", "--json").out)
    assert five["tuning"] == [23, 28, 33, 38, 43]
    week = tmp_path / "sunday.toml"
    week.write_text(
        f'[[song]]\nfile = "{chart.name}"\n[[player]]\nname = "Iris"\ntuning = "five"\n',
        encoding="utf-8",
    )
    assert undersong("chart", week).status == 0
    said = undersong("line", week)
    assert said.status == 2
    assert "is a set: name the chart of one of its songs" in said.err


def test_a_level_for_every_verse(undersong: Undersong, tmp_path: Path) -> None:
    path = tmp_path / "song.txt"
    verses = "Verse 1\n| 1 | 4 | 5 | 1 |\n\nVerse 2\n| 4 | 1 | 5 | 1 |\n"
    path.write_text(f"Title: T\nKey: G\nTempo: 80\n\n{verses}", encoding="utf-8")
    words = ("line", path, "--level", "1", "--section", "Verse=3", "--json")
    notes = json.loads(undersong(*words).out)["notes"]
    verse = [sum(start <= Fraction(note["at"]) < start + 4 for note in notes) for start in (0, 4)]
    assert min(verse) > 4  # a held root for each bar is level 1


def test_a_lift_before_a_repeat_is_played_once(undersong: Undersong, tmp_path: Path) -> None:
    path = tmp_path / "song.txt"
    path.write_text(
        "Title: T\nKey: D\nTempo: 72\n\nLast Chorus\n-- up a whole step\n|: 4 | 1 :|\n",
        encoding="utf-8",
    )
    notes = json.loads(undersong("line", path, "--level", "1", "--json").out)["notes"]
    assert [note["pitch"][0] for note in notes] == ["A", "E", "A", "E"]


def test_a_set_tells_the_meter_of_each_song(undersong: Undersong, tmp_path: Path) -> None:
    for name, meter in (("one", "4/4"), ("two", "6/8")):
        (tmp_path / f"{name}.txt").write_text(
            f"Title: {name}\nKey: D\nMeter: {meter}\nTempo: 60\n\nVerse\n| 1 | 4 |\n",
            encoding="utf-8",
        )
    sunday = tmp_path / "sunday.toml"
    sunday.write_text('[[song]]\nfile = "one.txt"\n\n[[song]]\nfile = "two.txt"\n', "utf-8")
    lines = undersong("chart", sunday).out.splitlines()
    assert [line.split()[:4] for line in lines if line[:3] in ("one", "two")][:2] == [
        ["one", "D", "4/4", "60"],
        ["two", "D", "6/8", "60"],
    ]
    songs = json.loads(undersong("chart", sunday, "--json").out)["songs"]
    assert [song["meter"] for song in songs] == ["4/4", "6/8"]


def test_a_song_moves_down_as_well_as_up(undersong: Undersong, tmp_path: Path) -> None:
    chart = tmp_path / "down.txt"
    chart.write_text("Title: Down\nKey: D\nTempo: 60\n\nVerse\n| 1 | 4 |\n", encoding="utf-8")
    for words in (("--move", "-m2"), ("--move=-m2",)):
        assert undersong("chart", chart, *words).out.splitlines()[1] == "Db  4/4  60"
