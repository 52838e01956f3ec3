import copy
import csv
import io
import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from undersong.errors import LogError
from undersong.log.book import Book
from undersong.log.transfer import COLUMNS
from undersong.log.values import Item, Player
from undersong.practice.ladder import Ladder, Outcome, Rule

AT = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)
HEARING: dict[str, object] = {
    "notes": [{"verdict": "wrong"}, {"verdict": "missed"}, {"verdict": "wrong"}]
}


def practise(book: Book, player: Player, item: Item, word: str, *, days: int = 0) -> None:
    for number, letter in enumerate(word):
        book.keep_take(
            player,
            item,
            outcome=Outcome(letter),
            tempo_bpm=book.ladder_of(player, item).ladder.tempo_bpm,
            at=AT + timedelta(days=days, minutes=number),
            hearing=HEARING,
            note="=1+1",
        )


@pytest.fixture
def leaders() -> Iterator[Book]:
    """The leader's log: two players, a song with its chart and set, a drill, work given."""
    with Book.in_memory() as book:
        mara = book.add_player("Mara", at=AT)
        book.add_player("Jonas", at=AT, hand="left")
        book.keep_chart("Slow Water", "Key: G", at=AT)
        book.keep_set("Sunday", date(2026, 11, 29), "Slow Water", at=AT)
        song = book.keep_item(
            "song", "Slow Water", key="G", song_bpm=72, part={"title": "S"}, chart="Slow Water"
        )
        book.assign(mara, song, at=AT, due_on=date(2026, 11, 28), note="twice a day")
        practise(book, mara, book.keep_item("drill", "scale", key="G"), "CCF")
        book.overrule(1, 0, "right", at=AT, by="leader")
        yield book


def shipped(book: Book, player: Player | None = None) -> Any:
    """Through a real JSON file and back."""
    return json.loads(json.dumps(book.export_json(player), allow_nan=False))


def test_the_table_has_a_line_for_each_take(leaders: Book) -> None:
    lines = list(csv.DictReader(io.StringIO(leaders.export_csv())))
    assert tuple(lines[0]) == COLUMNS
    assert [line["outcome"] for line in lines] == ["clean", "clean", "not clean"]
    first = lines[0]
    assert (first["date"], first["player"], first["key"]) == ("2026-11-25", "Mara", "G")
    assert (first["wrong"], first["missed"], first["extra"]) == ("2", "1", "0")
    assert first["put_right"] == "1"


def test_a_note_that_looks_like_a_formula_stays_text(leaders: Book) -> None:
    lines = list(csv.DictReader(io.StringIO(leaders.export_csv())))
    assert lines[0]["note"] == "'=1+1"


def test_the_table_of_one_player(leaders: Book) -> None:
    assert leaders.export_csv(leaders.player("Jonas")).splitlines() == [",".join(COLUMNS)]


def test_everything_arrives_in_an_empty_log(leaders: Book) -> None:
    document = shipped(leaders)
    with Book.in_memory() as book:
        assert book.bring_in(document) == 3
        assert shipped(book) == document
        assert book.faults() == ()


def test_the_same_twice_changes_nothing(leaders: Book) -> None:
    document = shipped(leaders)
    assert leaders.bring_in(document) == 0
    assert shipped(leaders) == document


def test_one_players_export_says_nothing_of_others(leaders: Book) -> None:
    said = json.dumps(shipped(leaders, leaders.player("Jonas")))
    assert "Jonas" in said
    assert "Mara" not in said


def test_work_goes_out_and_results_come_back(leaders: Book) -> None:
    with Book.in_memory() as home:
        home.bring_in(shipped(leaders, leaders.player("Mara")))
        mara, song = home.player("Mara"), home.item("song", "Slow Water", "G")
        assert song.part == {"title": "S"}
        practise(home, mara, song, "CCCF", days=1)
        practise(home, mara, home.item("drill", "scale", "G"), "CC", days=1)
        home.finish(home.assignments(mara)[0], at=AT + timedelta(days=1))
        results = shipped(home, mara)
        at_home = [home.ladder_of(mara, item) for item in home.items()]
    assert leaders.bring_in(results) == 6
    mara = leaders.player("Mara")
    assert [leaders.ladder_of(mara, item) for item in leaders.items()] == at_home
    assert leaders.assignments(mara)[0].done_at == AT + timedelta(days=1)
    assert leaders.faults() == ()
    assert leaders.bring_in(results) == 0


