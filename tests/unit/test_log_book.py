from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from undersong.errors import LogError, PracticeError
from undersong.log.book import Book
from undersong.log.values import Item, KeptTake, Player
from undersong.practice.ladder import Ladder, Outcome, Rule, rule_for_song

HOME = timezone(timedelta(hours=2))
AT = datetime(2026, 11, 25, 0, 30, tzinfo=HOME)
HEARING: dict[str, object] = {
    "clean": False,
    "notes": [
        {"index": 0, "verdict": "right", "timing_ms": 3.5},
        {"index": 1, "verdict": "wrong", "timing_ms": None},
    ],
}


@pytest.fixture
def book() -> Iterator[Book]:
    with Book.in_memory() as opened:
        yield opened


@pytest.fixture
def mara(book: Book) -> Player:
    return book.add_player("Mara", at=AT, level=2, tuning="E1,A1,D2,G2", hand="left")


@pytest.fixture
def scale(book: Book) -> Item:
    return book.keep_item("drill", "scale", key="G")


def play(book: Book, player: Player, item: Item, word: str) -> list[KeptTake]:
    """Passes at the ladder's own tempo, a minute apart."""
    start = len(book.takes_of(player))
    return [
        book.keep_take(
            player,
            item,
            outcome=Outcome(letter),
            tempo_bpm=book.ladder_of(player, item).ladder.tempo_bpm,
            at=AT + timedelta(minutes=start + number),
            hearing=HEARING,
        )
        for number, letter in enumerate(word)
    ]


def test_a_player_is_found_by_name(book: Book, mara: Player) -> None:
    assert book.player(" mara ") == mara
    assert (mara.level, mara.hand, mara.tuning) == (2, "left", "E1,A1,D2,G2")


@pytest.mark.parametrize(
    ("name", "more", "said"),
    [
        ("", {}, "cannot be empty"),
        ("MARA", {}, "already a player named MARA"),
        ("Jo\nnas", {}, "one line of plain characters"),
        ("x" * 201, {}, "at most 200 characters"),
        ("Jo\ud800", {}, "is no letter"),
        ("Jonas", {"level": 7}, "level is 1 to 6, not 7"),
        ("Jonas", {"hand": "both"}, "right or left, not 'both'"),
    ],
)
def test_players_that_cannot_be(
    book: Book, mara: Player, name: str, more: dict[str, int], said: str
) -> None:
    with pytest.raises(LogError, match=said):
        book.add_player(name, at=AT, **more)  # type: ignore[arg-type]
    assert book.players() == (mara,)


def test_one_name_in_two_spellings_is_one_name(book: Book) -> None:
    book.add_player("Ren\u00e9", at=AT)
    assert book.player("Rene\u0301").name == "Ren\u00e9"
    with pytest.raises(LogError, match="already a player"):
        book.add_player("Rene\u0301", at=AT)


def test_names_beyond_ascii_differ_by_their_capitals(book: Book) -> None:
    for title in ("Élan", "élan"):
        book.keep_chart(title, title, at=AT)
    assert book.chart("élan").text == "élan"
    assert book.chart("Élan").text == "Élan"


def test_a_player_grows(book: Book, mara: Player) -> None:
    assert book.change_player(mara, level=3).level == 3
    assert book.player("Mara").hand == "left"


def test_unknown_names_are_named(book: Book) -> None:
    with pytest.raises(LogError, match="no player named 'Jonas'"):
        book.player("Jonas")
    with pytest.raises(LogError, match="is no letter"):
        book.player("Jonas\ud800")
    with pytest.raises(LogError, match="no drill scale in G"):
        book.item("drill", "scale", "G")
    with pytest.raises(LogError, match="no take 7"):
        book.take(7)
    with pytest.raises(LogError, match="no chart 'Slow Water'"):
        book.keep_item("song", "Slow Water", chart="Slow Water")


