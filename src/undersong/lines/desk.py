"""A line on the desk: its targets, their octaves, and what each slot may be filled with."""

from __future__ import annotations

from undersong.lines.asked import Asked, level_of
from undersong.lines.figures import Figure, Goal, Slot
from undersong.lines.groove import RHYTHMS
from undersong.lines.ideas import figures_for, lateness
from undersong.lines.levels import LOWEST_LEVEL
from undersong.lines.plan import BarPlan
from undersong.lines.score import Score
from undersong.lines.search import Choice
from undersong.lines.targets import TOP_OF_VERSE, chosen_octaves, targets_of
from undersong.lines.weights import LineWeights
from undersong.neck.instrument import Instrument

TOP_BETWEEN_ROOTS = 50  # D3: a fifth over the top of the verse, for octaves of high roots


class Desk:
    """One line being written: targets and octaves found once, figures worked out once each."""

    def __init__(
        self, score: Score, asked: Asked, instrument: Instrument, weights: LineWeights
    ) -> None:
        self.score = score
        self.asked = asked
        self.instrument = instrument
        self.weights = weights
        self.targets = targets_of(score.song, score.plans, score.chords)
        self.midis = chosen_octaves(self.targets, score.plans, instrument, weights)
        self.levels = [level_of(plan, asked) for plan in score.plans]
        self.known: dict[Slot, tuple[Figure, ...]] = {}

    def choices(self) -> list[Choice]:
        """What each slot may hold at the levels of the moment."""
        found = []
        for place, target in enumerate(self.targets):
            slot = self.slot(place)
            if slot not in self.known:
                self.known[slot] = figures_for(slot, self.weights)
            figures = self.known[slot]
            turn = self.score.plans[target.bar].turn + self.asked.seed - 1
            late = lateness(figures, turn, self.weights)
            found.append(Choice(target.bar, slot.level, figures, late))
        return found

    def slot(self, place: int) -> Slot:
        """One target with all that its figures need to know."""
        target = self.targets[place]
        plan = self.score.plans[target.bar]
        bar, midi = plan.played, self.midis[place]
        ends_bar = target.until == bar.at + bar.length
        is_phrase_end = plan.is_phrase_end and ends_bar
        touches_vocal = plan.has_vocal or (plan.before_vocal and ends_bar)
        return Slot(
            start=target.at - bar.at,
            end=target.until - bar.at,
            bar_length=bar.length,
            meter=bar.meter,
            groove=self.score.groove(plan),
            chord=target.chord,
            key=target.key,
            midi=midi,
            name=target.name,
            touch=target.touch,
            is_arrival=target.is_arrival,
            push=target.push,
            has_fermata=target.has_fermata,
            goal=self._goal(place),
            level=self.levels[target.bar],
            energy=plan.energy,
            rhythm=(self.asked.seed - 1) % RHYTHMS,
            rhythm_turn=plan.turn % RHYTHMS if is_phrase_end else 0,
            is_phrase_end=is_phrase_end,
            leads_to=plan.leads_to if ends_bar else None,
            allows_road=not touches_vocal,
            allows_fill=is_phrase_end and not plan.is_first_section,
            is_last=plan.is_last,
            low=self.instrument.lowest,
            high=min(self.instrument.highest, max(midi + 12, self._ceiling(plan))),
            whole_s=self.score.whole_s,
        )

    def can_be_simpler(self, index: int) -> bool:
        """Whether a bar may fall another level: it is neither pinned nor at the lowest."""
        wish = self.asked.wish(self.score.bars[index].number)
        return wish.pinned is None and self.levels[index] > LOWEST_LEVEL

    def _ceiling(self, plan: BarPlan) -> int:
        return TOP_OF_VERSE if plan.energy <= 1 else TOP_BETWEEN_ROOTS

    def _goal(self, place: int) -> Goal | None:
        """The next target, where it follows at once."""
        if place + 1 >= len(self.targets):
            return None
        here, following = self.targets[place], self.targets[place + 1]
        if following.at != here.until:
            return None
        return Goal(self.midis[place + 1], following.name, f"the {following.chord.lowest}")