def test_results_that_do_not_fit_the_ladder_here_are_kept_and_do_not_count(
    leaders: Book,
) -> None:
    with Book.in_memory() as home:
        home.bring_in(shipped(leaders))
        mara, scale = home.player("Mara"), home.item("drill", "scale", "G")
        practise(home, mara, scale, "CC", days=1)
        results = shipped(home)
    mara, scale = leaders.player("Mara"), leaders.item("drill", "scale", "G")
    leaders.set_rule(mara, scale, Rule(start_bpm=100), start_over=True)
    assert leaders.bring_in(results) == 2
    assert leaders.ladder_of(mara, scale).ladder == Ladder(100)
    assert leaders.faults() == ()


def test_parts_here_are_replaced_only_when_asked(leaders: Book) -> None:
    document = shipped(leaders)
    song = next(entry for entry in document["items"] if entry["kind"] == "song")
    song |= {"part": {"title": "new"}, "song_bpm": 80}
    leaders.bring_in(document)
    assert leaders.item("song", "Slow Water", "G").part == {"title": "S"}
    leaders.bring_in(document, update_items=True)
    found = leaders.item("song", "Slow Water", "G")
    assert (found.part, found.song_bpm) == ({"title": "new"}, 80)


def test_the_newer_chart_stays(leaders: Book) -> None:
    document = shipped(leaders)
    leaders.keep_chart("Slow Water", "Key: D", at=AT + timedelta(hours=1))
    leaders.bring_in(document)
    assert leaders.chart("Slow Water").text == "Key: D"
    document["charts"][0] |= {"text": "Key: A", "kept_at": (AT + timedelta(days=9)).isoformat()}
    leaders.bring_in(document)
    assert leaders.chart("Slow Water").text == "Key: A"


@pytest.mark.parametrize("document", [None, [], "x", {}, {"format": "undersong"}])
def test_what_is_no_export(leaders: Book, document: object) -> None:
    with pytest.raises(LogError, match="no exported practice log"):
        leaders.bring_in(document)


def _first_take(change: dict[str, object]) -> Callable[[Any], None]:
    return lambda document: document["takes"][0].update({"uid": "new", **change})


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda d: d.update(version=2), "version 2; this Undersong reads up to 1"),
        (lambda d: d.update(takes={}), "'takes' is a list"),
        (lambda d: d.update(takes=[3]), "'takes' is a list"),
        (_first_take({"outcome": "X"}), "outcome 'X': it is C, F or U"),
        (_first_take({"at": "yesterday"}), "no moment: 'yesterday'"),
        (_first_take({"at": "2026-11-25T10:00:00"}), "without its zone"),
        (_first_take({"tempo_bpm": "70"}), "no number: '70'"),
        (_first_take({"tempo_bpm": -70}), "tempo in beats a minute of -70"),
        (_first_take({"whole": 1}), "true or false"),
        (_first_take({"hearing": []}), "hearing that is none"),
        (_first_take({"note": None}), "'note' that is no text: None"),
        (_first_take({"player": "Nobody"}), "'Nobody' and says nothing else"),
        (_first_take({"item": {"kind": "drill", "name": "x", "key": ""}}), "does not hold it"),
        (_first_take({"item": 3}), "'item' that is none"),
        (_first_take({"overruled": [{"note": 9, "verdict": "right"}]}), "note 9 of a take"),
        (lambda d: d["items"][0].update(part=[1]), "is no Part"),
        (lambda d: d["players"][0].update(name="x", level=9), "level is 1 to 6"),
        (lambda d: d["sets"][0].update(held_on="Sunday"), "no day: 'Sunday'"),
    ],
)
def test_a_spoilt_export_adds_nothing(
    leaders: Book, spoil: Callable[[Any], None], said: str
) -> None:
    before = shipped(leaders)
    document = copy.deepcopy(before)
    spoil(document)
    with pytest.raises(LogError, match=said):
        leaders.bring_in(document, update_items=True)
    assert shipped(leaders) == before


def test_a_ladder_that_cannot_be_adds_nothing(leaders: Book) -> None:
    document = shipped(leaders)
    document["ladders"][0]["rule"]["up_bpm"] = 0
    with Book.in_memory() as book:
        with pytest.raises(LogError, match="ladder that cannot be: The step up"):
            book.bring_in(document)
        assert book.players() == ()