def test_the_same_item_again_is_the_same(book: Book, scale: Item) -> None:
    again = book.keep_item("drill", "scale", key="G", part={"title": "Scale"})
    assert again.id == scale.id
    assert book.keep_item("drill", "scale", key="G").part == {"title": "Scale"}  # not forgotten
    assert book.keep_item("drill", "scale", key="D").id != scale.id
    assert [item.label for item in book.items()] == ["drill scale in D", "drill scale in G"]


def test_items_that_cannot_be(book: Book) -> None:
    with pytest.raises(LogError, match="use drill, line or song"):
        book.keep_item("riff", "x")
    with pytest.raises(PracticeError, match="song's tempo"):
        book.keep_item("song", "x", song_bpm=0)
    with pytest.raises(LogError, match="only what JSON can say"):
        book.keep_item("song", "x", part={"at": {1, 2}})
    with pytest.raises(LogError, match="only what JSON can say"):
        book.keep_item("song", "x", part={"at": float("nan")})
    assert book.items() == ()


def test_takes_move_the_ladder_as_the_rule_says(book: Book, mara: Player, scale: Item) -> None:
    kept = play(book, mara, scale, "CCCCFCCCC")  # trade handbook 5.1
    assert [take.take.tempo_bpm for take in kept] == [70, 70, 75, 75, 80, 70, 70, 75, 75]
    assert kept[-1].ladder_after == Ladder(80, 0)
    assert all(take.counted for take in kept)
    assert book.ladder_of(mara, scale).ladder == Ladder(80, 0)
    assert book.faults() == ()


def test_a_take_comes_back_as_it_was_kept(book: Book, mara: Player, scale: Item) -> None:
    kept = book.keep_take(
        mara,
        scale,
        outcome=Outcome.NOT_CLEAN,
        tempo_bpm=70,
        at=AT,
        hearing=HEARING,
        tolerance_ms=50,
        length_s=31.5,
        whole=True,
        roots_right=0.98,
        in_time=False,
        note="bar 3 again",
    )
    take = book.takes_of(mara, scale)[0]
    assert take == kept.take
    assert take.hearing == HEARING
    assert (take.at, take.at.utcoffset()) == (AT, timedelta(hours=2))
    assert take.as_pass.day == date(2026, 11, 25)  # in UTC it was still the 24th
    assert book.history(mara) == book.history(None, scale) == (take.as_pass,)


def test_a_pass_at_another_tempo_is_kept_and_does_not_count(
    book: Book, mara: Player, scale: Item
) -> None:
    kept = book.keep_take(mara, scale, outcome=Outcome.NOT_CLEAN, tempo_bpm=120, at=AT)
    assert not kept.counted
    assert kept.ladder_after == kept.ladder_before == Ladder(70, 0)
    first_try = book.keep_take(
        mara, scale, outcome=Outcome.NOT_CLEAN, tempo_bpm=70, at=AT, on_ladder=False
    )
    assert not first_try.counted
    assert len(book.takes_of(mara)) == 2


def test_ladders_are_each_players_and_items_own(book: Book, mara: Player, scale: Item) -> None:
    jonas = book.add_player("Jonas", at=AT)
    other = book.keep_item("drill", "scale", key="D")
    play(book, mara, scale, "CC")
    assert book.ladder_of(jonas, scale).ladder == Ladder(70)
    assert book.ladder_of(mara, other).ladder == Ladder(70)


def test_takes_since_a_moment(book: Book, mara: Player, scale: Item) -> None:
    play(book, mara, scale, "CFU")
    assert len(book.takes_of(mara, since=AT + timedelta(minutes=1))) == 2
    assert len(book.takes_of(None, scale)) == 3


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"tempo_bpm": 0}, "tempo in beats a minute of 0"),
        ({"tempo_bpm": float("nan")}, "tempo in beats a minute of nan"),
        ({"length_s": -1}, "length in seconds of -1"),
        ({"tolerance_ms": float("inf")}, "tolerance in milliseconds of inf"),
        ({"roots_right": 98}, "from 0 to 1, not 98"),
        ({"at": AT.replace(tzinfo=None)}, "needs its zone"),
        ({"hearing": {"notes": [float("nan")]}}, "only what JSON can say"),
        ({"audio": "take.flac"}, "has not agreed to recordings"),
        ({"uid": "known"}, "The take known is in the log already"),
    ],
)
def test_takes_that_cannot_be_leave_nothing(
    tmp_path: Path, change: dict[str, object], said: str
) -> None:
    with Book.in_memory(recordings=tmp_path) as book:
        player, item = book.add_player("Mara", at=AT), book.keep_item("drill", "scale")
        book.keep_take(player, item, outcome=Outcome.CLEAN, tempo_bpm=70, at=AT, uid="known")
        settings = {"outcome": Outcome.CLEAN, "tempo_bpm": 70, "at": AT} | change
        with pytest.raises(LogError, match=said):
            book.keep_take(player, item, **settings)  # type: ignore[arg-type]
        assert len(book.takes_of(player)) == 1
        assert book.ladder_of(player, item).ladder == Ladder(70, 1)


