from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
)

from undersong.log.book import Book
from undersong.log.values import Item, Player, Take
from undersong.practice.ladder import Ladder, Outcome, Rule, first, rule_for_song, step

AT = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)
HEARING: dict[str, object] = {"notes": [{"verdict": "wrong"}]}
names = st.text(
    st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=30
).filter(str.strip)  # fmt: skip


class Diary(RuleBasedStateMachine):
    """Whatever is done to a log, each ladder is what the rule makes of the takes that count."""

    takes = Bundle("takes")

    @initialize()
    def begin(self) -> None:
        self.book = Book.in_memory()
        self.player: Player = self.book.add_player("Mara", at=AT)
        self.items = [
            self.book.keep_item("drill", "scale", key="G"),
            self.book.keep_item("song", "Slow Water", key="G", song_bpm=72),
        ]
        self.expected: dict[int, tuple[Rule, Ladder]] = {
            self.items[0].id: (Rule(), first(Rule())),
            self.items[1].id: (rule_for_song(72), first(rule_for_song(72))),
        }
        self.minute = 0

    @rule(
        target=takes, which=st.integers(0, 1), outcome=st.sampled_from(Outcome), off=st.booleans()
    )
    def play(self, which: int, outcome: Outcome, off: bool) -> Take:  # noqa: FBT001
        item = self.items[which]
        settings_, ladder = self.expected[item.id]
        self.minute += 1
        kept = self.book.keep_take(
            self.player,
            item,
            outcome=outcome,
            tempo_bpm=ladder.tempo_bpm + (7 if off else 0.2),
            at=AT + timedelta(minutes=self.minute),
            hearing=HEARING,
        )
        assert kept.counted != off
        if not off:
            self.expected[item.id] = settings_, step(settings_, ladder, outcome)
        return kept.take

    @rule(which=st.integers(0, 1), up=st.integers(1, 9), over=st.booleans())
    def change_rule(self, which: int, up: int, over: bool) -> None:  # noqa: FBT001
        item = self.items[which]
        changed = Rule(up_bpm=up)
        ladder = self.book.set_rule(self.player, item, changed, start_over=over).ladder
        assert not over or ladder == first(changed)
        self.expected[item.id] = changed, ladder

    @rule(take=takes, outcome=st.sampled_from(Outcome))
    def put_right(self, take: Take, outcome: Outcome) -> None:
        if any(kept.id == take.id for kept in self.book.takes_of(None)):
            before = self.state(take.item)
            found = self.book.overrule(take.id, 0, "right", at=AT, outcome=outcome)
            assert found.outcome is outcome
            after = self.state(take.item)
            if found.counted_as is not outcome:
                assert after == before
            self.expected[take.item.id] = after  # checked against its takes by `sound`

    @rule(take=takes)
    def delete(self, take: Take) -> None:
        if any(kept.id == take.id for kept in self.book.takes_of(None)):
            self.book.delete_take(take.id)

    def state(self, item: Item) -> tuple[Rule, Ladder]:
        found = self.book.ladder_of(self.player, item)
        return found.rule, found.ladder

    @invariant()
    def sound(self) -> None:
        if hasattr(self, "book"):
            assert self.book.faults() == ()
            assert {item.id: self.state(item) for item in self.items} == self.expected

    def teardown(self) -> None:
        if hasattr(self, "book"):
            self.book.close()


TestDiary = Diary.TestCase
TestDiary.settings = settings(max_examples=15, stateful_step_count=20, deadline=None)


@settings(max_examples=30, deadline=None)
@given(names, names, st.text(max_size=50), st.text(max_size=20))
def test_any_words_come_back_through_an_export(
    player: str, item: str, note: str, tuning: str
) -> None:
    clean = str.maketrans("", "", "\0")
    with Book.in_memory() as book, Book.in_memory() as other:
        mara = book.add_player(player, at=AT, tuning=tuning.translate(clean))
        drill = book.keep_item("drill", item)
        kept = book.keep_take(
            mara, drill, outcome=Outcome.UNSURE, tempo_bpm=70, at=AT, note=note.translate(clean)
        )
        assert other.bring_in(book.export_json()) == 1
        assert other.export_json() == book.export_json()
        assert other.takes_of(other.player(player))[0].note == kept.take.note
        assert book.export_csv().count("\r\n") >= 2