def test_a_deleted_player_cannot_play(book: Book, mara: Player, scale: Item) -> None:
    play(book, mara, scale, "CC")
    book.assign(mara, scale, at=AT)
    book.delete_player(mara)
    with pytest.raises(LogError, match="no such player in the log any more"):
        book.keep_take(mara, scale, outcome=Outcome.CLEAN, tempo_bpm=70, at=AT)
    assert book.takes_of(None) == ()
    assert book.assignments() == ()
    assert book.faults() == ()


def test_a_climb_to_a_song_stands_on_its_tempo(book: Book, mara: Player) -> None:
    song = book.keep_item("song", "Slow Water", key="G", song_bpm=72)
    kept = play(book, mara, song, "CCCC")
    assert [take.take.tempo_bpm for take in kept] == [70, 70, 72, 72]
    assert book.ladder_of(mara, song).rule == rule_for_song(72)


def test_a_climb_follows_a_songs_new_tempo(book: Book, mara: Player) -> None:
    song = book.keep_item("song", "Slow Water", key="G", song_bpm=90)
    play(book, mara, song, "CCC")
    book.keep_item("song", "Slow Water", key="G", song_bpm=72)
    state = book.ladder_of(mara, song)
    assert (state.rule, state.ladder) == (rule_for_song(72), Ladder(75, 1))
    play(book, mara, song, "C")
    assert book.ladder_of(mara, song).ladder == Ladder(79, 0)
    assert book.faults() == ()


def test_a_leaders_own_rule_stays(book: Book, mara: Player) -> None:
    song = book.keep_item("song", "Slow Water", key="G", song_bpm=90)
    own = Rule(start_bpm=60, in_a_row=3)
    assert book.set_rule(mara, song, own, start_over=True).ladder == Ladder(60)
    book.keep_item("song", "Slow Water", key="G", song_bpm=72)
    assert book.ladder_of(mara, song).rule == own


def test_a_changed_rule_goes_on_from_where_it_stands(book: Book, mara: Player, scale: Item) -> None:
    play(book, mara, scale, "CCCCC")
    state = book.set_rule(mara, scale, Rule(up_bpm=2, ceiling_bpm=78))
    assert state.ladder == Ladder(78, 1)
    play(book, mara, scale, "F")
    assert book.ladder_of(mara, scale).ladder == Ladder(68, 0)
    assert book.faults() == ()


def test_an_overruled_verdict_stands_beside_what_was_heard(
    book: Book, mara: Player, scale: Item
) -> None:
    take = play(book, mara, scale, "F")[0].take
    book.overrule(take.id, 1, "missed", at=AT, by="leader")
    found = book.overrule(take.id, 1, "right", at=AT, by="leader")
    assert [(each.note, each.was, each.verdict) for each in found.overruled] == [
        (1, "wrong", "right")
    ]
    assert found.hearing == HEARING
    assert found.outcome is Outcome.NOT_CLEAN  # nobody said that the pass is judged otherwise
    assert book.known_answers() == (found,)


def test_the_ladder_follows_a_verdict_put_right_at_once(
    book: Book, mara: Player, scale: Item
) -> None:
    take = play(book, mara, scale, "CF")[1].take
    assert book.ladder_of(mara, scale).ladder == Ladder(60, 0)
    found = book.overrule(take.id, 1, "right", at=AT, outcome=Outcome.CLEAN)
    assert found.counted_as is Outcome.CLEAN
    assert book.ladder_of(mara, scale).ladder == Ladder(75, 0)
    assert book.faults() == ()


def test_the_ladder_does_not_go_back_behind_later_passes(
    book: Book, mara: Player, scale: Item
) -> None:
    take = play(book, mara, scale, "CFC")[1].take
    found = book.overrule(take.id, 1, "right", at=AT, outcome=Outcome.CLEAN)
    assert (found.outcome, found.counted_as) == (Outcome.CLEAN, Outcome.NOT_CLEAN)
    assert book.ladder_of(mara, scale).ladder == Ladder(60, 1)
    assert book.faults() == ()


@pytest.mark.parametrize(
    ("note", "verdict", "said"),
    [
        (2, "right", "no note 2: its hearing has 2 notes"),
        (-1, "right", "no note -1"),
        (0, "fine", "'fine' is no verdict: use right, wrong"),
    ],
)
def test_overruling_what_is_not_there(
    book: Book, mara: Player, scale: Item, note: int, verdict: str, said: str
) -> None:
    take = play(book, mara, scale, "F")[0].take
    with pytest.raises(LogError, match=said):
        book.overrule(take.id, note, verdict, at=AT)
    assert book.take(take.id).overruled == ()


def test_deleting_a_take_leaves_the_ladder(book: Book, mara: Player, scale: Item) -> None:
    takes = play(book, mara, scale, "CCC")
    book.delete_take(takes[0].take.id)
    assert book.ladder_of(mara, scale).ladder == Ladder(75, 1)
    assert book.faults() == ()
    play(book, mara, scale, "C")
    assert book.ladder_of(mara, scale).ladder == Ladder(80, 0)
    assert book.faults() == ()


def test_a_ladder_that_is_not_its_takes_is_a_fault(book: Book, mara: Player, scale: Item) -> None:
    play(book, mara, scale, "CC")
    with book._writing() as connection:
        connection.exec_driver_sql("UPDATE ladders SET tempo_bpm = 90")
    assert "not what its takes make it" in book.faults()[0]


def test_recordings_are_kept_with_consent_and_deleted(tmp_path: Path) -> None:
    folder = tmp_path / "recordings"
    folder.mkdir()
    with Book.open(tmp_path / "log.db") as book:
        mara = book.agree_to_recordings(book.add_player("Mara", at=AT), at=AT)
        item = book.keep_item("drill", "scale")
        for number in range(3):
            (folder / f"{number}.flac").write_bytes(b"sound")
            book.keep_take(
                mara,
                item,
                outcome=Outcome.CLEAN,
                tempo_bpm=70,
                at=AT + timedelta(days=number),
                audio=f"{number}.flac",
            )
        assert book.delete_recordings(mara, before=AT + timedelta(days=1)) == 1
        assert sorted(path.name for path in folder.iterdir()) == ["1.flac", "2.flac"]
        assert [take.audio for take in book.takes_of(mara)] == [None, "1.flac", "2.flac"]
        book.delete_take(book.takes_of(mara)[1].id)
        assert [path.name for path in folder.iterdir()] == ["2.flac"]
        book.delete_player(mara)
        assert list(folder.iterdir()) == []
    assert b"Mara" not in (tmp_path / "log.db").read_bytes()  # overwritten, not only unlinked


@pytest.mark.parametrize("name", ["../log.db", "/etc/passwd", "a/../../b", "", "a\\..\\b"])
def test_a_recording_stays_in_its_folder(tmp_path: Path, name: str) -> None:
    with Book.open(tmp_path / "log.db") as book:
        mara = book.agree_to_recordings(book.add_player("Mara", at=AT), at=AT)
        item = book.keep_item("drill", "scale")
        with pytest.raises(LogError, match="name a file inside the recordings folder"):
            book.keep_take(
                mara, item, outcome=Outcome.CLEAN, tempo_bpm=70, at=AT, audio=name
            )  # fmt: skip


def test_pain_is_remembered_by_its_day_alone(book: Book, mara: Player) -> None:
    assert book.note_pain(mara, at=AT, hurts=False).pain_said_on is None
    sore = book.note_pain(mara, at=AT + timedelta(days=1), hurts=True)
    assert sore.pain_said_on == date(2026, 11, 26)
    later = book.note_pain(mara, at=AT + timedelta(days=2), hurts=False)
    assert (later.pain_said_on, later.pain_asked_at) == (
        date(2026, 11, 26),
        AT + timedelta(days=2),
    )


def test_charts_and_sets_are_kept_by_name(book: Book) -> None:
    book.keep_chart("Slow Water", "Key: G", at=AT)
    book.keep_chart("slow water", "Key: D", at=AT)
    assert [(chart.title, chart.text) for chart in book.charts()] == [("slow water", "Key: D")]
    song = book.keep_item("song", "Slow Water", key="D", chart="Slow Water")
    assert song.chart == "slow water"
    book.delete_chart("Slow Water")
    assert book.item("song", "Slow Water", "D").chart is None
    book.keep_set("Sunday", date(2026, 11, 29), 'date = "2026-11-29"', at=AT)
    book.keep_set("Advent", date(2026, 12, 6), "", at=AT)
    assert [each.name for each in book.sets()] == ["Advent", "Sunday"]
    assert book.set_named("sunday").held_on == date(2026, 11, 29)
    book.delete_set("Advent")
    with pytest.raises(LogError, match="no set 'Advent'"):
        book.delete_set("Advent")
    with pytest.raises(LogError, match="no chart 'Slow Water'"):
        book.delete_chart("Slow Water")


def test_work_is_given_and_done(book: Book, mara: Player, scale: Item) -> None:
    given = book.assign(mara, scale, at=AT, due_on=date(2026, 11, 29), note="bars 9 to 12")
    assert book.assignments(mara) == (given,)
    book.finish(given, at=AT + timedelta(days=1))
    assert book.assignments()[0].done_at == AT + timedelta(days=1)


def test_settings_are_anything_json_can_say(book: Book) -> None:
    assert book.setting("latency_ms", 12) == 12
    book.keep_setting("latency_ms", 31.5)
    book.keep_setting("latency_ms", {"input": [31.5, None]})
    assert book.setting("latency_ms") == {"input": [31.5, None]}


def test_moments_need_their_zone(book: Book, scale: Item) -> None:
    with pytest.raises(LogError, match="needs its zone"):
        book.add_player("Jonas", at=datetime(2026, 11, 25))
    assert book.players() == ()
    assert book.add_player("Jonas", at=AT.astimezone(UTC)).added_at == AT


def test_judged_notes_know_windows_and_what_was_put_right(
    book: Book, mara: Player, scale: Item
) -> None:
    notes = [
        {"index": 0, "verdict": "right", "timing_ms": 50.0},
        {"index": 1, "verdict": "right", "timing_ms": 50.1},
        {"index": 2, "verdict": "right", "timing_ms": -70.0},
        {"index": 3, "verdict": "wrong", "timing_ms": 0.0},
        {"index": None, "verdict": "extra", "timing_ms": None},
        {"index": 4, "verdict": "missed", "timing_ms": None},
        {"index": 5, "verdict": "unsure", "timing_ms": None},
        {"index": 6, "verdict": "right", "timing_ms": 90.0},
    ]
    kept = book.keep_take(
        mara,
        scale,
        outcome=Outcome.NOT_CLEAN,
        tempo_bpm=70,
        at=AT,
        tolerance_ms=50,
        hearing={"notes": notes},
    )
    book.overrule(kept.take.id, 3, "right", at=AT)
    take = book.overrule(kept.take.id, 7, "right", at=AT)
    assert [(note.index, note.fault) for note in take.judged] == [
        (0, ""),
        (1, "late"),
        (2, "early"),
        (3, ""),
        (None, "extra"),
        (4, "missed"),
        (5, ""),
        (6, ""),
    ]
